"""Plans against closed forms, against ruckig, against fine stepping, and their invariants."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from ruckig import InputParameter, Result, Ruckig, Trajectory

from drytouch.sim.errors import InputError
from drytouch.sim.motion import (
    Limits,
    Piece,
    State,
    acceleration,
    coast,
    drop,
    from_rest,
    harder,
    position,
    speed,
    stop,
    stop_distance,
    stop_distance_from,
    stop_time,
    to_goal,
    to_speed,
)
from drytouch.sim.motion.from_rest import relative_profile
from drytouch.sim.motion.ramps import root_from_below

SLOW = Limits(8.0, 400.0, 20_000.0)
FAST = Limits(250.0, 2000.0, 40_000.0)


def powers(low: float, high: float) -> st.SearchStrategy[float]:
    """Log-uniform values: 10^low to 10^high."""
    return st.floats(low, high).map(lambda x: 10.0**x)


ANY_LIMITS = st.builds(Limits, powers(-1, 2.5), powers(1, 4), powers(2, 6))
ANY_LENGTH = powers(-4, 3)
SHARE = st.floats(0.0, 1.0)


def end_of(piece: Piece) -> State:
    """The cubic at its end, without the clamps and the stored target."""
    t0, t1, s0, v0, a0, jerk, _ = piece
    dt = t1 - t0
    return State(
        s0 + dt * (v0 + dt * (a0 / 2 + dt * jerk / 6)),
        v0 + dt * (a0 + dt * jerk / 2),
        a0 + dt * jerk,
    )


def at(pieces: list[Piece], t: float) -> State:
    for piece in pieces:
        if t < piece.t1:
            return State(position(piece, t), speed(piece, t), acceleration(piece, t))
    return State(pieces[-1].s1, 0.0, 0.0)


def check(
    pieces: list[Piece], start: State, t0: float, limits: Limits, end_speed: float = 0.0
) -> None:
    """Continuous to 1e-9, inside the limits to 1e-9, never backwards, ends as it should."""
    # A start past the goal by rounding is brought back onto it.
    assert (pieces[0].t0, pieces[0].s0) == (t0, min(start.s, pieces[-1].s1))
    assert pieces[0].v0 == pytest.approx(start.v, abs=1e-9)
    assert (
        pieces[0].a0 == pytest.approx(start.a, rel=1e-12, abs=1e-9 * limits.acceleration)
        or pieces[0].v0 == 0.0
        or pieces[0].t0 == pieces[0].t1
    )
    wanted = [State(p.s0, p.v0, p.a0) for p in pieces[1:]] + [State(pieces[-1].s1, end_speed, 0.0)]
    ends = [p.t0 for p in pieces[1:]] + [pieces[-1].t1]
    for piece, after, t in zip(pieces, wanted, ends, strict=True):
        if piece.t0 == piece.t1:
            assert len(pieces) == 1
            continue
        reached = end_of(piece)
        assert piece.t1 == t
        assert piece.s1 == after.s
        assert piece.s1 >= piece.s0
        assert reached.s == pytest.approx(after.s, abs=1e-9)
        assert reached.v == pytest.approx(after.v, abs=1e-9 * max(1.0, limits.speed))
        # At 1000 s a time has 1e-13 s of rounding, which the jerk turns into acceleration.
        lost = 2.0**-50 * t * limits.jerk
        assert reached.a == pytest.approx(after.a, abs=1e-9 * limits.acceleration + lost)
        assert abs(piece.a0) <= limits.acceleration * (1 + 1e-9)
        assert abs(piece.jerk) <= limits.jerk * (1 + 1e-9)
        assert piece.v0 <= limits.speed * (1 + 1e-9)
        assert piece.v0 >= 0.0
        if piece.jerk > 0.0 and piece.t0 < piece.t0 - piece.a0 / piece.jerk < piece.t1:
            dip = piece.v0 - piece.a0**2 / (2 * piece.jerk)
            assert dip >= -1e-9


def ruckig_pieces(start: State, goal: float, limits: Limits) -> tuple[float, float, float]:
    """Duration and reached extremes (least and most position) of ruckig's plan."""
    plan = InputParameter(1)
    plan.current_position, plan.current_velocity = [start.s], [start.v]
    plan.current_acceleration, plan.target_position = [start.a], [goal]
    # The hair of headroom keeps it out of its trap in the last part of an acceleration.
    plan.max_velocity = [limits.speed * (1 + 1e-9)]
    plan.max_acceleration, plan.max_jerk = [limits.acceleration], [limits.jerk]
    plan.min_velocity = [-1e-9]
    trajectory = Trajectory(1)
    assert Ruckig(1).calculate(plan, trajectory) in (Result.Working, Result.Finished)
    low_high = trajectory.position_extrema[0]
    return trajectory.duration, low_high.min, low_high.max


