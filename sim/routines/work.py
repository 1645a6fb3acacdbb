"""Work Z on top of the stock, through the setter."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.errors import StepError
from drytouch.sim.routines.touching import (
    Calls,
    begin,
    leave,
    refuse_wrong_row,
    touch_down_here,
)

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller


def set_work_z(
    controller: Controller,
    system: str,
    row: int,
    setter: str | None = None,
    *,
    search_mm: float | None = None,
    any_row: bool = False,
) -> Calls:
    """Make the top of the stock Z 0 in a work system; returns the stored Z origin, machine mm.

    Stand the setter on the clean top of the stock, jog the tool over its pad and down to less than
    ``search_mm`` above it (the record's). The routine touches straight down, fast once, slowly
    twice. With the setter's height H and the tool's length L (geometry and wear of ``row``, as this
    machine counts it), tripping at z, the origin is ``z - L - H``. Take the setter off before
    anything moves again, and read the system back: it must be the one that the program will name.

    It needs a setter whose height was measured and a tool whose length is stored, in its own row,
    and it cancels nothing: a shift that is still active (G92) stops it, because it would be inside
    every position that you check against.

    Alarms: ``wrong-state`` for each of these, ``unproved-input``, ``already-tripped``,
    ``no-contact``, ``not-agreeing``. Nothing is stored when it alarms.
    Raises ``StepError`` for a work system that there is not.
    """
    if system not in controller.tables.systems:
        raise StepError(
            f"there is no work system '{system}'", f"use {', '.join(controller.tables.systems)}"
        )
    record = begin(controller, setter)
    refuse_wrong_row(controller, row, any_row)
    if controller.row(row).length_mm is None:
        controller.alarm("wrong-state", f"row {row} has no length: measure the tool first")
    if record.height_mm is None:
        controller.alarm("wrong-state", "the setter's own height is not known: measure it first")
    if any(controller.tables.shift):
        far = max(controller.tables.shift, key=abs)
        controller.alarm(
            "wrong-state",
            f"a shift (G92) of {far:g} mm is active; cancel it first (G92.1)",
            (("shift_mm", far),),
        )
    touched = yield from touch_down_here(controller, record, setter, search_mm)
    yield from leave(controller, controller.top)
    origin = touched.z_mm - controller.row(row).effective_mm - record.height_mm
    controller.store_system(system, z=origin)
    return origin
