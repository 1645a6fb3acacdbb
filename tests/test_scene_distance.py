"""Gaps, overlaps, nearest bodies and heights against closed forms."""

import math
import random

import pytest

from drytouch.sim.scene import (
    Body,
    Box,
    Chain,
    Cone,
    Cylinder,
    Mesh,
    Placed,
    Ring,
    Scene,
    Sphere,
    bounds,
    distance,
    height_under,
    nearest,
    overlaps,
    surface,
)

ORIGIN = (0.0, 0.0, 0.0)


def two(moving, fixed, at, turn=ORIGIN, fixed_turn=ORIGIN):
    scene = Scene(Chain({"head": (1, 1, 1), "bed": (0, 0, 0)}))
    scene.place(Body("a", "head", (Placed(moving, at, turn),)))
    scene.place(Body("b", "bed", (Placed(fixed, ORIGIN, fixed_turn),)))
    return scene


def mesh_of(shape, sides=48):
    points, triangles = surface(shape, sides)
    return Mesh(tuple(map(tuple, points.tolist())), tuple(map(tuple, triangles.tolist())))


@pytest.mark.parametrize("micrometres", [-20.0, -0.03, 0.0, 0.01, 2.0, 35.0])
def test_a_gauge_block_under_the_face_is_felt_to_a_hundredth_of_a_micrometre(micrometres):
    gap = micrometres * 1e-3
    scene = two(Ring(44.45, 25, 20), Box(35, 9, 50.8), (30.0, 0, 0))
    q = (0.0, 0.0, 25.4 + 10 + gap)
    assert distance(scene, "a", "b", q) == pytest.approx(gap, abs=1e-8)


@pytest.mark.parametrize(
    ("moving", "fixed", "at", "expected"),
    [
        (Box(10, 10, 10), Box(10, 10, 10), (13, 14, 22), 13.0),
        (Cylinder(5, 10), Cylinder(8, 4), (12, 9, 17), math.hypot(2, 10)),
        (Cylinder(5, 10), Cylinder(8, 4), (12, 0, 0), -1.0),
        (Cylinder(5, 10), Box(10, 10, 10), (8, 9, 0), 0.0),
        (Ring(35, 20, 10), Cylinder(8, 4), (3, 0, 0), 9.0),
        (Ring(35, 20, 10), Cylinder(8, 4), (3, 0, 19), math.hypot(9, 12)),
        (Ring(35, 20, 10), Cylinder(8, 4), (13, 0, 0), -1.0),
        (Sphere(5), Sphere(7), (20, 3, 1), math.sqrt(410) - 12),
        (Sphere(5), Box(10, 10, 10), (8, 9, 17), 13 - 5),
        (Sphere(5), Sphere(7), (0, 0, 11.99), -0.01),
        (Cone(0, 5, 10), Box(10, 10, 10), (0, 0, 12), 2.0),
        (Cone(0, 5, 10), Sphere(5), (0, 0, 11), 1.0),
    ],
)
def test_gaps_in_closed_form(moving, fixed, at, expected):
    assert distance(two(moving, fixed, at), "a", "b", ORIGIN) == pytest.approx(expected, abs=2e-7)
    assert distance(two(moving, fixed, ORIGIN), "b", "a", at) == pytest.approx(expected, abs=2e-7)


def test_an_edge_across_an_edge_has_the_depth_of_the_edges():
    # Two square bars turned on their edges, crossed: edges meet at the half diagonals.
    for gap in (0.5, 1e-3, -1e-3, -0.05):
        z = 2 * math.sqrt(50) + gap
        scene = two(Box(40, 10, 10), Box(10, 40, 10), (0, 0, z), (45, 0, 0), (0, 45, 0))
        assert distance(scene, "a", "b", ORIGIN) == pytest.approx(gap, abs=2e-7)


def test_a_mesh_is_as_near_as_the_solid_it_draws():
    draw = random.Random(1)
    for _ in range(30):
        at = tuple(draw.uniform(-40, 40) for _ in range(3))
        turn = tuple(draw.uniform(-90, 90) for _ in range(3))
        plain = distance(two(Box(4, 5, 6), Box(10, 20, 30), at, turn), "a", "b", ORIGIN)
        meshed = distance(two(Box(4, 5, 6), mesh_of(Box(10, 20, 30)), at, turn), "a", "b", ORIGIN)
        if plain > 0.0:
            assert meshed == pytest.approx(plain, abs=1e-5)
    scene = two(Cylinder(5, 10), mesh_of(Ring(25, 12, 8), 720), (3, 0, 0))
    assert distance(scene, "a", "b", ORIGIN) == pytest.approx(12 - 8, abs=1e-3)
    tilted = two(Ring(25, 12, 8), Cylinder(5, 10), (3, 0, 30), (0.5, 0, 0))
    exact = 30 - 5 - 4 * math.cos(math.radians(0.5)) - 25 * math.sin(math.radians(0.5))
    assert distance(tilted, "a", "b", ORIGIN) > exact


