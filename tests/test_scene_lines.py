"""First contact along straight lines against closed forms."""

import math

import pytest

from drytouch.sim.errors import InputError
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
)

GANTRY = {"head": (1, 1, 1), "bed": (0, 0, 0)}
DOWN = (0.0, 0.0, -1.0)
ORIGIN = (0.0, 0.0, 0.0)
FLAT_MM = 1e-8  # asked: 1e-5
CURVED_MM = 1e-7  # asked: 1e-4


def two(moving, fixed, at=ORIGIN, turn=ORIGIN, fixed_turn=ORIGIN, soft=False, links=None):
    scene = Scene(Chain(links or GANTRY))
    other = sorted(set(scene.chain.links) - {"head"})[0]
    scene.place(Body("a", "head", (Placed(moving, at, turn, "tip"),)))
    scene.place(Body("b", other, (Placed(fixed, ORIGIN, fixed_turn, "top"),), soft=soft))
    return scene


def only(hits):
    assert len(hits) == 1
    return hits[0]


def cone_lowest(low, high, height, z, rho):
    """Height of a cone's underside at a distance from its axis."""
    bottom = z - height / 2
    return bottom if rho <= low else bottom + (rho - low) / (high - low) * height


VERTICAL = [
    # moving, fixed, shift in x, gap when the moving one stands at z = 50
    pytest.param(Cylinder(5, 20), Cylinder(8, 4), 3.0, 50 - 10 - 2, id="flat tool on flat pad"),
    pytest.param(Cylinder(5, 20), Cylinder(8, 4), 13.0 - 1e-5, 38, id="flat tool at the pad's rim"),
    pytest.param(Cylinder(5, 20), Cylinder(8, 4), 13.0 + 1e-5, None, id="flat tool past the rim"),
    pytest.param(Ring(35, 20, 10), Cylinder(8, 4), 0.0, None, id="pad inside the bore"),
    pytest.param(
        Ring(35, 20, 10), Cylinder(8, 4), 12.0 - 1e-5, None, id="pad just inside the bore"
    ),
    pytest.param(Ring(35, 20, 10), Cylinder(8, 4), 12.0 + 1e-5, 43, id="pad just under the face"),
    pytest.param(Ring(35, 20, 10), Cylinder(8, 4), 43.0 - 1e-5, 43, id="face by its outer rim"),
    pytest.param(Ring(35, 20, 10), Cylinder(8, 4), 43.0 + 1e-5, None, id="pad past the face"),
    pytest.param(Ring(35, 20, 10), Box(20, 20, 4), 0.0, None, id="block inside the bore"),
    pytest.param(Ring(35, 20, 10), Box(40, 10, 4), 0.0, 43, id="block across the bore"),
    pytest.param(Ring(35, 20, 10), Box(6, 8, 4), 13.0 - 1e-5, None, id="corner inside the bore"),
    pytest.param(
        Ring(35, 20, 10),
        Box(6, 8, 4),
        math.sqrt(400 - 16) - 3 + 1e-5,
        43,
        id="block's corner on the face",
    ),
    pytest.param(
        Ring(35, 20, 10),
        Box(6, 8, 4),
        math.sqrt(400 - 16) - 3 - 1e-5,
        None,
        id="block's corner just in the bore",
    ),
    pytest.param(Box(4, 6, 10), Cylinder(8, 4), 9.0, 43, id="lug on round pad"),
    pytest.param(Box(4, 6, 10), Cylinder(8, 4), 10.0 + 1e-5, None, id="lug past round pad"),
    pytest.param(Sphere(5), Cylinder(8, 4), 3.0, 43, id="ball on pad"),
    pytest.param(Sphere(5), Cylinder(8, 4), 11.0, 50 - 2 - 4.0, id="ball on the pad's rim (3-4-5)"),
    pytest.param(Sphere(5), Box(16, 16, 4), 11.0, 50 - 2 - 4.0, id="ball on a block's edge"),
    pytest.param(Sphere(5), Sphere(7), 6.0, 50 - math.sqrt(144 - 36), id="ball on ball"),
    pytest.param(Cone(0, 5, 10), Cylinder(8, 4), 2.0, 43, id="point on pad"),
    pytest.param(
        Cone(0, 5, 10),
        Cylinder(8, 4),
        11.0,
        cone_lowest(0, 5, 10, 50, 3) - 2,
        id="drill's flank on the pad's rim",
    ),
    pytest.param(
        Cone(2, 5, 10),
        Box(16, 16, 4),
        11.0,
        cone_lowest(2, 5, 10, 50, 3) - 2,
        id="countersink's flank on an edge",
    ),
    pytest.param(Cone(5, 2, 10), Cylinder(8, 4), 11.0, 43, id="dovetail on pad"),
]


