"""Programs as texts with a frame and a flow: labels, loops, and where a jump may land."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field

from drytouch.sim.program.errors import ProgramError, ProgramErrors
from drytouch.sim.program.line import Line, Number, Value
from drytouch.sim.program.reader import parse_line
from drytouch.sim.program.values import nearest_integer

ENDS = (2.0, 30.0, 99.0)
LOOP_NUMBERS = (1, 2, 3)
# How many lines are read between two calls of a progress hook.
PROGRESS_LINES = 5000


@dataclass(slots=True)
class Program:
    """One program: its lines, and where its labels and loops are.

    ``entries[i]`` is the line of file line ``first_line + i``, or the error that it can't be read.
    ``partners`` joins each WHILE to its END and back; ``loops[i]`` are the WHILE lines around i.
    """

    file: str
    number: int | None
    first_line: int
    texts: list[str]
    entries: list[Line | ProgramError]
    labels: dict[int, list[int]] = field(default_factory=dict)
    partners: dict[int, int] = field(default_factory=dict)
    loops: dict[int, tuple[int, ...]] = field(default_factory=dict)
    errors: list[ProgramError] = field(default_factory=list)
    framed: bool = False

    def line_number(self, index: int) -> int:
        """Return the 1-based line of the file."""
        return self.first_line + index

    def locate(self, error: ProgramError, index: int) -> ProgramError:
        """Return ``error`` with file, line and text filled in."""
        text = self.texts[index] if index < len(self.texts) else ""
        return error.located(self.file, self.line_number(index), text=text)

    def line(self, index: int) -> Line:
        """Return a line; raises its ``ProgramError`` if it could not be read."""
        entry = self.entries[index]
        if isinstance(entry, ProgramError):
            raise entry
        return entry

    def find(self, label: int, index: int) -> int:
        """Return where a jump from ``index`` to N ``label`` lands: forward, then from the top.

        Raises E-FLOW if there is no such label, or it lies inside a loop that ``index`` is not in.
        """
        places = self.labels.get(label)
        if not places:
            raise ProgramError("E-FLOW", f"there is no line N{label} to jump to")
        target = next((place for place in places if place > index), places[0])
        around = self.loops.get(target, ())
        if self.loops.get(index, ())[: len(around)] != around:
            raise ProgramError("E-FLOW", f"N{label} lies inside a loop; loops are entered by WHILE")
        return target


@dataclass(slots=True)
class ProgramFile:
    """All programs of one file; the first is the one to run, the rest are there to be called."""

    file: str
    programs: list[Program]
    errors: list[ProgramError]

    @property
    def main(self) -> Program:
        """The first program; raises ``ProgramErrors`` if the file has errors."""
        if self.errors:
            raise ProgramErrors(tuple(self.errors))
        return self.programs[0]

    @property
    def library(self) -> dict[int, Program]:
        """The numbered programs."""
        return {p.number: p for p in self.programs if p.number is not None}


def read_program(
    text: str, file: str = "program", progress: Callable[[int, int], None] | None = None
) -> ProgramFile:
    """Read all programs of a text and check their frame and flow.

    ``progress(lines read, lines in all)`` is called now and then. Never raises for what the text
    holds: every error is in ``errors``, in the order of lines.
    """
    texts = text.split("\n")
    if texts and texts[-1] == "":
        texts.pop()
    errors: list[ProgramError] = []
    start, stop, framed = _frame(texts, file, errors)
    programs: list[Program] = []
    current = Program(file, None, start + 1, [], [], framed=framed)
    for place in range(start, stop):
        source = texts[place].removesuffix("\r")
        if progress is not None and (place - start) % PROGRESS_LINES == 0:
            progress(place - start, stop - start)
        entry = _entry(source, file, place + 1)
        if isinstance(entry, Line) and entry.program is not None:
            if any(not isinstance(e, Line) or not e.is_blank for e in current.entries):
                programs.append(current)
            current = Program(file, entry.program, place + 1, [], [], framed=framed)
        current.texts.append(source)
        current.entries.append(entry)
    programs.append(current)
    if progress is not None:
        progress(stop - start, stop - start)
    for program in programs:
        _finish(program)
        errors.extend(program.errors)
    errors.extend(_same_numbers(programs))
    errors.sort(key=lambda error: (error.line, error.column))
    return ProgramFile(file, programs, errors)


def _entry(source: str, file: str, line_number: int) -> Line | ProgramError:
    try:
        return parse_line(source, file, line_number)
    except ProgramError as error:
        return error


def _frame(texts: list[str], file: str, errors: list[ProgramError]) -> tuple[int, int, bool]:
    """Return first line, end and whether percent lines frame the program."""
    first = next((k for k, text in enumerate(texts) if text.strip()), len(texts))
    if first == len(texts):
        errors.append(ProgramError("E-FILE", "the program is empty", file, 1))
        return 0, 0, True
    if texts[first].strip() != "%":
        return 0, len(texts), False
    for place in range(first + 1, len(texts)):
        if texts[place].strip() == "%":
            return first + 1, place, True
    errors.append(
        ProgramError(
            "E-FILE", "a program that begins with % must end with %", file, first + 1, 1, "%"
        )
    )
    return first + 1, len(texts), True


def _same_numbers(programs: list[Program]) -> list[ProgramError]:
    seen: set[int] = set()
    errors = []
    for program in programs:
        if program.number is not None and program.number in seen:
            message = f"O{program.number} is in the file twice"
            errors.append(program.locate(ProgramError("E-FLOW", message), 0))
        seen.add(program.number or 0)
    return errors


def _finish(program: Program) -> None:
    """Drop the text after the end, then find labels and loops and what is wrong with them."""
    for index, entry in enumerate(program.entries):
        number = entry.number if isinstance(entry, Line) else _label_of(entry.text)
        if number is not None:
            program.labels.setdefault(number, []).append(index)
    end = _end(program)
    if end is not None:
        del program.texts[end + 1 :], program.entries[end + 1 :]
        for label, places in list(program.labels.items()):
            program.labels[label] = [place for place in places if place <= end]
            if not program.labels[label]:
                del program.labels[label]
    program.errors.extend(e for e in program.entries if isinstance(e, ProgramError))
    for index, entry in enumerate(program.entries):
        if isinstance(entry, Line) and entry.percent:
            message = "% belongs at the very beginning and end of a program"
            program.errors.append(program.locate(ProgramError("E-FILE", message), index))
    _pair_loops(program)
    if not program.framed and not any(map(_ends, program.entries)):
        message = "the program needs M2 or M30 (M99 if it is called), or % at both ends"
        last = max(len(program.entries) - 1, 0)
        program.errors.append(program.locate(ProgramError("E-FILE", message), last))


def _label_of(text: str) -> int | None:
    """Return the N number of a line that can't be read: a jump still leads there."""
    match = re.match(r"\s*/?\s*[Nn]\s*([0-9]{1,5})", text)
    return None if match is None else int(match[1])


