"""The check of one line with what is certain before it."""

from __future__ import annotations

from dataclasses import replace

from drytouch.sim.program import modal as m
from drytouch.sim.program.block import Block, build_block, moves_axes
from drytouch.sim.program.block_checks import check_block
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.findings import Findings
from drytouch.sim.program.flow import constant
from drytouch.sim.program.known import UNKNOWN_MODAL, Known, after, touches
from drytouch.sim.program.line import Line, Number, Value
from drytouch.sim.program.machine_values import INPUT_STATES
from drytouch.sim.program.parameters import Parameters
from drytouch.sim.program.portability import TOUCH_RESULTS, of_codes, of_values
from drytouch.sim.program.settings import LanguageSettings
from drytouch.sim.program.survey import UNKNOWN_VALUE, Survey, probe, survey, survey_value
from drytouch.sim.program.values import parameter_index

# From here on parameters outlive the call that set them.
PERSISTENT = 34


def check_line(check: Findings, index: int, known: Known) -> Known:
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
        return _check_words(check, index, line, known, found)
    except ProgramError as error:
        check.error(index, error)
        # The line may have meant to change any mode: don't report what follows from that.
        return replace(known, modal=UNKNOWN_MODAL, units_set=True, maybe_feedless=False)


def _is_plain(line: Line) -> bool:
    if line.settings or line.flow is not None:
        return False
    return all(type(word.value) is Number for word in line.words)


def _check_flow(check: Findings, index: int, line: Line) -> None:
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


def _block(check: Findings, line: Line) -> tuple[Block, bool]:
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


def _check_words(
    check: Findings, index: int, line: Line, known: Known, found: Survey | None
) -> Known:
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


def _check_call(check: Findings, block: Block) -> None:
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


def _warn_of_block(check: Findings, index: int, line: Line, block: Block, known: Known) -> None:
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