@pytest.mark.parametrize(("moving", "fixed", "x", "gap"), VERTICAL)
def test_a_touch_from_above_is_where_geometry_says(moving, fixed, x, gap):
    hits = first_contacts(two(moving, fixed, (x, 0.0, 50.0)), ORIGIN, DOWN, 100.0)
    if gap is None:
        assert hits == ()
    else:
        hit = only(hits)
        assert hit.s == pytest.approx(gap, abs=CURVED_MM)
        assert (hit.moving_body, hit.moving_feature) == ("a", "tip")
        assert (hit.other_body, hit.other_feature, hit.soft) == ("b", "top", False)
        assert math.hypot(*hit.normal) == pytest.approx(1.0, abs=1e-12)
        assert hit.normal[2] > 0.0
        assert not hit.graze


@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0, 90.0, 180.0])
def test_a_lug_meets_the_pad_by_its_corner_at_any_spindle_angle(degrees):
    corner = (30.0 + 4.0, 3.0)
    turn = math.radians(degrees)
    x = corner[0] * math.cos(turn) - corner[1] * math.sin(turn)
    y = corner[0] * math.sin(turn) + corner[1] * math.cos(turn)
    for off, meets in ((1e-5, False), (-1e-5, True)):
        scene = Scene(Chain(GANTRY))
        at = (30 * math.cos(turn), 30 * math.sin(turn), 0.0)
        scene.place(Body("a", "head", (Placed(Box(8, 6, 8), at, (0, 0, degrees), "lug"),)))
        away = 1.0 + (5.0 + off) / math.hypot(x, y)
        scene.place(Body("b", "bed", (Placed(Cylinder(5, 4), (x * away, y * away, -50)),)))
        # Outward through the corner the lug's reach ends at the corner itself only when the
        # corner is the furthest point that way, which it is: both edges fall back.
        hits = first_contacts(scene, ORIGIN, DOWN, 100.0)
        assert bool(hits) is meets
        if meets:
            assert hits[0].s == pytest.approx(50 - 4 - 2, abs=FLAT_MM)


@pytest.mark.parametrize("degrees", [0.01, 0.2, 1.0, -0.5])
def test_on_a_tilted_pad_point_and_face_read_differently(degrees):
    tilt, r = math.radians(degrees), 8.0
    top = 2.0 / math.cos(tilt)
    point = two(Cone(0, 5, 10), Cylinder(r, 4), (0, 0, 50), fixed_turn=(0, degrees, 0))
    hit = only(first_contacts(point, ORIGIN, DOWN, 100.0))
    assert hit.s == pytest.approx(45 - top, abs=CURVED_MM)
    assert hit.normal == pytest.approx((math.sin(tilt), 0.0, math.cos(tilt)), abs=1e-9)
    face = two(Cylinder(30, 20), Cylinder(r, 4), (0, 0, 50), fixed_turn=(0, degrees, 0))
    hit = only(first_contacts(face, ORIGIN, DOWN, 100.0))
    rim = 2.0 * math.cos(tilt) + r * abs(math.sin(tilt))
    assert hit.s == pytest.approx(40 - rim, abs=CURVED_MM)
    narrow = two(Cylinder(3, 20), Cylinder(r, 4), (0, 0, 50), fixed_turn=(0, degrees, 0))
    hit = only(first_contacts(narrow, ORIGIN, DOWN, 100.0))
    assert hit.s == pytest.approx(40 - top - 3 * abs(math.tan(tilt)), abs=CURVED_MM)
    ball = two(Sphere(3), Cylinder(r, 4), (0, 0, 50), fixed_turn=(0, degrees, 0))
    hit = only(first_contacts(ball, ORIGIN, DOWN, 100.0))
    assert hit.s == pytest.approx(50 - (2 + 3) / math.cos(tilt), abs=CURVED_MM)


