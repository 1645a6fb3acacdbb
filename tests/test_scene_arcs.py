"""First contact along arcs and helices against closed forms and fine sampling."""

import math
import random

import pytest

from drytouch.sim.errors import InputError
from drytouch.sim.scene import (
    Body,
    Box,
    Chain,
    Cone,
    Cylinder,
    Placed,
    Ring,
    Scene,
    Sphere,
    distance,
    first_contacts,
    first_contacts_arc,
    overlaps,
)

ORIGIN = (0.0, 0.0, 0.0)


def two(moving, fixed, at=ORIGIN, turn=ORIGIN, links=None):
    scene = Scene(Chain(links or {"head": (1, 1, 1), "bed": (0, 0, 0)}))
    scene.place(Body("a", "head", (Placed(moving, at),)))
    scene.place(Body("b", "bed", (Placed(fixed, ORIGIN, turn),)))
    return scene


def test_a_bar_round_to_a_bar():
    # Axes 40 apart at the start on a circle through the post's middle: chord 40 cos(t/2) = 15.
    for links in (None, {"head": (0, 0, 1), "bed": (-1, -1, 0)}):
        scene = two(Cylinder(5, 20), Cylinder(10, 20), (40, 0, 0), links=links)
        expected = 20 * 2 * math.acos(15 / 40)
        for sweep in (2 * math.pi, -2 * math.pi):
            (hit,) = first_contacts_arc(scene, ORIGIN, (-20, 0, 0), 20, 0.0, sweep)
            assert hit.s == pytest.approx(expected, abs=1e-7)
            angle = math.copysign(expected / 20, sweep)
            axis = (20 + 20 * math.cos(angle), 20 * math.sin(angle))
            assert hit.normal[:2] == pytest.approx((axis[0] / 15, axis[1] / 15), abs=1e-5)


@pytest.mark.parametrize("plane", ["xy", "zx", "yz"])
def test_a_ball_round_to_a_plate_in_every_plane(plane):
    first, second, third = {"xy": (0, 1, 2), "zx": (2, 0, 1), "yz": (1, 2, 0)}[plane]
    size = [60.0, 60.0, 60.0]
    size[second] = 1e-3
    at = [0.0, 0.0, 0.0]
    at[first], at[second] = 20.0, 12.0
    scene = two(Sphere(3), Box(*size), tuple(at))
    centre = [0.0, 0.0, 0.0]
    centre[first] = -20.0
    # Clockwise: 12 - 20 sin(t) comes down to 3 and half the plate.
    (hit,) = first_contacts_arc(scene, ORIGIN, tuple(centre), 20.0, 0.0, -math.pi, plane)
    assert hit.s == pytest.approx(20 * math.asin((12 - 3 - 5e-4) / 20), abs=1e-7)
    normal = [0.0, 0.0, 0.0]
    normal[second] = 1.0
    assert hit.normal == pytest.approx(normal, abs=1e-6)
    # The other way round it comes back down late in the turn, the third axis standing still.
    (hit,) = first_contacts_arc(scene, ORIGIN, tuple(centre), 20.0, 0.0, 2 * math.pi, plane)
    assert hit.s == pytest.approx(20 * (math.pi + math.asin((12 - 3 - 5e-4) / 20)), abs=1e-7)
    assert third not in (first, second)


def test_a_helix_goes_down_to_the_pad():
    scene = two(Cylinder(3, 10), Cylinder(30, 4), (5, 0, 20))
    (hit,) = first_contacts_arc(scene, ORIGIN, (-5, 0, 0), 5.0, 0.0, 12 * math.pi, "xy", -0.5)
    turned = (20 - 5 - 2) / 0.5
    assert hit.s == pytest.approx(turned * math.hypot(5, 0.5), abs=1e-7)
    assert hit.normal == pytest.approx((0, 0, 1), abs=1e-9)
    back = first_contacts_arc(scene, ORIGIN, (-5, 0, 0), 5.0, 0.0, -12 * math.pi, "xy", -0.5)
    assert back[0].s == pytest.approx(hit.s, abs=1e-7)


def test_a_bore_from_inside_meets_its_wall():
    scene = two(Ring(35, 20, 10), Cylinder(8, 10))
    # The ring's middle leaves along a circle of 10: its distance 20 sin(t/2) comes to 12.
    (hit,) = first_contacts_arc(scene, ORIGIN, (-10, 0, 0), 10.0, 0.0, math.pi)
    assert hit.s == pytest.approx(10 * 2 * math.asin(12 / 20), abs=3e-3)


def test_touching_an_arc_slides_leaves_or_presses():
    down = math.pi / 2
    scene = two(Cylinder(5, 20), Box(100, 2, 20), (0, 6, 0))
    (hit,) = first_contacts_arc(scene, ORIGIN, (0, -10, 0), 10.0, down, -math.pi)
    assert (hit.s, hit.graze) == (0.0, False)  # starts along the wall and bends into it
    assert first_contacts_arc(scene, ORIGIN, (0, 10, 0), 10.0, -down, math.pi) == ()
    # Round and round on a pad, in touch all the way.
    scene = two(Cylinder(5, 20), Cylinder(30, 4), (0, 0, 12))
    assert first_contacts_arc(scene, ORIGIN, (-10, 0, 0), 10.0, 0.0, 2 * math.pi) == ()
    scene = two(Cylinder(5, 20), Cylinder(30, 4), (0, 0, 11.5))
    assert first_contacts_arc(scene, ORIGIN, (-10, 0, 0), 10.0, 0.0, 1.0, "xy", 0.1) == ()
    (hit,) = first_contacts_arc(scene, ORIGIN, (-10, 0, 0), 10.0, 0.0, 1.0, "xy", -0.1)
    assert hit.s == 0.0


