"""Parameter file and tool table in the layout of the open standard (NISTIR 6556, 3.2).

Header lines, one empty line, then rows: ``index value comment`` in ascending order, or
``pocket code length diameter comment``. Lengths have no unit of their own: they mean the units in
force when they are used. A file is replaced whole: it is written beside its place and renamed.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.line import print_number
from drytouch.sim.program.parameters import ACTIVE_SYSTEM, REQUIRED, Parameters

LAST_STORED = 5400
PARAMETER_HEADER = "drytouch parameters: index, value, comment"
TOOL_HEADER = "drytouch tools: pocket, code, length offset, diameter, comment"


@dataclass(frozen=True, slots=True)
class PocketRow:
    """One row of a tool table file; lengths in the units of whoever uses them."""

    pocket: int
    code: int
    length: float
    diameter: float
    comment: str = ""


def _wrong(file: Path, line: int, message: str, text: str = "") -> ProgramError:
    return ProgramError("E-FILE", message, str(file), line, 1 if text else 0, text)


def _rows(file: Path, columns: int) -> Iterator[tuple[int, str, list[str]]]:
    """Yield line number, text and words of each row: ``columns`` words, then the comment."""
    try:
        lines = file.read_text("utf-8").splitlines()
    except OSError as error:
        raise _wrong(file, 0, f"can't be read: {error.strerror}") from error
    except UnicodeDecodeError:
        raise _wrong(file, 0, "is no text file in UTF-8") from None
    empty = next((k for k, text in enumerate(lines) if not text.strip()), None)
    if empty is None:
        raise _wrong(file, len(lines), "an empty line must part the header from the rows")
    for number, text in enumerate(lines[empty + 1 :], empty + 2):
        if not text.strip():
            continue
        words = text.split(None, columns)
        if len(words) < columns:
            raise _wrong(file, number, f"a row has {columns} numbers", text)
        yield number, text, words


def _number(file: Path, line: int, text: str, word: str) -> float:
    try:
        value = float(word)
    except ValueError:
        value = float("nan")
    # inf and nan are words to float(), but not to a machine.
    if value - value != 0:
        raise _wrong(file, line, f"{word!r} is no number", text)
    return value


def _unsigned(file: Path, line: int, text: str, word: str) -> int:
    if not (word.isascii() and word.isdigit()):
        raise _wrong(file, line, f"{word!r} is no unsigned integer", text)
    return int(word)


def load_parameters(path: str | Path) -> Parameters:
    """Read a parameter file; raises ``ProgramError`` E-FILE with the line."""
    file = Path(path)
    values: dict[int, float] = {}
    last = 0
    for line, text, words in _rows(file, 2):
        index = _unsigned(file, line, text, words[0])
        value = _number(file, line, text, words[1])
        if not 1 <= index <= LAST_STORED:
            raise _wrong(file, line, f"parameters go from 1 to {LAST_STORED}, not {index}", text)
        if index <= last:
            raise _wrong(file, line, f"{index} after {last}: rows must ascend", text)
        if index == ACTIVE_SYSTEM and value not in range(1, 10):
            raise _wrong(file, line, f"parameter 5220 takes 1 to 9, not {value:g}", text)
        values[index] = value
        last = index
    missing = sorted(REQUIRED - values.keys())
    if missing:
        raise _wrong(file, 0, f"required parameters are missing: {', '.join(map(str, missing))}")
    return Parameters(values)


def save_parameters(path: str | Path, parameters: Parameters) -> None:
    """Write all parameters that have a value; raises ``ProgramError`` E-FILE."""
    values: dict[int, float | None] = {**dict.fromkeys(REQUIRED, 0.0), **parameters.common}
    rows = (
        f"{index}\t{print_number(value)}"
        for index, value in sorted(values.items())
        if value is not None
    )
    _replace(Path(path), PARAMETER_HEADER, rows)


def load_tools(path: str | Path) -> list[PocketRow]:
    """Read a tool table; raises ``ProgramError`` E-FILE with the line."""
    file = Path(path)
    rows: list[PocketRow] = []
    seen: set[int] = set()
    for line, text, words in _rows(file, 4):
        pocket, code = (_unsigned(file, line, text, word) for word in words[:2])
        if pocket in seen:
            raise _wrong(file, line, f"pocket {pocket} is in the table twice", text)
        seen.add(pocket)
        length, diameter = (_number(file, line, text, word) for word in words[2:4])
        comment = words[4].strip() if len(words) > 4 else ""
        rows.append(PocketRow(pocket, code, length, diameter, comment))
    return rows


def save_tools(path: str | Path, rows: Iterable[PocketRow]) -> None:
    """Write a tool table; raises ``ProgramError`` E-FILE."""
    texts = [
        f"{r.pocket}\t{r.code}\t{print_number(r.length)}\t{print_number(r.diameter)}\t"
        f"{' '.join(r.comment.split())}".rstrip()
        for r in rows
    ]
    _replace(Path(path), TOOL_HEADER, texts)


def _replace(file: Path, header: str, rows: Iterable[str]) -> None:
    text = "\n".join([header, "", *rows]) + "\n"
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.parent)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(text)
            out.flush()
            # The name must never point at a file whose contents are still on their way.
            os.fsync(out.fileno())
        os.replace(temporary, file)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise _wrong(file, 0, f"can't be written: {error.strerror}") from error