def test_a_ring_on_a_tilted_pad_touches_at_the_highest_point_under_the_face():
    degrees, r = 0.5, 8.0
    tilt = math.radians(degrees)
    # The pad reaches from x = -8 to 8 and falls towards +x. The face covers -9 to 6: the high rim.
    scene = two(Ring(35, 20, 10), Cylinder(r, 4), (26.0, 0, 50), fixed_turn=(0, degrees, 0))
    hit = only(first_contacts(scene, ORIGIN, DOWN, 100.0))
    assert hit.s == pytest.approx(45 - 2 * math.cos(tilt) - r * math.sin(tilt), abs=4e-6)
    # Now the bore covers the high rim.
    scene = two(Ring(35, 20, 10), Cylinder(r, 4), (-16.0, 0, 50), fixed_turn=(0, degrees, 0))
    hit = only(first_contacts(scene, ORIGIN, DOWN, 100.0))
    # Bore centre at -16: the pad is under the face only beyond x = 4 on the axis, falling away;
    # the highest covered points are where bore circle and pad rim cross.
    best = max(
        -r * math.cos(t) * math.sin(tilt)
        for t in [k * 1e-5 for k in range(314160)]
        if math.hypot(r * math.cos(t) * math.cos(tilt) + 16 + 2 * math.sin(tilt), r * math.sin(t))
        >= 20.0
    )
    assert hit.s == pytest.approx(45 - 2 * math.cos(tilt) - best, abs=1e-5)
    # Wholly inside the bore it meets nothing.
    scene = two(Ring(35, 20, 10), Cylinder(r, 4), (5.0, 0, 50), fixed_turn=(0, degrees, 0))
    assert first_contacts(scene, ORIGIN, DOWN, 100.0) == ()


def test_sideways_contacts_of_round_and_square():
    across = (1.0, 0.0, 0.0)
    bar = two(Cylinder(5, 20), Cylinder(8, 20), (-50, 5.0, 0))
    assert only(first_contacts(bar, ORIGIN, across, 100.0)).s == pytest.approx(50 - 12, abs=FLAT_MM)
    block = two(Cylinder(5, 20), Box(10, 10, 20), (-50, 8.0, 0))  # corner 3 from the axis' line
    hit = only(first_contacts(block, ORIGIN, across, 100.0))
    assert hit.s == pytest.approx(50 - 5 - 4, abs=FLAT_MM)
    assert hit.normal == pytest.approx((-0.8, 0.6, 0.0), abs=1e-12)
    assert hit.point == pytest.approx((-5.0, 5.0, 0.0), abs=1e-9)
    turned = two(Box(10, 10, 20), Box(10, 10, 20), (-50, 0, 0), turn=(0, 0, 45))
    assert only(first_contacts(turned, ORIGIN, across, 100.0)).s == pytest.approx(
        50 - 5 - 5 * math.sqrt(2), abs=FLAT_MM
    )