def test_an_arc_that_just_clears_a_post_meets_nothing_and_one_that_does_not_meets_it():
    for clear, meets in ((1e-3, False), (-1e-3, True)):
        scene = two(Cylinder(5, 20), Cylinder(10, 20), (15 + clear + 20, 0, 0))
        # The circle's far side passes the post at 15 + clear.
        found = first_contacts_arc(scene, ORIGIN, (-10, 0, 0), 10.0, 0.0, 2 * math.pi)
        assert bool(found) is meets
        if meets:
            far, r, reach = 25 + clear, 10.0, 15.0
            cosine = (reach**2 - far**2 - r**2) / (2 * far * r)
            assert found[0].s == pytest.approx(r * math.acos(cosine), abs=1e-5)


def on_arc(plane, centre, radius, angle, rise, turned, sweep):
    first, second, third = {"xy": (0, 1, 2), "zx": (2, 0, 1), "yz": (1, 2, 0)}[plane]
    q = [0.0, 0.0, 0.0]
    now = angle + math.copysign(turned, sweep)
    q[first] = centre[first] + radius * math.cos(now)
    q[second] = centre[second] + radius * math.sin(now)
    q[third] = rise * turned
    return tuple(q)


def test_random_arcs_agree_with_fine_sampling():
    draw = random.Random(3)
    hits = 0
    for _ in range(250):
        size = [draw.uniform(1, 8) for _ in range(6)]
        moving = draw.choice(
            [Cylinder(size[0], size[1]), Sphere(size[0]), Cone(0, size[0], size[1])]
        )
        fixed = draw.choice([Box(*size[3:]), Cylinder(size[3], size[4]), Sphere(size[3])])
        turn = draw.choice([ORIGIN, (20.0, 30.0, 40.0)])
        angle, radius = draw.uniform(-3, 3), draw.uniform(5, 30)
        plane = draw.choice(["xy", "zx", "yz"])
        first, second, _ = {"xy": (0, 1, 2), "zx": (2, 0, 1), "yz": (1, 2, 0)}[plane]
        sweep, rise = draw.choice([-1, 1]) * draw.uniform(1, 6), draw.uniform(-3, 3)
        at = tuple(draw.uniform(-20, 20) for _ in range(3))
        scene = two(moving, fixed, at, turn)
        if distance(scene, "a", "b", ORIGIN) < 0.01:
            continue
        centre = [0.0, 0.0, 0.0]
        centre[first] = -radius * math.cos(angle)
        centre[second] = -radius * math.sin(angle)

        def there(
            turned, centre=centre, radius=radius, angle=angle, sweep=sweep, rise=rise, plane=plane
        ):
            first, second, third = {"xy": (0, 1, 2), "zx": (2, 0, 1), "yz": (1, 2, 0)}[plane]
            q = [0.0, 0.0, 0.0]
            now = angle + math.copysign(turned, sweep)
            q[first] = centre[first] + radius * math.cos(now)
            q[second] = centre[second] + radius * math.sin(now)
            q[third] = rise * turned
            return tuple(q)

        found = first_contacts_arc(scene, ORIGIN, tuple(centre), radius, angle, sweep, plane, rise)
        per_rad = math.hypot(radius, rise)
        arc = (plane, centre, radius, angle, rise)
        end = found[0].s / per_rad if found else abs(sweep)
        for k in range(100):
            assert overlaps(scene, on_arc(*arc, end * k / 100, sweep), 1e-5) == []
        if found:
            hits += 1
            assert abs(distance(scene, "a", "b", on_arc(*arc, end, sweep))) < 1e-5
    assert hits >= 25


def test_an_arc_of_huge_radius_is_nearly_a_line():
    scene = two(Sphere(5), Cylinder(8, 20), (-60, 9, 3))
    radius = 1e5
    (line,) = first_contacts(scene, ORIGIN, (1.0, 0.0, 0.0), 100.0)
    (arc,) = first_contacts_arc(scene, ORIGIN, (0, radius, 0), radius, -math.pi / 2, 1e-3)
    assert arc.s == pytest.approx(line.s, abs=0.05)


def test_an_arc_that_does_not_lead_through_its_start_is_refused():
    scene = two(Sphere(5), Sphere(5), (30, 0, 0))
    with pytest.raises(InputError, match=r"starts 1\.0000 mm from"):
        first_contacts_arc(scene, ORIGIN, (-20, 0, 0), 21.0, 0.0, 1.0)
    with pytest.raises(InputError, match="plane is 'xz'"):
        first_contacts_arc(scene, ORIGIN, (-20, 0, 0), 20.0, 0.0, 1.0, "xz")
    with pytest.raises(InputError, match="radius"):
        first_contacts_arc(scene, ORIGIN, (-20, 0, 0), 0.0, 0.0, 1.0)


def test_an_arc_that_ends_clear_of_everything_tells_nothing():
    for sweep in (1.0, 6.28, 2 * math.pi, -0.1, 1e-6, 1e-12):
        for shape in (Sphere(5), Cylinder(4, 8), Ring(5, 3, 4)):
            scene = two(shape, Cylinder(10, 20), (60, 0, 0))
            assert first_contacts_arc(scene, ORIGIN, (-60, 0, 0), 60.0, 0.0, sweep) == ()
