"""A loose setter on a moving table against a fine-stepped integration of Coulomb friction."""

from __future__ import annotations

import random
from math import ceil
from typing import Any

import pytest
from twin_cases import X, Y, twin_of

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.motion import Limits, Piece, coast, from_rest, stop
from drytouch.sim.motion.pieces import State
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.setter import GRAVITY_MM_PER_S2, run_out, slide, slide_distance
from drytouch.sim.twin.twin import Twin

G = GRAVITY_MM_PER_S2
STATIC, KINETIC = 0.18 * G, 0.12 * G
STEP = 1e-5


def stepped(pieces: list[Piece], share: float, static: float, kinetic: float) -> float:
    """Small steps of time: the plainest way to say stick and slip; then it runs out."""
    place = w = 0.0
    ends = pieces[-1].t1
    for piece in [*pieces, Piece(ends, ends + 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)]:
        count = ceil((piece.t1 - piece.t0) / STEP)
        step = (piece.t1 - piece.t0) / count if count else 0.0
        for k in range(count):
            first, last = (share * (piece.a0 + piece.jerk * (k + i) * step) for i in (0, 1))
            left = step
            if w == 0.0:
                if abs(last) <= static:
                    continue
                if abs(first) < static:  # it lets go somewhere in this step
                    left *= (abs(last) - static) / (abs(last) - abs(first))
            a = (first + last) / 2
            sign = (-1.0 if a > 0 else 1.0) if w == 0.0 else (1.0 if w > 0 else -1.0)
            following = w + (-a - sign * kinetic) * left
            if w != 0.0 and following * w <= 0.0:
                left *= w / (w - following)  # and stops, to go the other way at once or not
                place += w / 2 * left
                w, left = 0.0, step - left
                following = (-a + (kinetic if a > 0 else -kinetic)) * left * (abs(a) > static)
            place += (w + following) / 2 * left
            w = following
    return place


@pytest.mark.parametrize("seed", range(12))
def test_it_matches_small_steps(seed: int) -> None:
    pick = random.Random(seed)
    length, speed = pick.uniform(5.0, 100.0), pick.uniform(100.0, 400.0)
    acceleration, jerk = pick.uniform(1000.0, 6000.0), pick.choice((30000.0, 60000.0, 200000.0))
    share, cut = pick.choice((1.0, -1.0, 0.7)), pick.choice((None, pick.uniform(0.05, 0.9)))
    limits = Limits(speed, acceleration, jerk)
    pieces = from_rest(length, limits, 0.0)
    if cut is not None:
        pieces = halted(pieces, cut * pieces[-1].t1, lambda state, t: coast(state, t, 2500.0))
    exact = slide_distance(pieces, share, STATIC, KINETIC)
    assert exact == pytest.approx(stepped(pieces, share, STATIC, KINETIC), abs=4e-5)


def halted(pieces: list[Piece], t: float, plan: Any) -> list[Piece]:
    """The same until ``t``, then another plan."""
    kept = [p for p in pieces if p.t0 < t]
    last = kept[-1]
    x = t - last.t0
    state = State(
        last.s0 + last.v0 * x + last.a0 * x * x / 2 + last.jerk * x**3 / 6,
        max(last.v0 + last.a0 * x + last.jerk * x * x / 2, 0.0),
        last.a0 + last.jerk * x,
    )
    kept[-1] = last._replace(t1=t, s1=state.s)
    return kept + list(plan(state, t))


def test_it_sticks_while_friction_holds() -> None:
    pieces = from_rest(300.0, Limits(400.0, STATIC * 0.999, 30000.0), 0.0)
    assert slide_distance(pieces, 1.0, STATIC, KINETIC) == 0.0
    harder = from_rest(300.0, Limits(400.0, STATIC * 1.05, 30000.0), 0.0)
    assert slide(harder[:3], 1.0, STATIC, KINETIC)[0] < -0.1


@pytest.mark.parametrize("share", [1.0, -1.0])
def test_a_symmetrical_move_slides_it_out_and_back(share: float) -> None:
    pieces = from_rest(400.0, Limits(400.0, 4000.0, 60000.0), 0.0)
    out, w = slide(pieces[:4], share, STATIC, KINETIC)
    assert w == 0.0
    assert out * share < -0.5
    assert slide_distance(pieces, share, STATIC, KINETIC) == pytest.approx(0.0, abs=1e-9)


def test_parts_of_a_run_add_up() -> None:
    pieces = from_rest(200.0, Limits(300.0, 5000.0, 60000.0), 0.0)
    place, w = 0.0, 0.0
    for piece in pieces:
        more, w = slide([piece], 1.0, STATIC, KINETIC, w)
        place += more
    whole = slide_distance(pieces, 1.0, STATIC, KINETIC)
    assert place + run_out(w, KINETIC) == pytest.approx(whole, abs=1e-9)


def test_running_out_is_a_closed_form() -> None:
    assert run_out(100.0, 1000.0) == 5.0
    assert run_out(-100.0, 1000.0) == -5.0


# ---- on a twin ------------------------------------------------------------------------------

