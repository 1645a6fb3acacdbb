"""Meshes from STL files: read, refused with a reason, and met like the solids they stand for."""

import math
import struct

import numpy as np
import pytest
import trimesh

from drytouch.sim.errors import InputError
from drytouch.sim.scene import (
    Body,
    Box,
    Chain,
    Cylinder,
    Mesh,
    Placed,
    Ring,
    Scene,
    Sphere,
    bounds,
    first_contacts,
    first_contacts_arc,
    read_stl,
    surface,
)

ORIGIN = (0.0, 0.0, 0.0)
DOWN = (0.0, 0.0, -1.0)


def binary(corners, count=None):
    data = bytes(80) + struct.pack("<I", len(corners) if count is None else count)
    for triangle in corners:
        data += struct.pack("<12fH", 0, 0, 0, *np.ravel(triangle), 0)
    return data


def ascii_text(corners):
    lines = ["solid part"]
    for triangle in corners:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += [f"vertex {x!r} {y!r} {z!r}" for x, y, z in np.asarray(triangle).tolist()]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, "endsolid part"]).encode()


def corners_of(shape, sides=48):
    points, triangles = surface(shape, sides)
    return points[triangles]


def mesh_of(shape, sides=48):
    points, triangles = surface(shape, sides)
    return Mesh(tuple(map(tuple, points.tolist())), tuple(map(tuple, triangles.tolist())))


@pytest.fixture
def write(tmp_path):
    def to_file(data):
        path = tmp_path / "part.stl"
        path.write_bytes(data)
        return path

    return to_file


@pytest.mark.parametrize("shape", [Box(10, 20, 30), Ring(20, 10, 5), Cylinder(4, 9), Sphere(8)])
def test_surfaces_are_closed_and_look_outwards(shape):
    points, triangles = surface(shape, 360)
    solid = trimesh.Trimesh(points, triangles, process=False)
    assert solid.is_watertight
    assert solid.is_winding_consistent
    volume = {
        Box: lambda s: s.size_x * s.size_y * s.size_z,
        Ring: lambda s: math.pi * (s.outer_radius**2 - s.inner_radius**2) * s.height,
        Cylinder: lambda s: math.pi * s.radius**2 * s.height,
        Sphere: lambda s: 4 / 3 * math.pi * s.radius**3,
    }[type(shape)](shape)
    assert solid.volume == pytest.approx(volume, rel=2e-4)


@pytest.mark.parametrize("writer", [binary, ascii_text])
@pytest.mark.parametrize(("units", "scale"), [("mm", 1.0), ("inch", 25.4)])
def test_both_forms_read_alike_in_both_units(write, writer, units, scale):
    mesh = read_stl(write(writer(corners_of(Box(10, 20, 30)))), units)
    assert (len(mesh.vertices), len(mesh.triangles)) == (8, 12)
    low, high = bounds(Body("a", "head", (Placed(mesh),)))
    assert low == pytest.approx((-5 * scale, -10 * scale, -15 * scale), rel=1e-7)
    assert high == pytest.approx((5 * scale, 10 * scale, 15 * scale), rel=1e-7)


def test_another_library_writes_what_we_read(write, tmp_path):
    solid = trimesh.creation.annulus(5, 12, 8)
    for form in ("stl", "stl_ascii"):
        solid.export(tmp_path / "ring.stl", file_type=form)
        mesh = read_stl(tmp_path / "ring.stl", "mm")
        again = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
        assert again.is_watertight
        assert again.volume == pytest.approx(solid.volume, rel=1e-5)


def test_an_inside_out_file_is_turned_right(write):
    mesh = read_stl(write(binary(corners_of(Box(10, 20, 30))[:, ::-1])), "mm")
    solid = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    assert solid.volume == pytest.approx(6000)


def refusal(path, units="mm"):
    with pytest.raises(InputError) as caught:
        read_stl(path, units)
    error = caught.value
    assert error.file == str(path)
    assert error.fix
    assert str(type(error)(*error.args)) == str(error)
    return str(error)