@given(ANY_LENGTH, ANY_LIMITS, st.floats(0.0, 100.0), st.floats(-500.0, 500.0))
@example(1.0, Limits(1.0000000000000002, 10.0, 100.0), 1.0, 0.0)
def test_from_rest_keeps_its_promises(length, limits, t0, s0):
    pieces = from_rest(length, limits, t0, s0)
    check(pieces, State(s0, 0.0, 0.0), t0, limits)
    assert pieces[-1].s1 == s0 + length


@given(
    ANY_LIMITS,
    st.integers(-4, 4),
    st.sampled_from(["acceleration", "speed", "both"]),
    st.floats(0.0, 100.0),
)
@example(
    Limits(179.50549357114872, 215.40659228537845, 4308.1318457075695), 0, "acceleration", 83.3
)
@example(Limits(96.5260229976791, 3509.1545185370355, 137949.37464648145), 0, "acceleration", 0.0)
def test_moves_that_just_reach_a_limit_are_planned_like_their_neighbours(limits, bits, which, t0):
    _, acceleration, jerk = limits
    if which == "acceleration":  # its highest acceleration is reached for an instant
        length = 2.0 * acceleration**3 / jerk**2
    else:  # its highest speed is
        if which == "both":
            limits = limits._replace(speed=acceleration**2 / jerk)
        length = stop_distance(limits.speed, limits) * 2.0
    assume(1e-8 <= length <= 1e4)  # a table's way, and less than an encoder tells
    for _ in range(abs(bits)):
        length = math.nextafter(length, math.inf if bits > 0 else 0.0)
    pieces = from_rest(length, limits, t0)
    check(pieces, State(0.0, 0.0, 0.0), t0, limits)
    assert pieces[-1].s1 == length
    longer = relative_profile(length * (1.0 + 1e-6), limits)[-1][0]
    assert pieces[-1].t1 - t0 == pytest.approx(longer, rel=1e-5, abs=1e-12)


@given(ANY_LENGTH, ANY_LIMITS)
def test_from_rest_is_the_same_bits_remembered_or_not(length, limits):
    remembered = relative_profile(length, limits)
    assert relative_profile(length, limits) is remembered
    assert relative_profile.__wrapped__(length, limits) == remembered


@given(ANY_LENGTH, ANY_LIMITS)
def test_own_plan_from_rest_takes_ruckigs_time(length, limits):
    own = to_goal(State(0.0, 0.0, 0.0), 0.0, length, limits)
    check(own, State(0.0, 0.0, 0.0), 0.0, limits)
    assert own[-1].s1 == length
    assert end_of(own[-1]).s == pytest.approx(length, abs=1e-12, rel=1e-15)
    assert own[-1].t1 == pytest.approx(from_rest(length, limits, 0.0)[-1].t1, rel=1e-8)


def test_long_move_from_rest_by_hand():
    # 100 mm at 50 mm/s, 1000 mm/s^2, 20000 mm/s^3: T = s/v + v/a + a/j.
    limits = Limits(50.0, 1000.0, 20_000.0)
    pieces = to_goal(State(0.0, 0.0, 0.0), 3.0, 100.0, limits)
    assert pieces[-1].t1 - 3.0 == pytest.approx(2.0 + 0.05 + 0.05, rel=1e-12)