LOOSE: dict[str, Any] = {
    "setter": {"main": {"hold": "loose", "mass_kg": 0.4, "holding_force_N": 0.0,
                        "friction_static": 0.18, "friction_kinetic": 0.12}},
    "controller": {"position_mm": [X + 300.0, Y, 0.0]},
}  # fmt: skip
SPEED, LIMITS = 400.0, Limits(400.0, 3000.0, 30000.0)


def place_x(twin: Twin) -> float:
    return float(twin.stage.places["main"].foot[0])


def stopped(t: float, category: int) -> Twin:
    twin = twin_of(
        **{**LOOSE, "machine": {"emergency_stop": {"category": category, "reaction_s": 0.0,
                                                   "coast_deceleration_mm_per_s2": 2500.0}}}
    )  # fmt: skip

    def person() -> Any:
        yield twin.env.timeout(t)
        twin.kernel.emergency_stop()

    twin.env.process(person())
    with pytest.raises(ControllerAlarm):
        twin.hand.rapid(x=X - 200.0, frame="machine")
    return twin


def test_a_whole_rapid_leaves_it_where_it_was() -> None:
    twin = twin_of(**LOOSE)
    twin.hand.rapid(x=X - 200.0, frame="machine")
    assert place_x(twin) == X
    assert not twin.judge.findings


@pytest.mark.parametrize("category", [0, 1])
@pytest.mark.parametrize("t", [0.12, 0.5, 0.9])
def test_an_emergency_stop_leaves_it_displaced(category: int, t: float) -> None:
    twin = stopped(t, category)
    pieces = from_rest(500.0, LIMITS, 0.0)
    if category == 0:
        # It acts on the axis where it really is, its delay behind the command.
        run = halted(pieces, t - 0.5 / 40.0, lambda state, at: coast(state, at, 2500.0))
    else:
        run = halted(pieces, t, lambda state, at: stop(state, at, LIMITS))
    # The table runs the other way than the axis counts, and so does what stands on it: going
    # to -X the table moves to +X, and a setter that lags is displaced to -X.
    expected = stepped(run, 1.0, STATIC, KINETIC)
    assert place_x(twin) - X == pytest.approx(expected, abs=1e-4)
    assert abs(expected) > 0.01 or category == 1  # a stop like the start brings it back


def test_a_magnetic_one_holds_and_a_bolted_one_anyway() -> None:
    for change in ({"hold": "magnetic", "holding_force_N": 100.0}, {"hold": "bolted"}):
        twin = twin_of(**{**LOOSE, "setter": {"main": {**LOOSE["setter"]["main"], **change}}})
        kernel = twin.kernel

        def person(twin: Twin = twin, kernel: Any = kernel) -> Any:
            yield twin.env.timeout(0.5)
            kernel.emergency_stop()

        twin.env.process(person())
        with pytest.raises(ControllerAlarm):
            twin.hand.rapid(x=X - 200.0, frame="machine")
        assert place_x(twin) == X


def test_on_a_fixed_table_nothing_slides() -> None:
    """A gantry carries the head over a table that stands."""
    data = {
        "machine": "gantry-router",
        "setter": {"main": "loose-no"},
        "placements": {"main": {"x_mm": 650.0, "y_mm": 1250.0}},
        "controller": {"position_mm": [300.0, 1000.0, 0.0]},
        "chance": False,
    }
    twin = Twin(scenario_from_dict(data))

    def person() -> Any:
        yield twin.env.timeout(0.5)
        twin.kernel.emergency_stop()

    twin.env.process(person())
    with pytest.raises(ControllerAlarm):
        twin.hand.rapid(x=800.0, y=1500.0, frame="machine")
    assert twin.stage.places["main"].foot[:2] == (650.0, 1250.0)


def test_a_blow_stops_the_table_and_the_setter_slides_on() -> None:
    """The tool meets a block: the table stands at once, the loose setter keeps its speed."""
    block = {"name": "wall", "parts": [{"shape": "box", "size_mm": [50.0, 300.0, 300.0]}]}
    twin = twin_of(
        **{**LOOSE, "stock": {"wall": block},
           "placements": {"wall": {"x_mm": -600.0, "y_mm": Y},
                          "main": {"x_mm": -480.0, "y_mm": -80.0}},
           "controller": {"position_mm": [-200.0, Y, -300.0]}}
    )  # fmt: skip
    with pytest.raises(ControllerAlarm):
        twin.hand.feed(x=-700.0, feed_mm_per_min=6000.0, frame="machine")
    speed = 100.0
    # -X of the axis is +X of the table; slow enough that nothing slid before the blow.
    assert place_x(twin) - -480.0 == pytest.approx(run_out(speed, KINETIC), abs=1e-3)


def test_a_setter_that_is_pushed_stays_where_the_tool_left_it() -> None:
    twin = twin_of(**{**LOOSE, "controller": {"position_mm": [X + 100.0, Y, -400.0]}})
    twin.hand.feed(x=X + 10.0, feed_mm_per_min=600.0, frame="machine")
    # The tool's tip is at -500, beside the body of 65 mm: radii 32.5 and 5.
    assert place_x(twin) == pytest.approx(X - (32.5 + 5.0 - 10.0), abs=1e-3)
