"""Arcs: their points, what stops them, and where they may go."""

from __future__ import annotations

from math import cos, hypot, pi, sin
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from twin_cases import twin_of

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.twin.arc import Arc

START = (-300.0, -200.0, -100.0)
DELAY = 0.5 / 40.0
ANGLES = st.floats(-2.0 * pi, 2.0 * pi).filter(lambda a: abs(a) > 0.01)


@given(
    sweep=ANGLES, dx=st.floats(-50.0, 50.0), dy=st.floats(-50.0, 50.0), rise=st.floats(-20.0, 20.0),
    plane=st.sampled_from(["xy", "zx", "yz"]),
)  # fmt: skip
def test_points_lie_on_the_circle_and_headings_along_it(
    sweep: float, dx: float, dy: float, rise: float, plane: Any
) -> None:
    if hypot(dx, dy) < 1.0:
        return
    i, j, k = {"xy": (0, 1, 2), "zx": (2, 0, 1), "yz": (1, 2, 0)}[plane]
    centre = list(START)
    centre[i] += dx
    centre[j] += dy
    arc = Arc(START, (centre[0], centre[1], centre[2]), sweep, plane, rise)
    radius = hypot(dx, dy)
    assert arc.point(START, 0.0) == pytest.approx(START, abs=1e-9)
    assert arc.length == pytest.approx(hypot(radius * sweep, rise))
    for n in range(9):
        s = arc.length * n / 8
        here, heading = arc.point(START, s), arc.heading(s)
        assert hypot(here[i] - centre[i], here[j] - centre[j]) == pytest.approx(radius)
        assert here[k] - START[k] == pytest.approx(rise * n / 8, abs=1e-9)
        assert sum(h * h for h in heading) == pytest.approx(1.0)
        a, b = arc.point(START, s - 1e-5), arc.point(START, s + 1e-5)
        slope = [(q - p) / 2e-5 for p, q in zip(a, b, strict=True)]
        assert heading == pytest.approx(slope, abs=1e-5)
    # No point is farther out than the ones that are checked against the limits.
    far = [*arc.farthest(START), START]
    for n in range(101):
        here = arc.point(START, arc.length * n / 100)
        for axis in (i, j):
            assert min(p[axis] for p in far) - 1e-9 <= here[axis]
            assert here[axis] <= max(p[axis] for p in far) + 1e-9


def half_circle() -> Arc:
    """From START over the +Y side to 40 mm further on in X."""
    return Arc(START, (-280.0, -200.0, -100.0), -pi)


def test_an_arc_ends_exactly_and_holds_and_goes_on() -> None:
    twin = twin_of(controller={"position_mm": list(START)})

    def person() -> Any:
        yield twin.env.timeout(0.5)
        twin.kernel.set_hold(True)
        yield twin.env.timeout(1.0)
        here = twin.kernel.physical()
        assert hypot(here[0] + 280.0, here[1] + 200.0) == pytest.approx(20.0)
        twin.kernel.set_hold(False)

    twin.env.process(person())
    twin.hand.arc(half_circle(), 3000.0)
    assert twin.controller.position == pytest.approx((-260.0, -200.0, -100.0), abs=1e-9)
    assert twin.env.now > 1.0 + 20.0 * pi / 50.0


def test_without_power_it_runs_on_straight_along_the_tangent() -> None:
    twin = twin_of(
        controller={"position_mm": list(START)},
        machine={
            "emergency_stop": {
                "category": 0, "reaction_s": 0.0, "sag_mm": 0.0,
                "coast_deceleration_mm_per_s2": 2000.0,
            }
        },
    )  # fmt: skip

    def person() -> Any:
        yield twin.env.timeout(0.8)
        twin.kernel.emergency_stop()

    twin.env.process(person())
    with pytest.raises(ControllerAlarm):
        twin.hand.arc(half_circle(), 3000.0)
    v = 50.0
    s = v * (0.8 - DELAY) - v * (v / 30000.0) ** 0.5
    angle = pi - s / 20.0
    run_on = v * v / 4000.0
    x = -280.0 + 20.0 * cos(angle) + run_on * sin(angle)
    y = -200.0 + 20.0 * sin(angle) - run_on * cos(angle)
    assert twin.kernel.physical() == pytest.approx((x, y, -100.0), abs=1e-9)


def test_an_arc_that_leaves_the_travel_on_its_way_is_refused_before_it_starts() -> None:
    start = (-300.0, -10.0, -100.0)
    twin = twin_of(controller={"position_mm": list(start)})
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.arc(Arc(start, (-280.0, -10.0, -100.0), -pi), 3000.0)
    assert caught.value.code == "soft-limit"
    assert twin.recorder.lines == []
    twin.controller.alarm_now = None
    twin.hand.arc(Arc(start, (-280.0, -10.0, -100.0), pi), 3000.0)  # round the other side
    assert twin.controller.position == pytest.approx((-260.0, -10.0, -100.0), abs=1e-9)
