"""Proving a setter: its input sees the pad, and its trips repeat."""

from __future__ import annotations

from statistics import fmean, stdev
from typing import TYPE_CHECKING, NamedTuple

from drytouch.sim.errors import StepError
from drytouch.sim.routines.touching import (
    ROUNDING_MM,
    Calls,
    approach,
    begin,
    leave,
    over_pad,
    refuse_unreachable,
    slow_touch,
    stored_length,
)

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller

# A finger holds a pad for some tenths of a second; looking ten times as often misses none.
LOOK_S = 0.02


class Repeatability(NamedTuple):
    """Trips of one thing on one pad, machine Z in mm: mean, range, standard deviation, each."""

    mean_mm: float
    range_mm: float
    deviation_mm: float
    trips_mm: tuple[float, ...]


def prove_input(
    controller: Controller, setter: str | None = None, *, time_out_s: float = 30.0
) -> Calls:
    """Watch the input that a touch will watch while a hand presses the pad; returns its number.

    Switch the drives off, then press the pad down with a finger and let it go. The input must be
    seen off, on and off again. A wrong socket, a broken wire, reversed polarity and a dead battery
    all show here, where they cost nothing. Do it again after each change of plug, power or
    selected setter.

    Alarm ``unproved-input`` when it was not seen off-on-off within ``time_out_s``; the message says
    what was seen.
    """
    if not time_out_s > 0.0:
        raise StepError(f"time_out_s is {time_out_s:g}", "give a time above 0")
    number = controller.watched_input(setter)
    end = controller.time + time_out_s
    seen = [controller.input_on(setter)]
    while seen[-3:] != [False, True, False] or not controller.input_proved(setter):
        if controller.time >= end:
            story = ", ".join("on" if on else "off" for on in seen)
            controller.alarm(
                "unproved-input",
                f"input {number} went {story} in {time_out_s:g} s; off, on, off is wanted",
                (("input", number), ("time_out_s", time_out_s)),
            )
        yield from controller.dwell(LOOK_S)
        now = controller.input_on(setter)
        if now != seen[-1]:
            seen.append(now)
    return number


def ten_touch_repeatability(
    controller: Controller,
    setter: str | None = None,
    *,
    limit_mm: float,
    count: int = 10,
    here: bool = False,
    beside_x_mm: float = 0.0,
    beside_y_mm: float = 0.0,
) -> Calls:
    """Touch the pad ten times and compare the range of the trips with a limit; ``Repeatability``.

    With whatever is in the spindle: a bare face (``beside_x_mm`` and ``beside_y_mm`` as in
    ``reference-by-face``) or a tool. It goes right up and across to the stored centre (``here``:
    it stays where it stands), finds the pad with one fast touch and then touches slowly ``count``
    times, backing off in between. Nothing is stored.

    Alarms: ``out-of-limit`` with ``measured_mm`` (the range) and ``limit_mm``; ``unproved-input``,
    ``already-tripped``, ``unreachable``, ``no-contact``.
    Raises ``StepError`` for a limit below 0 or fewer than 2 touches.
    """
    if limit_mm < 0.0 or count < 2:
        raise StepError(
            f"limit_mm {limit_mm:g} and count {count}", "give a limit of 0 or above and 2 or more"
        )
    record = begin(controller, setter)
    place = None if here else over_pad(controller, setter, beside_x_mm, beside_y_mm)
    loaded = controller.tables.slot
    length = stored_length(controller, loaded, setter) if loaded else 0.0
    start, bottom = None, controller.limits["z"][0]
    if record.reference_z_mm is not None and length is not None:
        trip = record.reference_z_mm + length
        refuse_unreachable(controller, record, trip, "what is in the spindle")
        start, bottom = trip + record.search_mm, max(trip - record.search_mm, bottom)
    yield from approach(controller, controller.top, place, start)
    rough = yield from controller.touch(
        z=bottom, feed_mm_per_min=record.fast_mm_per_min, setter=setter
    )
    trips: list[float] = []
    near, slow = rough.z, record.slow_mm_per_min
    for _ in range(count):
        near = yield from slow_touch(controller, record, setter, near, slow)
        trips.append(near)
    yield from leave(controller, controller.top)
    spread = max(trips) - min(trips)
    if spread > limit_mm + ROUNDING_MM:
        controller.alarm(
            "out-of-limit",
            f"{count} touches lie within {spread * 1e3:.1f} um; "
            f"{limit_mm * 1e3:.1f} um are allowed",
            (("measured_mm", spread), ("limit_mm", limit_mm), ("mean_mm", fmean(trips))),
        )
    return Repeatability(fmean(trips), spread, stdev(trips), tuple(trips))
