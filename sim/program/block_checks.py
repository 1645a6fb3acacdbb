"""What must hold for a block: every code has its words, every word its code."""

from __future__ import annotations

from collections.abc import Callable

from drytouch.sim.program import modal as m
from drytouch.sim.program.block import AXES, PLANE_AXES, PLANE_OFFSETS, Block, moves_axes
from drytouch.sim.program.modal import Modal, name_of_g
from drytouch.sim.program.values import nearest_integer


def check_block(block: Block, state: Modal, slots: int) -> None:
    """Check that every code has its words, every word its code, and that the state allows it.

    ``state`` is that before the line. A field that the checker does not know is UNKNOWN, and what
    depends on it is let pass. Raises E-MISSING, E-STRAY, E-STATE, E-RANGE, E-ARC or E-FEED.
    """
    if block.call:
        return
    motion = block.g.get(m.MOTION, state.motion)
    for check in (_check_motion, _check_one_shot, _check_feed):
        check(block, state, motion, slots)
    _check_plain_words(block, slots)
    _check_strays(block, motion)


def _check_motion(block: Block, state: Modal, motion: int, slots: int) -> None:
    explicit = block.g.get(m.MOTION)
    if explicit in m.AXIS_MOTIONS and not block.axes:
        assert explicit is not None
        raise block.wrong(
            "E-MISSING", f"{name_of_g(explicit)} needs at least one of X Y Z", f"G{explicit}"
        )
    if block.one_shot == 530:
        if not block.axes:
            raise block.wrong("E-MISSING", "G53 needs at least one of X Y Z", "G530")
        if motion not in (0, 10, m.UNKNOWN):
            raise block.wrong("E-STATE", "G53 needs G0 or G1", "G530")
    elif motion == 800 and block.axes and block.one_shot not in m.AXIS_OWNERS:
        raise block.wrong("E-STATE", "no motion mode is in force (G80)", block.axes[0])
    if moves_axes(block, motion) and motion in m.ARCS:
        _check_arc(block, block.g.get(m.PLANE, state.plane))


def _check_arc(block: Block, plane: int) -> None:
    if plane == m.UNKNOWN:
        return
    offsets = PLANE_OFFSETS[plane]
    first, second, third = PLANE_AXES[plane]
    if AXES[first] not in block.values and AXES[second] not in block.values:
        raise block.wrong(
            "E-MISSING", f"an arc in {name_of_g(plane)} needs {AXES[first]} or {AXES[second]}"
        )
    outside = "IJK"[third]
    if outside in block.values:
        raise block.wrong("E-ARC", f"{outside} is not in the plane {name_of_g(plane)}", outside)
    has_offset = any(letter in block.values for letter in offsets)
    if has_offset and "R" in block.values:
        raise block.wrong("E-ARC", "an arc takes a centre or a radius, not both", "R")
    if not has_offset and "R" not in block.values:
        raise block.wrong("E-MISSING", f"an arc needs {offsets[0]}, {offsets[1]} or R")


def _need(block: Block, letter: str, code: str, what: str) -> None:
    if letter not in block.values:
        raise block.wrong("E-MISSING", f"{code} needs {letter}, {what}", "G" + _tenths(code))


def _tenths(code: str) -> str:
    return str(round(float(code[1:]) * 10))


def _check_one_shot(block: Block, state: Modal, motion: int, slots: int) -> None:
    check = _ONE_SHOT_CHECKS.get(block.one_shot or 0)
    if check is not None:
        check(block, slots)
    if block.g.get(m.LENGTH) == 430:
        _need(block, "H", "G43", "the row of the tool table")
        block.integer("H", 0, slots, "row")


def _check_dwell(block: Block, slots: int) -> None:
    _need(block, "P", "G4", "the seconds")
    if block.values["P"] < 0:
        raise block.wrong("E-RANGE", "P, the seconds of G4, can't be negative", "P")


def _check_table(block: Block, slots: int) -> None:
    _need(block, "L", "G10", "1 for the tool table or 2 for a work system")
    kind = block.integer("L", 1, 2, "kind of G10")
    _need(block, "P", "G10", "the row or system")
    if kind == 2:
        block.integer("P", 1, 9, "work system")
        return
    block.integer("P", 1, slots, "row")
    if "R" not in block.values and "Q" not in block.values:
        raise block.wrong("E-MISSING", "G10 L1 needs R (geometry) or Q (wear)", "G100")
    if block.axes:
        raise block.wrong("E-STRAY", "G10 L1 takes R and Q, no axis words", block.axes[0])


def _needs_axes(name: str) -> Callable[[Block, int], None]:
    def check(block: Block, slots: int) -> None:
        if not block.axes:
            raise block.wrong(
                "E-MISSING", f"{name} needs at least one of X Y Z", "G" + _tenths(name)
            )

    return check


_ONE_SHOT_CHECKS: dict[int, Callable[[Block, int], None]] = {
    40: _check_dwell,
    100: _check_table,
    310: _needs_axes("G31"),
    920: _needs_axes("G92"),
}


def _check_feed(block: Block, state: Modal, motion: int, slots: int) -> None:
    inverse = block.g.get(m.FEED_MODE, state.feed_mode) == 930
    touching = block.one_shot == 310 or (moves_axes(block, motion) and motion == 382)
    if inverse and touching:
        raise block.wrong("E-STATE", "a touch needs units per minute (G94), not G93")
    if not moves_axes(block, motion) or motion not in m.FEED_MOTIONS or not inverse:
        return
    if "F" not in block.values:
        raise block.wrong("E-FEED", "with G93 every G1, G2 or G3 line needs its own F")
    if block.values["F"] == 0:
        raise block.wrong("E-FEED", "F0 with G93 would take for ever", "F")


def _check_plain_words(block: Block, slots: int) -> None:
    for letter, what in (("F", "feed"), ("S", "spindle speed")):
        if block.values.get(letter, 0.0) < 0:
            raise block.wrong("E-RANGE", f"{letter} ({what}) can't be negative", letter)
    if "T" in block.values:
        block.integer("T", 0, slots, "tool")


def _check_strays(block: Block, motion: int) -> None:
    arc = moves_axes(block, motion) and motion in m.ARCS
    unknown = bool(block.axes) and motion == m.UNKNOWN
    table = block.one_shot == 100
    tool_table = (
        table and nearest_integer(block.values["L"]) == 1
        if table and not _unknown(block.values.get("L", 0.0))
        else table
    )
    orient = block.m.get(m.SPINDLE) == 19
    if arc and orient and "R" in block.values:
        raise block.wrong("E-MODAL", "the arc and M19 both want R", "R")
    users = {
        "I": arc, "J": arc, "K": arc, "R": arc or tool_table or orient, "Q": tool_table,
        "P": table or block.one_shot == 40, "L": table, "H": block.g.get(m.LENGTH) == 430,
        "D": False,
    }  # fmt: skip
    for letter, used in users.items():
        if letter in block.values and not used and not (unknown and letter in "IJKR"):
            raise block.wrong("E-STRAY", f"nothing on the line uses {letter}", letter)


def _unknown(value: float) -> bool:
    return value != value