@settings(max_examples=300)
@given(ANY_LENGTH, ANY_LIMITS, SHARE, st.floats(0.01, 2.0), powers(-12, 2), st.booleans())
@example(0.01, Limits(1.0, 1000.0, 100.0), 0.5, 1.0, 1e-12, True)
@example(10.0, Limits(10.0, 10.0, 1e5), 0.99999, 1.0, 1.0, True)
def test_replanning_anywhere_keeps_its_promises(length, limits, share, override, beyond, same):
    first = from_rest(length, limits, 0.0)
    t = share * first[-1].t1
    state = at(first, t)
    limits_now = limits._replace(speed=limits.speed * override)
    shortest = stop_distance_from(state, limits)
    goal = length if same else state.s + shortest + beyond
    pieces = to_goal(state, t, goal, limits_now)
    check(pieces, state, t, limits._replace(speed=max(limits.speed, limits_now.speed)))
    assert pieces[-1].s1 == goal


@settings(max_examples=300)
@given(ANY_LENGTH, ANY_LIMITS, SHARE, SHARE, SHARE, st.floats(0.05, 2.0))
@example(10.0, Limits(10.0, 10.0, 100.0), 0.5, 1.0, 1.0, 1.0)
def test_replanning_a_replanned_braking(
    length, limits, first_share, second_share, beyond, override
):
    first = from_rest(length, limits, 0.0)
    t = first_share * first[-1].t1
    second = stop(at(first, t), t, limits)
    t += second_share * (second[-1].t1 - t)
    state = at(second, t)
    # Past where the stop would end, before where the line would: brakes must be eased, not let go.
    goal = second[-1].s1 + beyond * (length - second[-1].s1)
    limits_now = limits._replace(speed=limits.speed * override)
    pieces = to_goal(state, t, goal, limits_now)
    check(pieces, state, t, limits._replace(speed=max(limits.speed, limits_now.speed)))
    assert pieces[-1].s1 == goal


def test_replanning_in_flight_against_ruckig():
    chance = random.Random(20)
    worst = 0.0
    for _ in range(2000):
        limits = Limits(
            chance.uniform(1, 250), chance.uniform(200, 4000), 10 ** chance.uniform(3, 5.5)
        )
        first = from_rest(10 ** chance.uniform(-1, 2.5), limits, 0.0)
        t = chance.uniform(0.0, first[-1].t1)
        state = at(first, t)
        shortest = stop_distance_from(state, limits)
        goal = state.s + shortest * chance.uniform(1.0, 3.0) + 10 ** chance.uniform(-3, 2)
        own = to_goal(state, t, goal, limits)
        duration, low, high = ruckig_pieces(state, goal, limits)
        if low < state.s - 1e-6 or high > goal + 1e-6:
            continue  # ruckig backed up: no second opinion on a forward-only plan
        late = own[-1].t1 - t - duration
        assert late >= -1e-6 * max(1.0, duration)  # nothing beats the time-optimal plan
        worst = max(worst, late)
    assert worst < 0.06


@given(ANY_LENGTH, ANY_LIMITS, SHARE)
def test_replanning_without_a_change_changes_nothing(length, limits, share):
    first = from_rest(length, limits, 0.0)
    t = share * first[-1].t1
    again = to_goal(at(first, t), t, length, limits)
    assert again[-1].t1 == pytest.approx(first[-1].t1, rel=1e-5, abs=1e-6)
    for part in (0.25, 0.5, 0.75):
        later = t + part * (first[-1].t1 - t)
        assert at(again, later).s == pytest.approx(at(first, later).s, abs=1e-6 * max(1.0, length))


def test_the_last_part_of_an_acceleration_is_not_a_trap():
    limits = Limits(100.0, 1000.0, 10_000.0)
    first = from_rest(1000.0, limits, 0.0)
    ramp = first[2]
    state = at(first, 0.5 * (ramp.t0 + ramp.t1))
    assert state.v + state.a**2 / (2 * limits.jerk) == pytest.approx(100.0, rel=1e-12)
    again = to_goal(state, 0.0, 1000.0, limits)
    assert again[-1].t1 == pytest.approx(first[-1].t1 - 0.5 * (ramp.t0 + ramp.t1), rel=1e-9)


