"""Axes against closed forms: blocked, faulting, stalling, lost motion, growth, limits, homing."""

from __future__ import annotations

from math import exp
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from twin_cases import AXES, TABLE_Z, X, Y, events, truth_z, twin_of, when

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.motion import Limits, stop_distance
from drytouch.sim.twin.twin import Twin

KV, FEED_FORWARD = 40.0, 0.5
DELAY = (1.0 - FEED_FORWARD) / KV
BESIDE = [-600.0, Y, TABLE_Z + 10.0]  # over the bare table
LIMIT = 18.0  # following error limit, mm


def beside(z: float = BESIDE[2], **over: Any) -> Twin:
    controller = {"position_mm": [BESIDE[0], Y, z], **over.pop("controller", {})}
    return twin_of(controller=controller, **over)


def down_to(twin: Twin, z: float, feed: float = 600.0) -> None:
    twin.hand.feed(z=z, feed_mm_per_min=feed, frame="machine")


# ---- blocked by a body ----------------------------------------------------------------------


@pytest.mark.parametrize("feed", [120.0, 600.0, 3000.0])
def test_the_drive_faults_when_the_command_passes_the_error_limit(feed: float) -> None:
    stiffness = 300.0
    twin = beside(machine={"axes": {"z": {"stiffness_N_per_mm": stiffness}}})
    with pytest.raises(ControllerAlarm) as caught:
        down_to(twin, TABLE_Z - 40.0, feed)
    assert caught.value.code == "following-error"
    v = feed / 60.0
    ramp_loss = (v / 30000.0) ** 0.5  # half of the time of the ramp up, 2 * sqrt(v/j)
    met = 10.0 / v + ramp_loss + DELAY
    assert when(twin, "blocked") == pytest.approx(met, abs=1e-9)
    assert when(twin, "drive-fault") == pytest.approx(met - DELAY + LIMIT / v, abs=1e-9)
    fault = next(f for f in twin.judge.findings if f.code == "drive-fault")
    assert _figure(fault, "error") == pytest.approx(LIMIT, abs=1e-9)
    assert _figure(fault, "thrust") == pytest.approx(stiffness * (LIMIT - v * DELAY), rel=1e-9)
    assert truth_z(twin) == pytest.approx(TABLE_Z, abs=1e-6)
    assert twin.controller.position[2] == pytest.approx(truth_z(twin), abs=1e-12)
    assert not twin.kernel.powered


def _figure(finding: Any, name: str) -> float:
    return float(next(v for k, v in finding.figures.items() if k.startswith(name)))


def test_thrust_has_a_ceiling() -> None:
    twin = beside()
    with pytest.raises(ControllerAlarm):
        down_to(twin, TABLE_Z - 40.0)
    fault = next(f for f in twin.judge.findings if f.code == "drive-fault")
    assert _figure(fault, "thrust") == 10000.0


def test_pressing_adds_up_over_lines() -> None:
    twin = beside(TABLE_Z + 1.0)
    down_to(twin, TABLE_Z - 5.0)
    down_to(twin, TABLE_Z - 12.0)
    assert truth_z(twin) == pytest.approx(TABLE_Z, abs=1e-6)
    start = twin.env.now
    with pytest.raises(ControllerAlarm):
        down_to(twin, TABLE_Z - 30.0)
    # 6 mm more at 10 mm/s, from rest.
    expected = start + 0.6 + (10.0 / 30000.0) ** 0.5
    assert when(twin, "drive-fault") == pytest.approx(expected, abs=1e-7)


@pytest.mark.parametrize("backlash", [0.0, 0.02, 0.5])
def test_backing_off_frees_the_axis_exactly_when_the_delayed_command_is_back(
    backlash: float,
) -> None:
    twin = beside(TABLE_Z + 1.0, machine={"axes": {"z": {"backlash_mm": backlash}}})
    down_to(twin, TABLE_Z - 5.0)
    # Going down, the slide hangs half of the lost motion above its command.
    free_at = TABLE_Z + backlash / 2.0
    start = twin.env.now
    twin.env.process(twin.controller.feed(z=TABLE_Z + 3.0, feed_mm_per_min=600.0, frame="machine"))
    twin.advance(start + 1e-6)
    line = twin.kernel.line
    assert line is not None
    moved = False
    for k in range(1, 1200):
        t = start + k * 0.001
        twin.advance(t)
        delayed = TABLE_Z - 5.0 + line.track.state_at(t - DELAY).s
        expected = max(TABLE_Z, delayed - backlash / 2.0)
        assert truth_z(twin) == pytest.approx(expected, abs=2e-6)
        moved = moved or delayed > free_at + backlash
    assert moved


