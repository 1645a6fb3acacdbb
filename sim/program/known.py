"""What is certain at a line whichever way the program came there, and what the line changes."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

from drytouch.sim.program import modal as m
from drytouch.sim.program.block import Block, moves_axes
from drytouch.sim.program.modal import Modal

_MODES = tuple(field.name for field in fields(Modal) if field.type == "int")


@dataclass(frozen=True, slots=True)
class Known:
    """The modes, UNKNOWN where ways disagree; ``maybe`` holds on some way, the others on all.

    ``input_checked``: the input was read since the start, a pause or a tool change;
    ``checked_since_touch``: since the last touch too. ``maybe_length``: a tool length may be in
    force; ``maybe_touched_with_length``: it may have been at the last touch; ``maybe_rest``: the
    axes may stand where a touch left them. ``maybe_feedless``: no feed may have been set.
    """

    modal: Modal = Modal()  # noqa: RUF009
    units_set: bool = False
    input_checked: bool = False
    checked_since_touch: bool = False
    maybe_feedless: bool = True
    maybe_length: bool = False
    maybe_touched_with_length: bool = False
    maybe_rest: bool = False


_ALL_UNKNOWN: dict[str, Any] = dict.fromkeys(_MODES, m.UNKNOWN)
UNKNOWN_MODAL = Modal(**_ALL_UNKNOWN)
CALLED = Known(UNKNOWN_MODAL, units_set=True, maybe_feedless=False)
"""What a called program can be sure of: nothing, and its caller is trusted with units and feed."""


def join(a: Known, b: Known) -> Known:
    """Return what is certain when a line is reached with ``a`` as well as with ``b``."""
    if a == b:
        return a
    modes: dict[str, Any] = {
        name: getattr(a.modal, name)
        if getattr(a.modal, name) == getattr(b.modal, name)
        else m.UNKNOWN
        for name in _MODES
    }
    return Known(
        replace(a.modal, **modes),
        a.units_set and b.units_set,
        a.input_checked and b.input_checked,
        a.checked_since_touch and b.checked_since_touch,
        a.maybe_feedless or b.maybe_feedless,
        a.maybe_length or b.maybe_length,
        a.maybe_touched_with_length or b.maybe_touched_with_length,
        a.maybe_rest or b.maybe_rest,
    )


def touches(block: Block, known: Known) -> bool:
    """Whether the line touches: G31, or axis words for G38.2."""
    motion = block.g.get(m.MOTION, known.modal.motion)
    return block.one_shot == 310 or (moves_axes(block, motion) and motion == 382)


def after(known: Known, block: Block) -> Known:
    """Return what is certain after a line whose codes are all known."""
    if not (block.g or block.m or "F" in block.values or known.maybe_rest):
        return known if not touches(block, known) else _after_touch(known)
    if block.call:
        # The called program may have changed every mode; offsets and checks are no better known.
        return replace(known, modal=UNKNOWN_MODAL, maybe_length=True)
    modal = known.modal
    moves = bool(block.axes)
    touched = touches(block, known)
    for group, code in block.g.items():
        if group in m.FIELD_OF_G:
            modal = modal.with_g(group, code)
    spindle = block.m.get(m.SPINDLE)
    if spindle is not None:
        modal = replace(modal, spindle=5 if spindle == 19 else spindle)
    if m.TOOL_CHANGE in block.m:
        modal = replace(modal, spindle=5 if spindle is None else modal.spindle)
    length = block.g.get(m.LENGTH)
    maybe_length = known.maybe_length if length is None else length == 430
    if length == 430 and block.values.get("H") == 0:
        maybe_length = False
    waits = m.TOOL_CHANGE in block.m or block.m.get(m.STOP) in (0, 1, 60)
    quiet = not (waits or (moves and known.maybe_rest) or length is not None or touched)
    if modal is known.modal and quiet and not _says_more(known, block):
        return known
    new = replace(
        known,
        modal=modal,
        units_set=known.units_set or m.UNITS in block.g,
        input_checked=known.input_checked and not waits,
        checked_since_touch=known.checked_since_touch and not waits,
        maybe_feedless=known.maybe_feedless and "F" not in block.values,
        maybe_length=maybe_length,
        maybe_rest=known.maybe_rest and not moves,
    )
    return _after_touch(new) if touched else new


def _says_more(known: Known, block: Block) -> bool:
    """Whether the line sets units or a feed that may not have been set before."""
    units = m.UNITS in block.g and not known.units_set
    return units or ("F" in block.values and known.maybe_feedless)


def _after_touch(known: Known) -> Known:
    return replace(
        known,
        checked_since_touch=False,
        maybe_rest=True,
        maybe_touched_with_length=known.maybe_length,
    )