def test_lowered_override_while_braking_never_backs_up():
    first = from_rest(50.0, FAST, 0.0)
    braking = stop(at(first, 0.15), 0.15, FAST)
    for share in (0.1, 0.5, 0.9, 0.99):
        t = 0.15 + share * (braking[-1].t1 - 0.15)
        state = at(braking, t)
        slowed = FAST._replace(speed=5.0)
        pieces = to_goal(state, t, 50.0, slowed)
        check(pieces, state, t, FAST)
        assert pieces[-1].s1 == 50.0


@given(ANY_LENGTH, ANY_LIMITS, SHARE, st.floats(-1.0, 0.999))
def test_too_near_a_goal_is_a_plain_stop(length, limits, share, part):
    first = from_rest(length, limits, 0.0)
    t = share * first[-1].t1
    state = at(first, t)
    shortest = stop_distance_from(state, limits)
    if shortest * (1.0 - part) < 1e-6:
        return
    pieces = to_goal(state, t, state.s + part * shortest, limits)
    assert pieces == stop(state, t, limits)
    assert pieces[-1].s1 > state.s + part * shortest


@pytest.mark.parametrize("beyond", [2e-9, 1e-8, 1e-7])
@pytest.mark.parametrize("a", [0.0, 1e-6, 16.0])
def test_a_goal_just_past_the_shortest_stop(a, beyond):
    # Letting go, then stopping is the shortest stop itself; the rest is cruised at that speed.
    state = State(12.0, 32.0, a)
    limits = Limits(150.0, 6800.0, 173.0)
    goal = 12.0 + stop_distance_from(state, limits) + beyond
    pieces = to_goal(state, 0.0, goal, limits)
    check(pieces, state, 0.0, limits)
    assert pieces[-1].s1 == goal
    assert pieces[-1].t1 == pytest.approx(stop(state, 0.0, limits)[-1].t1, abs=1e-6)


@pytest.mark.parametrize("length", [1e-9, -1e-9, 1e-13])
def test_a_move_within_rounding_takes_no_time(length):
    (piece,) = from_rest(length, SLOW, 2.0, 4.0)
    assert (piece.t0, piece.t1, piece.s0, piece.s1) == (2.0, 2.0, 4.0, 4.0 + length)


@given(powers(-6, 2.5), ANY_LIMITS)
def test_stop_from_steady_speed_is_the_closed_form(v, limits):
    _, a, jerk = limits
    pieces = stop(State(0.0, v, 0.0), 0.0, limits)
    time = v / a + a / jerk if v >= a * a / jerk else 2 * math.sqrt(v / jerk)
    assert stop_time(v, limits) == time
    assert pieces[-1].t1 == pytest.approx(time, rel=1e-9)
    assert pieces[-1].s1 == pytest.approx(v * time / 2, rel=1e-9)
    assert stop_distance(v, limits) == pytest.approx(v * time / 2, rel=1e-12)
    assert stop_distance_from(State(9.0, v, 0.0), limits) == pytest.approx(v * time / 2, rel=1e-9)


def test_stop_by_hand():
    # 50 mm/s, 1000 mm/s^2, 20000 mm/s^3: a^2/j = 50, so both forms agree: 0.1 s and 2.5 mm.
    limits = Limits(1.0, 1000.0, 20_000.0)
    assert stop_time(50.0, limits) == pytest.approx(0.1)
    assert stop_distance(50.0, limits) == pytest.approx(2.5)
    assert stop_distance(0.0, limits) == 0.0
    assert stop_time(0.0, limits) == 0.0


@settings(max_examples=300)
@given(ANY_LENGTH, ANY_LIMITS, SHARE, st.floats(1.0, 20.0), st.floats(1.0, 20.0))
def test_stop_from_any_state(length, limits, share, brake, snatch):
    first = from_rest(length, limits, 0.0)
    t = share * first[-1].t1
    state = at(first, t)
    hard = Limits(limits.speed, limits.acceleration * brake, limits.jerk * snatch)
    pieces = stop(state, t, hard)
    check(pieces, state, t, hard)
    assert pieces[-1].s1 - state.s == pytest.approx(
        stop_distance_from(state, hard), rel=1e-7, abs=1e-9
    )


