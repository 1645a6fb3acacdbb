"""Holds, overrides, jog keys, emergency stops and faults: every way that a line can be stopped."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from twin_cases import (
    CLOSE_Z,
    CONTACT_Z,
    X,
    Y,
    events,
    kinds,
    truth_z,
    twin_of,
    when,
)

from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.motion import Limits, stop_distance
from drytouch.sim.twin.twin import Twin

ACCELERATION, JERK = 3000.0, 30000.0
DELAY = 0.5 / 40.0


def at(twin: Twin, *acts: tuple[float, Any]) -> None:
    """Have commands given beside what runs: (time s, callable)."""

    def person(t: float, act: Any) -> Any:
        yield twin.env.timeout(t)
        act()

    for t, act in acts:
        twin.env.process(person(t, act))


def limits(v: float) -> Limits:
    return Limits(v, ACCELERATION, JERK)


def commanded_speed(twin: Twin) -> float:
    line = twin.kernel.line
    assert line is not None
    return float(line.track.state_at(twin.env.now).v)


# ---- hold -----------------------------------------------------------------------------------


def test_a_hold_stops_within_the_stopping_distance_and_the_line_goes_on_to_its_end() -> None:
    twin = twin_of(controller={"position_mm": [X, Y, -100.0]})
    seen: list[float] = []
    kernel = twin.kernel
    at(
        twin,
        (1.0, lambda: kernel.set_hold(True)),
        (1.0 - 1e-9, lambda: seen.append(kernel.reported()[2])),
        (4.0, lambda: seen.append(kernel.reported()[2])),
        (5.0, lambda: seen.append(kernel.reported()[2])),
        (5.0, lambda: kernel.set_hold(False)),
    )
    twin.hand.feed(z=-300.0, feed_mm_per_min=3000.0, frame="machine")
    v = 50.0
    assert seen[0] - seen[1] == pytest.approx(v * DELAY + stop_distance(v, limits(v)), abs=1e-6)
    assert seen[1] == seen[2]
    assert twin.controller.position[2] == -300.0
    free = twin_of(controller={"position_mm": [X, Y, -100.0]})
    free.hand.feed(z=-300.0, feed_mm_per_min=3000.0, frame="machine")
    # The stop and the new start each move half of their time at full speed.
    assert twin.env.now - free.env.now == pytest.approx(4.0, abs=1e-6)


def test_starting_a_line_does_not_clear_a_hold() -> None:
    twin = twin_of()
    twin.kernel.set_hold(True)
    with pytest.raises(StepError, match="feed hold is on"):
        twin.hand.feed(z=-350.0, feed_mm_per_min=3000.0, frame="machine")
    assert twin.kernel.hold
    assert truth_z(twin) == CONTACT_Z + 10.0


def test_a_hold_in_a_touch_that_resumes_gives_the_same_height() -> None:
    plain, held = twin_of(), twin_of()
    wanted = plain.hand.touch(z=-400.0, feed_mm_per_min=60.0)
    at(held, (3.0, lambda: held.kernel.set_hold(True)), (6.0, lambda: held.kernel.set_hold(False)))
    assert held.hand.touch(z=-400.0, feed_mm_per_min=60.0) == wanted
    assert held.env.now > plain.env.now + 2.9


def test_a_touch_that_obeys_no_hold_runs_on() -> None:
    plain = twin_of()
    deaf = twin_of(machine={"habits": {"touch_obeys_feed_hold": False}})
    at(deaf, (3.0, lambda: deaf.kernel.set_hold(True)))
    wanted = plain.hand.touch(z=-400.0, feed_mm_per_min=60.0)
    assert deaf.hand.touch(z=-400.0, feed_mm_per_min=60.0) == wanted
    assert deaf.env.now == plain.env.now


@pytest.mark.parametrize("ahead_s", [-0.02, -0.005, 0.0, 0.0004, 0.02, 0.2])
def test_a_trigger_during_a_hold_ends_the_touch_and_resuming_does_not_restart_it(
    ahead_s: float,
) -> None:
    plain = twin_of()
    feed = 1500.0
    plain.hand.touch(z=-400.0, feed_mm_per_min=feed)
    close, plain_end = when(plain, "close"), truth_z(plain)
    twin = twin_of()
    kernel = twin.kernel
    # The hold comes shortly before (or after) the contact closes; braking takes far longer.
    at(
        twin,
        (close - ahead_s, lambda: kernel.set_hold(True)),
        (close + 2.0, lambda: kernel.set_hold(False)),
    )
    found = twin.hand.touch(z=-400.0, feed_mm_per_min=feed, must_contact=False)
    if ahead_s == 0.2:  # it stood before it ever met the pad
        assert when(twin, "close") > close + 2.0
        assert found.z == pytest.approx(CLOSE_Z, abs=1e-5)
        return
    assert found.contact
    assert kinds(twin).count("latch") == 1
    assert truth_z(twin) >= plain_end - 1e-9  # a second stop never softens the first
    assert twin.env.now < close + 2.0  # the hold does not keep a triggered touch
    twin.env.run(until=close + 3.0)
    kernel.agenda.command()
    assert kernel.line is None


# ---- overrides ------------------------------------------------------------------------------


def test_overrides_scale_feeds_and_rapids_and_leave_touches_alone() -> None:
    twin = twin_of(controller={"position_mm": [X, Y, -100.0]})
    kernel = twin.kernel
    speeds: list[float] = []
    at(
        twin,
        (1.0, lambda: speeds.append(commanded_speed(twin))),
        (1.0, lambda: kernel.set_override(feed=0.5)),
        (2.0, lambda: speeds.append(commanded_speed(twin))),
        (2.0, lambda: kernel.set_override(feed=1.5)),
        (3.0, lambda: speeds.append(commanded_speed(twin))),
        (3.0, lambda: kernel.set_override(feed=0.0)),
        (5.0, lambda: speeds.append(commanded_speed(twin))),
        (5.0, lambda: kernel.set_override(feed=1.0)),
        (6.0, lambda: speeds.append(commanded_speed(twin))),
    )
    twin.hand.feed(z=-300.0, feed_mm_per_min=1200.0, frame="machine")
    assert speeds == pytest.approx([20.0, 10.0, 30.0, 0.0, 20.0], abs=1e-9)
    assert twin.controller.position[2] == -300.0


@pytest.mark.parametrize(
    ("rapid", "expected"), [(1.0, 20000 / 60), (0.25, 5000 / 60), (0.05, 1000 / 60)]
)
def test_rapid_override_scales_rapids(rapid: float, expected: float) -> None:
    twin = twin_of(controller={"position_mm": [X, Y, 0.0], "rapid_override": rapid})
    peak: list[float] = []
    at(twin, (0.6, lambda: peak.append(commanded_speed(twin))))
    twin.hand.rapid(z=-300.0, frame="machine")
    assert peak[0] == pytest.approx(expected, rel=1e-9)


def test_a_touch_obeys_the_feed_override_only_where_the_machine_says_so() -> None:
    for obeys in (False, True):
        twin = twin_of(
            controller={"feed_override": 0.5}, machine={"habits": {"touch_obeys_override": obeys}}
        )
        twin.hand.touch(z=-400.0, feed_mm_per_min=60.0)
        contact, close = when(twin, "contact"), when(twin, "close")
        assert 0.1 / (close - contact) == pytest.approx(0.5 if obeys else 1.0, rel=1e-9)


def test_override_zero_is_a_hold_for_ever() -> None:
    twin = twin_of(controller={"feed_override": 0.0})
    with pytest.raises(StepError, match="override is at 0"):
        twin.hand.feed(z=-350.0, feed_mm_per_min=600.0, frame="machine")


# ---- jog keys -------------------------------------------------------------------------------


def test_a_jog_starts_with_the_key_and_stops_when_it_is_released() -> None:
    twin = twin_of(controller={"position_mm": [X, Y, -100.0]})
    line = twin.controller.start_jog("z", -1, 1200.0)
    assert line is not None
    twin.advance(1.0)
    before = line.track.state_at(1.0)
    assert before.v == pytest.approx(20.0)
    twin.controller.release_jog()
    twin.advance(3.0)
    assert twin.kernel.line is None
    assert line.outcome == "released"
    travelled = before.s + stop_distance(20.0, limits(20.0))
    assert twin.controller.position[2] == pytest.approx(-100.0 - travelled, abs=1e-9)


def test_a_jog_runs_to_the_soft_limit_and_no_further() -> None:
    twin = twin_of(controller={"position_mm": [X, Y, -10.0]})
    twin.controller.start_jog("z", 1, 2000.0)
    twin.advance(5.0)
    assert twin.controller.position[2] == 0.0
    assert twin.controller.start_jog("z", 1, 2000.0) is None
    assert not events(twin)


def test_a_second_key_waits_for_rest() -> None:
    twin = twin_of(controller={"position_mm": [X, Y, -100.0]})
    jog = twin.controller
    jog.start_jog("z", -1, 1200.0)
    twin.advance(1.0)
    assert jog.start_jog("x", 1, 600.0) is None
    twin.advance(1.5)
    assert jog.position[0] == X
    jog.release_jog("z")
    twin.advance(3.0)
    z = jog.position[2]
    assert jog.position[0] > X + 5.0
    twin.advance(4.0)
    assert jog.position[2] == z
    jog.release_jog("x")
    twin.advance(5.0)
    assert twin.kernel.line is None
    assert jog.alarm_now is None


def test_the_other_way_waits_for_rest_too() -> None:
    twin = twin_of(controller={"position_mm": [X, Y, -100.0]})
    jog = twin.controller
    jog.start_jog("z", -1, 1200.0)
    twin.advance(1.0)
    jog.start_jog("z", 1, 1200.0)
    jog.release_jog("z")  # letting the first key go
    twin.advance(1.05)
    assert jog.position[2] < -115.0
    twin.advance(4.0)
    assert jog.position[2] > -100.0
    jog.release_jog()
    twin.advance(5.0)
    assert twin.kernel.line is None


def test_a_waiting_key_that_is_let_go_does_nothing() -> None:
    twin = twin_of(controller={"position_mm": [X, Y, -100.0]})
    jog = twin.controller
    jog.start_jog("z", -1, 1200.0)
    twin.advance(1.0)
    jog.start_jog("x", 1, 600.0)
    twin.advance(1.2)
    jog.release_jog("x")
    twin.advance(1.4)
    jog.release_jog("z")
    twin.advance(4.0)
    assert twin.kernel.line is None
    assert jog.position[0] == X


# ---- emergency stop -------------------------------------------------------------------------

COAST = {"emergency_stop": {"category": 0, "sag_mm": 0.3, "coast_deceleration_mm_per_s2": 2000.0}}
BRAKED = {"emergency_stop": {"category": 1, "sag_mm": 0.02}}


def stopped(machine: dict[str, Any], t: float, feed: float = 3000.0) -> Twin:
    twin = twin_of(machine=machine, controller={"position_mm": [X, Y, -100.0]})
    at(twin, (t, twin.kernel.emergency_stop))
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.feed(z=-300.0, feed_mm_per_min=feed, frame="machine")
    assert caught.value.code == "e-stop"
    return twin


def test_category_0_coasts_from_the_actual_axis_then_sags() -> None:
    twin = stopped(COAST, 1.0)
    v = 50.0
    ramp = 2.0 * (v / JERK) ** 0.5
    # The actual axis at 1.02 s (reaction): the command 12.5 ms earlier.
    here = v * (1.02 - DELAY) - v * ramp / 2.0
    assert truth_z(twin) == pytest.approx(-100.0 - here - v * v / 4000.0 - 0.3, abs=1e-9)
    assert twin.controller.position[2] == pytest.approx(truth_z(twin), abs=1e-9)
    assert twin.env.now == pytest.approx(1.02 + v / 2000.0 + 0.08, abs=1e-9)
    assert not twin.kernel.powered


def test_category_1_stops_under_control_then_sags() -> None:
    twin = stopped(BRAKED, 1.0)
    v = 50.0
    ramp = 2.0 * (v / JERK) ** 0.5
    end = v * 1.02 - v * ramp / 2.0 + stop_distance(v, limits(v))
    assert truth_z(twin) == pytest.approx(-100.0 - end - 0.02, abs=1e-9)
    assert twin.env.now == pytest.approx(1.02 + ramp + DELAY + 0.08, abs=1e-9)
    assert not twin.kernel.powered


@pytest.mark.parametrize("machine", [COAST, BRAKED])
def test_at_rest_it_only_sags_and_with_drives_off_not_even_that(machine: dict[str, Any]) -> None:
    sag = machine["emergency_stop"]["sag_mm"]
    twin = twin_of(machine=machine)
    twin.kernel.emergency_stop()
    twin.advance(1.0)
    assert truth_z(twin) == pytest.approx(CONTACT_Z + 10.0 - sag, abs=1e-12)
    idle = twin_of(machine=machine)
    idle.kernel.drives_off()
    idle.kernel.emergency_stop()
    idle.advance(1.0)
    assert truth_z(idle) == CONTACT_Z + 10.0


def test_hold_and_emergency_stop_outlive_the_line() -> None:
    twin = stopped(BRAKED, 1.0)
    for _ in range(2):
        with pytest.raises(ControllerAlarm) as caught:
            twin.hand.rapid(z=-100.0, frame="machine")
        assert caught.value.code == "e-stop"
    z = truth_z(twin)
    twin.advance(10.0)
    assert truth_z(twin) == z


@pytest.mark.parametrize("machine", [COAST, BRAKED])
@pytest.mark.parametrize("absolute", [True, False])
def test_a_machine_without_absolute_encoders_loses_its_position(
    machine: dict[str, Any], absolute: bool
) -> None:
    twin = stopped({**machine, "absolute_encoders": absolute}, 1.0)
    assert twin.controller.homed is absolute
    twin.controller.reset()
    twin.kernel.powered = True
    if absolute:
        twin.hand.rapid(z=-100.0, frame="machine")
        assert truth_z(twin) == pytest.approx(-100.0, abs=1e-9)
        return
    with pytest.raises(ControllerAlarm, match="home it first"):
        twin.hand.rapid(z=-100.0, frame="machine")
    twin.controller.reset()
    twin.hand.home()
    assert truth_z(twin) == pytest.approx(0.0, abs=1e-9)
    assert twin.controller.position == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(("machine", "category"), [(COAST, 0), (BRAKED, 1)])
def test_an_emergency_stop_presses_a_touching_tool_further(
    machine: dict[str, Any], category: int
) -> None:
    plain = twin_of(machine=machine)
    plain.hand.touch(z=-400.0, feed_mm_per_min=600.0)
    close = when(plain, "close")
    twin = twin_of(machine=machine)
    at(twin, (close - 0.02, twin.kernel.emergency_stop))
    with pytest.raises(ControllerAlarm):
        twin.hand.touch(z=-400.0, feed_mm_per_min=600.0)
    v, sag = 10.0, machine["emergency_stop"]["sag_mm"]
    # Power acts at the very instant of the trip; the delayed axis runs on.
    run_on = v * v / 4000.0 if category == 0 else v * DELAY + stop_distance(v, limits(v))
    assert truth_z(twin) == pytest.approx(CLOSE_Z - run_on - sag, abs=1e-9)
    assert twin.kernel.pads["main"].depth == pytest.approx(0.1 + run_on + sag, abs=1e-9)


@settings(max_examples=40)
@given(
    hold=st.floats(0.01, 3.0),
    press=st.floats(0.0, 0.3),
    feed=st.sampled_from([600.0, 3000.0, 9000.0]),
)
def test_a_stop_never_softens(hold: float, press: float, feed: float) -> None:
    """An emergency stop while a hold brakes ends no further on than the hold alone."""
    ends = []
    for both in (False, True):
        twin = twin_of(
            machine={"emergency_stop": {"sag_mm": 0.0}}, controller={"position_mm": [X, Y, 0.0]}
        )
        kernel = twin.kernel
        at(twin, (hold, lambda kernel=kernel: kernel.set_hold(True)))
        if both:
            at(twin, (hold + press, kernel.emergency_stop))
        z: list[float] = []
        at(twin, (hold + 2.0, lambda twin=twin, z=z: z.append(truth_z(twin))))
        twin.env.process(
            _ignoring(twin.controller.feed(z=-370.0, feed_mm_per_min=feed, frame="machine"))
        )
        twin.advance(hold + 2.0)
        ends.append(truth_z(twin))
    # A way that ends at its goal is put exactly there; one that is stopped at it, to the last bit.
    assert ends[0] == pytest.approx(ends[1], abs=1e-12)


def _ignoring(calls: Any) -> Any:
    try:
        yield from calls
    except ControllerAlarm:
        return


# ---- afterwards -----------------------------------------------------------------------------


@pytest.mark.parametrize("later", [0.0, 0.005, 0.025])
def test_a_key_let_go_while_an_emergency_stop_brakes_does_not_keep_the_power_on(
    later: float,
) -> None:
    twin = twin_of(machine=BRAKED, controller={"position_mm": [X, Y, -100.0]})
    line = twin.controller.start_jog("z", -1, 6000.0)
    assert line is not None
    at(twin, (1.0, twin.kernel.emergency_stop), (1.02 + later, twin.controller.release_jog))
    twin.advance(3.0)
    assert line.outcome == "e-stop"
    assert not twin.kernel.powered
    with pytest.raises(ControllerAlarm, match="emergency stop is pressed"):
        twin.controller.start_jog("z", 1, 600.0)


def test_a_standing_alarm_refuses_every_move_until_it_is_reset() -> None:
    twin = twin_of()
    for _ in range(3):
        with pytest.raises(ControllerAlarm) as caught:
            twin.hand.rapid(z=1.0, frame="machine")
        assert caught.value.code == "soft-limit"
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.step("z", 1.0)
    assert caught.value.code == "soft-limit"
    assert len(twin.judge.alarms) == 1
    assert twin.recorder.lines == []
    twin.controller.reset()
    twin.hand.step("z", 1.0)
    assert truth_z(twin) == pytest.approx(CONTACT_Z + 11.0, abs=1e-9)


@pytest.mark.parametrize("share", [0.0, 0.5, 0.99])
def test_a_hold_or_a_knob_after_the_command_has_arrived_changes_nothing(share: float) -> None:
    ends = []
    for act in (None, "hold", "knob"):
        twin = twin_of()
        kernel = twin.kernel
        done: list[float] = []

        def job(twin: Twin = twin, done: list[float] = done) -> Any:
            yield from twin.controller.feed(z=-375.0, feed_mm_per_min=600.0, frame="machine")
            done.append(twin.env.now)

        twin.env.process(job())
        # 5 mm at 10 mm/s with both ramps, then the axis' delay.
        arrived = 0.5 + 2.0 * (10.0 / JERK) ** 0.5
        moment = arrived + share * DELAY + 1e-9
        if act == "hold":
            at(twin, (moment, lambda kernel=kernel: kernel.set_hold(True)))
        if act == "knob":
            at(twin, (moment, lambda kernel=kernel: kernel.set_override(feed=0.2)))
        twin.advance(2.0)
        assert truth_z(twin) == -375.0
        ends.append(done)
    assert ends[0] == ends[1] == ends[2]
    assert ends[0][0] == pytest.approx(0.5 + 2.0 * (10.0 / JERK) ** 0.5 + DELAY, abs=1e-9)


@pytest.mark.parametrize("machine", [COAST, BRAKED])
def test_after_an_emergency_stop_in_a_touch_the_next_touch_is_true(machine: dict[str, Any]) -> None:
    twin = twin_of(machine=machine)
    at(twin, (1.02, twin.kernel.emergency_stop))
    with pytest.raises(ControllerAlarm):
        twin.hand.touch(z=-400.0, feed_mm_per_min=600.0)
    assert twin.kernel.pads["main"].pressed
    twin.controller.reset()
    twin.kernel.powered = True
    twin.hand.feed(z=CONTACT_Z + 2.0, feed_mm_per_min=600.0, frame="machine")
    assert kinds(twin)[-2:] == ["open", "leave"]
    found = twin.hand.touch(z=-400.0, feed_mm_per_min=60.0)
    assert found.z == pytest.approx(CLOSE_Z, abs=1e-5)
    assert truth_z(twin) == pytest.approx(twin.controller.position[2], abs=1e-9)