def test_bad_files_are_refused_with_file_reason_and_fix(write, tmp_path):
    good = corners_of(Box(10, 20, 30))
    path = write(binary(good))
    assert "length unit is not stated" in refusal(path, "")
    assert "length unit is 'cm'" in refusal(path, "cm")
    assert "No such file" in refusal(tmp_path / "none.stl")
    assert "the file is empty" in refusal(write(b""))
    assert "30 bytes are no STL" in refusal(write(b"x" * 30))
    assert "the file is no STL" in refusal(write(bytes(range(1, 251)) * 4))
    assert "announces 12 triangles and holds 11" in refusal(write(binary(good[:-1], 12)))
    assert "announces 12 triangles and holds 10" in refusal(write(binary(good)[:-60]))
    text = ascii_text(good)
    assert "cut short" in refusal(write(text[: text.rindex(b"endloop")]))
    assert "cut short" in refusal(write(text[: text.rindex(b"endsolid")]))
    assert "part.stl:4: expected 'vertex' and three numbers" in refusal(
        write(ascii_text(good).replace(b"vertex -5.0", b"vertex five", 1))
    )
    assert "no triangles" in refusal(write(binary([])))
    assert "no triangles" in refusal(write(b"solid nothing" + b"\n" * 90 + b"endsolid nothing"))


def test_an_open_surface_says_how_many_edges_are_open(write):
    good = corners_of(Box(10, 20, 30))
    assert "3 of its edges" in refusal(write(binary(good[1:])))
    assert "4 of its edges" in refusal(write(binary(good[2:])))
    flipped = np.array(good)
    flipped[0] = flipped[0][::-1]
    assert "is not closed" in refusal(write(binary(flipped)))


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("writer", [binary, ascii_text])
def test_corners_that_are_no_numbers_are_refused(write, writer, bad):
    corners = np.array(corners_of(Box(10, 20, 30)))
    corners[3, 1, 2] = bad
    assert "1 of 12 triangles" in refusal(write(writer(corners)))


def test_a_doubtful_size_asks_for_the_unit(write):
    text = refusal(write(binary(corners_of(Box(0.5, 0.6, 0.7)))))
    assert "0.5 x 0.6 x 0.7 mm" in text
    assert "is it drawn in inch?" in text
    assert "is it drawn in mm?" in refusal(write(binary(corners_of(Box(300, 100, 100)))), "inch")


def test_a_million_triangles_are_refused_before_they_are_read(tmp_path, monkeypatch):
    path = tmp_path / "huge.stl"
    with path.open("wb") as stream:
        stream.write(bytes(80) + struct.pack("<I", 1_000_000))
        stream.truncate(84 + 50 * 1_000_000)

    def never(*_):
        raise AssertionError("the triangles were read")

    monkeypatch.setattr("drytouch.sim.scene.mesh._binary", never)
    assert "1000000 triangles; expected at most 200000" in refusal(path)
    with path.open("wb") as stream:
        stream.write(b"solid huge" + b" " * 100)
        stream.truncate(1_000_000_000)
    monkeypatch.setattr("drytouch.sim.scene.mesh._vertex", never)
    assert "expected at most 200000" in refusal(path)


def two(moving, fixed, at, turn=ORIGIN):
    scene = Scene(Chain({"head": (1, 1, 1), "bed": (0, 0, 0)}))
    scene.place(Body("a", "head", (Placed(moving, at),)))
    scene.place(Body("b", "bed", (Placed(fixed, ORIGIN, turn),)))
    return scene


MOVING = [Cylinder(5, 20), Sphere(5), Box(4, 5, 6), Ring(9, 6, 4)]
LINES = [
    ((0, 0, 50), DOWN),
    ((15, 0, 50), DOWN),
    ((3, 4, 0), (1.0, 0.0, 0.0)),
    ((-60, 3, 0), (1.0, 0.0, 0.0)),
    ((-48, 0, 62), (0.6, 0.0, -0.8)),
]