def is_end(line: Line) -> bool:
    """Whether the line has M2, M30 or M99."""
    return any(
        word.letter == "M" and isinstance(word.value, Number) and word.value.value in ENDS
        for word in line.words
    ) and not any(
        word.letter == "G" and isinstance(word.value, Number) and word.value.value == 65
        for word in line.words
    )


def _ends(entry: Line | ProgramError) -> bool:
    return isinstance(entry, Line) and is_end(entry)


def _end(program: Program) -> int | None:
    """Return the last line that belongs to the program: an end that no jump leads past."""
    targets = [
        entry.flow.target
        for entry in program.entries
        if isinstance(entry, Line) and entry.flow and entry.flow.kind in ("GOTO", "IF")
    ]
    furthest = -1
    for target in targets:
        label = constant(target)
        places = (
            [p for group in program.labels.values() for p in group]
            if label is None
            else program.labels.get(label, [])
        )
        furthest = max([furthest, *places])
    depth = 0
    for index, entry in enumerate(program.entries):
        if not isinstance(entry, Line):
            continue
        if entry.flow is not None:
            depth += {"WHILE": 1, "END": -1}.get(entry.flow.kind, 0)
        if index >= furthest and depth <= 0 and not entry.block_delete and is_end(entry):
            return index
    return None


def constant(value: Value) -> int | None:
    """Return the integer that a plain number stands for, else None."""
    return nearest_integer(value.value) if isinstance(value, Number) else None


def _pair_loops(program: Program) -> None:
    opened: list[int] = []
    for index, entry in enumerate(program.entries):
        if opened:
            program.loops[index] = tuple(opened)
        flow = entry.flow if isinstance(entry, Line) else None
        if flow is None or flow.kind not in ("WHILE", "END"):
            continue
        number = constant(flow.target)
        if isinstance(flow.target, Number) and number not in LOOP_NUMBERS:
            _flow_error(program, index, "a loop has the number 1, 2 or 3")
        if flow.kind == "WHILE":
            _open_loop(program, opened, index, number)
        elif not opened:
            _flow_error(program, index, "END without a WHILE before it")
        else:
            start = opened.pop()
            program.partners[start], program.partners[index] = index, start
            first = _loop_number(program, start)
            if number is not None and first is not None and number != first:
                _flow_error(program, index, f"END {number} crosses the loop DO {first}")
    for index in opened:
        _flow_error(program, index, "this WHILE has no END")


def _open_loop(program: Program, opened: list[int], index: int, number: int | None) -> None:
    if number is not None and number in [_loop_number(program, k) for k in opened]:
        _flow_error(program, index, f"DO {number} is inside a loop of the same number")
    elif len(opened) >= len(LOOP_NUMBERS):
        _flow_error(program, index, "loops nest three deep at most")
    opened.append(index)


def _loop_number(program: Program, index: int) -> int | None:
    entry = program.entries[index]
    assert isinstance(entry, Line)
    assert entry.flow is not None
    return constant(entry.flow.target)


def _flow_error(program: Program, index: int, message: str) -> None:
    program.errors.append(program.locate(ProgramError("E-FLOW", message, column=1), index))
