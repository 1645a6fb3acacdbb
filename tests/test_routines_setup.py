"""Routines that bring a setter into service: proof, place, clearance, height, repeats, work Z."""

from __future__ import annotations

from typing import Any

import pytest
from routine_cases import (
    BED_MILL,
    BENCHES,
    CENTRE,
    Bench,
    build,
    do,
    late_mm,
    load,
    perform,
    step_mm,
    tables_of,
    true_pad,
    zero_length,
)

from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.scenario.steps import Drives, Place, PressPad, StepUntilFeel
from drytouch.sim.steps import do_step
from drytouch.sim.twin.twin import Twin

ALL = pytest.mark.parametrize("bench", BENCHES, ids=lambda bench: bench.machine)
REFERENCED = {"reference_z_mm": -480.1005, "reference_valid": True}


def stopped(twin: Twin, code: str, routine: str, moved: bool = False, **arguments: Any) -> Any:
    """The routine alarms with this code and has stored nothing; returns the alarm."""
    before, lines = tables_of(twin), twin.kernel.lines
    with pytest.raises(ControllerAlarm) as caught:
        do(twin, routine, **arguments)
    assert caught.value.code == code
    assert tables_of(twin) == before
    assert moved or twin.kernel.lines == lines
    return caught.value


# ---- proof -------------------------------------------------------------------------------


def unproved(bench: Bench, **more: Any) -> Twin:
    """Drives off, nothing proved yet."""
    return build(bench, controller={"proved": [], "drives_on": False}, **more)


def press_after(twin: Twin, delay_s: float, hold_s: float = 0.5) -> None:
    """A person presses the pad some time from now."""

    def later() -> Any:
        yield twin.env.timeout(delay_s)
        yield from do_step(twin, PressPad(do="press-pad", setter="main", hold_s=hold_s))

    twin.env.process(later())


@ALL
def test_a_pressed_pad_proves_the_input(bench: Bench) -> None:
    twin = unproved(bench)
    assert not twin.controller.input_proved("main")
    press_after(twin, 3.0)
    assert do(twin, "prove-input") == 1
    assert twin.controller.input_proved("main")
    # Off, on, off takes the delay and the hold, and is over soon after; it does not wait it out.
    assert 3.5 <= twin.controller.time <= 3.6
    assert twin.outcome().verdict == "right"


def test_an_old_proof_is_no_proof_of_now() -> None:
    twin = build(CENTRE, controller={"drives_on": False})
    stopped(twin, "unproved-input", "prove-input", time_out_s=1.0)


def test_a_press_that_nobody_sees_is_no_proof() -> None:
    # NO on a plain input: without its plug it stays off, however hard the pad is pressed.
    twin = unproved(BENCHES[2])
    twin.kernel.plug("main", None)
    press_after(twin, 1.0)
    alarm = stopped(twin, "unproved-input", "prove-input", time_out_s=5.0)
    assert "went off in 5 s" in alarm.message
    assert dict(alarm.data) == {"input": 1, "time_out_s": 5.0}
    assert twin.controller.time == pytest.approx(5.0, abs=0.021)


def test_an_input_that_stays_on_is_no_proof() -> None:
    twin = unproved(CENTRE)
    twin.kernel.plug("main", None)
    assert "went on in" in stopped(twin, "unproved-input", "prove-input", time_out_s=1.0).message


def test_a_pad_that_is_not_let_go_is_no_proof() -> None:
    twin = unproved(CENTRE)
    press_after(twin, 1.0, hold_s=60.0)
    alarm = stopped(twin, "unproved-input", "prove-input", time_out_s=3.0)
    assert "went off, on in" in alarm.message


def test_a_time_out_is_a_time() -> None:
    with pytest.raises(StepError, match="time_out_s is 0"):
        do(unproved(CENTRE), "prove-input", time_out_s=0)


def test_proved_routine_runs_on_from_there() -> None:
    twin = unproved(CENTRE)
    press_after(twin, 1.0)
    do(twin, "prove-input")
    perform(twin, twin.controller.dwell(1.0))
    perform(twin, do_step(twin, Drives(do="drives", on=True)))
    zero_length(twin, CENTRE)
    assert twin.outcome().verdict == "right"


# ---- place and clearance -----------------------------------------------------------------


@ALL
def test_locating_stores_the_readout_and_moves_nothing(bench: Bench) -> None:
    here = (bench.x_mm, bench.y_mm, 0.0)
    twin = build(bench, controller={"records": {"main": {}}, "position_mm": here})
    assert do(twin, "locate-setter") == here[:2]
    record = twin.controller.record("main")
    assert (record.x_mm, record.y_mm) == here[:2]
    assert twin.kernel.lines == 0
    assert twin.outcome().verdict == "right"