def test_out_of_the_bore_sideways_meets_its_wall():
    scene = two(Ring(35, 20, 10), Cylinder(8, 10), (3, 0, 0))
    hit = only(first_contacts(scene, ORIGIN, (1.0, 0.0, 0.0), 100.0))
    assert hit.s == pytest.approx(12 - 3, abs=FLAT_MM)
    # The wall behind the pad catches up with it: from the pad to that wall is backwards.
    assert hit.normal == pytest.approx((-1.0, 0.0, 0.0), abs=1e-9)
    hit = only(first_contacts(scene, ORIGIN, (0.0, 1.0, 0.0), 100.0))
    assert hit.s == pytest.approx(math.sqrt(144 - 9), abs=FLAT_MM)
    ball = two(Ring(35, 20, 10), Sphere(4), (3, 0, 0))
    hit = only(first_contacts(ball, ORIGIN, (1.0, 0.0, 0.0), 100.0))
    assert hit.s == pytest.approx(16 - 3, abs=2e-5)


def test_the_line_goes_on_past_a_pad_to_the_first_hard_body():
    scene = Scene(Chain(GANTRY))
    scene.place(
        Body(
            "tool",
            "head",
            (
                Placed(Cylinder(3, 40), (0, 0, 20), feature="tip"),
                Placed(Cylinder(10, 20), (0, 0, 50), feature="holder"),
            ),
        )
    )
    scene.place(Body("pad", "bed", (Placed(Cylinder(8, 4), (0, 0, -12), feature="pad"),), True))
    scene.place(Body("setter", "bed", (Placed(Box(40, 40, 10), (0, 0, -25), feature="case"),)))
    scene.place(Body("table", "bed", (Placed(Box(400, 400, 10), (0, 0, -35), feature="table"),)))
    hits = first_contacts(scene, ORIGIN, DOWN, 100.0)
    assert [(h.s, h.moving_feature, h.other_body, h.soft) for h in hits] == [
        (10.0, "tip", "pad", True),
        (20.0, "tip", "setter", False),
    ]
    scene.remove("setter")
    hits = first_contacts(scene, ORIGIN, DOWN, 100.0)
    assert [(h.s, h.other_body) for h in hits] == [(10.0, "pad"), (30.0, "table")]
    scene.remove("table")
    hits = first_contacts(scene, ORIGIN, DOWN, 100.0)
    assert [(h.s, h.moving_feature) for h in hits] == [(10.0, "tip"), (50.0, "holder")]


def test_two_bodies_within_a_touch_are_both_told():
    scene = two(Cylinder(5, 10), Cylinder(8, 4), (0, 0, 50))
    scene.place(Body("c", "bed", (Placed(Box(4, 4, 4), (10, 0, 5e-7)),)))
    scene.place(Body("d", "bed", (Placed(Box(4, 4, 4), (-10, 0, -1e-5)),)))
    scene.move("c", -4, 0, 0)
    scene.move("d", 4, 0, 0)
    hits = first_contacts(scene, ORIGIN, DOWN, 100.0)
    assert [h.other_body for h in hits] == ["c", "b"]
    assert hits[1].s - hits[0].s == pytest.approx(5e-7, abs=1e-9)


PAIRS = [
    pytest.param(Cylinder(5, 20), Box(20, 20, 20), ORIGIN, id="closed form"),
    pytest.param(Box(10, 10, 20), Box(20, 20, 20), ORIGIN, id="blocks"),
    pytest.param(Sphere(10), Box(20, 20, 20), ORIGIN, id="cast"),
    pytest.param(Ring(30, 3, 20), Cylinder(10, 20), ORIGIN, id="ring"),
    pytest.param(Ring(30, 3, 20), Sphere(10), ORIGIN, id="cells"),
    pytest.param(Cone(5, 8, 20), Box(20, 20, 20), ORIGIN, id="cone"),
]


