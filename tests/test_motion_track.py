"""A track: cutting, appending, asking; crossings against bisection; servo lag."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from drytouch.sim.errors import InputError
from drytouch.sim.motion import (
    Limits,
    Piece,
    State,
    Track,
    acceleration,
    actual_crossing,
    actual_state,
    coast,
    delay_s,
    following_error,
    from_rest,
    position,
    rest,
    speed,
    split_at_reversal,
    stop,
    to_goal,
    to_speed,
)

LIMITS = Limits(50.0, 1000.0, 20_000.0)


def powers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda x: 10.0**x)


ANY_LIMITS = st.builds(Limits, powers(-1, 2.5), powers(1, 4), powers(2, 6))
ANY_LENGTH = powers(-4, 3)
SHARE = st.floats(0.0, 1.0)


def line(length: float, limits: Limits = LIMITS, t0: float = 0.0, s0: float = 0.0) -> Track:
    track = Track(s0, t0)
    track.append(from_rest(length, limits, t0, s0))
    return track


def out_and_back() -> Track:
    """Constant braking through a reversal: 10 mm out in 0.2 s from 100 mm/s, and back again."""
    track = Track(0.0, 1.0)
    track.append(split_at_reversal(Piece(1.0, 1.4, 0.0, 100.0, -500.0, 0.0, 0.0)))
    return track


def bisected(track: Track, level: float, low: float, high: float) -> float:
    """First time at which a rising track is at ``level``, to the last bit."""
    while low < (middle := 0.5 * (low + high)) < high:
        if track.state_at(middle).s >= level:
            high = middle
        else:
            low = middle
    return high


@settings(max_examples=400)
@given(ANY_LENGTH, ANY_LIMITS, st.floats(0.0, 1000.0), SHARE, SHARE)
@example(100.0, LIMITS, 0.0, 1.0, 0.0)
@example(100.0, LIMITS, 0.0, 1e-15, 0.0)
def test_crossing_against_bisection(length, limits, t0, share, since_share):
    track = line(length, limits, t0)
    level = share * length
    since = t0 + since_share * (track.end_time - t0)
    t = track.crossing(level, since)
    here = track.state_at(since).s
    if here > level:
        assert t is None
        return
    assert t is not None
    assert since <= t <= track.end_time
    reached = track.state_at(t)
    # A last bit of the time is worth speed times that of path.
    tolerance = 1e-12 + 2e-15 * length + 4e-16 * t * limits.speed
    assert reached.s == pytest.approx(level, abs=tolerance)
    expected = bisected(track, level, since, track.end_time) if here < level else since
    # Near rest the path is flat: a last bit of it is worth a microsecond.
    assert track.state_at(min(t, expected)).s == pytest.approx(level, abs=tolerance)
    if reached.v > 0.1 * limits.speed:
        assert t == pytest.approx(expected, abs=1e-11)


@given(ANY_LENGTH, ANY_LIMITS, SHARE, SHARE, SHARE)
def test_crossing_after_a_replan(length, limits, cut_share, share, since_share):
    track = line(length, limits)
    t = cut_share * track.end_time
    state = track.cut(t)
    track.append(stop(state, t, limits))
    level = share * track.end_s
    since = since_share * track.end_time
    found = track.crossing(level, since)
    here = track.state_at(since).s
    if here > level:
        assert found is None
    else:
        assert found is not None
        assert found >= since
        assert track.state_at(found).s == pytest.approx(level, abs=1e-11)
    arrived = track.crossing(track.end_s, 0.0)
    assert arrived is not None
    if arrived != track.end_time:  # only where rounding put a joint on the end already
        assert track.end_s in (0.0, *[piece.s0 for piece in track.pieces])
    assert track.crossing(math.nextafter(track.end_s, 1e9), 0.0) is None


def test_ties_and_ends():
    track = line(10.0, t0=5.0, s0=2.0)
    end = track.end_time
    assert track.end_s == 12.0
    assert track.crossing(12.0, 0.0) == end  # the goal, exactly when it is reached
    assert track.crossing(12.0, end) == end
    assert track.crossing(12.0, end + 1.0) == end + 1.0  # resting there: now
    assert track.crossing(12.0, end + 1.0, rising=False) == end + 1.0
    assert track.crossing(2.0, 1.0) == 1.0  # resting at the start: now
    assert track.crossing(2.0, 5.0) == 5.0
    assert track.crossing(2.0, 5.1) is None  # left behind
    assert track.crossing(1.9, 0.0) is None
    assert track.crossing(12.1, 0.0) is None
    assert track.crossing(7.0, 0.0, rising=False) is None
    assert track.crossing(7.0, end + 1.0) is None
    assert Track(3.0).crossing(3.0, 0.0) == 0.0
    assert Track(3.0).crossing(4.0, 0.0) is None
    # Crossing from the very joint of two pieces.
    joint = track.pieces[2]
    assert track.crossing(joint.s0, 0.0) == joint.t0


def test_crossings_out_and_back_are_told_apart():
    track = out_and_back()
    assert [p.s1 for p in track.pieces] == pytest.approx([10.0, 0.0])
    there = 1.0 + 0.2 - math.sqrt(2 * 3.0 / 500.0)  # 7 mm: 3 mm short of the turn
    back = 1.2 + math.sqrt(2 * 3.0 / 500.0)
    assert track.crossing(7.0, 0.0) == pytest.approx(there, abs=1e-12)
    assert track.crossing(7.0, 0.0, rising=False) == pytest.approx(back, abs=1e-12)
    assert track.crossing(7.0, 1.1) is None
    assert track.crossing(7.0, 1.1, rising=False) == pytest.approx(back, abs=1e-12)
    assert track.crossing(10.0, 1.0) == pytest.approx(1.2)
    # Turning at the level: reached from below, and left downwards at the same instant.
    top = track.pieces[0].s1
    assert track.crossing(top, 1.0, rising=False) == track.pieces[1].t0
    assert track.state_at(1.3).v == pytest.approx(-50.0)


def test_a_turn_and_rest_at_the_level_below():
    track = Track(5.0, 0.0)
    track.append([Piece(0.0, 1.0, 5.0, -2.0, 2.0, 0.0, 4.0)])
    assert track.crossing(4.0, 0.0, rising=False) == 1.0
    assert track.crossing(4.0, 0.0) == 1.0  # rests there, whichever way it came
    track.append([Piece(1.0, 2.0, 4.0, 0.0, 2.0, 0.0, 5.0)])
    assert track.crossing(4.0, 0.0) == 1.0
    assert track.crossing(5.0, 0.5) == 2.0


def test_state_is_clamped_to_rest_at_both_ends():
    track = line(10.0, t0=5.0, s0=2.0)
    assert track.state_at(0.0) == State(2.0, 0.0, 0.0)
    assert track.state_at(track.end_time) == State(12.0, 0.0, 0.0)
    assert track.state_at(99.0) == State(12.0, 0.0, 0.0)
    assert Track(1.5, 3.0).state_at(0.0) == State(1.5, 0.0, 0.0)
    running = Track()
    running.append(to_speed(State(0.0, 0.0, 0.0), 0.0, 5.0, LIMITS))
    assert running.state_at(running.end_time).v == 0.0


@given(ANY_LENGTH, ANY_LIMITS, SHARE, st.floats(0.0, 1000.0))
def test_cut_returns_the_state_and_ends_there(length, limits, share, t0):
    track = line(length, limits, t0)
    whole = line(length, limits, t0)
    t = t0 + share * (track.end_time - t0)
    state = track.cut(t)
    assert state == whole.state_at(t)
    assert track.end_s == state.s
    assert track.end_time == t
    assert all(piece.t1 <= t for piece in track.pieces)
    for part in (0.0, 0.3, 0.9):
        earlier = t0 + part * (t - t0)
        if earlier < t:
            assert track.state_at(earlier).s == pytest.approx(whole.state_at(earlier).s, abs=1e-12)
    track.append(to_goal(state, t, length, limits))
    assert track.end_s == length
    for before, after in pairwise(track.pieces):
        assert before.t1 == after.t0
        assert before.s1 == after.s0


def test_cut_after_the_end_changes_nothing_and_before_the_start_empties():
    track = line(10.0)
    pieces = track.pieces
    assert track.cut(track.end_time + 1.0) == State(10.0, 0.0, 0.0)
    assert track.pieces == pieces
    assert track.cut(0.0) == State(0.0, 0.0, 0.0)
    assert track.pieces == ()
    assert (track.end_time, track.end_s) == (0.0, 0.0)


def test_a_hold_is_filled_with_rest():
    track = line(10.0)
    state = track.cut(0.1)
    track.append(stop(state, 0.1, LIMITS))
    stopped_at, held_at = track.end_time, track.end_s
    track.append(to_goal(track.state_at(3.0), 3.0, 10.0, LIMITS))
    assert rest(stopped_at, 3.0, held_at) in track.pieces
    assert track.state_at(2.0) == State(held_at, 0.0, 0.0)
    assert track.crossing(held_at, 0.0) == pytest.approx(stopped_at)
    assert track.crossing(held_at, 2.0) == 2.0
    assert track.end_s == 10.0


def test_misplaced_pieces_are_refused():
    track = line(10.0)
    with pytest.raises(InputError, match="cut the track"):
        track.append(from_rest(1.0, LIMITS, 0.1, 10.0))
    with pytest.raises(InputError, match="expected"):
        track.append(from_rest(1.0, LIMITS, 9.0, 9.0))


def test_a_plan_of_no_duration_leaves_the_exact_goal():
    track = line(10.0)
    goal = math.nextafter(10.0, 11.0)
    t = track.end_time + 1.0
    track.append(to_goal(track.state_at(t), t, goal, LIMITS))
    assert track.end_s == goal
    assert track.crossing(goal, 0.0) == t
    count = len(track.pieces)
    track.append(to_goal(track.state_at(t), t, goal, LIMITS))
    assert len(track.pieces) == count


def test_discarding_old_pieces_keeps_the_answers():
    track, whole = line(10.0), line(10.0)
    gone = track.discard_before(0.2)
    assert (*gone, *track.pieces) == whole.pieces
    assert gone[-1].t1 <= 0.2 < track.pieces[0].t1
    assert track.state_at(0.2) == whole.state_at(0.2)
    assert track.crossing(9.0, 0.2) == whole.crossing(9.0, 0.2)
    assert track.discard_before(0.2) == []
    track.discard_before(1e9)
    assert len(track.pieces) == 1


@given(ANY_LENGTH, ANY_LIMITS, SHARE, SHARE, st.booleans())
def test_speed_crossing_against_scanning(length, limits, level_share, since_share, rising):
    track = line(length, limits)
    top = max(p.v0 for p in track.pieces)
    level = (0.01 + 0.98 * level_share) * top
    since = since_share * track.end_time
    t = track.speed_crossing(level, since, rising)
    count = 400
    times = [since + k * (track.end_time - since) / count for k in range(count + 1)]
    speeds = [track.state_at(x).v for x in times]
    sides = [(v >= level) if rising else (v <= level) for v in speeds]
    first = next((k for k in range(1, count + 1) if sides[k] and not sides[k - 1]), None)
    if t is None:
        assert first is None
    else:
        assert track.state_at(t).v == pytest.approx(level, rel=1e-6)
        assert t >= since
        if first is not None:
            assert t <= times[first] + 1e-9


def test_speed_crossing_by_hand():
    # From rest at 20000 mm/s^3: 1 mm/s after sqrt(2*1/20000) s = 10 ms.
    track = line(100.0)
    assert track.speed_crossing(1.0, 0.0) == pytest.approx(0.01, rel=1e-12)
    assert track.speed_crossing(1.0, 0.0, rising=False) == pytest.approx(track.end_time - 0.01)
    assert track.speed_crossing(51.0, 0.0) is None
    run_down = Track()
    run_down.append(coast(State(0.0, 10.0, 0.0), 0.0, 100.0))
    assert run_down.speed_crossing(4.0, 0.0, rising=False) == pytest.approx(0.06)
    assert run_down.speed_crossing(10.0, 0.0, rising=False) == 0.0
    assert run_down.speed_crossing(12.0, 0.0) is None


def test_acceleration_reached_by_hand():
    # A ramp of 20000 mm/s^3 comes to 500 mm/s^2 after 25 ms; braking comes to it 25 ms in as well.
    track = line(100.0)
    assert track.first_time_acceleration_reaches(500.0, 0.0) == pytest.approx(0.025, rel=1e-12)
    braking = track.pieces[-2]
    assert track.first_time_acceleration_reaches(500.0, 1.0) == pytest.approx(braking.t0 + 0.025)
    assert track.first_time_acceleration_reaches(500.0, 0.03) == 0.03
    assert track.first_time_acceleration_reaches(1000.1, 0.0) is None
    assert track.first_time_acceleration_reaches(0.0, 0.7) == 0.7
    assert track.first_time_acceleration_reaches(500.0, track.end_time) is None
    # A jump past the level: power off while cruising.
    t = 1.0
    state = track.cut(t)
    track.append(coast(state, t, 800.0))
    assert track.first_time_acceleration_reaches(500.0, 0.5) == t


@given(st.floats(-50.0, 50.0), st.floats(-500.0, 500.0), st.floats(-1e4, 1e4), st.floats(0.01, 1.0))
def test_split_pieces_are_monotone_and_the_same_path(v, a, jerk, span):
    end = span * (v + span * (a / 2 + span * jerk / 6))
    parts = split_at_reversal(Piece(0.0, span, 0.0, v, a, jerk, end))
    assert 1 <= len(parts) <= 3
    assert (parts[0].t0, parts[-1].t1, parts[-1].s1) == (0.0, span, end)
    scale = 1e-9 * (1 + abs(v) + abs(a) + abs(jerk))
    for before, after in pairwise(parts):
        assert (before.t1, before.s1) == (after.t0, after.s0)
    for part in parts:
        times = [part.t0 + k * (part.t1 - part.t0) / 8 for k in range(9)]
        truth = [t * (v + t * (a / 2 + t * jerk / 6)) for t in times]
        assert [position(part, t) for t in times] == pytest.approx(truth, abs=scale)
        speeds = [v + t * (a + t * jerk / 2) for t in times]
        assert min(speeds) >= -scale or max(speeds) <= scale
        assert [speed(part, t) for t in times] == pytest.approx(speeds, abs=scale)
        assert acceleration(part, part.t1) == pytest.approx(a + part.t1 * jerk, abs=scale)


def test_positions_hold_outside_a_piece():
    piece = Piece(1.0, 2.0, 5.0, 2.0, 0.0, 0.0, 7.0)
    assert [position(piece, t) for t in (0.0, 1.0, 1.5, 2.0, 3.0)] == [5.0, 5.0, 6.0, 7.0, 7.0]
    assert speed(piece, 0.0) == speed(piece, 9.0) == 2.0


def test_delay_and_following_error_by_hand():
    assert delay_s(40.0, 0.0) == 0.025
    assert delay_s(40.0, 0.75) == 0.00625
    assert delay_s(40.0, 1.0) == 0.0
    # 250 mm/s at Kv 40: 6.25 mm behind.
    assert following_error(250.0, 40.0, 0.0) == 6.25


@pytest.mark.parametrize(
    ("kv", "feed_forward"), [(0.0, 0.0), (-1.0, 0.0), (40.0, 1.1), (40.0, -0.1)]
)
def test_impossible_servos_are_refused(kv, feed_forward):
    with pytest.raises(InputError):
        delay_s(kv, feed_forward)


@given(ANY_LENGTH, ANY_LIMITS, SHARE, SHARE, st.floats(0.0, 0.1))
def test_the_axis_is_its_command_a_little_earlier(length, limits, share, since_share, delay):
    track = line(length, limits)
    level = share * length
    since = since_share * (track.end_time + delay)
    t = actual_crossing(track, level, since, delay)
    command = track.crossing(level, since - delay)
    if command is None:
        assert t is None
    else:
        assert t == max(since, command + delay)
        assert actual_state(track, t, delay).s == pytest.approx(level, abs=1e-9)


def test_the_axis_lags_by_the_following_error_when_steady():
    track = line(100.0)
    delay = delay_s(40.0, 0.5)
    behind = track.state_at(1.0).s - actual_state(track, 1.0, delay).s
    assert behind == pytest.approx(following_error(50.0, 40.0, 0.5), rel=1e-12)
    assert actual_crossing(track, 100.0, 0.0, delay) == track.end_time + delay
    assert actual_crossing(track, 0.0, 0.005, delay) == 0.005  # not yet moving: now
    assert actual_crossing(track, 50.0, 0.0, delay, rising=False) is None