@pytest.mark.parametrize(("away_mm", "valid"), [(0.9, True), (1.1, False)])
def test_a_setter_that_was_moved_loses_its_reference(away_mm: float, valid: bool) -> None:
    record = {"x_mm": CENTRE.x_mm, "y_mm": CENTRE.y_mm, **REFERENCED}
    here = (CENTRE.x_mm, CENTRE.y_mm + away_mm, 0.0)
    twin = build(CENTRE, controller={"records": {"main": record}, "position_mm": here})
    do(twin, "locate-setter")
    stored = twin.controller.record("main")
    assert stored.reference_valid is valid
    assert stored.stale == ("" if valid else "the setter was located 1.1 mm away")


def clearance_bench(**more: Any) -> Twin:
    rows = {"1": {"length_mm": 120.0}, "2": {"length_mm": 150.0, "wear_mm": -1.0}, "3": {}}
    return build(CENTRE, record=REFERENCED, controller={"rows": rows, "slot": 1} | more)


def test_clearance_is_stored_with_the_longest_tool_of_all() -> None:
    twin = clearance_bench()
    stored = do(twin, "set-clearance", clearance_z_mm=-475.0, longest_tool_mm=100.0)
    assert (stored.clearance_z_mm, stored.longest_tool_mm) == (-475.0, 149.0)
    assert twin.controller.record("main").clearance_z_mm == -475.0
    assert twin.outcome().verdict == "right"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        # Margin: -475.2 is 4.9005 mm above the reference, and 5 are wanted.
        ({"clearance_z_mm": -475.2, "longest_tool_mm": 0.0}, "4.901 mm above"),
        ({"clearance_z_mm": -300.0, "longest_tool_mm": 300.5}, "0.500 mm below"),
        ({"clearance_z_mm": -148.0, "longest_tool_mm": 0.0}, "149.000 mm, would pass 1.000"),
        ({"clearance_z_mm": -400.0, "longest_tool_mm": 0.0, "highest_z_mm": -401.0}, "1.000 mm"),
    ],
)
def test_clearance_that_is_not_enough_is_refused_unless_forced(
    arguments: dict[str, float], words: str
) -> None:
    twin = clearance_bench()
    assert words in stopped(twin, "low-clearance", "set-clearance", **arguments).message
    twin.controller.reset()
    do(twin, "set-clearance", force=True, **arguments)
    assert twin.controller.record("main").clearance_z_mm == arguments["clearance_z_mm"]


def test_clearance_that_nobody_can_check_is_refused() -> None:
    figures = {"clearance_z_mm": -300.0, "longest_tool_mm": 100.0}
    twin = clearance_bench(slot=3)
    assert "never measured" in stopped(twin, "low-clearance", "set-clearance", **figures).message
    twin = build(CENTRE)
    message = stopped(twin, "low-clearance", "set-clearance", **figures).message
    assert "how high the setter stands" in message
    with pytest.raises(StepError, match="below 0"):
        do(twin, "set-clearance", clearance_z_mm=0.0, longest_tool_mm=-1.0)


# ---- the setter's own height -------------------------------------------------------------

BLOCK_MM = 50.0
# Beside the setter, where the block is felt on the bare table.
FELT_X_MM = 150.0


def felt(bench: Bench, tool: str, **more: Any) -> Twin:
    """The tip has been stepped up until a block of 50 mm drags beneath it."""
    twin = build(bench, tool=tool, blocks=["block-50"], **more)
    length = twin.scenario.tools[tool].true_length_mm
    z = twin.scenario.machine.table.top_z_mm + BLOCK_MM + length - 0.02
    x = bench.x_mm + FELT_X_MM

    def calls() -> Any:
        controller = twin.controller
        yield from controller.rapid(x=x, y=bench.y_mm, frame="machine")
        yield from controller.rapid(z=z + 10.0, frame="machine")
        yield from controller.feed(z=z, feed_mm_per_min=200.0, frame="machine")
        step = StepUntilFeel(do="step-until-feel", block="block-50", by_mm=0.001)
        yield from do_step(twin, step)

    perform(twin, calls())
    return twin


