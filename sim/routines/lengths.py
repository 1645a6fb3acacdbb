"""Measuring and rechecking tool lengths on a referenced setter."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING, NamedTuple

from drytouch.sim.errors import StepError
from drytouch.sim.routines.touching import (
    ROUNDING_MM,
    Calls,
    Feeds,
    approach,
    begin,
    crossing_height,
    leave,
    length_base,
    over_pad,
    refuse_unreachable,
    refuse_wrong_row,
    stored_length,
    two_stage_touch,
)

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller
    from drytouch.sim.controller.tables import Record


class Length(NamedTuple):
    """A measured length.

    ``from_face_mm`` counts from the spindle face; ``stored_mm`` is what the row now holds, in the
    machine's own convention; ``apart_mm`` is how far the two slow touches lay apart.
    """

    from_face_mm: float
    stored_mm: float
    apart_mm: float


class Recheck(NamedTuple):
    """A rechecked length, mm from the face: measured, what the row says, and their difference."""

    measured_mm: float
    stored_mm: float
    difference_mm: float


def measure_length(
    controller: Controller,
    row: int,
    setter: str | None = None,
    *,
    expected_length_mm: float | None = None,
    beside_x_mm: float = 0.0,
    beside_y_mm: float = 0.0,
    any_row: bool = False,
) -> Calls:
    """Measure the tool in the spindle over the pad's centre and store its length; ``Length``.

    It checks that the input is proved and quiet, that the reference is valid and that ``row`` is
    the row of the tool in the spindle (``any_row`` skips that). Nobody knows how long the tool is,
    so it goes right up before it goes across; with ``expected_length_mm`` (from the spindle face)
    the clearance height plus that length is enough, and it comes down at rapid to the record's
    ``search_mm`` above the expected trip. One fast touch finds the pad, two slow ones must agree.
    Length = trip height minus reference; the row's old wear is cleared.

    A cutter that is hollow in the middle has no edge over the pad's centre, and a pad with a screw
    in its centre has no pad there. ``beside_x_mm`` and ``beside_y_mm`` say how far from the centre
    the axis shall stand instead; the row then says that it was not measured over the centre. Or
    jog there and use ``measure-length-here``.

    Alarms: ``unproved-input``, ``already-tripped``, ``stale-reference``, ``wrong-state``,
    ``low-clearance`` and ``unreachable`` before any motion; ``no-contact``, ``not-agreeing``.
    Nothing is stored when it alarms.
    """
    record = begin(controller, setter)
    reference = controller.require_reference(setter)
    base = length_base(controller, setter)
    refuse_wrong_row(controller, row, any_row)
    place = over_pad(controller, setter, beside_x_mm, beside_y_mm)
    crossing = crossing_height(controller, record, expected_length_mm)
    start, bottom = _search(controller, record, reference, expected_length_mm)
    yield from approach(controller, crossing, place, start)
    touched = yield from two_stage_touch(controller, record, setter, bottom)
    yield from leave(controller, crossing)
    where = "here" if beside_x_mm or beside_y_mm else "centre"
    return _store(controller, row, base, touched.z_mm - reference, touched.apart_mm, where)


def measure_length_here(
    controller: Controller,
    row: int,
    setter: str | None = None,
    *,
    expected_length_mm: float | None = None,
    any_row: bool = False,
) -> Calls:
    """Measure the tool where it stands, for wide cutters whose edge must meet the pad; ``Length``.

    Jog the cutter beside the pad's centre so that one edge is over the pad, turn the spindle so
    that its longest edge is the one, and take your hands out. The routine does not move across. It
    touches straight down and stores the length with the remark that it was measured here: that
    place is right for this one tool only.

    Everything else, alarms included, is as in ``measure-length``.
    """
    record = begin(controller, setter)
    reference = controller.require_reference(setter)
    base = length_base(controller, setter)
    refuse_wrong_row(controller, row, any_row)
    start, bottom = _search(controller, record, reference, expected_length_mm)
    yield from approach(controller, controller.top, None, start)
    touched = yield from two_stage_touch(controller, record, setter, bottom)
    yield from leave(controller, controller.top)
    return _store(controller, row, base, touched.z_mm - reference, touched.apart_mm, "here")


def measure_length_turning(
    controller: Controller,
    row: int,
    setter: str | None = None,
    *,
    rpm: float,
    late_limit_mm: float = 0.005,
    cutter_diameter_mm: float | None = None,
    pad_width_mm: float | None = None,
    filter_s: float = 0.0,
    left_hand: bool = False,
    expected_length_mm: float | None = None,
    here: bool = True,
    any_row: bool = False,
) -> Calls:
    """Measure a cutter that turns slowly against the cut, so that its highest edge is found.

    Only where the setter permits a turning tool. The spindle turns at ``rpm`` against the cutting
    direction (of a right-hand tool; say ``left_hand`` for the other), so that no edge digs in. The
    highest edge passes once a turn, so the pad is found late by up to the feed per turn; the slow
    feed is lowered until that is within ``late_limit_mm``, which shortens the length by that much
    at the most (5 um is half of a usual limit for lengths). At 600 turns a minute that is 3 mm/min:
    slow, so a turning touch takes minutes.

    An edge is over the pad for about pad width / (pi * diameter * turns per second). With
    ``cutter_diameter_mm``, ``pad_width_mm`` and the input's ``filter_s`` given, a speed at which
    no edge would stay for as long as the filter asks is refused: the touch would never trip.

    ``here`` True touches where the cutter stands (see ``measure-length-here``), False over the
    pad's centre. The spindle is stopped at the end, alarm or not. Returns ``Length``.

    Alarms: as in ``measure-length``. Raises ``StepError`` for figures that can't work.
    """
    _refuse_turning(rpm, late_limit_mm, cutter_diameter_mm, pad_width_mm, filter_s)
    record = begin(controller, setter)
    reference = controller.require_reference(setter)
    base = length_base(controller, setter)
    refuse_wrong_row(controller, row, any_row)
    # Found late by more than its back-off, an edge would still press the pad at the next touch.
    fast = min(record.fast_mm_per_min, record.back_off_mm / 4.0 * rpm)
    feeds = Feeds(fast, min(record.slow_mm_per_min, late_limit_mm * rpm))
    place = None if here else over_pad(controller, setter)
    crossing = crossing_height(controller, record, None if here else expected_length_mm)
    start, bottom = _search(controller, record, reference, expected_length_mm)
    yield from approach(controller, crossing, place, start)
    controller.spin(rpm if left_hand else -rpm)
    try:
        touched = yield from two_stage_touch(
            controller, record, setter, bottom, feeds, record.agree_mm + late_limit_mm
        )
        yield from leave(controller, crossing)
    finally:
        controller.spin(0.0)
    where = "here" if here else "centre"
    return _store(controller, row, base, touched.z_mm - reference, touched.apart_mm, where)


def _refuse_turning(
    rpm: float,
    late_limit_mm: float,
    cutter_diameter_mm: float | None,
    pad_width_mm: float | None,
    filter_s: float,
) -> None:
    if not rpm > 0.0 or not late_limit_mm > 0.0:
        raise StepError(
            f"rpm {rpm:g} and late_limit_mm {late_limit_mm:g}",
            "give both above 0; the direction against the cut is chosen by the routine",
        )
    if cutter_diameter_mm is None or pad_width_mm is None or filter_s <= 0.0:
        return
    most = 60.0 * pad_width_mm / (pi * cutter_diameter_mm * filter_s)
    if rpm >= most:
        raise StepError(
            f"at {rpm:g} rpm an edge passes the pad faster than the filter of {filter_s:g} s; "
            "the touch would never trip",
            f"turn slower than {most:.0f} rpm",
        )


def recheck_length(
    controller: Controller,
    row: int,
    setter: str | None = None,
    *,
    longer_limit_mm: float,
    shorter_limit_mm: float,
    here: bool = False,
    beside_x_mm: float = 0.0,
    beside_y_mm: float = 0.0,
    any_row: bool = False,
) -> Calls:
    """Compare the tool in the spindle with its row and change nothing; returns ``Recheck``.

    What is compared is geometry plus wear, the length that the program cuts with. Longer means
    pulled out of its holder or another tool, shorter means worn or broken: each has its own limit.
    It crosses right up, because a tool that has to be checked is one whose length is in doubt.
    Touch it where it was measured: over the centre, ``beside`` it, or ``here`` where it stands.

    Alarms: ``out-of-limit`` with ``measured_mm``, ``stored_mm``, ``difference_mm`` and
    ``limit_mm``; ``wrong-state`` when the row was never measured; ``no-contact`` when the tool is
    shorter by more than the record's ``search_mm``; and those of ``measure-length``.
    Raises ``StepError`` for a limit below 0.
    """
    if longer_limit_mm < 0.0 or shorter_limit_mm < 0.0:
        raise StepError("a recheck's limits are below 0", "give both as distances, 0 or above")
    record = begin(controller, setter)
    reference = controller.require_reference(setter)
    refuse_wrong_row(controller, row, any_row)
    stored = stored_length(controller, row, setter)
    if stored is None:
        controller.alarm("wrong-state", f"row {row} was never measured: nothing to compare with")
    place = None if here else over_pad(controller, setter, beside_x_mm, beside_y_mm)
    start, bottom = _search(controller, record, reference, stored)
    yield from approach(controller, controller.top, place, start)
    touched = yield from two_stage_touch(controller, record, setter, bottom)
    yield from leave(controller, controller.top)
    measured = touched.z_mm - reference
    difference = measured - stored
    limit = longer_limit_mm if difference > 0.0 else shorter_limit_mm
    if abs(difference) > limit + ROUNDING_MM:
        how = "longer" if difference > 0.0 else "shorter"
        controller.alarm(
            "out-of-limit",
            f"the tool of row {row} is {abs(difference):.4f} mm {how} than its geometry and wear "
            f"({stored:.4f} mm); {limit:g} mm are allowed",
            (
                ("row", row),
                ("measured_mm", measured),
                ("stored_mm", stored),
                ("difference_mm", difference),
                ("limit_mm", limit),
            ),
        )
    return Recheck(measured, stored, difference)


def _search(
    controller: Controller, record: Record, reference_z_mm: float, expected_mm: float | None
) -> tuple[float | None, float]:
    """Where to come down to at rapid, and where a touch that meets nothing ends; face Z, mm.

    A tool of length 0 trips at the reference: below that there is no tool to find.
    """
    if expected_mm is None:
        return None, reference_z_mm
    trip = reference_z_mm + expected_mm
    refuse_unreachable(controller, record, trip, f"a tool of {expected_mm:.3f} mm")
    return trip + record.search_mm, max(trip - record.search_mm, reference_z_mm)


def _store(
    controller: Controller,
    row: int,
    base_mm: float,
    length_mm: float,
    apart_mm: float,
    place: str,
) -> Length:
    stored = length_mm + base_mm
    controller.store_length(row, stored, place)
    return Length(length_mm, stored, apart_mm)
