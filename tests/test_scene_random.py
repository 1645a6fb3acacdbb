"""First contact against outside opinions: fcl on dense samples, and invariance under moves."""

import math
import random

import fcl
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
    first_contacts,
    overlaps,
    surface,
)
from drytouch.sim.scene.shapes import rotation

ORIGIN = (0.0, 0.0, 0.0)


def geometry(shape):
    if isinstance(shape, Box):
        return fcl.Box(shape.size_x, shape.size_y, shape.size_z)
    if isinstance(shape, Cylinder):
        return fcl.Cylinder(shape.radius, shape.height)
    if isinstance(shape, Cone):
        return fcl.Cone(shape.radius_bottom, shape.height)
    return fcl.Sphere(shape.radius)


def gap(moving, fixed, shift):
    """Fcl's own gap (its curved sides are up to 1e-4 mm off), 0 on overlap."""
    objects = []
    for part, by in ((moving, shift), (fixed, ORIGIN)):
        turn = fcl.Transform(np.array(rotation(part.turn_deg)), np.add(part.at, by))
        objects.append(fcl.CollisionObject(geometry(part.shape), turn))
    return max(0.0, fcl.distance(*objects, fcl.DistanceRequest(), fcl.DistanceResult()))


def overlapping(moving, fixed, shift):
    objects = []
    for part, by in ((moving, shift), (fixed, ORIGIN)):
        turn = fcl.Transform(np.array(rotation(part.turn_deg)), np.add(part.at, by))
        objects.append(fcl.CollisionObject(geometry(part.shape), turn))
    return fcl.collide(*objects, fcl.CollisionRequest(), fcl.CollisionResult()) > 0


def random_shape(draw):
    size = [draw.uniform(0.5, 12.0) for _ in range(3)]
    kind = draw.randrange(4)
    if kind == 0:
        return Box(*size)
    if kind == 1:
        return Cylinder(size[0], size[1])
    return Sphere(size[0]) if kind == 2 else Cone(size[0], 0.0, size[1])


def random_turn(draw):
    kind = draw.randrange(3)
    if kind == 0:
        return ORIGIN
    if kind == 1:
        return (0.0, 0.0, draw.uniform(-180, 180))
    return tuple(draw.uniform(-180, 180) for _ in range(3))


def pair_scene(moving, fixed):
    scene = Scene(Chain({"head": (1, 1, 1), "bed": (0, 0, 0)}))
    scene.place(Body("a", "head", (moving,)))
    scene.place(Body("b", "bed", (fixed,)))
    return scene


@pytest.mark.parametrize("block", range(4))
def test_random_pairs_agree_with_dense_samples_of_another_library(block):
    draw = random.Random(block)
    hits = misses = 0
    for case in range(150):
        fixed = Placed(random_shape(draw), ORIGIN, random_turn(draw))
        way = np.array([draw.gauss(0, 1) for _ in range(3)])
        if case % 3 == 0:
            way = np.array((0.0, 0.0, -1.0))
        elif case % 3 == 1:
            way[2] = 0.0
        way = way / np.linalg.norm(way)
        aim = np.array([draw.uniform(-12, 12) for _ in range(3)])
        moving = Placed(random_shape(draw), tuple(aim - 60 * way), random_turn(draw))
        direction = tuple(float(c) for c in way)
        found = first_contacts(pair_scene(moving, fixed), ORIGIN, direction, 120.0)
        samples = np.linspace(0.0, 120.0, 241)
        if not found:
            misses += 1
            # Both opinions hold: nothing nearer than nothing anywhere on the way.
            assert not any(overlapping(moving, fixed, s * way) for s in samples), case
            continue
        hits += 1
        s = found[0].s
        # Apart until there; as near as fcl can tell there; and inside soon after.
        assert not any(overlapping(moving, fixed, t * way) for t in samples if t < s - 1e-4), case
        assert gap(moving, fixed, s * way) <= 2e-4, case
        rate = -float(np.dot(found[0].normal, way))
        if rate > 0.05 and not found[0].graze:
            assert overlapping(moving, fixed, (s + 1e-3 / rate) * way), case
    assert hits > 50
    assert misses > 10


shapes = st.one_of(
    st.builds(Box, *[st.floats(1, 20)] * 3),
    st.builds(Cylinder, st.floats(1, 20), st.floats(1, 20)),
    st.builds(Sphere, st.floats(1, 20)),
    st.builds(lambda r, t, h: Ring(r + t, r, h), *[st.floats(1, 20)] * 3),
    st.builds(lambda r, h: Cone(0.0, r, h), *[st.floats(1, 20)] * 2),
)
turns = st.sampled_from([ORIGIN, (0.0, 0.0, 30.0), (0.3, 0.0, 0.0), (90.0, 0.0, 0.0)])
ways = st.sampled_from(
    [(0.0, 0.0, -1.0), (1.0, 0.0, 0.0), (0.6, 0.8, 0.0), (0.48, 0.6, -0.64), (0.0, 0.6, -0.8)]
)
coordinates = st.floats(-15, 15)
vectors = st.tuples(coordinates, coordinates, coordinates)