def test_overlaps_names_pairs_on_different_links_only():
    scene = two(Sphere(5), Box(10, 10, 10), (0, 0, 9.9))
    scene.place(Body("twin", "head", (Placed(Sphere(5), (0, 0, 9.9)),)))
    assert overlaps(scene, ORIGIN) == [("a", "b"), ("b", "twin")]
    assert overlaps(scene, ORIGIN, 0.2) == []
    assert overlaps(scene, (0.0, 0.0, 0.1)) == []
    scene.ignore("twin", "b")
    assert overlaps(scene, ORIGIN) == [("a", "b")]


def test_nearest_agrees_with_asking_every_pair():
    draw = random.Random(2)
    scene = Scene(Chain({"head": (0, 0, 1), "table": (-1, -1, 0), "base": (0, 0, 0)}))
    scene.place(Body("tool", "head", (Placed(Cylinder(3, 20)), Placed(Sphere(5), (0, 0, 12)))))
    for k in range(40):
        at = tuple(draw.uniform(-60, 60) for _ in range(3))
        shape = draw.choice([Box(4, 5, 6), Cylinder(3, 5), Sphere(2), Cone(0, 3, 4)])
        scene.place(Body(f"b{k:02}", draw.choice(["table", "base"]), (Placed(shape, at),)))
    for _ in range(10):
        q = tuple(draw.uniform(-50, 50) for _ in range(3))
        found = nearest(scene, ["tool"], q)
        every = min((distance(scene, "tool", f"b{k:02}", q), f"b{k:02}") for k in range(40))
        if every[0] > 0:
            assert (found.distance, found.other_body) == every
            assert found.moving_body == "tool"
        else:
            assert found.distance <= 0.0
    lone = Scene(Chain({"head": (0, 0, 1)}))
    lone.place(Body("tool", "head", (Placed(Sphere(1)),)))
    assert nearest(lone, ["tool"], ORIGIN) is None


def test_height_under_is_the_highest_thing_under_the_path():
    scene = Scene(Chain({"head": (0, 0, 1), "table": (-1, -1, 0), "base": (0, 0, 0)}))
    scene.place(Body("tool", "head", (Placed(Cylinder(5, 40)),)))
    scene.place(Body("table", "table", (Placed(Box(500, 300, 20), (0, 0, -210)),)))
    scene.place(Body("vise", "table", (Placed(Box(40, 40, 60), (100, 0, -170)),)))
    scene.place(Body("post", "table", (Placed(Cylinder(4, 90), (50, 12, -155)),)))
    scene.place(Body("roof", "base", (Placed(Box(900, 900, 10), (0, 0, 300)),)))
    across = (1.0, 0.0, 0.0)
    assert height_under(scene, ["tool"], ORIGIN, across, 10.0) == -200.0
    assert height_under(scene, ["tool"], ORIGIN, across, 74.9) == -200.0
    assert height_under(scene, ["tool"], ORIGIN, across, 75.1) == -140.0
    # The post's corner of the box is counted though the post itself is passed: roomy, never low.
    assert height_under(scene, ["tool"], (0.0, 3.5, 0.0), across, 60.0) == -110.0
    assert height_under(scene, ["tool"], (2000.0, 0.0, 0.0), across, 10.0) is None


def test_bounds_follow_the_link_and_the_turn():
    body = Body("a", "table", (Placed(Box(10, 20, 30), (1, 2, 3), (0, 0, 90)),), offset=(100, 0, 0))
    low, high = bounds(body)
    assert low == pytest.approx((101 - 10, 2 - 5, 3 - 15))
    assert high == pytest.approx((101 + 10, 2 + 5, 3 + 15))
    chain = Chain({"head": (0, 0, 1), "table": (-1, -1, 0)})
    low, _ = bounds(body, (5.0, 6.0, 7.0), chain)
    assert low == pytest.approx((91 - 5, -3 - 6, -12))
    assert bounds(body, (5.0, 6.0, 7.0), Scene(chain)) == bounds(body, (5.0, 6.0, 7.0), chain)


def test_hollow_solids_that_overlap_are_said_to():
    for gap, at in ((-0.2, (18, 0, 8.8)), (-1.0, (18, 0, 8.0))):
        scene = two(Cylinder(3, 10), mesh_of(Ring(25, 12, 8)), at)
        assert distance(scene, "a", "b", ORIGIN) <= 0.0
        assert overlaps(scene, ORIGIN, 1e-6) == [("a", "b")], gap
    clear = two(Cylinder(3, 10), mesh_of(Ring(25, 12, 8)), (0, 0, 0))
    assert overlaps(clear, ORIGIN) == []