def over_pad(twin: Twin, bench: Bench, trip_z_mm: float, x_mm: float | None = None) -> None:
    """Up, across and down to 5 mm above a trip."""

    def calls() -> Any:
        controller = twin.controller
        yield from controller.rapid(z=controller.top, frame="machine")
        x = bench.x_mm if x_mm is None else x_mm
        yield from controller.rapid(x=x, y=bench.y_mm, frame="machine")
        yield from controller.rapid(z=trip_z_mm + 5.0, frame="machine")

    perform(twin, calls())


def height_error_bounds(twin: Twin) -> tuple[float, float]:
    """What the height may be off by: lost motion, lateness and feel make it smaller.

    Felt on the way up, touched on the way down: the whole lost motion of Z. The first step that
    goes leaves a gap of less than one step, here 1 um or one count.
    """
    least, most = late_mm(twin)
    lost = twin.scenario.machine.axes.z.backlash_mm
    count = step_mm(twin)
    return -(lost + most + max(0.001, count) + count), -(lost + least) + count


@pytest.mark.parametrize("bench", BENCHES[:3], ids=lambda bench: bench.machine)
@pytest.mark.parametrize("on_block", [False, True], ids=["where-it-stood", "on-it"])
def test_height_by_feel_is_true_but_for_what_is_known(bench: Bench, on_block: bool) -> None:
    tool = bench.tools[0]
    twin = felt(bench, tool)
    spec = twin.scenario.setter["main"]
    truth = spec.pad_height_mm - spec.pre_travel_mm
    trip = true_pad(twin) + twin.scenario.tools[tool].true_length_mm
    x = bench.x_mm
    if on_block:
        x += 2 * FELT_X_MM
        for item, on in (("block-50", "table"), ("main", "block-50")):
            step = Place(do="place", item=item, on=on, x_mm=x, y_mm=bench.y_mm)
            perform(twin, do_step(twin, step))
        trip += BLOCK_MM
    over_pad(twin, bench, trip, x)
    how = {} if on_block else {"on_block": False, "block_size_mm": BLOCK_MM}
    height = do(twin, "measure-setter-height", **how)
    low, high = height_error_bounds(twin)
    assert low <= height - truth <= high
    assert twin.controller.record("main").height_mm == height
    # The router loses 10 um on reversal: past what the judge allows a height, and it says so.
    within = max(-low, high) <= twin.scenario.tolerances.setter_height_mm
    if within:
        assert twin.outcome().verdict == "right"


def test_height_needs_a_block_that_was_felt() -> None:
    twin = build(CENTRE, tool="end-mill-10")
    stopped(twin, "wrong-state", "measure-setter-height")
    with pytest.raises(StepError, match="the block's size counts"):
        do(twin, "measure-setter-height", on_block=False)


def test_heights_are_noted_by_the_name_of_the_block() -> None:
    here = (CENTRE.x_mm, CENTRE.y_mm, -355.0)
    twin = build(CENTRE, tool="end-mill-10", controller={"position_mm": here, "slot": 1})
    assert do(twin, "note-face-on-block", block="block-50") == -355.0
    assert twin.tables.noted == {"block-50": -355.0}
    do(twin, "note-face-on-block", block="block-25")
    with pytest.raises(StepError, match="block-50, block-25\n  fix: say which"):
        do(twin, "measure-setter-height")
    # Trip of this tool at -360.1005: with the readout taken as resting on the block.
    height = do(twin, "measure-setter-height", block="block-50")
    assert height == pytest.approx(-360.1005 - -355.0, abs=1e-9)


# ---- ten touches -------------------------------------------------------------------------


@ALL
def test_ten_touches_without_chance_lie_within_scan_and_count(bench: Bench) -> None:
    twin = build(bench, tool=bench.tools[0])
    repeats = do(twin, "ten-touch-repeatability", limit_mm=0.005)
    least, most = late_mm(twin)
    assert len(repeats.trips_mm) == 10
    assert repeats.range_mm <= most - least + step_mm(twin) + 1e-9
    assert repeats.range_mm == max(repeats.trips_mm) - min(repeats.trips_mm)
    assert min(repeats.trips_mm) <= repeats.mean_mm <= max(repeats.trips_mm)
    # Popoviciu: a variance (over n) is at most a quarter of the squared range.
    assert repeats.deviation_mm**2 * 9 / 10 <= repeats.range_mm**2 / 4 + 1e-18
    assert twin.outcome().verdict == "right"


def test_ten_touches_of_the_face_beside_the_centre() -> None:
    twin = build(CENTRE, record=REFERENCED)
    repeats = do(twin, "ten-touch-repeatability", limit_mm=0.0, beside_y_mm=33.0)
    assert repeats.mean_mm == pytest.approx(-480.1005, abs=1e-9)