@pytest.mark.parametrize(("moving", "fixed", "turn"), PAIRS)
@pytest.mark.parametrize("off", [0.0, 3e-7, -3e-7])
def test_from_a_touch_pressing_counts_sliding_and_leaving_do_not(moving, fixed, turn, off):
    x = 11.0 if isinstance(moving, Ring) else 0.0
    z = 20.0
    if isinstance(fixed, Sphere):
        z = 10.0 + 10.0
        x = 10.0
    scene = two(moving, fixed, (x, 0, z + off), turn)
    hit = only(first_contacts(scene, ORIGIN, DOWN, 5.0))
    assert (hit.s, hit.graze) == (0.0, False)
    assert first_contacts(scene, ORIGIN, (0.0, 0.0, 1.0), 5.0) == ()
    for way in ((1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.6, 0.0, 0.8)):
        assert first_contacts(scene, ORIGIN, way, 60.0) == ()


def test_pressed_into_a_pad_going_deeper_counts_and_coming_back_does_not():
    for moving in (Cylinder(5, 20), Sphere(10), Ring(30, 3, 20)):
        scene = two(moving, Cylinder(8, 4), (4.0, 0, 12.0 - 0.3), soft=True)
        assert only(first_contacts(scene, ORIGIN, DOWN, 1.0)).s == 0.0
        assert first_contacts(scene, ORIGIN, (0.0, 0.0, 1.0), 50.0) == ()
        assert first_contacts(scene, ORIGIN, (1.0, 0.0, 0.0), 50.0) == ()


@pytest.mark.parametrize("moving", [Box(5, 5, 5), Sphere(3), Cylinder(2, 5), Ring(5, 2, 5)])
@pytest.mark.parametrize("plate", [1e-3, 1e-4])
def test_no_plate_is_too_thin_for_a_long_move(moving, plate):
    for way, size in (((1.0, 0.0, 0.0), (plate, 90, 90)), (DOWN, (90, 90, plate))):
        start = tuple(-4000.0 * c for c in way)
        scene = two(moving, Box(*size), start)
        half = {
            Box: 2.5,
            Sphere: 3.0,
            Cylinder: 2.0 if way[0] else 2.5,
            Ring: 5.0 if way[0] else 2.5,
        }
        hit = only(first_contacts(scene, ORIGIN, way, 8000.0))
        assert hit.s == pytest.approx(4000 - plate / 2 - half[type(moving)], abs=1e-7)
        assert not hit.graze
        slanted = two(moving, Box(*size), start, fixed_turn=(3.0, 4.0, 5.0))
        assert len(first_contacts(slanted, ORIGIN, way, 8000.0)) == 1


def test_a_graze_is_told_and_followed_past():
    way = (1.0, 0.0, 0.0)
    for moving in (Cylinder(5, 20), Sphere(5)):
        for depth, told in ((-1e-4, []), (-3e-7, [True]), (3e-7, [True]), (1e-4, [False])):
            if depth == -3e-7 and isinstance(moving, Sphere):
                continue  # a ball that passes clear by a third of a nanometre may stay untold
            scene = two(moving, Cylinder(8, 20), (-50, 13.0 - depth, 0))
            scene.place(Body("wall", "bed", (Placed(Box(2, 50, 50), (60, 0, 0)),)))
            hits = first_contacts(scene, ORIGIN, way, 200.0)
            grazes = [h.graze for h in hits if h.other_body == "b"]
            assert grazes == told
            assert ("wall" in [h.other_body for h in hits]) is (told != [False])


