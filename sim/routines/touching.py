"""What every touch-off shares: ready, up before across, two-stage touch, agreement.

All heights are machine Z of the spindle face, mm. A length is always from the spindle face here;
what a machine's convention adds to it is put on when a row is written and taken off when it is
read.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller
    from drytouch.sim.controller.tables import Record

Calls = Generator[Any, Any, Any]
# Two sums of the same encoder counts differ by rounding; far below any count.
ROUNDING_MM = 1e-9


class Agreed(NamedTuple):
    """A trip that two slow touches agree on: their mean, and how far they lie apart, mm."""

    z_mm: float
    apart_mm: float


class Feeds(NamedTuple):
    """Feeds of the first touch and of those that count, mm/min."""

    fast: float
    slow: float


def setter_name(controller: Controller, setter: str | None) -> str:
    """Name of the setter that is meant: the one given, or the selected one."""
    controller.record(setter)
    return setter or controller.tables.selected or ""


def begin(controller: Controller, setter: str | None) -> Record:
    """The setter's record, once its input is proved and quiet; nothing has moved yet.

    Alarms: ``unproved-input``, ``already-tripped``.
    """
    record = controller.record(setter)
    controller.require_proved_input(setter)
    controller.require_quiet_input(setter)
    return record


def refuse_wrong_row(controller: Controller, row: int, any_row: bool) -> None:
    """Alarm ``wrong-state`` unless ``row`` is the row of the tool that should be in the spindle."""
    controller.row(row)
    loaded = controller.tables.slot
    if loaded != row and not any_row:
        spindle = f"the tool of row {loaded}" if loaded else "nothing"
        controller.alarm(
            "wrong-state",
            f"row {row} was asked for, but the controller has {spindle} in the spindle",
            (("row", row), ("loaded_row", loaded)),
        )


def length_base(controller: Controller, setter: str | None) -> float:
    """What the machine's convention adds to a length from the face, mm.

    Alarm ``wrong-state`` while what it counts from is not stored.
    """
    record, convention = controller.record(setter), controller.length_convention
    if convention == "difference" and record.master_length_mm is None:
        controller.alarm(
            "wrong-state",
            "lengths count from the master tool here, and its length is not stored: reference the "
            "setter by the master tool first",
        )
    if convention in ("table", "work") and record.height_mm is None:
        controller.alarm(
            "wrong-state",
            "lengths count from what the setter stands on here, and the setter's height is not "
            "stored: measure it first",
        )
    return controller.base_for_lengths(setter)


def stored_length(controller: Controller, row: int, setter: str | None) -> float | None:
    """Length from the face that a row stands for (geometry and wear), mm; None: never measured."""
    entry = controller.row(row)
    if entry.length_mm is None:
        return None
    return entry.effective_mm - length_base(controller, setter)


def over_pad(
    controller: Controller,
    setter: str | None,
    beside_x_mm: float = 0.0,
    beside_y_mm: float = 0.0,
) -> tuple[float, float]:
    """Where the axis stands over the pad's stored centre, or beside it by this much, machine mm.

    Alarm ``wrong-state`` when the setter was never located.
    """
    record = controller.record(setter)
    if record.x_mm is None or record.y_mm is None:
        controller.alarm(
            "wrong-state",
            "the setter was never located: jog the spindle axis over the pad's centre and store it",
        )
    return (record.x_mm + beside_x_mm, record.y_mm + beside_y_mm)


def crossing_height(controller: Controller, record: Record, length_mm: float | None) -> float:
    """Face height for moving across with a tool of this length, mm.

    The clearance height is for the tip, so a known length comes on top of it; a tool that nobody
    has measured may be any length, so the axis goes right up. Alarm ``low-clearance`` when even
    that is not enough.
    """
    if length_mm is None or record.clearance_z_mm is None:
        return controller.top
    wanted = record.clearance_z_mm + length_mm
    if wanted > controller.top + ROUNDING_MM:
        controller.alarm(
            "low-clearance",
            f"a tool of {length_mm:.3f} mm can't be carried across: its tip would pass "
            f"{wanted - controller.top:.3f} mm below the clearance height",
            (("wanted_z_mm", wanted), ("top_z_mm", controller.top)),
        )
    return wanted


def refuse_unreachable(controller: Controller, record: Record, trip_z_mm: float, what: str) -> None:
    """Alarm ``unreachable``, before anything moves, when a trip lies outside the travel of Z.

    Slow touches aim the back-off's distance below the trip, and start as far above it.
    """
    low, high = controller.limits["z"]
    reserve = record.back_off_mm
    if not low + reserve <= trip_z_mm <= high - reserve:
        controller.alarm(
            "unreachable",
            f"{what} would trip the pad at Z {trip_z_mm:.3f}, and {reserve:g} mm are needed to "
            f"either side; Z travels from {low:g} to {high:g} mm",
            (("trip_z_mm", trip_z_mm), ("min_z_mm", low), ("max_z_mm", high)),
        )


def approach(
    controller: Controller,
    crossing_z_mm: float,
    place: tuple[float, float] | None,
    start_z_mm: float | None,
) -> Calls:
    """Up, then across to ``place`` (None: stay), then down at rapid to ``start_z_mm`` at most."""
    if place is not None:
        if controller.position[2] < crossing_z_mm:
            yield from controller.rapid(z=crossing_z_mm, frame="machine")
        yield from controller.rapid(x=place[0], y=place[1], frame="machine")
    if start_z_mm is not None and start_z_mm < controller.position[2]:
        yield from controller.rapid(z=start_z_mm, frame="machine")


def lift(controller: Controller, record: Record, trip_z_mm: float) -> Calls:
    """Up from a pressed pad by the back-off; the pad is the only thing there is to leave."""
    height = min(trip_z_mm + record.back_off_mm, controller.top)
    yield from controller.rapid(z=height, frame="machine")


def slow_touch(
    controller: Controller,
    record: Record,
    setter: str | None,
    near_z_mm: float,
    feed_mm_per_min: float,
) -> Calls:
    """Back off from ``near_z_mm``, see the input quiet, touch slowly; returns the latched Z, mm."""
    yield from lift(controller, record, near_z_mm)
    controller.require_quiet_input(setter)
    bottom = max(near_z_mm - record.back_off_mm, controller.limits["z"][0])
    touch = yield from controller.touch(z=bottom, feed_mm_per_min=feed_mm_per_min, setter=setter)
    return touch.z


def two_stage_touch(
    controller: Controller,
    record: Record,
    setter: str | None,
    bottom_z_mm: float,
    feeds: Feeds | None = None,
    agree_mm: float | None = None,
) -> Calls:
    """One fast touch to find the pad, two slow ones that must agree; returns ``Agreed``.

    Only the slow touches count: a fast one latches later on its way, by feed times delay. Both the
    reference and the tools are touched like this, so that what is left of that cancels.

    Alarms: ``already-tripped``, ``no-contact``, ``not-agreeing`` (after backing off).
    """
    controller.require_quiet_input(setter)
    bottom = max(bottom_z_mm, controller.limits["z"][0])
    fast, slow = feeds or Feeds(record.fast_mm_per_min, record.slow_mm_per_min)
    rough = yield from controller.touch(z=bottom, feed_mm_per_min=fast, setter=setter)
    first = yield from slow_touch(controller, record, setter, rough.z, slow)
    second = yield from slow_touch(controller, record, setter, first, slow)
    yield from lift(controller, record, second)
    apart, limit = abs(first - second), record.agree_mm if agree_mm is None else agree_mm
    if apart > limit + ROUNDING_MM:
        controller.alarm(
            "not-agreeing",
            f"two slow touches lie {apart * 1e3:.1f} um apart; {limit * 1e3:.1f} um are allowed",
            (("first_z_mm", first), ("second_z_mm", second), ("limit_mm", limit)),
        )
    return Agreed((first + second) / 2.0, apart)


def touch_down_here(
    controller: Controller, record: Record, setter: str | None, search_mm: float | None
) -> Calls:
    """Touch where the axis stands, at most ``search_mm`` (the record's) down; returns ``Agreed``.

    Nobody has told the controller what stands below, so it goes no further than the person meant.
    """
    search = record.search_mm if search_mm is None else search_mm
    bottom = controller.position[2] - search
    return (yield from two_stage_touch(controller, record, setter, bottom))


def leave(controller: Controller, height_z_mm: float) -> Calls:
    """Up and clear of everything, never down."""
    if controller.position[2] < height_z_mm:
        yield from controller.rapid(z=height_z_mm, frame="machine")
