"""References and lengths on the running twin, against what is really there."""

from __future__ import annotations

import pytest
from routine_cases import (
    BENCHES,
    CENTRE,
    LARGE,
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
from drytouch.sim.scenario.steps import TurnSpindle
from drytouch.sim.steps import do_step
from drytouch.sim.twin.twin import Twin

ALL = pytest.mark.parametrize("bench", BENCHES, ids=lambda bench: bench.machine)


@ALL
def test_reference_is_the_trip_less_how_late_the_latch_is(bench: Bench) -> None:
    twin = build(bench)
    z = zero_length(twin, bench)
    truth = twin.judge.reported_z(true_pad(twin), twin.controller.time)
    least, most = late_mm(twin)
    # Two roundings to a count at the most: one of the latch, one of the master's length.
    count = step_mm(twin)
    assert truth - most - count / 2 - 1e-9 <= z <= truth - least + count / 2 + 1e-9
    record = twin.controller.record("main")
    assert (record.reference_z_mm, record.reference_valid) == (z, True)
    assert record.reference_by == ("face" if bench.by_face else "master")
    outcome = twin.outcome()
    assert (outcome.verdict, outcome.codes) == ("right", ())


@ALL
@pytest.mark.parametrize("known", [False, True], ids=["unknown", "expected"])
def test_lengths_are_true_once_what_is_common_cancels(bench: Bench, known: bool) -> None:
    twin = build(bench, record={"height_mm": 0.0})
    twin.tables.records["main"].height_mm = true_pad(twin) - twin.scenario.machine.table.top_z_mm
    zero_length(twin, bench)
    least, most = late_mm(twin)
    for name in bench.tools:
        row = load(twin, name)
        twin.tables.rows[row].wear_mm = 0.05
        truth = twin.scenario.tools[name].true_length_mm
        about = {"expected_length_mm": truth + 3.0} if known else {}
        measured = do(twin, "measure-length", row=row, **about)
        # The bias is common to both touches; scan phase and the count's rounding are not.
        assert abs(measured.from_face_mm - truth) <= (most - least) + step_mm(twin) + 1e-9
        entry = twin.tables.rows[row]
        assert (entry.length_mm, entry.wear_mm, entry.place) == (measured.stored_mm, 0.0, "centre")
        base = twin.controller.base_for_lengths("main")
        assert measured.stored_mm == pytest.approx(measured.from_face_mm + base, abs=1e-9)
        assert twin.controller.position[2] == twin.controller.top
        checked = do(twin, "recheck-length", row=row, longer_limit_mm=0.004, shorter_limit_mm=0.004)
        assert abs(checked.difference_mm) <= (most - least) + step_mm(twin) + 1e-9
    outcome = twin.outcome()
    assert (outcome.verdict, outcome.codes) == ("right", ())


def proved_centre(**more: object) -> Twin:
    """The machining centre with a true reference, tool 1 in the spindle."""
    record = {"reference_z_mm": -480.1005, "reference_valid": True} | more.pop("record", {})  # type: ignore[operator]
    return build(CENTRE, tool=more.pop("tool", "end-mill-10"), record=record, **more)  # type: ignore[arg-type]


def stopped(twin: Twin, code: str, routine: str, moved: bool = False, **arguments: object) -> dict:  # type: ignore[type-arg]
    """The routine alarms with this code and has stored nothing; returns the alarm's figures."""
    before, place, lines = tables_of(twin), twin.controller.position, twin.kernel.lines
    with pytest.raises(ControllerAlarm) as caught:
        do(twin, routine, **arguments)
    assert caught.value.code == code
    assert tables_of(twin) == before
    if not moved:
        assert (twin.controller.position, twin.kernel.lines) == (place, lines)
    return dict(caught.value.data)


def test_unproved_input_stops_every_routine_before_it_moves() -> None:
    for routine, arguments in (
        ("reference-by-face", {}),
        ("reference-by-master", {"master_length_mm": 125.004}),
        ("measure-length", {"row": 1}),
        ("measure-length-here", {"row": 1}),
        ("measure-length-turning", {"row": 1, "rpm": 60.0}),
        ("recheck-length", {"row": 1, "longer_limit_mm": 0.1, "shorter_limit_mm": 0.1}),
        ("measure-setter-height", {"face_on_block_z_mm": -430.0}),
        ("ten-touch-repeatability", {"limit_mm": 0.002}),
        ("set-work-z", {"system": "G54", "row": 1}),
    ):
        twin = proved_centre(controller={"proved": []})
        assert stopped(twin, "unproved-input", routine, **arguments) == {"input": 1}
        assert twin.outcome().verdict == "stopped"


def test_input_that_is_on_stops_before_it_moves() -> None:
    # A normally closed contact without its plug reads as pressed here.
    twin = proved_centre()
    twin.kernel.plug("main", None)
    twin.kernel.inputs[1].proof = 3
    stopped(twin, "already-tripped", "measure-length", row=1)


@pytest.mark.parametrize(
    ("code", "record", "arguments"),
    [
        ("stale-reference", {"reference_valid": False}, {"row": 1}),
        ("wrong-state", {}, {"row": 2}),
        ("wrong-state", {"x_mm": None, "y_mm": None}, {"row": 1}),
        ("low-clearance", {"clearance_z_mm": -110.0}, {"row": 1, "expected_length_mm": 120.0}),
        ("unreachable", {}, {"row": 1, "expected_length_mm": 479.0}),
    ],
)
def test_measuring_refuses_before_it_moves(
    code: str, record: dict[str, object], arguments: dict[str, object]
) -> None:
    twin = proved_centre(record=record)
    stopped(twin, code, "measure-length", **arguments)


def test_any_row_writes_where_it_was_told_and_the_judge_says_so() -> None:
    twin = proved_centre()
    do(twin, "measure-length", row=2, any_row=True)
    assert twin.outcome().codes == ("wrong-slot",)


def test_a_setter_that_is_not_there_is_not_found() -> None:
    twin = proved_centre(
        record={"x_mm": -600.0, "y_mm": -100.0}, placements={"main": {"x_mm": -200, "y_mm": -300}}
    )
    # A known length ends the search 20 mm below the expected trip, well above the table.
    stopped(twin, "no-contact", "measure-length", moved=True, row=1, expected_length_mm=120.0)
    assert twin.controller.position[2] == pytest.approx(-480.1005 + 120.0 - 20.0)


def test_slow_touches_that_do_not_agree_store_nothing() -> None:
    twin = proved_centre(chance=True, seed=5, record={"agree_mm": 1e-6})
    figures = stopped(twin, "not-agreeing", "measure-length", moved=True, row=1)
    assert abs(figures["first_z_mm"] - figures["second_z_mm"]) > figures["limit_mm"]
    # It has backed off: a tool left on the pad would hold the spring down.
    assert not twin.controller.input_on("main")


def test_known_length_crosses_at_clearance_and_an_unknown_one_at_the_top() -> None:
    for arguments, height in (({"expected_length_mm": 120.0}, -400.0 + 120.0), ({}, 0.0)):
        twin = proved_centre(record={"clearance_z_mm": -400.0}, controller=_low_start(-450.0 + 120))
        do(twin, "measure-length", row=1, **arguments)
        across = [line for line in twin.recorder.lines if line.direction[0] or line.direction[1]]
        assert [line.command_start[2] for line in across] == [height]
        assert twin.outcome().verdict == "right"


def _low_start(z_mm: float) -> dict[str, object]:
    return {
        "slot": 1,
        "plugs": {"main": "setter"},
        "proved": ["main"],
        "position_mm": (-600.0, -200.0, z_mm),
        "records": {
            "main": {
                "x_mm": CENTRE.x_mm,
                "y_mm": CENTRE.y_mm,
                "reference_z_mm": -480.1005,
                "reference_valid": True,
                "clearance_z_mm": -400.0,
            }
        },
    }


# ---- references that are refused ---------------------------------------------------------


def test_face_that_cannot_reach_the_pad_is_refused_before_motion() -> None:
    twin = build(LARGE)
    figures = stopped(twin, "unreachable", "reference-by-face", expected_pad_z_mm=-700.0)
    assert figures == {"trip_z_mm": -700.0, "min_z_mm": -600.0, "max_z_mm": 0.0}
    twin.tables.records["main"].reference_z_mm = -700.0
    stopped(twin, "unreachable", "reference-by-face")


def test_face_reference_wants_a_bare_spindle() -> None:
    twin = proved_centre()
    assert stopped(twin, "wrong-state", "reference-by-face") == {"loaded_row": 1}


def test_a_difference_needs_its_master() -> None:
    record = {"reference_z_mm": -700.1, "reference_valid": True}
    twin = build(LARGE, tool="end-mill-10", record=record)
    stopped(twin, "wrong-state", "measure-length", row=1)


def test_master_length_is_a_length() -> None:
    with pytest.raises(StepError, match="master_length_mm is 0"):
        do(build(LARGE), "reference-by-master", master_length_mm=0.0)


def test_reference_where_it_stands_while_nothing_is_located() -> None:
    bench = CENTRE
    twin = build(bench, controller=_unlocated(bench))
    z = do(twin, "reference-by-face", expected_pad_z_mm=-480.0)
    assert z == pytest.approx(-480.1005, abs=1e-9)
    assert twin.outcome().verdict == "right"


def _unlocated(bench: Bench) -> dict[str, object]:
    return {
        "plugs": {"main": "setter"},
        "proved": ["main"],
        "records": {"main": {}},
        "position_mm": (bench.x_mm, bench.y_mm + bench.beside_y_mm, -400.0),
    }


# ---- rechecks ----------------------------------------------------------------------------


@pytest.mark.parametrize("pulled_mm", [0.12, -0.12])
def test_recheck_has_a_limit_for_longer_and_one_for_shorter(pulled_mm: float) -> None:
    twin = proved_centre()
    do(twin, "measure-length", row=1)
    tool = twin.scenario.tools["end-mill-10"].model_copy(update={"pulled_out_mm": pulled_mm})
    twin.stage.replace_tool(tool, twin.recorder, twin.controller.time)
    wide, narrow = 0.15, 0.1
    longer, shorter = (wide, narrow) if pulled_mm > 0 else (narrow, wide)
    limits = {"longer_limit_mm": longer, "shorter_limit_mm": shorter}
    checked = do(twin, "recheck-length", row=1, **limits)
    assert checked.difference_mm == pytest.approx(pulled_mm, abs=1e-9)
    limits = {"longer_limit_mm": shorter, "shorter_limit_mm": longer}
    figures = stopped(twin, "out-of-limit", "recheck-length", moved=True, row=1, **limits)
    assert figures["measured_mm"] - figures["stored_mm"] == pytest.approx(pulled_mm, abs=1e-9)
    assert figures["limit_mm"] == narrow
    assert twin.controller.position[2] == twin.controller.top


def test_recheck_compares_with_geometry_and_wear() -> None:
    twin = proved_centre()
    do(twin, "measure-length", row=1)
    twin.controller.store_wear(1, -0.05)
    checked = do(twin, "recheck-length", row=1, longer_limit_mm=0.06, shorter_limit_mm=0.0)
    assert checked.difference_mm == pytest.approx(0.05, abs=1e-9)
    assert twin.tables.rows[1].wear_mm == -0.05


def test_recheck_of_a_row_that_was_never_measured() -> None:
    stopped(
        proved_centre(), "wrong-state", "recheck-length",
        row=1, longer_limit_mm=0.1, shorter_limit_mm=0.1,
    )  # fmt: skip


# ---- wide cutters ------------------------------------------------------------------------


def wide(beside_mm: float, **more: object) -> Twin:
    """A face mill of 80 mm, its axis ``beside_mm`` left of the pad's centre, above the pad."""
    start = _low_start(-330.0) | {
        "position_mm": (CENTRE.x_mm - beside_mm, CENTRE.y_mm, -330.0),
        "rows": {"1": {"tool": "face-mill-80"}},
    }
    return build(CENTRE, tool="face-mill-80", tools=("face-mill-80",), controller=start, **more)


def test_a_wide_cutter_is_measured_where_an_edge_meets_the_pad() -> None:
    twin = wide(36.0)
    truth = twin.scenario.tools["face-mill-80"].true_length_mm
    measured = do(twin, "measure-length-here", row=1, expected_length_mm=truth)
    assert measured.from_face_mm == pytest.approx(truth, abs=1e-4)
    assert twin.tables.rows[1].place == "here"
    assert {(line.command_start[0], line.command_start[1]) for line in twin.recorder.lines} == {
        (CENTRE.x_mm - 36.0, CENTRE.y_mm)
    }
    assert twin.outcome().verdict == "right"


def test_beside_a_screw_in_the_pad_and_rechecked_there() -> None:
    # The pad is a ring from 8 to 32 mm: a tool of 10 mm fits down the screw's counterbore.
    twin = proved_centre(
        record={"reference_z_mm": -480.1205, "clearance_z_mm": -450.0}, setter="bolted-ring-nc"
    )
    place = {"beside_x_mm": 14.0, "beside_y_mm": -14.0}
    measured = do(twin, "measure-length", row=1, expected_length_mm=120.0, **place)
    assert measured.from_face_mm == pytest.approx(120.0, abs=1e-9)
    assert twin.tables.rows[1].place == "here"
    assert twin.controller.position[:2] == (CENTRE.x_mm + 14.0, CENTRE.y_mm - 14.0)
    do(twin, "recheck-length", row=1, longer_limit_mm=0.0, shorter_limit_mm=0.0, **place)
    assert twin.outcome().verdict == "right"


def test_over_the_centre_a_hollow_cutter_misses_its_edges() -> None:
    twin = wide(0.0)
    do(twin, "measure-length", row=1)
    codes = twin.outcome().codes
    assert "missed-edge" in codes
    assert "wrong-number" in codes


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("left_hand", [False, True])
def test_turning_finds_the_highest_edge_late_by_its_limit_at_most(
    seed: int, left_hand: bool
) -> None:
    twin = wide(36.0, chance=True, seed=seed)
    tool = twin.scenario.tools["face-mill-80"]
    if left_hand:
        twin.stage.replace_tool(
            tool.model_copy(update={"cuts": "left"}), twin.recorder, twin.controller.time
        )
    perform(twin, do_step(twin, TurnSpindle(do="turn-spindle", to_deg=30.0)))
    late = 0.002
    measured = do(
        twin, "measure-length-turning",
        row=1, rpm=390.0, late_limit_mm=late, left_hand=left_hand,
        expected_length_mm=tool.true_length_mm,
    )  # fmt: skip
    sigma = twin.scenario.setter["main"].pre_travel_sigma_mm
    error = measured.from_face_mm - tool.true_length_mm
    assert -late - 5 * sigma <= error <= 5 * sigma
    assert twin.controller.spindle_rpm == 0.0
    assert twin.outcome().verdict == "right"


def test_turning_stops_the_spindle_after_an_alarm() -> None:
    twin = wide(36.0)
    stopped(
        twin, "no-contact", "measure-length-turning", moved=True,
        row=1, rpm=60.0, expected_length_mm=110.0,
    )  # fmt: skip
    assert twin.controller.spindle_rpm == 0.0


def test_turning_faster_than_the_filter_is_refused() -> None:
    # 60 * 40 mm / (pi * 80 mm * 2 ms) = 4775 turns a minute.
    figures = {"cutter_diameter_mm": 80.0, "pad_width_mm": 40.0, "filter_s": 0.002}
    with pytest.raises(StepError, match="never trip\n  fix: turn slower than 4775 rpm"):
        do(wide(36.0), "measure-length-turning", row=1, rpm=4800.0, **figures)
    with pytest.raises(StepError, match="above 0"):
        do(wide(36.0), "measure-length-turning", row=1, rpm=-60.0)