def test_links_decide_what_moves():
    table = {"head": (0, 0, 1), "bed": (-1, -1, 0)}
    for moving in (Cylinder(5, 20), Sphere(4), Ring(9, 3, 5)):
        gantry = two(moving, Box(20, 10, 30), (-50, 1, 30))
        mill = two(moving, Box(20, 10, 30), (-50, 1, 30), links=table)
        for q in (ORIGIN, (7.0, -2.0, 5.0)):
            for way in ((0.8, 0.0, -0.6), DOWN, (1.0, 0.0, 0.0), (0.96, 0.0, -0.28)):
                ours = first_contacts(mill, q, way, 100.0)
                theirs = first_contacts(gantry, q, way, 100.0)
                assert [h.s for h in ours] == pytest.approx([h.s for h in theirs], abs=1e-9)
                for h, g in zip(ours, theirs, strict=True):
                    assert h.normal == pytest.approx(g.normal, abs=1e-9)
                    # The table has carried the point along: world = gantry's world - q_xy.
                    there = [q[i] + way[i] * h.s for i in range(3)]
                    assert h.point == pytest.approx(
                        (g.point[0] - there[0], g.point[1] - there[1], g.point[2]), abs=1e-6
                    )


def test_bodies_on_one_link_and_ignored_pairs_never_meet():
    scene = two(Cylinder(5, 20), Box(20, 20, 20), (0, 0, 50))
    scene.place(Body("collet", "head", (Placed(Cylinder(6, 20), (0, 0, 50)),)))
    assert {h.moving_body for h in first_contacts(scene, ORIGIN, DOWN, 90.0)} == {"a", "collet"}
    scene.ignore("b", "collet")
    assert [h.moving_body for h in first_contacts(scene, ORIGIN, DOWN, 90.0)] == ["a"]
    assert scene.allowed_pairs() == (("b", "collet"),)


