"""Every part of the library loads, is what its name says, and fits its machine."""

from itertools import product

import pytest

from drytouch.sim.errors import InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.geometry import chain_of, machine_bodies, spindle_body
from drytouch.sim.scenario.load import MODELS, load_part
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scene import Body, Vector
from drytouch.sim.scene.pieces import prepare

PARTS = [(kind, name) for kind in MODELS for name in library.names(kind)]


@pytest.mark.parametrize(("kind", "name"), PARTS)
def test_each_part_loads_and_bears_its_file_s_name(kind: str, name: str) -> None:
    part = load_part(kind, name)
    assert part.name == name
    assert library.path(kind, name).stem == name
    assert load_part(kind, name) is part  # read once a process
    if kind in ("machine", "setter", "tool"):
        assert part.title
        assert part.source.startswith("invented for drytouch")


def test_the_library_holds_what_the_work_needs() -> None:
    assert library.names("machine") == (
        "bed-mill",
        "gantry-router",
        "large-centre",
        "machining-centre",
    )
    assert {"bolted-nc", "magnetic-no", "loose-no", "wireless-nc", "plate"} <= set(
        library.names("setter")
    )
    assert len(library.names("tool")) >= 12


def test_names_are_unique_among_stock_and_fixtures() -> None:
    stems = [
        file.stem
        for folder in library.FOLDERS["stock"]
        for file in (library.root() / folder).glob("*.toml")
    ]
    assert sorted(stems) == list(library.names("stock"))


def test_unknown_kinds_and_names_name_the_choices() -> None:
    with pytest.raises(InputError) as caught:
        library.path("setter", "bolted-cn")
    assert caught.value.message == "the library has no setter 'bolted-cn'"
    assert caught.value.fix == "did you mean 'bolted-nc'?"
    with pytest.raises(InputError, match="unknown kind of part 'lathe'"):
        library.names("lathe")


def corners(machine: Machine) -> list[Vector]:
    x, y, z = (
        (axis.min_mm - axis.hard_margin_mm, axis.max_mm + axis.hard_margin_mm)
        for axis in (machine.axes.x, machine.axes.y, machine.axes.z)
    )
    return list(product(x, y, z))


def apart(a: Body, b: Body, shift: Vector) -> bool:
    """Whether their boxes are apart with ``a`` moved by ``shift``."""
    return all(
        any(p.low[i] + shift[i] >= q.high[i] or p.high[i] + shift[i] <= q.low[i] for i in range(3))
        for p in prepare(a)
        for q in prepare(b)
    )


@pytest.mark.parametrize("name", library.names("machine"))
def test_a_machine_never_runs_into_itself_above_its_table(name: str) -> None:
    machine = load_part("machine", name)
    chain = chain_of(machine)
    table, *rest = machine_bodies(machine)
    moving = [table, spindle_body(machine)]
    for q in corners(machine):
        for mover, other in product(moving, rest):
            one, two = chain.displacement(mover.link, q), chain.displacement(other.link, q)
            shift = (one[0] - two[0], one[1] - two[1], one[2] - two[2])
            assert apart(mover, other, shift), (mover.id, other.id, q)


@pytest.mark.parametrize(
    ("machine", "setter", "reached"),
    [
        ("bed-mill", "bolted-nc", True),
        ("machining-centre", "bolted-nc", True),
        ("large-centre", "bolted-nc", False),
        ("large-centre", "wireless-nc", False),
        ("gantry-router", "bolted-nc", True),
        ("gantry-router", "plate", True),
    ],
)
def test_where_the_bare_face_reaches_the_pad(machine: str, setter: str, reached: bool) -> None:
    mill = load_part("machine", machine)
    pad = mill.table.top_z_mm + load_part("setter", setter).pad_height_mm
    # To the trip, and the overtravel behind it.
    assert (pad - 6.5 >= mill.axes.z.min_mm) is reached


def test_the_master_tool_reaches_where_the_face_does_not() -> None:
    mill = load_part("machine", "large-centre")
    trip = mill.table.top_z_mm + load_part("setter", "bolted-nc").pad_height_mm
    master = load_part("tool", "master-tool")
    assert trip + master.true_length_mm > mill.axes.z.min_mm + 6.5
    assert master.true_length_mm == pytest.approx(master.certified_length_mm, abs=1e-9)


def test_what_tells_the_machines_apart() -> None:
    mill = load_part("machine", "bed-mill")
    assert (mill.servo.drive, mill.absolute_encoders, mill.spindle.lugs) == ("stepper", False, ())
    assert (mill.emergency_stop.category, mill.emergency_stop.keeps_reference) == (0, False)
    centre = load_part("machine", "machining-centre")
    assert (centre.absolute_encoders, len(centre.spindle.lugs)) == (True, 2)
    assert centre.tool_change.by == "arm"
    assert load_part("machine", "gantry-router").links["gantry"] == {"y": 1}


def test_the_face_mills_miss_the_middle_of_a_small_pad() -> None:
    mill = load_part("tool", "face-mill-80")
    inner = mill.inserts.circle_diameter_mm / 2 - mill.inserts.edge_width_mm
    assert inner > load_part("setter", "bolted-nc").pad_diameter_mm / 2


def test_a_bare_face_centred_on_a_small_pad_meets_nothing() -> None:
    bore = load_part("machine", "machining-centre").spindle.bore_diameter_mm
    assert bore > load_part("setter", "bolted-nc").pad_diameter_mm


def test_the_tiny_mill_bears_less_than_the_stiffest_pad_presses() -> None:
    setter, mill = load_part("setter", "bolted-nc"), load_part("tool", "end-mill-1")
    pressed = setter.preload_N + setter.rate_N_per_mm * (
        setter.pre_travel_mm + setter.overtravel_mm
    )
    assert setter.preload_N < mill.force_limit_N < pressed


def test_the_inch_set_is_written_in_inch() -> None:
    assert load_part("tool", "end-mill-half-inch").true_length_mm == pytest.approx(
        5.125 * 25.4, abs=1e-9
    )
    assert load_part("setter", "bolted-inch").pad_height_mm == pytest.approx(63.5, abs=1e-12)
    assert load_part("block", "block-2-inch").true_size_mm == pytest.approx(50.8, abs=1e-12)