def outcome(moving, fixed, way, shift=ORIGIN, length=150.0):
    scene = pair_scene(moving, fixed)
    scene.move("a", *shift)
    scene.move("b", *shift)
    return first_contacts(scene, ORIGIN, way, length)


def clear_of(found, other):
    """Whether two answers may differ: a graze is what no number can tell from a miss."""
    return any(h.graze for h in (*found, *other))


@settings(max_examples=150, deadline=None)
@given(shapes, shapes, turns, ways, vectors, vectors)
def test_shifting_the_whole_scene_changes_nothing(moving, fixed, turn, way, aim, shift):
    at = tuple(a - 60 * w for a, w in zip(aim, way, strict=True))
    here = outcome(Placed(moving, at), Placed(fixed, ORIGIN, turn), way)
    there = outcome(Placed(moving, at), Placed(fixed, ORIGIN, turn), way, shift)
    if clear_of(here, there):
        return
    assert len(here) == len(there)
    for h, t in zip(here, there, strict=True):
        rate = -sum(n * w for n, w in zip(h.normal, way, strict=True))
        assert h.s == pytest.approx(t.s, abs=3e-5 / max(rate, 1e-3))


@settings(max_examples=100, deadline=None)
@given(shapes, shapes, ways, vectors)
def test_mirroring_the_scene_mirrors_the_contact(moving, fixed, way, aim):
    at = tuple(a - 60 * w for a, w in zip(aim, way, strict=True))
    here = outcome(Placed(moving, at), Placed(fixed), way)
    mirror = (-way[0], way[1], way[2])
    there = outcome(Placed(moving, (-at[0], at[1], at[2])), Placed(fixed), mirror)
    if clear_of(here, there):
        return
    assert len(here) == len(there)
    for h, t in zip(here, there, strict=True):
        rate = -sum(n * w for n, w in zip(h.normal, way, strict=True))
        assert h.s == pytest.approx(t.s, abs=3e-5 / max(rate, 1e-3))


@settings(max_examples=100, deadline=None)
@given(shapes, shapes, turns, ways, vectors)
def test_it_does_not_matter_which_of_the_two_moves(moving, fixed, turn, way, aim):
    at = tuple(a - 60 * w for a, w in zip(aim, way, strict=True))
    here = outcome(Placed(moving, at), Placed(fixed, ORIGIN, turn), way)
    back = tuple(-c for c in way)
    there = outcome(Placed(fixed, ORIGIN, turn), Placed(moving, at), back)
    if clear_of(here, there):
        return
    assert len(here) == len(there)
    for h, t in zip(here, there, strict=True):
        rate = -sum(n * w for n, w in zip(h.normal, way, strict=True))
        assert h.s == pytest.approx(t.s, abs=3e-5 / max(rate, 1e-3))


@settings(max_examples=40, deadline=None)
@given(shapes, shapes, turns, ways, vectors)
def test_nothing_is_inside_anything_before_the_first_contact(moving, fixed, turn, way, aim):
    at = tuple(a - 60 * w for a, w in zip(aim, way, strict=True))
    scene = pair_scene(Placed(moving, at), Placed(fixed, ORIGIN, turn))
    if overlaps(scene, ORIGIN):
        return
    found = [h for h in first_contacts(scene, ORIGIN, way, 150.0) if not h.graze]
    end = found[0].s if found else 150.0
    for k in range(20):
        s = end * k / 20
        # A ring that stands tilted is judged with 720 straight sides: 0.4 um.
        assert overlaps(scene, tuple(c * s for c in way), 1e-3) == []


@settings(max_examples=40, deadline=None)
@given(st.builds(Box, *[st.floats(1, 20)] * 3), shapes, turns, ways, vectors)
def test_a_block_of_triangles_meets_what_a_block_meets(block, moving, turn, way, aim):
    points, triangles = surface(block)
    mesh = Mesh(tuple(map(tuple, points.tolist())), tuple(map(tuple, triangles.tolist())))
    at = tuple(a - 60 * w for a, w in zip(aim, way, strict=True))
    plain = outcome(Placed(moving, at), Placed(block, ORIGIN, turn), way)
    meshed = outcome(Placed(moving, at), Placed(mesh, ORIGIN, turn), way)
    if clear_of(plain, meshed):
        return
    assert len(plain) == len(meshed)
    for p, m in zip(plain, meshed, strict=True):
        rate = -sum(n * w for n, w in zip(p.normal, way, strict=True))
        assert p.s == pytest.approx(m.s, abs=3e-5 / max(rate, 1e-3))


def test_the_normal_is_square_to_the_surface_it_names():
    draw = random.Random(5)
    for _ in range(50):
        x, y = draw.uniform(-9, 9), draw.uniform(-9, 9)
        found = outcome(Placed(Sphere(5), (x, y, 60.0)), Placed(Sphere(9)), (0.0, 0.0, -1.0))
        if math.hypot(x, y) < 13.9:
            hit = found[0]
            assert hit.point == pytest.approx([9 * n for n in hit.normal], abs=1e-3)
            centre = (x, y, 60.0 - hit.s)
            assert centre == pytest.approx([14 * n for n in hit.normal], abs=1e-4)
