"""Whole event logs: everything that happens in a run, in order, each at its closed-form time."""

from __future__ import annotations

from math import ceil
from typing import Any

import pytest
from twin_cases import CLOSE_Z, CONTACT_Z, X, Y, events, truth_z, twin_of

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.motion import Limits, stop_distance, stop_time
from drytouch.sim.twin.twin import Twin

ACCELERATION, JERK = 3000.0, 30000.0
DELAY = 0.5 / 40.0


def limits(v: float) -> Limits:
    return Limits(v, ACCELERATION, JERK)


def lost(v: float) -> float:
    """A ramp from rest to ``v`` takes this much longer than its path at ``v`` would."""
    return stop_time(v, limits(v)) / 2.0


def tick(t: float) -> float:
    return ceil(t / 0.001 - 1e-9) * 0.001


def log(twin: Twin) -> list[tuple[float, str, Any]]:
    return [(t, kind, data) for t, kind, data in events(twin)]


def compare(twin: Twin, expected: list[tuple[float, str, Any]]) -> None:
    found = log(twin)
    assert [(kind, data) for _, kind, data in found if kind != "latch"] == [
        (kind, data) for _, kind, data in expected if kind != "latch"
    ]
    assert [kind for _, kind, _ in found] == [kind for _, kind, _ in expected]
    assert [t for t, _, _ in found] == pytest.approx([t for t, _, _ in expected], abs=1e-8)


def test_a_two_stage_touch_off() -> None:
    twin = twin_of()
    fast, slow = 200.0 / 60.0, 25.0 / 60.0
    first = twin.hand.touch(z=-400.0, feed_mm_per_min=200.0)
    twin.hand.feed(z=CONTACT_Z + 5.0, feed_mm_per_min=6000.0, frame="machine")
    second = twin.hand.touch(z=-400.0, feed_mm_per_min=25.0)
    expected: list[tuple[float, str, Any]] = []

    contact = 10.0 / fast + lost(fast) + DELAY
    close = contact + 0.1 / fast
    stop_at = tick(close)
    expected += [(contact, "contact", "main"), (close, "close", "main"), (stop_at, "latch", None)]
    rest = stop_at + stop_time(fast, limits(fast)) + DELAY
    depth = 0.1 + fast * (stop_at - close + DELAY) + stop_distance(fast, limits(fast))

    # Back up, never at full speed: four jerk phases of equal time. The pad opens at 0.07 mm and
    # is left at 0, both within the first phase, whose path is j*t^3/6.
    phase = ((depth + 5.0) / (2.0 * JERK)) ** (1 / 3)
    opened = rest + DELAY + (6.0 * (depth - 0.07) / JERK) ** (1 / 3)
    left = rest + DELAY + (6.0 * depth / JERK) ** (1 / 3)
    assert left - rest - DELAY < phase
    assert JERK * phase**2 < 100.0
    expected += [(opened, "open", "main"), (left, "leave", "main")]
    again = rest + 4.0 * phase + DELAY

    contact = again + 5.0 / slow + lost(slow) + DELAY
    close = contact + 0.1 / slow
    expected += [(contact, "contact", "main"), (close, "close", "main")]
    expected.append((tick(close), "latch", None))
    compare(twin, expected)
    assert first.z == pytest.approx(CLOSE_Z, abs=1e-5)
    assert second.z == pytest.approx(CLOSE_Z, abs=1e-5)


def test_a_wrong_socket_runs_away() -> None:
    """Pressed, closed, solid, blocked, and in the end the drive gives up; the input never knew."""
    twin = twin_of(
        machine={"sockets": {"setter": {"active_high": True}}},
        controller={"plugs": {"main": "spindle-probe"}},
    )
    v = 300.0 / 60.0
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.touch(z=-440.0, feed_mm_per_min=300.0)
    contact = 10.0 / v + lost(v) + DELAY
    close = contact + 0.1 / v
    solid = close + 6.0 / v
    fault = solid - DELAY + 18.0 / v
    message = "an axis fell too far behind its command; drives off"
    compare(
        twin,
        [
            (contact, "contact", "main"),
            (close, "close", "main"),
            (solid, "blocked", None),
            (fault, "drive-fault", None),
            (fault, "alarm", ["following-error", message]),
        ],
    )
    assert caught.value.message == message
    assert truth_z(twin) == pytest.approx(CLOSE_Z - 6.0, abs=1e-9)
    assert [f.code for f in twin.judge.findings][:1] == ["drive-fault"]
    assert {f.code for f in twin.judge.findings} == {"drive-fault", "runaway", "setter-crushed"}


