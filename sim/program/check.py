"""Check a whole program without a machine: all errors, and what a careful reader would mark.

Every way through the program is followed once with what is certain on it (``Known``); where ways
meet, what they disagree on becomes unknown and is let pass. Then the program runs once on the ideal
machine, which finds what only numbers tell: arcs that don't fit, calculations that fail.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program import modal as m
from drytouch.sim.program.block import Block, build_block, check_block, moves_axes
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.flow import Program, ProgramFile, constant, is_end, read_program
from drytouch.sim.program.graph import jump_targets, leaders, successors
from drytouch.sim.program.ideal import IdealMachine
from drytouch.sim.program.interpreter import Interpreter, Options
from drytouch.sim.program.known import CALLED, UNKNOWN_MODAL, Known, after, join, touches
from drytouch.sim.program.line import Line, Number, Value
from drytouch.sim.program.machine import SetterRecord, ToolRow, TouchConditions
from drytouch.sim.program.machine_values import INPUT_STATES
from drytouch.sim.program.parameters import Parameters
from drytouch.sim.program.portability import TOUCH_RESULTS, of_codes, of_values
from drytouch.sim.program.reader import column_of
from drytouch.sim.program.settings import POINTS, LanguageSettings
from drytouch.sim.program.survey import UNKNOWN_VALUE, Survey, probe, survey, survey_value
from drytouch.sim.program.values import parameter_index

WARNINGS = {
    "unreachable": "no way through the program leads here",
    "unchecked-touch": "nothing reads the input before this touch; stuck on, it would not stop it",
    "length-at-reference": "the touch ran with a tool length in force, which is in its result",
    "units-unset": "the program moves before it says whether it is in mm or inch",
    "pause-for-alarm": "cycle start carries on past a pause; (ALARM, text) stops for good",
    "turning-touch": "the spindle turns at this touch; not every setter permits that",
    "dry-run": "the program stopped here on the ideal machine",
    "setting": "controls differ on",
}
"""The warnings, and what each says."""

# A stop this soon after a jump belongs to the case that the jump was made for.
CASE_LINES = 4
# From here on parameters outlive the call that set them.
PERSISTENT = 34
PAUSES = (0, 1, 60)
# A dry run shows one way through the program; a circle in it is cut after so many lines without
# time, or so many in all (more if the program itself is longer).
DRY_IDLE_LINES = 20_000
DRY_LINES = 50_000


@dataclass(frozen=True, slots=True)
class Warned:
    """Something that is legal but deserves a second look. ``setting`` names a language setting."""

    code: str
    message: str
    file: str
    line: int
    text: str
    setting: str = ""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.code}: {self.message}\n{self.text}"


@dataclass(frozen=True, slots=True)
class Checked:
    """All that a check found, in the order of lines."""

    errors: tuple[ProgramError, ...]
    warnings: tuple[Warned, ...]
    lines: int


# What a check reports while it goes over lines.
NOTHING, ERRORS, ALL = 0, 1, 2


@dataclass(slots=True)
class _Check:
    """The check of one program."""

    program: Program
    library: dict[int, Program]
    settings: LanguageSettings
    slots: int
    reports: int = ALL
    errors: dict[tuple[int, str, int], ProgramError] = field(default_factory=dict)
    warnings: dict[tuple[int, str, str], Warned] = field(default_factory=dict)

    def error(self, index: int, error: ProgramError) -> None:
        """Note an error once per line, code and column."""
        if self.reports < ERRORS:
            return
        if not error.line:
            text = self.program.texts[index]
            column = column_of(text, error.column - 1) if error.column else 0
            error = ProgramError(error.code, error.message, column=column)
            error = self.program.locate(error, index)
        self.errors.setdefault((error.line, error.code, error.column), error)

    def warn(self, index: int, code: str, more: str = "", setting: str = "") -> None:
        """Note a warning once per line."""
        if self.reports < ALL:
            return
        line = self.program.line_number(index)
        message = WARNINGS[code] + more
        self.warnings.setdefault(
            (line, code, setting),
            Warned(code, message, self.program.file, line, self.program.texts[index], setting),
        )

    def settle(self, index: int, found: Iterator[tuple[str, str]]) -> None:
        """Warn of points on which controls differ."""
        for setting, advice in found:
            self.warn(index, "setting", f" {POINTS[setting][0]}; {advice}", setting)


def check_program(
    source: str | ProgramFile,
    file: str = "program",
    settings: LanguageSettings | None = None,
    library: dict[int, Program] | None = None,
    slots: int = 99,
    progress: Callable[[int, int], None] | None = None,
) -> Checked:
    """Check all programs of a text or of a file that was read.

    ``library`` has the programs of other files that may be called. ``progress(lines, of)`` is
    called while the text is read. Never raises for what the program holds.
    """
    read = source if isinstance(source, ProgramFile) else read_program(source, file, progress)
    settings = settings or LanguageSettings()
    callable_programs = {**(library or {}), **read.library}
    errors = {(e.line, e.code, e.column): e for e in read.errors}
    warnings: dict[tuple[int, str, str], Warned] = {}
    for program in read.programs:
        check = _Check(program, callable_programs, settings, slots)
        _follow(check, CALLED if _is_called(program) else Known())
        _cases(check)
        errors |= check.errors
        warnings |= check.warnings
    if not errors and not _is_called(read.programs[0]):
        _dry_run(read, callable_programs, settings, slots, errors, warnings)
    return Checked(
        tuple(errors[key] for key in sorted(errors)),
        tuple(warnings[key] for key in sorted(warnings)),
        sum(len(program.entries) for program in read.programs),
    )


def _is_called(program: Program) -> bool:
    return any(
        word.letter == "M" and isinstance(word.value, Number) and word.value.value == 99
        for entry in program.entries
        if isinstance(entry, Line)
        for word in entry.words
    )


def _follow(check: _Check, start: Known) -> None:
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


def _settle(check: _Check, start: Known, meeting: set[int]) -> dict[int, Known]:
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
    check: _Check, index: int, known: Known, meeting: set[int], reached: bytearray | None
) -> tuple[tuple[int, ...], Known]:
    """Go from one meeting of ways to the next; returns the lines that follow, and what is known."""
    program = check.program
    following: tuple[int, ...] = (index,)
    while index < len(program.entries):
        if reached is not None:
            reached[index] = 1
        known = _pass(check, index, known)
        following = successors(program, index)
        if following != (index + 1,) or index + 1 in meeting:
            break
        index += 1
    if reached is not None and len(program.entries) in following:
        reached[len(program.entries)] = 1
    return following, known


def _judge_reached(check: _Check, reached: bytearray) -> None:
    program = check.program
    last = len(program.entries) - 1
    if reached[last + 1] and not program.framed and any(_end_lines(program)):
        message = "the program can run past its last line: it needs M2, M30 or M99 there"
        check.error(last, ProgramError("E-FILE", message))
    before = True
    check.reports = ERRORS
    for index in range(last + 1):
        if not reached[index]:
            _pass(check, index, CALLED)
    check.reports = ALL
    for index, entry in enumerate(program.entries):
        blank = isinstance(entry, Line) and entry.is_blank and entry.number is None
        if not reached[index] and before and not blank:
            check.warn(index, "unreachable")
        before = bool(reached[index]) or (blank and before)


def _end_lines(program: Program) -> Iterator[bool]:
    return (isinstance(entry, Line) and is_end(entry) for entry in program.entries)


def _pass(check: _Check, index: int, known: Known) -> Known:
    """Check one line with what is known before it; returns what is known after it."""
    line = check.program.entries[index]
    if isinstance(line, ProgramError) or (line.is_blank and line.program is None):
        return known
    try:
        found = None if _is_plain(line) else survey(line)
        if found is not None:
            check.settle(index, of_values(found))
            if not found.reads.isdisjoint(INPUT_STATES):
                known = replace(known, input_checked=True, checked_since_touch=True)
        if line.flow is not None:
            _check_flow(check, index, line)
            return known
        return _pass_words(check, index, line, known, found)
    except ProgramError as error:
        check.error(index, error)
        # The line may have meant to change any mode: don't report what follows from that.
        return replace(known, modal=UNKNOWN_MODAL, units_set=True, maybe_feedless=False)


def _is_plain(line: Line) -> bool:
    if line.settings or line.flow is not None:
        return False
    return all(type(word.value) is Number for word in line.words)


def _check_flow(check: _Check, index: int, line: Line) -> None:
    flow = line.flow
    assert flow is not None
    for value in (flow.target, flow.condition):
        if value is not None:
            _probe_at(value, flow.at, check.settings)
    label = constant(flow.target)
    if flow.kind in ("GOTO", "IF"):
        if label is not None:
            try:
                check.program.find(label, index)
            except ProgramError as error:
                raise error.located(column=flow.at + 1) from None
        elif isinstance(flow.target, Number):
            raise ProgramError("E-FLOW", "a label is an integer", column=flow.at + 1)


def _probe_at(value: Value, at: int, settings: LanguageSettings) -> float | None:
    try:
        return probe(value, settings)
    except ProgramError as error:
        raise error.located(column=at + 1) from None


def _block(check: _Check, line: Line) -> tuple[Block, bool]:
    """Return the block as far as it is known, and whether all its codes are."""
    kept = Parameters()
    for setting in line.settings:
        value = _probe_at(setting.value, setting.at, check.settings)
        number = _probe_at(setting.index, setting.at, check.settings)
        if number is None or number == number:
            try:
                whole = parameter_index(Number(number or 0.0), kept.read, check.settings)
                # An unknown value is judged as one that is surely allowed.
                kept.check_writable(whole, 1.0 if value != value else value)
            except ProgramError as error:
                raise error.located(column=setting.at + 1) from None
    words = []
    codes_known = True
    for word in line.words:
        value = _probe_at(word.value, word.at, check.settings)
        if value is not None:
            words.append((word.letter, value, word.at))
            codes_known = codes_known and (value == value or word.letter not in "GM")
    return build_block(words), codes_known


def _pass_words(check: _Check, index: int, line: Line, known: Known, found: Survey | None) -> Known:
    block, codes_known = _block(check, line)
    if not codes_known:
        return replace(known, modal=UNKNOWN_MODAL, units_set=True, maybe_feedless=False)
    try:
        check_block(block, known.modal, check.slots)
        if not block.call:
            _check_feed(block, known)
    except ProgramError as error:
        # The codes themselves are legal: take them as in force, so that later lines are judged.
        check.error(index, error)
        # One missing feed is enough to say; the next line would say it again.
        return replace(after(known, block), maybe_feedless=False)
    if block.call:
        _check_call(check, block)
    else:
        _warn_of_block(check, index, line, block, known)
        check.settle(index, of_codes(block, known, found))
    if _moves_unitless(block, known):
        # Said once; the lines after it move in the same units.
        known = replace(known, units_set=True)
    return after(known, block)


def _check_call(check: _Check, block: Block) -> None:
    if block.values["P"] == block.values["P"]:
        number = block.integer("P", 1, 99999, "program")
        if number not in check.library:
            raise block.wrong("E-FLOW", f"there is no program O{number} to call", "P")


def _check_feed(block: Block, known: Known) -> None:
    motion = block.g.get(m.MOTION, known.modal.motion)
    feeds = touches(block, known) or (moves_axes(block, motion) and motion in m.FEED_MOTIONS)
    if not feeds or block.g.get(m.FEED_MODE, known.modal.feed_mode) != 940:
        return
    feed = block.values.get("F", 0.0 if known.maybe_feedless else UNKNOWN_VALUE)
    if feed == 0:
        raise block.wrong("E-FEED", "the feed is 0: there is no F before this line", "F")


def _warn_of_block(check: _Check, index: int, line: Line, block: Block, known: Known) -> None:
    if touches(block, known):
        guarded = known.checked_since_touch if block.one_shot == 310 else known.input_checked
        if not guarded:
            check.warn(index, "unchecked-touch")
        if block.m.get(m.SPINDLE, known.modal.spindle) in (3, 4):
            check.warn(index, "turning-touch")
    if _moves_unitless(block, known):
        check.warn(index, "units-unset")
    if known.maybe_touched_with_length and check.settings.touch_result == "work":
        kept = [s.value for s in line.settings if _stays(s.index)]
        if block.one_shot == 100 and block.values.get("L") == 1:
            kept += [word.value for word in line.words]
        if any(survey_value(value).reads & TOUCH_RESULTS for value in kept):
            check.warn(index, "length-at-reference")


def _moves_unitless(block: Block, known: Known) -> bool:
    return bool(block.axes) and not known.units_set and m.UNITS not in block.g


def _stays(index: Value) -> bool:
    """Whether a setting outlives the program that made it."""
    return isinstance(index, Number) and index.value >= PERSISTENT


def _cases(check: _Check) -> None:
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


def _find_pause(check: _Check, start: int, stop: int) -> None:
    program = check.program
    for index in range(start, min(stop, len(program.entries))):
        entry = program.entries[index]
        if not isinstance(entry, Line) or entry.flow is not None or is_end(entry):
            return
        for word in entry.words:
            if word.letter == "M" and isinstance(word.value, Number) and word.value.value in PAUSES:
                check.warn(index, "pause-for-alarm")


def _dry_run(
    read: ProgramFile,
    library: dict[int, Program],
    settings: LanguageSettings,
    slots: int,
    errors: dict[tuple[int, str, int], ProgramError],
    warnings: dict[tuple[int, str, str], Warned],
) -> None:
    """Run the first program; what it meets is an error unless the stand-in made up a value."""
    program = read.programs[0]
    machine = _stand_in(slots)
    interpreter = Interpreter(machine, settings)
    options = Options(library=library, lines_without_time_limit=DRY_IDLE_LINES)
    options.on_line = _counter(max(DRY_LINES, 2 * len(program.entries)))
    try:
        for _ in interpreter.execute(program, options):
            pass
    except _EnoughError as enough:
        line, text = enough.args
        more = f" after {DRY_LINES} lines or more, still running"
        warnings.setdefault(
            (line, "dry-run", ""),
            Warned("dry-run", WARNINGS["dry-run"] + more, program.file, line, text),
        )
    except ProgramError as error:
        made_up = interpreter.state.touch is not None or interpreter.read_the_machine
        if made_up or error.code == "E-FLOW":
            more = f": {error.code} {error.message}"
            warnings.setdefault(
                (error.line, "dry-run", ""),
                Warned("dry-run", WARNINGS["dry-run"] + more, error.file, error.line, error.text),
            )
        else:
            errors[(error.line, error.code, error.column)] = error
    except ControllerAlarm:
        # The program's own alarm on a machine that it was not written for says nothing.
        pass


class _EnoughError(Exception):
    """The dry run is cut here; arguments: line, text."""


def _counter(limit: int) -> Callable[[int, str], None]:
    """Return a hook that cuts a run after ``limit`` lines."""
    count = 0

    def on_line(line: int, text: str) -> None:
        nonlocal count
        count += 1
        if count > limit:
            raise _EnoughError(line, text)

    return on_line


def _stand_in(slots: int) -> IdealMachine:
    """An ideal machine with something in every table, on which every touch meets something."""
    rows = {row: ToolRow(100.0, 0.0) for row in range(1, slots + 1)}
    setter = SetterRecord(-300.0, 0.0, 0.0, 0.0, 50.0, True, 1)
    start = (0.0, 0.0, 0.0)
    return IdealMachine(
        start, tool_rows=rows, setter=setter, slots=slots, touch_anywhere=True, logging=False,
        conditions=TouchConditions(turning_allowed=True),
    )  # fmt: skip