def test_many_bodies_give_what_each_gives_alone():
    scene = Scene(Chain({"head": (0, 0, 1), "table": (-1, -1, 0)}))
    scene.place(Body("tool", "head", (Placed(Cylinder(5, 60), (0, 0, 0)),)))
    posts = {}
    for i in range(100):
        x, y, h = 37.0 * (i % 10), 41.0 * (i // 10), 5.0 + (i * 7) % 60
        post = Body(f"post{i:02}", "table", (Placed(Cylinder(9, h), (x, y, h / 2 - 100)),))
        posts[i] = (x, y, h)
        scene.place(post)
    for i, (x, y, h) in posts.items():
        hit = only(first_contacts(scene, (x + 1, y - 2, 50.0), DOWN, 500.0))
        assert (hit.other_body, hit.s) == (f"post{i:02}", pytest.approx(120 - h + 0, abs=1e-9))


def test_the_cache_answers_the_same_and_knows_a_scene_by_its_content():
    cache = ContactCache(2)
    first, again = (two(Sphere(5), Cylinder(8, 4), (3, 0, 50)) for _ in range(2))
    asked = (ORIGIN, DOWN, 100.0)
    direct = first_contacts(first, *asked)
    assert cache.first_contacts(first, *asked) == direct
    assert first.content_key == again.content_key
    assert cache.first_contacts(again, *asked) is cache.first_contacts(first, *asked)
    assert (cache.found, cache.missed) == (2, 1)
    version = again.version
    again.move("b", 0.0, 0.0, 1.0)
    assert again.version == version + 1
    assert again.content_key != first.content_key
    assert cache.first_contacts(again, *asked) == first_contacts(again, *asked) != direct
    again.move("b", 0.0, 0.0, -1.0)
    assert again.content_key == first.content_key
    for k in range(5):
        cache.first_contacts(first, ORIGIN, DOWN, 10.0 + k)
    cache.first_contacts(first, *asked)
    assert cache.missed == 8


def test_wrong_arguments_are_named():
    scene = two(Sphere(5), Sphere(5))
    with pytest.raises(InputError, match="unit vector"):
        first_contacts(scene, ORIGIN, (1.0, 1.0, 0.0), 5.0)
    with pytest.raises(InputError, match="length"):
        first_contacts(scene, ORIGIN, DOWN, -5.0)
    with pytest.raises(InputError, match="no body 'z'"):
        scene.remove("z")
    with pytest.raises(InputError, match="no link 'tabel'"):
        scene.place(Body("z", "tabel", (Placed(Sphere(1)),)))
    with pytest.raises(InputError, match=r"Ring\.outer_radius"):
        Ring(5, 6, 1)
    with pytest.raises(InputError, match=r"Box\.size_y"):
        Box(1, math.nan, 1)
    with pytest.raises(InputError, match="no parts"):
        Body("z", "bed", ())
    with pytest.raises(InputError, match="three finite numbers"):
        Placed(Sphere(1), (0.0, math.inf, 0.0))
    with pytest.raises(InputError, match="each -1, 0 or 1"):
        Chain({"head": (0, 0, 2)})


def test_a_slanting_line_through_a_crowd_meets_what_it_meets_one_by_one():
    crowd = [
        Body(
            f"c{k:03}",
            "table",
            (Placed((Box(6, 7, 8), Cylinder(4, 9), Sphere(4))[k % 3], spot),),
        )
        for k, spot in enumerate(
            (20.0 * i - 200, 23.0 * j - 200, 5.0 * ((i * 3 + j) % 7))
            for i in range(20)
            for j in range(20)
        )
    ]
    chain = Chain({"head": (1, 0, 1), "table": (0, -1, 0)})
    heads = [Placed(Cylinder(2, 12)), Placed(Box(9, 3, 2), (0, 0, 8))]
    heads += [Placed(Sphere(0.5), (0.1 * k, 0, 12.0), feature=f"s{k}") for k in range(30)]
    scene = Scene(chain)
    scene.place(Body("tool", "head", tuple(heads)))
    for body in crowd:
        scene.place(body)
    lines = [
        ((-300.0, -300.0, 11.0), (0.6, 0.8, 0.0)),
        ((-250.0, 3.0, 60.0), (0.96, 0.0, -0.28)),
        ((4.0, 250.0, 80.0), (0.0, -0.96, -0.28)),
        ((-300.0, -300.0, 300.0), (0.6, 0.48, -0.64)),
    ]
    for q, way in lines:
        together = first_contacts(scene, q, way, 700.0)
        alone = []
        for body in crowd:
            lone = Scene(chain)
            lone.place(Body("tool", "head", tuple(heads)))
            lone.place(body)
            alone += first_contacts(lone, q, way, 700.0)
        first = min(h.s for h in alone if not h.graze)
        assert {h for h in alone if h.s <= first + 1e-6 and not h.graze} == {
            h for h in together if not h.graze
        }


def test_without_the_head_the_link_named_first_moves():
    scene = Scene(Chain({"table": (-1, -1, 0), "arm": (0, 0, 0), "head": (0, 0, 1)}))
    scene.place(Body("vise", "table", (Placed(Box(10, 10, 10)),)))
    scene.place(Body("probe arm", "arm", (Placed(Box(10, 10, 10), (30, 0, 0)),)))
    (hit,) = first_contacts(scene, ORIGIN, (-1.0, 0.0, 0.0), 50.0)
    assert (hit.moving_body, hit.other_body, hit.s) == ("probe arm", "vise", 20.0)
    assert hit.normal == (1.0, 0.0, 0.0)
    assert hit.point == pytest.approx((25.0, 0.0, 0.0))


def test_a_copy_of_a_scene_goes_its_own_way():
    scene = two(Cylinder(5, 20), Cylinder(8, 4), (0, 0, 50))
    other = scene.copy()
    key = scene.content_key
    assert other.content_key == key
    other.move("b", 0, 0, 1)
    other.ignore("a", "c")
    assert scene.content_key == key != other.content_key
    assert [h.s for h in first_contacts(scene, ORIGIN, DOWN, 90.0)] == [38.0]
    assert [h.s for h in first_contacts(other, ORIGIN, DOWN, 90.0)] == [37.0]
    assert "b" in other
    other.remove("b")
    assert "b" in scene
    assert [body.id for body in scene.bodies] == ["a", "b"]
