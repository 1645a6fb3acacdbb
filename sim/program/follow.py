"""The check of all ways through a program."""

from __future__ import annotations

from collections.abc import Iterator

from drytouch.sim.program.check_line import check_line
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.findings import ALL, ERRORS, NOTHING, Findings
from drytouch.sim.program.flow import Program, is_end
from drytouch.sim.program.graph import jump_targets, leaders, successors
from drytouch.sim.program.known import CALLED, Known, join
from drytouch.sim.program.line import Line, Number

# A stop this soon after a jump belongs to the case that the jump was made for.
CASE_LINES = 4
PAUSES = (0, 1, 60)


def follow(check: Findings, start: Known) -> None:
    """Take every way through the program, then report with what is certain on all of them."""
    program = check.program
    meeting = leaders(program)
    at = {0: start}
    if meeting != {0}:
        check.reports = NOTHING
        at = _settle(check, start, meeting)
        check.reports = ALL
    reached = bytearray(len(program.entries) + 1)
    for index, known in sorted(at.items()):
        _walk(check, index, known, meeting, reached)
    _judge_reached(check, reached)


def _settle(check: Findings, start: Known, meeting: set[int]) -> dict[int, Known]:
    """Return what is certain at each line where ways meet; it only ever becomes less."""
    at: dict[int, Known] = {}
    work = [(0, start)]
    while work:
        index, known = work.pop()
        joined = join(at[index], known) if index in at else known
        if at.get(index) == joined:
            continue
        at[index] = joined
        following, known = _walk(check, index, joined, meeting, None)
        work.extend((target, known) for target in following if target < len(check.program.entries))
    return at


def _walk(
    check: Findings, index: int, known: Known, meeting: set[int], reached: bytearray | None
) -> tuple[tuple[int, ...], Known]:
    """Go from one meeting of ways to the next; returns the lines that follow, and what is known."""
    program = check.program
    following: tuple[int, ...] = (index,)
    while index < len(program.entries):
        if reached is not None:
            reached[index] = 1
        known = check_line(check, index, known)
        following = successors(program, index)
        if following != (index + 1,) or index + 1 in meeting:
            break
        index += 1
    if reached is not None and len(program.entries) in following:
        reached[len(program.entries)] = 1
    return following, known


def _judge_reached(check: Findings, reached: bytearray) -> None:
    program = check.program
    last = len(program.entries) - 1
    if reached[last + 1] and not program.framed and any(_end_lines(program)):
        message = "the program can run past its last line: it needs M2, M30 or M99 there"
        check.error(last, ProgramError("E-FILE", message))
    before = True
    check.reports = ERRORS
    for index in range(last + 1):
        if not reached[index]:
            check_line(check, index, CALLED)
    check.reports = ALL
    for index, entry in enumerate(program.entries):
        blank = isinstance(entry, Line) and entry.is_blank and entry.number is None
        if not reached[index] and before and not blank:
            check.warn(index, "unreachable")
        before = bool(reached[index]) or (blank and before)


def _end_lines(program: Program) -> Iterator[bool]:
    return (isinstance(entry, Line) and is_end(entry) for entry in program.entries)


def find_cases(check: Findings) -> None:
    """Find pauses that only run when a condition went one way: they stand for alarms."""
    program = check.program
    for index, entry in enumerate(program.entries):
        if not isinstance(entry, Line) or entry.flow is None or entry.flow.kind != "IF":
            continue
        targets = jump_targets(program, index)
        for target in targets:
            _find_pause(check, target, target + CASE_LINES)
            if index < target <= index + 1 + CASE_LINES:
                _find_pause(check, index + 1, target)


def _find_pause(check: Findings, start: int, stop: int) -> None:
    program = check.program
    for index in range(start, min(stop, len(program.entries))):
        entry = program.entries[index]
        if not isinstance(entry, Line) or entry.flow is not None or is_end(entry):
            return
        for word in entry.words:
            if word.letter == "M" and isinstance(word.value, Number) and word.value.value in PAUSES:
                check.warn(index, "pause-for-alarm")
