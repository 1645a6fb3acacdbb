"""Referencing a setter: the machine height at which a tool of length 0 would trip it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.errors import StepError
from drytouch.sim.routines.touching import (
    Calls,
    approach,
    begin,
    leave,
    refuse_unreachable,
    setter_name,
    two_stage_touch,
)

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller
    from drytouch.sim.controller.tables import Record


def reference_by_face(
    controller: Controller,
    setter: str | None = None,
    *,
    expected_pad_z_mm: float | None = None,
    beside_x_mm: float = 0.0,
    beside_y_mm: float = 0.0,
) -> Calls:
    """Reference the setter by the bare spindle face; returns the reference, machine Z in mm.

    Before you start: take the tool out, wipe face and pad, and turn or orient the spindle so that
    the pad lies between the drive lugs and under the face ring, not under the open bore. Where
    bore or lugs are in the way over the pad's centre, ``beside_x_mm`` and ``beside_y_mm`` say how
    far from it the spindle axis shall stand. The routine can't see lugs or bore: look.

    It goes right up, across to the stored centre (or stays where it stands when none is stored),
    sees the input quiet, touches fast once and slowly twice, and stores the mean of the two slow
    touches when they agree within the record's ``agree_mm``. ``expected_pad_z_mm`` is about where
    the face will trip the pad, by default the last reference; where neither is known it feeds down
    at the fast touching feed all the way from where it crossed.

    Alarms: ``wrong-state`` (a tool should be in the spindle), ``unproved-input``,
    ``already-tripped``, ``unreachable`` before any motion, ``no-contact``, ``not-agreeing``.
    Nothing is stored when it alarms.
    """
    record = begin(controller, setter)
    if controller.tables.slot != 0:
        controller.alarm(
            "wrong-state",
            f"the controller has the tool of row {controller.tables.slot} in the spindle; "
            "a reference by the face needs a bare spindle",
            (("loaded_row", controller.tables.slot),),
        )
    place = _place(record, beside_x_mm, beside_y_mm)
    z = yield from _touch_zero(controller, setter, record, place, 0.0, expected_pad_z_mm)
    _store(controller, setter, reference_z_mm=z, reference_by="face")
    return z


def reference_by_master(
    controller: Controller,
    setter: str | None = None,
    *,
    master_length_mm: float,
    expected_pad_z_mm: float | None = None,
) -> Calls:
    """Reference the setter by a master tool; returns the reference, machine Z in mm.

    For machines whose bare face can't reach the pad. Load the master tool, with taper and tip
    clean, and give the length that its certificate states. The reference is the height at which a
    tool of length 0 would trip: ``z_ref = z_m - L0``. An error of the certificate or of the seat is
    in every length measured from then on: prove it with a second tool of known length.

    It goes right up, across to the stored centre (or stays where it stands when none is stored)
    and touches as ``reference-by-face`` does. ``expected_pad_z_mm`` is about where a tool of length
    0 would trip the pad.

    Alarms: ``unproved-input``, ``already-tripped``, ``unreachable`` before any motion,
    ``no-contact``, ``not-agreeing``. Nothing is stored when it alarms.
    Raises ``StepError`` for a length that is not above 0.
    """
    if not master_length_mm > 0.0:
        raise StepError(
            f"master_length_mm is {master_length_mm:g}", "give the length on its certificate"
        )
    record = begin(controller, setter)
    place = _place(record, 0.0, 0.0)
    z = yield from _touch_zero(
        controller, setter, record, place, master_length_mm, expected_pad_z_mm
    )
    _store(
        controller,
        setter,
        reference_z_mm=z,
        reference_by="master",
        master_length_mm=master_length_mm,
    )
    return z


def _place(record: Record, beside_x_mm: float, beside_y_mm: float) -> tuple[float, float] | None:
    if record.x_mm is None or record.y_mm is None:
        return None
    return (record.x_mm + beside_x_mm, record.y_mm + beside_y_mm)


def _touch_zero(
    controller: Controller,
    setter: str | None,
    record: Record,
    place: tuple[float, float] | None,
    length_mm: float,
    expected_pad_z_mm: float | None,
) -> Calls:
    """Touch with a thing of known length; returns the trip height of length 0, mm."""
    pad = record.reference_z_mm if expected_pad_z_mm is None else expected_pad_z_mm
    start, bottom = None, controller.limits["z"][0]
    if pad is not None:
        trip = pad + length_mm
        refuse_unreachable(controller, record, trip, "the face" if not length_mm else "the master")
        start, bottom = trip + record.search_mm, trip - record.search_mm
    # A reference is taken seldom and what stands under the way may have changed: right up.
    yield from approach(controller, controller.top, place, start)
    touched = yield from two_stage_touch(controller, record, setter, bottom)
    yield from leave(controller, controller.top)
    return touched.z_mm - length_mm


def _store(controller: Controller, setter: str | None, **values: float | str) -> None:
    name = setter_name(controller, setter)
    controller.store_record(name, reference_valid=True, stale="", **values)