@settings(max_examples=60)
@given(
    backlash=st.sampled_from([0.0, 0.01, 0.05]),
    goals=st.lists(st.integers(-60, 40), min_size=1, max_size=8),
)
def test_small_steps_onto_the_table_and_off_it(backlash: float, goals: list[int]) -> None:
    """Slide = play between command and slide, and never below the table."""
    twin = beside(TABLE_Z + 0.1, machine={"axes": {"z": {"backlash_mm": backlash}}})
    command, slide, half = TABLE_Z + 0.1, TABLE_Z + 0.1, backlash / 2.0
    for goal in goals:
        target = TABLE_Z + goal * 0.005
        twin.hand.step("z", target - command)
        command = target
        slide = max(min(max(slide, command - half), command + half), TABLE_Z)
        assert truth_z(twin) == pytest.approx(slide, abs=2e-6)
        assert twin.controller.position[2] == pytest.approx(command, abs=1e-9)


def test_drives_off_sets_the_command_to_where_the_axis_is() -> None:
    twin = beside(TABLE_Z + 1.0)
    down_to(twin, TABLE_Z - 5.0)
    twin.kernel.drives_off()
    assert twin.controller.position[2] == pytest.approx(TABLE_Z, abs=1e-6)
    assert truth_z(twin) == pytest.approx(TABLE_Z, abs=1e-6)


@pytest.mark.parametrize("gap", [0.05, 0.2, 5.0])
def test_a_coasting_axis_that_meets_a_body_stands_there_without_a_fault(gap: float) -> None:
    twin = beside(
        machine={
            "emergency_stop": {
                "category": 0, "coast_deceleration_mm_per_s2": 200.0, "sag_mm": 0.3,
            }
        },
        controller={"position_mm": [BESIDE[0], Y, 0.0]},
    )  # fmt: skip
    kernel = twin.kernel

    def person() -> Any:
        while kernel.physical()[2] > TABLE_Z + gap:
            yield twin.env.timeout(0.0001)
        kernel.emergency_stop()

    twin.env.process(person())
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.feed(z=TABLE_Z - 1.0, feed_mm_per_min=9000.0, frame="machine")
    assert caught.value.code == "e-stop"
    assert truth_z(twin) == pytest.approx(TABLE_Z, abs=1e-6)
    assert not events(twin, "drive-fault")
    assert twin.controller.position[2] == pytest.approx(TABLE_Z, abs=1e-6)


# ---- steppers -------------------------------------------------------------------------------

STEPPER = {"servo": {"drive": "stepper"}}
GIVE = 10000.0 / 110000.0


def test_a_stepper_stalls_and_its_position_is_then_silently_false() -> None:
    twin = beside(machine=STEPPER)
    down_to(twin, TABLE_Z - 5.0)
    v = 10.0
    met = 1.0 + (v / 30000.0) ** 0.5
    assert when(twin, "blocked") == pytest.approx(met, abs=1e-9)  # no lag in an open loop
    assert when(twin, "stall") == pytest.approx(met + GIVE / v, abs=1e-9)
    assert twin.controller.position[2] == TABLE_Z - 5.0
    assert truth_z(twin) == pytest.approx(TABLE_Z, abs=1e-6)
    assert twin.controller.alarm_now is None
    down_to(twin, TABLE_Z + 5.0)
    assert twin.controller.position[2] == TABLE_Z + 5.0
    assert truth_z(twin) == pytest.approx(TABLE_Z + 10.0, abs=1e-6)
    assert "lost-steps" in {f.code for f in twin.judge.findings}