@given(ANY_LENGTH, ANY_LIMITS, SHARE, SHARE, st.floats(2.0, 50.0))
def test_softer_limits_never_drive_a_stop_backwards(length, limits, share, later, softer):
    hard = Limits(limits.speed, limits.acceleration * softer, limits.jerk * softer**2)
    first = from_rest(length, limits, 0.0)
    t = share * first[-1].t1
    running = stop(at(first, t), t, hard)
    t += later * (running[-1].t1 - t)
    state = at(running, t)
    for plan in (stop(state, t, limits), to_goal(state, t, length + state.s, limits)):
        assert all(piece.v0 >= 0.0 and piece.s1 >= piece.s0 for piece in plan)
        assert all(end_of(piece).v >= -1e-9 * max(1.0, limits.speed) for piece in plan)
        assert all(end_of(piece).s >= piece.s0 - 1e-9 for piece in plan)
    kept = stop(state, t, harder(limits, hard))
    assert kept[-1].t1 == pytest.approx(running[-1].t1, rel=1e-6, abs=1e-6)


def test_e_stop_with_soft_limits_by_hand():
    # 1 mm/s under 1000 mm/s^2: letting go takes a^2/2j = 5000 mm/s of speed at this jerk. The
    # least jerk that doesn't turn back is a^2/2v, after 2v/a = 2 ms and 2v^2/3a of path.
    pieces = stop(State(0.0, 1.0, -1000.0), 0.0, Limits(10.0, 10.0, 100.0))
    assert len(pieces) == 1
    assert pieces[0].jerk == 500_000.0
    assert pieces[0].t1 == pytest.approx(0.002)
    assert pieces[0].s1 == pytest.approx(2.0 / 3000.0)
    assert stop_distance_from(State(0.0, 1.0, -1000.0), Limits(10.0, 10.0, 100.0)) == pytest.approx(
        2.0 / 3000.0
    )


@given(ANY_LENGTH, ANY_LIMITS, SHARE, st.floats(0.0, 2.0))
def test_to_speed_from_any_state(length, limits, share, factor):
    first = from_rest(length, limits, 0.0)
    t = share * first[-1].t1
    state = at(first, t)
    target = factor * limits.speed
    pieces = to_speed(state, t, target, limits)
    check(pieces, state, t, limits._replace(speed=max(2.0, factor) * limits.speed), target)


@pytest.mark.parametrize(
    ("state", "limits", "goal"),
    [
        (State(0.0, 40.0, 900.0), Limits(50.0, 1000.0, 20_000.0), 60.0),
        (State(2.0, 40.0, -900.0), Limits(50.0, 1000.0, 20_000.0), 5.0),
        (State(-3.0, 90.0, 0.0), Limits(50.0, 1000.0, 20_000.0), 60.0),
        (State(0.0, 0.0, 0.0), Limits(200.0, 1000.0, 20_000.0), 1.0),
    ],
)
def test_plans_against_fine_stepping(state, limits, goal):
    pieces = to_goal(state, 0.0, goal, limits)
    assert pieces[-1].s1 == goal
    s, v, a = state
    for piece in pieces:
        # Only durations and jerks are used: the rest is summed up afresh, to first order.
        steps = 20_000
        dt = (piece.t1 - piece.t0) / steps
        for _ in range(steps):
            a_middle = a + 0.5 * dt * piece.jerk
            s += dt * (v + 0.5 * dt * a_middle)
            v += dt * a_middle
            a += dt * piece.jerk
        assert s == pytest.approx(piece.s1, abs=1e-7)
    assert (v, a) == pytest.approx((0.0, 0.0), abs=1e-6)


