"""Lines whose effect depends on a point on which controls differ."""

from __future__ import annotations

from collections.abc import Iterator

from drytouch.sim.program import modal as m
from drytouch.sim.program.block import Block, moves_axes
from drytouch.sim.program.known import Known, touches
from drytouch.sim.program.machine_values import MACHINE_VALUES
from drytouch.sim.program.parameters import TOUCH_RESULT
from drytouch.sim.program.survey import Survey

TOUCH_RESULTS = frozenset(range(TOUCH_RESULT, TOUCH_RESULT + 6))
POSITION = frozenset(range(5811, 5814))
LIVE = TOUCH_RESULTS | {
    number
    for entry in MACHINE_VALUES
    if entry.live
    for number in range(entry.first, entry.last + 1)
}


def of_values(found: Survey) -> Iterator[tuple[str, str]]:
    """Yield setting and advice for what a line's values depend on."""
    if found.fix:
        yield "fix_of_negative", "keep the argument of FIX from being negative"
    if found.equality:
        yield "comparison", "compare with GT or LT and a tolerance of your own"
    if found.logic:
        yield "logic_beside_comparison", "give each comparison its own brackets"
    if found.reads & TOUCH_RESULTS:
        yield "touch_result", "read the machine position at the trip (#5821-#5823) instead"
    if found.reads & LIVE:
        yield "read_ahead_lines", "a control that reads ahead needs a wait before this line"


def of_codes(block: Block, known: Known, found: Survey | None) -> Iterator[tuple[str, str]]:
    """Yield setting and advice for what a line's codes do."""
    modal, axes = known.modal, block.axes
    motion = block.g.get(m.MOTION, modal.motion)
    one_shot = block.one_shot
    homing = one_shot in (280, 300)
    if homing and 0 < len(axes) < 3:
        yield "home_axes", "name all axes, or none"
    units = block.g.get(m.UNITS)
    if units is not None and "F" in block.values and units != modal.units:
        yield "feed_with_unit_change", "set F on a line after the change of units"
    if units is not None and units != modal.units and known.units_set:
        yield "offsets_on_unit_change", "select the work system and tool length again"
    if one_shot == 310 and not known.checked_since_touch:
        yield "g31_already_tripped", "read the input (#5830) and jump to an alarm if it is on"
    if block.m.get(m.STOP) in (2, 30) and known.maybe_length and block.g.get(m.LENGTH) != 490:
        yield "tool_length_at_end", "cancel it with G49 before the end"
    rapid = moves_axes(block, motion) and motion == 0
    if (rapid and len(axes) > 1) or (homing and len(axes) != 1):
        yield "rapid_path", "move one axis at a time where something is in the way"
    if known.maybe_rest and _builds_on_rest(block, known, motion, found):
        yield "rest_after_touch", "go to an absolute position after the touch"


def _builds_on_rest(block: Block, known: Known, motion: int, found: Survey | None) -> bool:
    if found is not None and found.reads & POSITION:
        return True
    distance = block.g.get(m.DISTANCE, known.modal.distance)
    moves = moves_axes(block, motion) or touches(block, known)
    return moves and distance == 910 and block.one_shot != 530