@pytest.mark.parametrize("moving", MOVING)
@pytest.mark.parametrize(("at", "way"), LINES)
@pytest.mark.parametrize("turn", [ORIGIN, (0.0, 2.0, 0.0)])
def test_a_hollow_mesh_is_met_like_the_ring_that_it_draws(moving, at, way, turn):
    ring = Ring(25, 12, 8)
    if isinstance(moving, Ring) and way[0] == 1.0 and at[0] == 3:
        at = (3, 0, 0)
    true = first_contacts(two(moving, ring, at, turn), ORIGIN, way, 100.0)
    mesh = first_contacts(two(moving, mesh_of(ring, 2000), at, turn), ORIGIN, way, 100.0)
    assert len(true) == len(mesh)
    for t, m in zip(true, mesh, strict=True):
        # 2000 sides: the surface is drawn up to 31 nm inside the true one.
        assert m.s == pytest.approx(t.s, abs=2e-4)


def test_sliding_on_a_mesh_and_leaving_it_are_no_contacts():
    scene = two(Cylinder(5, 20), mesh_of(Ring(25, 12, 8)), (18, 0, 14))
    assert [h.s for h in first_contacts(scene, ORIGIN, DOWN, 5.0)] == [0.0]
    for way in ((1.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)):
        assert first_contacts(scene, ORIGIN, way, 50.0) == ()
    pressed = two(Cylinder(5, 20), mesh_of(Ring(25, 12, 8)), (18, 0, 13.99))
    assert [h.s for h in first_contacts(pressed, ORIGIN, DOWN, 5.0)] == [0.0]
    assert first_contacts(pressed, ORIGIN, (0.0, 0.0, 1.0), 50.0) == ()


def test_mesh_meets_mesh_and_arcs_meet_meshes():
    ring = mesh_of(Ring(25, 12, 8))
    scene = two(ring, ring, (20, 0, 50))
    (hit,) = first_contacts(scene, ORIGIN, DOWN, 100.0)
    assert hit.s == pytest.approx(42, abs=1e-6)
    scene = two(Cylinder(5, 6), mesh_of(Ring(25, 12, 8), 720), ORIGIN)
    (hit,) = first_contacts_arc(scene, ORIGIN, (-10, 0, 0), 10.0, 0.0, math.pi)
    assert hit.s == pytest.approx(10 * 2 * math.asin(7 / 20), abs=1e-3)


def test_equal_meshes_are_one_and_a_moved_corner_is_another():
    one, same = mesh_of(Ring(25, 12, 8)), mesh_of(Ring(25, 12, 8))
    assert one == same
    assert hash(one) == hash(same)
    assert one.digest == same.digest != mesh_of(Ring(25, 12, 8.5)).digest
    with pytest.raises(InputError, match="expected 4 or more"):
        Mesh(((0, 0, 0), (1, 0, 0), (0, 1, 0)), ((0, 1, 2),))


def test_a_wedge_of_triangles_slides_and_presses_like_any_solid():
    points = ((0, 0, 0), (10, 0, 0), (0, 10, 0), (0, 0, 10))
    wedge = Mesh(
        tuple(tuple(float(c) for c in p) for p in points),
        ((0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)),
    )
    # A ball that touches the slanted face, square to it and from both sides of the question.
    out = 1 / math.sqrt(3)
    at = tuple(10 / 3 + 4 * out for _ in range(3))
    along = (math.sqrt(0.5), -math.sqrt(0.5), 0.0)
    for scene, sign in (
        (two(Sphere(4), wedge, at), 1.0),
        (two(wedge, Sphere(4), tuple(-c for c in at)), -1.0),
    ):
        into = (-sign * out, -sign * out, -sign * out)
        assert [h.s for h in first_contacts(scene, ORIGIN, into, 3.0)] == [0.0]
        assert first_contacts(scene, ORIGIN, tuple(-c for c in into), 3.0) == ()
        assert first_contacts(scene, ORIGIN, along, 30.0) == ()
        away = tuple(-20.0 * c for c in into)
        (hit,) = first_contacts(scene, away, into, 30.0)
        assert hit.s == pytest.approx(20.0, abs=1e-7)
        assert hit.normal == pytest.approx(tuple(-c for c in into), abs=1e-6)


def test_a_line_of_no_length_meets_nothing():
    scene = two(Sphere(4), Sphere(4), (0, 0, 8))
    assert first_contacts(scene, ORIGIN, DOWN, 0.0) == ()
    assert len(first_contacts(scene, ORIGIN, DOWN, 1e-3)) == 1