def test_nothing_to_do_is_one_piece_of_no_duration():
    here = State(4.0, 0.0, 0.0)
    nothing = [Piece(2.0, 2.0, 4.0, 0.0, 0.0, 0.0, 4.0)]
    assert from_rest(0.0, SLOW, 2.0, 4.0) == nothing
    assert to_goal(here, 2.0, 4.0, SLOW) == nothing
    assert stop(here, 2.0, SLOW) == nothing
    assert to_speed(here, 2.0, 0.0, SLOW) == nothing
    assert coast(here, 2.0, 100.0) == nothing
    assert drop(2.0, 0.0, 0.1) == [Piece(2.0, 2.0, 0.0, 0.0, 0.0, 0.0, 0.0)]


def test_a_brake_on_a_resting_axis_and_a_rounded_speed_are_rest():
    assert stop(State(4.0, 0.0, -300.0), 1.0, SLOW)[-1].s1 == 4.0
    assert stop(State(4.0, -1e-9, 0.0), 1.0, SLOW)[-1].s1 == 4.0
    assert stop_distance_from(State(4.0, 0.0, -300.0), SLOW) == 0.0
    assert to_goal(State(4.0, -1e-9, -1.0), 1.0, 5.0, SLOW)[-1].s1 == 5.0


@given(powers(-3, 2.5), powers(0, 4), st.floats(-1e4, 1e4))
def test_coasting_is_uniform_braking(v, deceleration, a):
    (piece,) = coast(State(7.0, v, a), 1.0, deceleration)
    assert piece.t1 - 1.0 == pytest.approx(v / deceleration, rel=1e-9, abs=1e-12)
    assert piece.s1 - 7.0 == pytest.approx(v * v / (2 * deceleration), rel=1e-9, abs=1e-12)
    assert end_of(piece).v == pytest.approx(0.0, abs=1e-9)
    assert (piece.a0, piece.jerk) == (-deceleration, 0.0)


@given(powers(-3, 0), powers(-2, 0), st.floats(0.0, 100.0))
def test_the_sag_starts_and_ends_at_rest(distance, brake_time, t0):
    fall, hold = drop(t0, distance, brake_time)
    assert (fall.s0, fall.v0, hold.s1) == (0.0, 0.0, distance)
    assert hold.t1 == t0 + brake_time
    assert end_of(fall).s == pytest.approx(hold.s0, rel=1e-9)
    assert end_of(fall).v == pytest.approx(hold.v0, rel=1e-9)
    assert end_of(hold).s == pytest.approx(distance, rel=1e-9)
    assert end_of(hold).v == pytest.approx(0.0, abs=1e-9 * hold.v0)
    assert fall.a0 == -hold.a0 > 0.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: from_rest(-1.0, SLOW, 0.0),
        lambda: from_rest(1.0, SLOW._replace(speed=0.0), 0.0),
        lambda: from_rest(math.nan, SLOW, 0.0),
        lambda: from_rest(1.0, SLOW._replace(jerk=math.inf), 0.0),
        lambda: from_rest(1.0, SLOW._replace(speed=1e-300), 0.0),
        lambda: to_goal(State(0.0, 0.0, 0.0), 0.0, 1.0, SLOW._replace(speed=0.0)),
        lambda: to_goal(State(0.0, -1.0, 0.0), 0.0, 1.0, SLOW),
        lambda: stop(State(0.0, -1.0, 0.0), 0.0, SLOW),
        lambda: to_speed(State(0.0, 0.0, 0.0), 0.0, -1.0, SLOW),
        lambda: coast(State(0.0, 1.0, 0.0), 0.0, 0.0),
        lambda: drop(0.0, 1.0, 0.0),
        lambda: drop(0.0, -1.0, 0.1),
    ],
)
def test_impossible_requests_are_refused(call):
    with pytest.raises(InputError):
        call()


@pytest.mark.parametrize("power", [1, 2, 3, 9])
@pytest.mark.parametrize("ends", [(0.0, 1.0), (1.0, 0.0)])
def test_root_comes_from_the_side_that_is_not_too_far(power, ends):
    below, above = ends
    sign = 1.0 if above > below else -1.0

    def excess(x: float) -> float:
        return sign * (x**power - 0.3)

    x = root_from_below(excess, below, above)
    assert -1e-12 <= excess(x) <= 0.0
