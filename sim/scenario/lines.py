"""Which line of a TOML text each key stands on, so that an error can point at it.

The standard library's parser keeps no positions. This scanner runs only when there is an error to
report, on a text that already parsed, so it needs no checks of its own.
"""

from __future__ import annotations

import json
import re

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\n]+")


def key_lines(text: str) -> dict[Path, int]:
    """Map each key's path (names, and indices of arrays) to its 1-based line."""
    return _Scanner(text.replace("\r\n", "\n")).scan()


class _Scanner:
    """One pass over the text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}

    def scan(self) -> dict[Path, int]:
        table: Path = ()
        while self._skip(newlines=True):
            if self.text.startswith("[[", self.at):
                table = self._header(2)
            elif self.text[self.at] == "[":
                table = self._header(1)
            else:
                self._pair(table)
        return self.lines

    def _skip(self, newlines: bool) -> bool:
        """Pass blanks and comments; True while text is left."""
        blanks = " \t\n" if newlines else " \t"
        while self.at < len(self.text):
            if self.text[self.at] in blanks:
                self.at += 1
            elif self.text[self.at] == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            else:
                return True
        return False

    def _note(self, path: Path) -> None:
        self.lines.setdefault(path, self.text.count("\n", 0, self.at) + 1)

    def _header(self, brackets: int) -> Path:
        start = self.at
        self.at += brackets
        names = self._key()
        end, self.at = self.at, start
        path: Path = ()
        for position, name in enumerate(names):
            path = (*path, name)
            last = position == len(names) - 1
            if last and brackets == 2:
                self.counts[path] = self.counts.get(path, -1) + 1
            self._note(path)
            if path in self.counts:
                path = (*path, self.counts[path])
                self._note(path)
        self.at = end + brackets
        return path

    def _key(self) -> list[str]:
        """A dotted key, up to but without the character behind it."""
        names = []
        while True:
            self._skip(newlines=False)
            if self.text[self.at] in "\"'":
                names.append(self._string())
            else:
                found = _BARE.match(self.text, self.at)
                assert found is not None
                names.append(found.group())
                self.at = found.end()
            self._skip(newlines=False)
            if self.text[self.at] != ".":
                return names
            self.at += 1

    def _pair(self, table: Path) -> None:
        start = self.at
        names = self._key()
        end, self.at = self.at, start
        path = table
        for name in names:
            path = (*path, name)
            self._note(path)
        self.at = end + 1
        self._value(path)

    def _value(self, path: Path) -> None:
        self._skip(newlines=True)
        first = self.text[self.at]
        if first == "[":
            self._items(path)
        elif first == "{":
            self._inline(path)
        elif first in "\"'":
            self._string()
        else:
            found = _SCALAR.match(self.text, self.at)
            assert found is not None
            self.at = found.end()

    def _items(self, path: Path) -> None:
        self.at += 1
        index = 0
        while self._skip(newlines=True) and self.text[self.at] != "]":
            if self.text[self.at] == ",":
                self.at += 1
                continue
            self._note((*path, index))
            self._value((*path, index))
            index += 1
        self.at += 1

    def _inline(self, path: Path) -> None:
        self.at += 1
        while self._skip(newlines=True) and self.text[self.at] != "}":
            if self.text[self.at] == ",":
                self.at += 1
            else:
                self._pair(path)
        self.at += 1

    def _string(self) -> str:
        """Pass a string of any of the four kinds; its value is right for keys."""
        quote = self.text[self.at]
        long = self.text.startswith(quote * 3, self.at)
        mark = quote * 3 if long else quote
        start = self.at
        self.at += len(mark)
        while not self.text.startswith(mark, self.at):
            self.at += 2 if quote == '"' and self.text[self.at] == "\\" else 1
        self.at += len(mark)
        # A long string may end in up to two quotation marks of its own.
        while long and self.text.startswith(quote, self.at):
            self.at += 1
        raw = self.text[start : self.at]
        if quote == '"' and not long:
            try:
                return str(json.loads(raw))
            except ValueError:  # an escape that JSON lacks; only its place matters
                return raw[1:-1]
        return raw[len(mark) : -len(mark)]
