"""Limits along a line, legs of a rapid, overrides and what an impact carries."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drytouch.sim.errors import InputError
from drytouch.sim.motion import (
    Limits,
    Track,
    along,
    arc_limits,
    dog_leg,
    effective_mass_kg,
    from_rest,
    harder,
    impact_energy_j,
    peak_force_n,
    with_feed_override,
    with_rapid_override,
)

SPEEDS = (250.0, 200.0, 150.0)
ACCELERATIONS = (2000.0, 1500.0, 1000.0)
JERKS = (40_000.0, 30_000.0, 20_000.0)
MACHINE = Limits(200.0, 1000.0, 20_000.0)

AXIS = st.floats(-1000.0, 1000.0)
AXIS_SPEEDS = st.tuples(*[st.floats(1.0, 500.0)] * 3)


@pytest.mark.parametrize("i", [0, 1, 2])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_along_one_axis_is_that_axis(i, sign):
    direction = tuple(sign if k == i else 0.0 for k in range(3))
    assert along(direction, SPEEDS, ACCELERATIONS, JERKS, None) == Limits(
        SPEEDS[i], ACCELERATIONS[i], JERKS[i]
    )


def test_along_a_diagonal_by_hand():
    # u = (0.6, 0, -0.8): Z gives out first in all three, at 150/0.8, 1000/0.8 and 20000/0.8.
    limits = along((0.6, 0.0, -0.8), SPEEDS, ACCELERATIONS, JERKS, None)
    assert limits == pytest.approx((187.5, 1250.0, 25_000.0))
    assert along((0.6, 0.0, -0.8), SPEEDS, ACCELERATIONS, JERKS, 8.0) == (8.0, *limits[1:])
    assert along((0.6, 0.0, -0.8), SPEEDS, ACCELERATIONS, JERKS, 900.0) == limits


@given(AXIS, AXIS, AXIS)
def test_no_axis_exceeds_its_own_limit_and_one_meets_it(x, y, z):
    length = math.sqrt(x * x + y * y + z * z)
    if length < 1e-6:
        return
    u = (x / length, y / length, z / length)
    limits = along(u, SPEEDS, ACCELERATIONS, JERKS, None)
    for limit, own in zip(limits, (SPEEDS, ACCELERATIONS, JERKS), strict=True):
        shares = [limit * abs(c) / axis for c, axis in zip(u, own, strict=True)]
        assert max(shares) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("direction", [(0.0, 0.0, 0.0), (1.0, 1.0, 0.0), (0.0, 0.0, 0.5)])
def test_directions_must_be_unit_vectors(direction):
    with pytest.raises(InputError, match="unit vector"):
        along(direction, SPEEDS, ACCELERATIONS, JERKS, None)


def test_dog_leg_by_hand():
    # X needs 1 s, Y 0.25 s, Z 0.5 s.
    legs = dog_leg((100.0, -25.0, 50.0), (100.0, 100.0, 100.0))
    assert legs == [(25.0, -25.0, 25.0), (25.0, 0.0, 25.0), (50.0, 0.0, 0.0)]
    assert dog_leg((10.0, 0.0, -10.0), (50.0, 50.0, 50.0)) == [(10.0, 0.0, -10.0)]
    assert dog_leg((0.0, 0.0, 0.0), (50.0, 50.0, 50.0)) == []
    assert dog_leg((0.0, 7.0, 0.0), (50.0, 50.0, 50.0)) == [(0.0, 7.0, 0.0)]


@given(st.tuples(AXIS, AXIS, AXIS), AXIS_SPEEDS)
def test_legs_add_up_and_each_axis_runs_at_its_own_speed(delta, speeds):
    legs = dog_leg(delta, speeds)
    assert len(legs) <= 3
    for i in range(3):
        assert sum(leg[i] for leg in legs) == pytest.approx(delta[i], abs=2e-9)
        # No axis turns back.
        assert all(leg[i] * delta[i] >= -1e-12 for leg in legs)
    for leg in legs:
        times = [abs(d) / v for d, v in zip(leg, speeds, strict=True) if abs(d) > 1e-6]
        if times:
            assert max(times) - min(times) <= 1e-6
    for before, after in pairwise(legs):
        # An axis that has arrived stays there.
        assert all(b != 0.0 or a == 0.0 for b, a in zip(before, after, strict=True))


@given(st.floats(0.01, 1e4))
def test_on_an_arc_the_pull_to_the_centre_keeps_to_the_limit(radius):
    limits = arc_limits(MACHINE, radius)
    assert limits.speed**2 / radius <= MACHINE.acceleration * (1 + 1e-12)
    assert limits.speed == min(MACHINE.speed, math.sqrt(MACHINE.acceleration * radius))
    assert limits[1:] == MACHINE[1:]


def test_a_quarter_arc_runs_on_the_same_pieces():
    # R 10 mm at 1000 mm/s^2: sqrt(10000) = 100 mm/s.
    limits = arc_limits(MACHINE, 10.0)
    assert limits.speed == 100.0
    track = Track()
    track.append(from_rest(0.5 * math.pi * 10.0, limits, 0.0))
    assert track.end_s == 0.5 * math.pi * 10.0
    assert max(p.v0 for p in track.pieces) <= 100.0
    with pytest.raises(InputError, match="radius"):
        arc_limits(MACHINE, 0.0)


def test_the_harder_of_two_stops():
    assert harder(Limits(10, 5, 7), Limits(20, 3, 9)) == Limits(10, 5, 9)


def test_each_knob_turns_its_own_moves():
    assert with_feed_override(MACHINE, 10.0, 0.5) == MACHINE._replace(speed=5.0)
    assert with_feed_override(MACHINE, 10.0, 1.5) == MACHINE._replace(speed=15.0)
    assert with_feed_override(MACHINE, 190.0, 1.5) == MACHINE
    assert with_rapid_override(MACHINE, 0.25) == MACHINE._replace(speed=50.0)
    assert with_rapid_override(MACHINE, 1.5) == MACHINE


def test_an_override_of_nothing_is_a_hold():
    assert with_feed_override(MACHINE, 10.0, 0.0) is None
    assert with_feed_override(MACHINE, 0.0, 1.0) is None
    assert with_rapid_override(MACHINE, 0.0) is None


@pytest.mark.parametrize(("feed", "override"), [(10.0, -0.1), (-1.0, 1.0), (math.nan, 1.0)])
def test_impossible_overrides_are_refused(feed, override):
    with pytest.raises(InputError):
        with_feed_override(MACHINE, feed, override)


def test_impact_by_hand():
    # 300 kg, 0.002 kg m^2, 10 mm lead: omega/v = 628.3 1/m, so the screw weighs 789.6 kg.
    mass = effective_mass_kg(300.0, 0.002, 10.0)
    assert mass == pytest.approx(300.0 + 0.002 * (2 * math.pi / 0.010) ** 2)
    assert mass == pytest.approx(1089.568, rel=1e-6)
    # 100 kg at 200 mm/s: 2 J. On 50 N/um = 5e4 N/mm = 5e7 N/m: 0.2*sqrt(5e9) = 14142 N.
    assert impact_energy_j(100.0, 200.0) == pytest.approx(2.0)
    assert peak_force_n(100.0, 200.0, 5e4, 1500.0) == pytest.approx(0.2 * math.sqrt(5e9) + 1500.0)


@given(st.floats(1.0, 2000.0), st.floats(0.0, 300.0), st.floats(1.0, 1e6))
def test_the_spring_holds_all_the_energy_at_peak_force(mass, speed, stiffness):
    force = peak_force_n(mass, speed, stiffness, 0.0)
    stored = force**2 / (2 * stiffness * 1000.0)
    assert stored == pytest.approx(impact_energy_j(mass, speed), rel=1e-9, abs=1e-12)