def test_a_stepper_that_is_pressed_less_than_its_thrust_loses_nothing() -> None:
    twin = beside(TABLE_Z + 1.0, machine=STEPPER)
    down_to(twin, TABLE_Z - GIVE * 0.99)
    assert not events(twin, "stall")
    down_to(twin, TABLE_Z + 1.0)
    assert truth_z(twin) == pytest.approx(TABLE_Z + 1.0, abs=1e-6)


# ---- rapids that bend -----------------------------------------------------------------------


def test_rapids_go_straight_or_each_axis_at_its_own_speed() -> None:
    goal = {"x": -500.0, "y": -160.0, "z": -395.0}
    here = (-600.0, -200.0, -400.0)
    for rapids in ("straight", "each-axis"):
        twin = twin_of(machine={"rapids": rapids}, controller={"position_mm": list(here)})
        twin.hand.rapid(**goal, frame="machine")
        starts = [line.command_start for line in twin.recorder.lines]
        assert twin.controller.position == (-500.0, -160.0, -395.0)
        if rapids == "straight":
            assert starts == [here]
            continue
        # 5 mm of Z at 20000 take 15 ms: X and Y (24000) do 6 mm; then 34 of Y, then the rest of X.
        expected = [here, (-594.0, -194.0, -395.0), (-560.0, -160.0, -395.0)]
        assert len(starts) == len(expected)
        for found, wanted in zip(starts, expected, strict=True):
            assert found == pytest.approx(wanted, abs=1e-9)


# ---- lost motion ----------------------------------------------------------------------------


@settings(max_examples=60)
@given(
    backlash=st.sampled_from([0.002, 0.05, 1.0]),
    moves=st.lists(
        st.tuples(st.sampled_from(AXES), st.integers(-400, 400)), min_size=1, max_size=10
    ),
)
def test_lost_motion_is_exact_play_on_single_axes(
    backlash: float, moves: list[tuple[str, int]]
) -> None:
    start = [X, Y, -200.0]
    twin = twin_of(
        machine={"axes": {axis: {"backlash_mm": backlash} for axis in AXES}},
        controller={"position_mm": start},
    )
    command, slide = list(start), list(start)
    for axis, by in moves:
        i = AXES.index(axis)
        command[i] += by * 0.01
        twin.hand.step(axis, by * 0.01)
        slide[i] = min(max(slide[i], command[i] - backlash / 2.0), command[i] + backlash / 2.0)
        assert twin.kernel.physical() == pytest.approx(slide, abs=1e-9)
        assert twin.controller.position == pytest.approx(command, abs=1e-9)


def test_lost_motion_enters_a_height_that_was_felt_upwards() -> None:
    """Up to the block by feel, down onto the pad: they differ by the lost motion."""
    twin = beside(machine={"axes": {"z": {"backlash_mm": 0.012}}})
    twin.hand.step("z", -1.0)
    down_truth, down_read = truth_z(twin), twin.controller.position[2]
    twin.hand.step("z", -1.0)
    twin.hand.step("z", 1.0)
    assert twin.controller.position[2] == pytest.approx(down_read, abs=1e-9)
    assert truth_z(twin) - down_truth == pytest.approx(-0.012, abs=1e-9)


# ---- growth ---------------------------------------------------------------------------------


def test_the_spindle_grows_and_shrinks_exponentially() -> None:
    growth, tau = 0.03, 1200.0
    twin = twin_of(machine={"spindle": {"growth_mm": growth, "growth_time_constant_s": tau}})
    z = twin.controller.position[2]
    twin.controller.spin(-5000.0)  # half of the highest speed
    twin.advance(900.0)
    grown = growth * 0.5 * (1.0 - exp(-900.0 / tau))
    assert truth_z(twin) == pytest.approx(z - grown, abs=1e-12)
    twin.controller.spin(10000.0)
    twin.advance(1500.0)
    grown = growth + (grown - growth) * exp(-600.0 / tau)
    assert truth_z(twin) == pytest.approx(z - grown, abs=1e-12)
    twin.controller.spin(0.0)
    twin.advance(5000.0)
    assert truth_z(twin) == pytest.approx(z - grown * exp(-3500.0 / tau), abs=1e-12)
    assert twin.controller.position[2] == z


