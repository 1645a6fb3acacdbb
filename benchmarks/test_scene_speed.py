"""How long first contact takes: touches and traverses among 10, 100 and 1000 bodies."""

import itertools

import pytest

from drytouch.sim.scene import (
    Body,
    Box,
    Chain,
    Cone,
    ContactCache,
    Cylinder,
    Placed,
    Ring,
    Scene,
    Sphere,
    first_contacts,
    first_contacts_arc,
)


def shop(count):
    """A table-moving mill with a spindle, a tool, a setter and ``count`` bodies in all."""
    scene = Scene(Chain({"head": (0, 0, 1), "table": (-1, -1, 0), "base": (0, 0, 0)}))
    lugs = tuple(Placed(Box(15, 12, 8), (x, 0, -4), feature="lug") for x in (-38, 38))
    scene.place(Body("spindle", "head", (Placed(Ring(44, 22, 40), (0, 0, 20)), *lugs)))
    tool = (Placed(Cylinder(6, 60), (0, 0, -30)), Placed(Cone(0, 6, 4), (0, 0, -62)))
    scene.place(Body("tool", "head", tool))
    scene.place(Body("pad", "table", (Placed(Cylinder(10, 4), (0, 0, -302)),), soft=True))
    scene.place(Body("setter", "table", (Placed(Box(40, 40, 90), (0, 0, -349)),)))
    scene.place(Body("table", "table", (Placed(Box(2000, 2000, 50), (0, 0, -419)),)))
    side = max(2, round((count - 5) ** 0.5) + 1)
    grid = itertools.product(range(side), range(side))
    for k, (i, j) in zip(range(count - 5), grid, strict=False):
        at = (60.0 + 1800 / side * i - 900, 60.0 + 1800 / side * j - 900, -380.0)
        shape = (Box(20, 20, 30), Cylinder(10, 30), Sphere(12))[k % 3]
        scene.place(Body(f"clamp{k:04}", "table", (Placed(shape, at),)))
    return scene


DOWN = (0.0, 0.0, -1.0)
QUESTIONS = [
    ((0.0, 0.0, 0.0), DOWN, 400.0),
    ((4.0, 3.0, -100.0), DOWN, 300.0),
    ((200.0, 100.0, 0.0), DOWN, 400.0),
    ((-300.0, 0.0, -50.0), (1.0, 0.0, 0.0), 600.0),
    ((-300.0, -300.0, -310.0), (0.6, 0.8, 0.0), 600.0),
    ((0.0, 0.0, -230.0), (0.0, 0.0, 1.0), 200.0),
]


@pytest.mark.parametrize("count", [10, 100, 1000])
def test_first_contact_among_bodies(benchmark, count):
    scene = shop(count)

    def ask():
        for q, way, length in QUESTIONS:
            first_contacts(scene, q, way, length)

    benchmark.extra_info["questions"] = len(QUESTIONS)
    benchmark(ask)


def test_touch_from_above(benchmark):
    scene = shop(100)
    assert benchmark(first_contacts, scene, (0.0, 0.0, 0.0), DOWN, 400.0)


def test_first_contact_from_memory(benchmark):
    scene, cache = shop(100), ContactCache()
    assert benchmark(cache.first_contacts, scene, (0.0, 0.0, 0.0), DOWN, 400.0)


def test_arc(benchmark):
    scene = shop(100)
    q = (20.0, 0.0, -100.0)
    benchmark(first_contacts_arc, scene, q, (0.0, 0.0, 0.0), 20.0, 0.0, 6.283, "xy", -2.0)


def test_a_setter_that_moves(benchmark):
    scene = shop(1000)

    def shift():
        scene.move("setter", 0.01, 0.0, 0.0)
        return scene.content_key, scene.links()

    benchmark(shift)