@pytest.mark.parametrize("category", [0, 1])
def test_an_emergency_stop_in_a_touch(category: int) -> None:
    """Pressed between contact and trip: the run-down trips it, nothing is latched twice."""
    twin = twin_of(
        machine={
            "emergency_stop": {
                "category": category, "reaction_s": 0.02, "sag_mm": 0.02, "sag_time_s": 0.08,
                "coast_deceleration_mm_per_s2": 100.0,
            }
        }
    )  # fmt: skip
    v = 600.0 / 60.0
    contact = 10.0 / v + lost(v) + DELAY
    pressed = contact - 0.015  # power goes 5 ms after the contact, 0.05 mm deep

    def person() -> Any:
        yield twin.env.timeout(pressed)
        twin.kernel.emergency_stop()

    twin.env.process(person())
    with pytest.raises(ControllerAlarm):
        twin.hand.touch(z=-400.0, feed_mm_per_min=600.0)
    power = pressed + 0.02
    message = "the emergency stop was pressed"
    expected: list[tuple[float, str, Any]] = [
        (pressed, "e-stop", None),
        (contact, "contact", "main"),
    ]
    if category == 1:
        # Still at full speed for its delay: 0.05 mm more take 5 ms.
        close = power + 0.05 / v
        expected += [(close, "close", "main"), (tick(close), "latch", None)]
        end = power + stop_time(v, limits(v)) + DELAY + 0.08
        depth = 0.05 + v * DELAY + stop_distance(v, limits(v)) + 0.02
    else:
        # v*t - 50*t^2 = 0.05 while it coasts down at 100 mm/s^2.
        close = power + (v - (v * v - 4.0 * 50.0 * 0.05) ** 0.5) / 100.0
        expected += [(close, "close", "main")]
        end = power + v / 100.0 + 0.08
        depth = 0.05 + v * v / 200.0 + 0.02
    expected.append((end, "alarm", ["e-stop", message]))
    compare(twin, expected)
    assert CONTACT_Z - truth_z(twin) == pytest.approx(depth, abs=1e-9)
    assert twin.kernel.pads["main"].depth == pytest.approx(depth, abs=1e-9)


def test_a_quiet_run_logs_nothing_but_what_was_met() -> None:
    twin = twin_of(controller={"position_mm": [X, Y, -300.0]})
    twin.hand.rapid(x=X + 100.0, frame="machine")
    twin.hand.feed(z=-320.0, feed_mm_per_min=500.0, frame="machine")
    assert log(twin) == []
    assert [line.kind for line in twin.recorder.lines] == ["rapid", "feed"]


def test_runs_that_share_a_stage_do_not_touch_each_other() -> None:
    """One run moves the setter, changes the tool and turns the spindle; the next knows nothing."""
    from drytouch.sim.twin.stage import Stage

    fresh = twin_of()
    fresh.hand.touch(z=-400.0, feed_mm_per_min=200.0)
    stage = Stage(fresh.scenario)
    for disturb in (False, True, False):
        twin = Twin(fresh.scenario, stage=stage)
        if disturb:
            twin.stage.shift("main", (5.0, 0.0, -1.0), twin.recorder, 0.0)
            found = twin.hand.touch(z=-400.0, feed_mm_per_min=200.0)
            assert found.z == pytest.approx(CLOSE_Z - 1.0, abs=1e-5)
            twin.stage.load(None, twin.recorder, twin.env.now)
            twin.stage.turn_to(90.0, twin.recorder, twin.env.now)
            twin.stage.take_away("main", twin.recorder, twin.env.now)
            continue
        twin.hand.touch(z=-400.0, feed_mm_per_min=200.0)
        assert log(twin) == log(fresh)
        assert twin.recorder.lines == fresh.recorder.lines


def test_what_is_put_in_the_way_or_moved_counts_from_the_next_line_on() -> None:
    twin = twin_of()
    first = twin.hand.touch(z=-400.0, feed_mm_per_min=60.0).z
    twin.hand.feed(z=CONTACT_Z + 5.0, feed_mm_per_min=6000.0, frame="machine")
    twin.stage.shift("main", (0.0, 0.0, -0.5), twin.recorder, twin.env.now)
    second = twin.hand.touch(z=-400.0, feed_mm_per_min=60.0).z
    assert second - first == pytest.approx(-0.5, abs=1e-5)
    twin.hand.feed(z=CONTACT_Z + 5.0, feed_mm_per_min=6000.0, frame="machine")
    twin.stage.shift("main", (100.0, 0.0, 0.0), twin.recorder, twin.env.now)
    assert not twin.hand.touch(z=-390.0, feed_mm_per_min=600.0, must_contact=False).contact