def test_a_warm_spindle_trips_the_pad_earlier() -> None:
    cold = twin_of()
    warm = twin_of(machine={"spindle": {"growth_mm": 0.03}}, controller={"spindle_warmth": 1.0})
    early = warm.hand.touch(z=-400.0, feed_mm_per_min=200.0).z
    late = cold.hand.touch(z=-400.0, feed_mm_per_min=200.0).z
    # It cools by exp(-3/1200) on the way down.
    assert early - late == pytest.approx(0.03, abs=1.2e-4)
    assert early > late


# ---- limits and homing ----------------------------------------------------------------------


def test_soft_limits_refuse_before_anything_moves() -> None:
    twin = twin_of()
    before = truth_z(twin)
    for goal in ({"z": 0.002}, {"x": 0.002}, {"y": -400.002}):
        with pytest.raises(ControllerAlarm) as caught:
            twin.hand.rapid(**goal, frame="machine")
        assert caught.value.code == "soft-limit"
        twin.controller.alarm_now = None
    assert truth_z(twin) == before
    assert twin.recorder.lines == []


def test_a_false_position_runs_onto_the_switch_which_stops_it() -> None:
    twin = twin_of(
        truth={"position_error_mm": [0.0, 0.0, 8.0]}, controller={"position_mm": [X, Y, -50.0]}
    )
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.feed(z=0.0, feed_mm_per_min=3000.0, frame="machine")
    assert caught.value.code == "hard-limit"
    v = 50.0
    # 5 mm past the soft limit, then what still runs out, but not past the goal's own 8 mm.
    over = v * DELAY + stop_distance(v, Limits(v, 3000.0, 30000.0))
    assert truth_z(twin) == pytest.approx(5.0 + over, abs=1e-9)
    twin.controller.reset()
    twin.kernel.powered = True
    # Past its switch it may still go across and back.
    twin.hand.feed(x=X + 1.0, feed_mm_per_min=600.0, frame="machine")
    twin.hand.feed(z=-50.0, feed_mm_per_min=600.0, frame="machine")
    assert truth_z(twin) == pytest.approx(-42.0, abs=1e-9)


@pytest.mark.parametrize("backlash", [0.0, 0.03])
@pytest.mark.parametrize("error", [0.0, 12.0, -0.5])
def test_homing_ends_where_the_switch_really_is(backlash: float, error: float) -> None:
    twin = twin_of(
        machine={"axes": {axis: {"backlash_mm": backlash} for axis in AXES}},
        truth={"homing_error_mm": [0.0, 0.0, error], "position_error_mm": [1.0, -2.0, 3.0]},
        controller={"homed": False},
    )
    twin.hand.step("z", -1.0)  # so that Z turns round for its switch
    twin.hand.home()
    assert twin.controller.homed
    assert twin.controller.position == (0.0, 0.0, 0.0)
    assert twin.kernel.physical() == pytest.approx((0.0, 0.0, error), abs=1e-9)
    twin.hand.rapid(z=-100.0, frame="machine")
    assert truth_z(twin) == pytest.approx(-100.0 + error + backlash, abs=1e-9)


def test_nothing_but_jogging_before_homing() -> None:
    twin = twin_of(controller={"homed": False})
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.rapid(z=-100.0, frame="machine")
    assert caught.value.code == "not-homed"
    twin.controller.reset()
    twin.kernel.powered = True
    twin.hand.step("z", 1.0)


@pytest.mark.parametrize("keeps", [True, False])
def test_an_emergency_stop_may_make_references_stale(keeps: bool) -> None:
    twin = twin_of(
        machine={"emergency_stop": {"keeps_reference": keeps}},
        controller={"records": {"main": {"reference_z_mm": -480.1, "reference_valid": True}}},
    )

    def person() -> Any:
        yield twin.env.timeout(0.1)
        twin.kernel.emergency_stop()

    twin.env.process(person())
    with pytest.raises(ControllerAlarm):
        twin.hand.feed(z=-300.0, feed_mm_per_min=3000.0, frame="machine")
    record = twin.controller.record()
    assert record.reference_valid is keeps
    assert record.stale == ("" if keeps else "an emergency stop")