def test_a_setter_that_scatters_is_out_of_its_limit() -> None:
    twin = build(CENTRE, tool="end-mill-10", chance=True, seed=3)
    alarm = stopped(
        twin, "out-of-limit", "ten-touch-repeatability", moved=True, limit_mm=1e-4, count=12
    )
    figures = dict(alarm.data)
    assert figures["limit_mm"] == 1e-4
    # Twelve normal draws of 0.5 um lie within 1e-4..6 sigma of each other but for 1 in 10^5 runs.
    assert 1e-4 < figures["measured_mm"] < 6 * 0.0005
    assert twin.controller.position[2] == twin.controller.top
    assert twin.outcome().verdict == "stopped"


def test_repeats_need_a_limit_and_two_touches() -> None:
    for figures in ({"limit_mm": -1.0}, {"limit_mm": 0.1, "count": 1}):
        with pytest.raises(StepError, match="2 or more"):
            do(build(CENTRE), "ten-touch-repeatability", **figures)


# ---- work Z ------------------------------------------------------------------------------


def stocked(bench: Bench, **more: Any) -> Twin:
    """A setter of known height, and stock beside it with nothing on it yet."""
    x = bench.x_mm + 2 * FELT_X_MM
    twin = build(
        bench,
        stock={"part": "aluminium-block"},
        placements={
            "main": {"x_mm": bench.x_mm, "y_mm": bench.y_mm},
            "part": {"x_mm": x, "y_mm": bench.y_mm},
        },
        **more,
    )
    spec = twin.scenario.setter["main"]
    twin.tables.records["main"].height_mm = spec.pad_height_mm - spec.pre_travel_mm
    return twin


@ALL
def test_work_z_is_the_stock_top_in_every_convention(bench: Bench) -> None:
    twin = stocked(bench)
    zero_length(twin, bench)
    row = load(twin, bench.tools[0])
    length = do(twin, "measure-length", row=row).from_face_mm
    x = bench.x_mm + 2 * FELT_X_MM
    step = Place(do="place", item="main", on="part", x_mm=x, y_mm=bench.y_mm)
    perform(twin, do_step(twin, step))
    over_pad(twin, bench, true_pad(twin) + length, x)
    origin = do(twin, "set-work-z", system="G55", row=row)
    assert twin.tables.systems["G55"][2] == origin
    # With this length active, the tip stands at Z 0 on the stock: what cuts is right. The
    # lateness of the touch on the stock is not in a typed-in height, so it stays.
    least, most = late_mm(twin)
    count = step_mm(twin)
    outcome = twin.outcome()
    error = outcome.numbers[f"tip at work zero, G55, row {row}"].error
    assert -most - (most - least) - 2 * count <= error <= -least + (most - least) + 2 * count
    assert (outcome.verdict, outcome.codes) == ("right", ())


def test_work_z_refuses_what_would_be_in_the_number() -> None:
    def bench(**more: Any) -> Twin:
        controller = {
            "rows": {"1": {"tool": "end-mill-10", "length_mm": 120.0}, "2": {}},
            "slot": 1,
            "position_mm": (CENTRE.x_mm, CENTRE.y_mm, -355.0),
        } | more.pop("controller", {})
        return build(CENTRE, tool="end-mill-10", controller=controller, **more)

    known = {"height_mm": 59.9}
    for twin, row, words in (
        (bench(record=known), 2, "row 2 was asked for"),
        (bench(record=known, controller={"slot": 2}), 2, "row 2 has no length"),
        (bench(), 1, "height is not known"),
        (bench(record=known, controller={"shift_mm": (0.0, 0.0, 1.5)}), 1, "(G92) of 1.5 mm"),
    ):
        assert words in stopped(twin, "wrong-state", "set-work-z", system="G54", row=row).message
    with pytest.raises(StepError, match="no work system 'G60'"):
        do(bench(record=known), "set-work-z", system="G60", row=1)


def test_work_z_searches_no_further_than_it_was_told() -> None:
    row = {"1": {"tool": "end-mill-6", "length_mm": 95.0}}
    start = (BED_MILL.x_mm, BED_MILL.y_mm, -200.0)
    twin = build(
        BED_MILL,
        tool="end-mill-6",
        record={"height_mm": 59.9},
        controller={"rows": row, "slot": 1, "position_mm": start},
    )
    stopped(twin, "no-contact", "set-work-z", moved=True, system="G54", row=1, search_mm=7.5)
    assert twin.controller.position[2] == pytest.approx(-207.5)
