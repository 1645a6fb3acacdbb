"""The setter's own height, from a gauge block by feel, so that it can stand on stock."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.errors import StepError
from drytouch.sim.routines.touching import (
    Calls,
    begin,
    leave,
    setter_name,
    touch_down_here,
)

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller


def note_face_on_block(controller: Controller, block: str) -> Calls:
    """Note the machine Z at which the face rests on the gauge block; returns it, mm.

    First feel: start too low with the block out, step up until the block just goes in and drags,
    and take your hand out. Stepping down onto a block squeezes it. The face, or one and the same
    tool, may do the feeling and the touching; not one the first and the other the second.
    Nothing moves. ``block`` is the name that the height is noted under, such as ``block-50``.
    """
    yield from controller.dwell(0.0)
    z = controller.position[2]
    controller.tables.noted[block] = z
    return z


def measure_setter_height(
    controller: Controller,
    setter: str | None = None,
    *,
    block: str | None = None,
    face_on_block_z_mm: float | None = None,
    on_block: bool = True,
    block_size_mm: float | None = None,
    search_mm: float | None = None,
) -> Calls:
    """Measure how high the setter's pad is above its foot when it trips; returns it, mm.

    The face rested on the block at ``z_b``: the height that was noted (under the name ``block``
    where several were), or ``face_on_block_z_mm``. Stand the setter on that very block: when it
    trips at ``z_g``, its height is ``H = z_g - z_b``, whatever size the block has. Where the block
    is too small to stand on, or lies elsewhere, stand the setter where the block
    stood (``on_block`` False): then ``H = z_g - z_b + block_size_mm``, and an error of the block is
    in the height. Jog over the pad and down to less than ``search_mm`` above it (the record's); the
    routine touches straight down, fast once, slowly twice.

    The block is felt on the way up and the pad touched on the way down: the lost motion of Z is in
    the height, which comes out too small by it.

    Alarms: ``wrong-state`` (no face on a block was noted), ``unproved-input``, ``already-tripped``,
    ``no-contact``, ``not-agreeing``. Nothing is stored when it alarms.
    Raises ``StepError`` when the block's size, or which of several blocks, is needed and not given.
    """
    if not on_block and not (block_size_mm or 0.0) > 0.0:
        raise StepError(
            "the setter stands where the block stood, so the block's size counts",
            "give block_size_mm above 0",
        )
    record = begin(controller, setter)
    z_b = face_on_block_z_mm
    if z_b is None:
        z_b = _noted(controller, block)
    if z_b is None:
        controller.alarm("wrong-state", "no height of the face on a block is noted; feel it first")
    touched = yield from touch_down_here(controller, record, setter, search_mm)
    yield from leave(controller, controller.top)
    height = touched.z_mm - z_b + (0.0 if on_block else block_size_mm or 0.0)
    controller.store_record(setter_name(controller, setter), height_mm=height)
    return height


def _noted(controller: Controller, block: str | None) -> float | None:
    """What was noted under a block's name, or the only height noted, machine mm."""
    noted = controller.tables.noted
    if block is None and len(noted) > 1:
        raise StepError(f"heights are noted on {', '.join(noted)}", "say which block counts")
    return next(iter(noted.values()), None) if block is None else noted.get(block)
