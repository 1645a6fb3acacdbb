"""Where each value of merged data came from: which file, which key there, which line."""

from __future__ import annotations

from pathlib import Path as FilePath
from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.lines import Path, key_lines
from drytouch.sim.scenario.messages import Problem
from drytouch.sim.scenario.units import split_unit


def dotted(path: Path) -> str:
    """A path as a reader writes it: ``machine.axes.x``, ``steps#3.axis`` (the third step)."""
    text = ""
    for part in path:
        text += f"#{part + 1}" if isinstance(part, int) else f".{part}" if text else part
    return text


class Sources:
    """The origins of one scenario's or part's data; knows the lines of every file in it."""

    def __init__(self, file: str, text: str, folder: FilePath | None = None) -> None:
        self.file = file
        self._texts = {file: text}
        self._folder = folder or FilePath(file).parent
        self._origins: dict[Path, tuple[str, Path]] = {(): (file, ())}
        self._lines: dict[str, dict[Path, int]] = {}

    def origin(self, where: Path) -> tuple[str, Path]:
        """File, and path inside it, of the value at ``where`` of the merged data."""
        for length in range(len(where), -1, -1):
            known = self._origins.get(where[:length])
            if known:
                return known[0], known[1] + where[length:]
        raise AssertionError("the empty path is always known")

    def folder(self, where: Path) -> FilePath:
        """Folder that relative paths at ``where`` start from."""
        file, _ = self.origin(where)
        return FilePath(file).parent if file != self.file else self._folder

    def move(self, old: Path, new: Path) -> None:
        """What the file calls ``old`` stands at ``new`` in the merged data."""
        self._origins[new] = self.origin(old)

    def merge(
        self, where: Path, base: dict[str, Any], base_sources: Sources, over: dict[str, Any]
    ) -> dict[str, Any]:
        """``over`` on top of ``base``, both standing at ``where``: tables merge, lists don't."""
        mine = self.origin(where)
        self._texts.update(base_sources._texts)
        for path, origin in base_sources._origins.items():
            self._origins[where + path] = origin
        return self._merged(where, mine, base, over)

    def _merged(
        self, where: Path, mine: tuple[str, Path], base: dict[str, Any], over: dict[str, Any]
    ) -> dict[str, Any]:
        result = dict(base)
        for key, value in over.items():
            origin = (mine[0], (*mine[1], key))
            _drop_same_quantity(result, key)
            old = result.get(key)
            if isinstance(old, dict) and isinstance(value, dict):
                result[key] = self._merged((*where, key), origin, old, value)
            else:
                result[key] = value
                self._origins[(*where, key)] = origin
        return result

    def error(self, problem: Problem) -> InputError:
        """The error for ``problem``, with file, key and line."""
        file, path = self._overriding(problem.where) or self.origin(problem.where)
        return InputError(problem.message, file, dotted(path), self._line(file, path), problem.fix)

    def _overriding(self, where: Path) -> tuple[str, Path] | None:
        """The first change to the used table at ``where``: what its failure is due to."""
        if self.origin(where)[0] == self.file:
            return None
        for path, origin in self._origins.items():
            if path[: len(where)] == where and path != where and origin[0] == self.file:
                return origin
        return None

    def _line(self, file: str, path: Path) -> int:
        if not file:
            return 0
        if file not in self._lines:
            self._lines[file] = key_lines(self._texts[file])
        lines = self._lines[file]
        while path:
            line = lines.get(path) or _other_unit(lines, path)
            if line:
                return line
            path = path[:-1]
        return 1

    def resolve_files(self, data: Any, where: Path = ()) -> None:
        """Make each ``file`` of ``data`` an absolute path, in place of the tables that hold it.

        Raises:
            InputError: there is no such file.
        """
        if isinstance(data, dict):
            for key, value in list(data.items()):
                if key == "file" and isinstance(value, str):
                    data[key] = self._file(value, (*where, key))
                elif isinstance(value, dict | list) and key != "with":
                    # Arguments ("with") mean what their routine or fault says, not files.
                    data[key] = value = value.copy()
                    self.resolve_files(value, (*where, key))
        elif isinstance(data, list):
            for index, value in enumerate(data):
                if isinstance(value, dict | list):
                    data[index] = value = value.copy()
                    self.resolve_files(value, (*where, index))

    def _file(self, name: str, where: Path) -> str:
        path = self.folder(where) / name
        if path.is_file():
            return str(path.resolve())
        stem = name.removesuffix(".ngc")
        if stem in library.names("program"):
            return str(library.path("program", stem))
        raise self.error(
            Problem(
                where,
                f"there is no file {path}",
                "check the path: it starts from the folder of the file that names it",
            )
        )


def _drop_same_quantity(table: dict[str, Any], key: str) -> None:
    """An override in another unit replaces the base's key for the same quantity."""
    parts = split_unit(key)
    if parts and key not in table:
        for other in list(table):
            other_parts = split_unit(other)
            if other_parts and other_parts[0] == parts[0]:
                del table[other]


def _other_unit(lines: dict[Path, int], path: Path) -> int | None:
    """Line of the same quantity written in another unit."""
    parts = split_unit(str(path[-1]))
    if parts is None:
        return None
    for other, line in lines.items():
        if other[:-1] == path[:-1] and split_unit(str(other[-1])) is not None:
            found = split_unit(str(other[-1]))
            if found and found[0] == parts[0]:
                return line
    return None
