"""Telling the controller where a setter stands, and how high to be when moving across."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from drytouch.sim.errors import StepError
from drytouch.sim.routines.touching import ROUNDING_MM, Calls, setter_name, stored_length

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller

# A centre found by eye is good to some tenths; further off, the setter stands elsewhere.
MOVED_MM = 1.0


class Clearance(NamedTuple):
    """A clearance height and the longest tool that it was checked for, mm."""

    clearance_z_mm: float
    longest_tool_mm: float


def locate_setter(controller: Controller, setter: str | None = None) -> Calls:
    """Store the pad's centre from the position readout; returns (x, y), machine mm.

    First jog the spindle axis over the pad's centre: with a pointed tool near the pad, or by
    sighting along the pad's edges from two sides. Nothing moves. A pad that now stands more than
    1 mm from where it was stored before has been moved: its reference is flagged invalid, and has
    to be taken again.
    """
    yield from controller.dwell(0.0)
    record = controller.record(setter)
    x, y, _ = controller.position
    name = setter_name(controller, setter)
    moved = max(
        0.0 if record.x_mm is None else abs(x - record.x_mm),
        0.0 if record.y_mm is None else abs(y - record.y_mm),
    )
    controller.store_record(name, x_mm=x, y_mm=y)
    if moved > MOVED_MM and record.reference_valid:
        controller.store_record(
            name, reference_valid=False, stale=f"the setter was located {moved:.1f} mm away"
        )
    return (x, y)


def set_clearance(
    controller: Controller,
    setter: str | None = None,
    *,
    clearance_z_mm: float,
    longest_tool_mm: float,
    highest_z_mm: float | None = None,
    margin_mm: float = 5.0,
    force: bool = False,
) -> Calls:
    """Store the machine Z that a tip must stay above when it moves across; ``Clearance``.

    The number is for the tip: a bare face passes at this Z, a tool of length L with the face at
    this Z + L, and a tool whose length nobody knows goes across at the top of Z. So it must lie
    above whatever stands under the way by ``margin_mm`` (5 mm: pre-travel, a chip, a cable), and
    low enough for the longest tool. ``highest_z_mm`` is the machine Z at which a bare face would
    rest on the highest thing that stands there, by rule or by jogging; by default the pad's
    reference. ``longest_tool_mm`` is the longest tool of the job, from the spindle face; where the
    table or the spindle holds a longer one, that one counts.

    Alarm ``low-clearance``, nothing stored: too low for what stands there, too high for the longest
    tool, or not to be checked (no height known, or a tool in the spindle that was never measured).
    ``force`` stores it all the same: then it is on you. Raises ``StepError`` for a tool length or
    a margin below 0.
    """
    if longest_tool_mm < 0.0 or margin_mm < 0.0:
        raise StepError("longest_tool_mm or margin_mm is below 0", "give both as 0 or above")
    yield from controller.dwell(0.0)
    record = controller.record(setter)
    longest = max([longest_tool_mm, *_stored_lengths(controller, setter)])
    highest = record.reference_z_mm if highest_z_mm is None else highest_z_mm
    if not force:
        _refuse_low(controller, clearance_z_mm, highest, margin_mm, longest)
    controller.store_record(setter_name(controller, setter), clearance_z_mm=clearance_z_mm)
    return Clearance(clearance_z_mm, longest)


def _stored_lengths(controller: Controller, setter: str | None) -> list[float]:
    """Every length in the table, from the face, mm."""
    rows = [number for number, row in controller.tables.rows.items() if row.length_mm is not None]
    lengths = (stored_length(controller, number, setter) for number in rows)
    return [length for length in lengths if length is not None]


def _refuse_low(
    controller: Controller,
    clearance_z_mm: float,
    highest_z_mm: float | None,
    margin_mm: float,
    longest_mm: float,
) -> None:
    loaded = controller.tables.slot
    if loaded and controller.row(loaded).length_mm is None:
        controller.alarm(
            "low-clearance",
            f"the tool of row {loaded} is in the spindle and was never measured: nobody knows "
            "whether this clearance is enough for it",
            (("loaded_row", loaded),),
        )
    if highest_z_mm is None:
        controller.alarm(
            "low-clearance",
            "nothing says how high the setter stands: reference it first, or give highest_z_mm",
        )
    room = clearance_z_mm - highest_z_mm
    if room < margin_mm - ROUNDING_MM:
        controller.alarm(
            "low-clearance",
            f"a tip at Z {clearance_z_mm:.3f} passes {room:.3f} mm above what stands there; "
            f"{margin_mm:g} mm are wanted",
            (("room_mm", room), ("margin_mm", margin_mm)),
        )
    short = clearance_z_mm + longest_mm - controller.top
    if short > ROUNDING_MM:
        controller.alarm(
            "low-clearance",
            f"the longest tool, {longest_mm:.3f} mm, would pass {short:.3f} mm below it even at "
            "the top of Z",
            (("longest_tool_mm", longest_mm), ("short_by_mm", short)),
        )
