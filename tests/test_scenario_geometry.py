"""Bodies from the models: heights and places against figures worked out by hand."""

import math
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from drytouch.sim.errors import InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.geometry import (
    block_body,
    chain_of,
    machine_bodies,
    setter_bodies,
    solid,
    spindle_body,
    stock_body,
    tool_body,
)
from drytouch.sim.scenario.load import load_part, scenario_from_dict
from drytouch.sim.scenario.overlap import overlapping
from drytouch.sim.scenario.places import (
    height_of,
    item_bodies,
    resolve_placements,
    start_position,
    top_of,
)
from drytouch.sim.scenario.scenario import Block, Placement, Scenario
from drytouch.sim.scenario.shapes import SolidPart
from drytouch.sim.scenario.tool import Tool
from drytouch.sim.scene import Body, Box, Cone, Cylinder, Ring, Scene, Sphere, first_contacts
from drytouch.sim.scene.pieces import prepare

ZERO = (0.0, 0.0, 0.0)


def lowest(body: Body) -> float:
    return min(piece.low[2] for piece in prepare(body))


def highest(body: Body) -> float:
    return max(piece.high[2] for piece in prepare(body))


def part(body: Body, feature: str) -> Any:
    return next(p for p in body.parts if p.feature == feature)


@pytest.mark.parametrize("name", library.names("tool"))
@pytest.mark.parametrize("state", [(0.0, 0.0), (1.25, 0.0), (-1.25, 0.0), (0.0, 0.3), (0.7, 0.2)])
def test_the_lowest_point_of_each_tool_is_its_true_length(
    name: str, state: tuple[float, float]
) -> None:
    tool = load_part("tool", name)
    tool = tool.model_copy(update={"pulled_out_mm": state[0], "worn_mm": state[1]})
    body = tool_body(tool)
    assert lowest(body) == pytest.approx(-tool.true_length_mm, abs=1e-9)
    assert tool.true_length_mm == pytest.approx(
        sum(s.height_mm for s in tool.stack)
        + (tool.inserts.depth_mm if tool.inserts else 0)
        + state[0]
        - state[1],
        abs=1e-9,
    )


SEGMENT = st.one_of(
    st.builds(
        lambda d, h, p: {"diameter_mm": d, "length_mm": h, "part": p},
        st.floats(0.5, 60),
        st.floats(0.5, 80),
        st.sampled_from(["holder", "shank", "cutting"]),
    ),
    st.builds(
        lambda d, e, h: {"shape": "cone", "diameter_mm": d, "end_diameter_mm": e, "length_mm": h},
        st.floats(0.5, 60),
        st.floats(0, 60),
        st.floats(0.5, 80),
    ),
)


@example(
    stack=[
        {"diameter_mm": 1.0, "length_mm": 2.0, "part": "holder"},
        {"shape": "cone", "diameter_mm": 1.0, "end_diameter_mm": 0.0, "length_mm": 1.0},
    ],
    ball=False,
    pulled=1.0,
    worn_share=0.5,
)
@given(
    st.lists(SEGMENT, min_size=1, max_size=5),
    st.booleans(),
    st.floats(-0.4, 5),
    st.floats(0, 0.95),
)
def test_any_stack_ends_at_its_true_length(
    stack: list[dict[str, Any]], ball: bool, pulled: float, worn_share: float
) -> None:
    if ball:
        stack = [*stack, {"shape": "ball", "diameter_mm": 4, "part": "cutting"}]
    length = Tool.model_validate({"stack": stack}).nominal_length_mm
    tool = Tool.model_validate(
        {"stack": stack, "pulled_out_mm": pulled, "worn_mm": worn_share * (length - 0.4)}
    )
    assert lowest(tool_body(tool)) == pytest.approx(-tool.true_length_mm, abs=1e-9)


def test_the_features_of_a_stack() -> None:
    names = [p.feature for p in tool_body(load_part("tool", "ball-mill-6")).parts]
    assert names == ["holder", "holder", "shank", "cutting", "tip"]
    body = tool_body(load_part("tool", "ball-mill-6"))
    assert part(body, "tip").shape == Sphere(3.0)
    assert part(body, "tip").at == (0.0, 0.0, -92.0)
    drill = tool_body(load_part("tool", "drill-8"))
    assert part(drill, "tip").shape == Cone(0.0, 4.0, 2.403)


def test_a_worn_point_ends_in_a_flat_and_a_broken_one_loses_segments() -> None:
    drill = load_part("tool", "drill-8")
    worn = tool_body(drill.model_copy(update={"worn_mm": 0.8}))
    # The point narrows by 4 mm of radius over 2.403 mm.
    cone = part(worn, "tip").shape
    assert cone.radius_bottom == pytest.approx(4 * 0.8 / 2.403, abs=1e-9)
    broken = tool_body(drill.model_copy(update={"worn_mm": 40.0}))
    assert [p.feature for p in broken.parts] == ["holder", "shank", "tip"]
    assert isinstance(broken.parts[-1].shape, Cylinder)


def test_a_slipped_tool_shows_more_shank_and_its_holder_stays() -> None:
    sound = tool_body(load_part("tool", "end-mill-6"))
    tool = load_part("tool", "end-mill-6").model_copy(update={"pulled_out_mm": 2.0})
    slipped = tool_body(tool)
    assert slipped.parts[:2] == sound.parts[:2]
    assert part(slipped, "shank").shape == Cylinder(3.0, 19.0)
    assert part(slipped, "tip").shape == part(sound, "tip").shape
    assert part(slipped, "tip").at[2] == part(sound, "tip").at[2] - 2.0


@pytest.mark.parametrize("angle", [0.0, 17.0, 90.0, 213.0])
def test_each_insert_stands_at_its_own_height_angle_and_circle(angle: float) -> None:
    tool = load_part("tool", "face-mill-80")
    body = tool_body(tool, angle)
    assert tool.inserts is not None
    for index, error_um in enumerate(tool.inserts.axial_errors_um):
        edge = part(body, f"edge {index + 1}")
        piece = next(p for p in prepare(body) if p.feature == f"edge {index + 1}")
        assert piece.low[2] == pytest.approx(-85.0 - error_um * 1e-3, abs=1e-9)
        assert piece.high[2] == pytest.approx(-79.0, abs=1e-9)
        turned = math.degrees(math.atan2(edge.at[1], edge.at[0]))
        assert (turned - angle - index * 60) % 360 == pytest.approx(0, abs=1e-9) or (
            turned - angle - index * 60
        ) % 360 == pytest.approx(360, abs=1e-9)
        # The outer corners lie on the circle.
        out = math.hypot(edge.at[0], edge.at[1]) + 4.0
        assert math.hypot(out, 2.0) == pytest.approx(40.0, abs=1e-9)
    # Nothing but the body, 6 mm higher, within the inner ends of the edges.
    assert part(body, "holder").shape == Cylinder(31.5, 35.0)


def test_the_spindle_face_is_at_the_origin_and_its_lugs_stand_proud() -> None:
    machine = load_part("machine", "machining-centre")
    body = spindle_body(machine, 30.0)
    assert body.link == "head"
    face = part(body, "face")
    assert face.shape == Ring(44.45, 22.225, 2.0)
    assert face.at[2] - face.shape.height / 2 == 0.0
    pieces = [p for p in prepare(body) if p.feature == "lug"]
    assert [(p.low[2], p.high[2]) for p in pieces] == [(-8.0, 0.0), (-8.0, 0.0)]
    for placed, angle in zip([p for p in body.parts if p.feature == "lug"], (30, 210), strict=True):
        assert placed.shape == Box(15.0, 15.9, 8.0)
        assert placed.at[0] == pytest.approx(32.5 * math.cos(math.radians(angle)), abs=1e-12)
        assert placed.at[1] == pytest.approx(32.5 * math.sin(math.radians(angle)), abs=1e-12)
    assert highest(body) == 120.0 + 450.0
    assert lowest(spindle_body(load_part("machine", "bed-mill"))) == 0.0


def test_quarter_turns_leave_lugs_square() -> None:
    body = spindle_body(load_part("machine", "machining-centre"), 90.0)
    piece = next(p for p in prepare(body) if p.feature == "lug")
    assert (piece.low[0], piece.high[0]) == (-7.95, 7.95)
    assert (piece.low[1], piece.high[1]) == (25.0, 40.0)


def test_a_setter_is_a_hard_base_and_a_soft_pad() -> None:
    setter = load_part("setter", "bolted-nc")
    base, pad = setter_bodies("main", setter, (10.0, 20.0, -470.0))
    assert (base.id, base.soft, pad.id, pad.soft) == ("main", False, "main.pad", True)
    assert (base.parts[0].feature, pad.parts[0].feature) == ("body", "pad")
    assert (lowest(base), highest(base)) == (-470.0, -420.0)
    assert (lowest(pad), highest(pad)) == (-420.0, -410.0)
    assert pad.parts[0].shape == Cylinder(20.0, 10.0)


def test_a_setter_with_a_centre_screw_has_a_ring_and_a_hard_bolt_below_it() -> None:
    setter = load_part("setter", "bolted-ring-nc")
    base, pad = setter_bodies("s", setter, ZERO)
    assert pad.parts[0].shape == Ring(32.0, 8.0, 9.0)
    bolt = next(p for p in prepare(base) if p.feature == "bolt")
    assert bolt.high[2] == 59.0
    assert bolt.high[0] < 8.0


def test_a_plate_is_one_soft_pad_from_foot_to_top() -> None:
    (pad,) = setter_bodies("p", load_part("setter", "plate"), ZERO)
    assert (pad.id, pad.soft, lowest(pad), highest(pad)) == ("p.pad", True, 0.0, 12.0)


@given(st.floats(-5, 5), st.floats(0, 360), st.floats(-180, 180), st.floats(0, 360))
def test_a_tilted_pad_keeps_its_height_in_the_middle_and_tilts_by_its_angle(
    tilt: float, axis: float, turn: float, around: float
) -> None:
    setter = load_part("setter", "bolted-nc").model_copy(
        update={"tilt_deg": tilt, "tilt_axis_deg": axis}
    )
    pad = setter_bodies("s", setter, ZERO, turn)[1]
    (piece,) = prepare(pad)
    # A plane through the middle of the top, turned about the axis: its rim is highest 90 degrees
    # counter-clockwise from the axis, by radius * sin(tilt).
    assert piece.high[2] == pytest.approx(60 + 20 * abs(math.sin(math.radians(tilt))), abs=1e-9)
    angle = math.radians(axis + turn + 90)
    normal = (
        -math.sin(math.radians(tilt)) * math.cos(angle),
        -math.sin(math.radians(tilt)) * math.sin(angle),
        math.cos(math.radians(tilt)),
    )
    top = piece.support(*normal)
    assert sum(n * (t - m) for n, t, m in zip(normal, top, (0, 0, 60), strict=True)) == (
        pytest.approx(0, abs=1e-9)
    )


def test_a_vertical_touch_meets_the_pad_at_its_height() -> None:
    scenario = scene_of_two_setters()
    machine = scenario.machine
    scene = Scene(chain_of(machine))
    scene.place(tool_body(load_part("tool", "end-mill-10")))
    for item, place in resolve_placements(scenario).items():
        for body in item_bodies(scenario, item, place):
            scene.place(body)
    hits = first_contacts(scene, (-350.0, -175.0, 0.0), (0.0, 0.0, -1.0), 450.0)
    # Pad on stock on the table: -470 + 40 + 60, and the tool is 120 mm long.
    assert (hits[0].moving_feature, hits[0].other_body, hits[0].soft) == ("tip", "top.pad", True)
    assert hits[0].s == pytest.approx(370.0 - 120.0, abs=1e-8)


def scene_of_two_setters() -> Scenario:
    return scenario_from_dict(
        {
            "machine": "bed-mill",
            "setter": {"top": "bolted-nc", "low": "loose-no"},
            "stock": ["aluminium-block", "vise"],
            "blocks": {"b": {"size_mm": 50, "error_um": -8}},
            "placements": {
                # Listed before what it stands on: the order of a file must not matter.
                "top": {"on": "aluminium-block", "x_mm": -350, "y_mm": -175},
                "low": {"x_mm": 50, "y_mm": -175, "lift_um": 30},
                "aluminium-block": {"x_mm": -350, "y_mm": -175, "turn_deg": 90},
                "b": {"on": "low", "x_mm": 50, "y_mm": -175},
                "vise": {"x_mm": -600, "y_mm": -175},
            },
        }
    )


def test_supports_stack_from_the_table_up() -> None:
    scenario = scene_of_two_setters()
    assert top_of(scenario, "table") == -470.0
    assert top_of(scenario, "aluminium-block") == -430.0
    assert top_of(scenario, "top") == -370.0
    assert top_of(scenario, "low") == pytest.approx(-419.97, abs=1e-9)
    assert top_of(scenario, "b") == pytest.approx(-419.97 + 49.992, abs=1e-9)
    assert top_of(scenario, "vise") == -385.0  # its seat, not its jaws
    places = resolve_placements(scenario)
    assert places["top"].foot == (-350.0, -175.0, -430.0)
    assert places["aluminium-block"].turn_deg == 90.0
    order = list(places)
    assert order.index("aluminium-block") < order.index("top")
    moved = {**scenario.placements, "top": Placement(x_mm=0, y_mm=-100)}
    assert top_of(scenario, "top", moved) == -410.0
    assert height_of(scenario, "b") == pytest.approx(49.992, abs=1e-12)


def test_what_stands_nowhere_has_no_top() -> None:
    scenario = scene_of_two_setters()
    with pytest.raises(InputError, match="'b' stands nowhere"):
        top_of(scenario, "b", {})
    with pytest.raises(InputError, match="there is no item 'c'"):
        height_of(scenario, "c")


def test_a_turned_stock_turns_as_a_whole() -> None:
    vise = load_part("stock", "vise")
    body = stock_body("v", vise, (0.0, 0.0, 5.0), 90.0)
    jaw = next(p for p in prepare(body) if p.feature == "fixed jaw")
    # The fixed jaw's middle is at Y +60 before the turn, so at X -60 after it.
    assert (jaw.low, jaw.high) == ((-80.0, -65.0, 65.0), (-40.0, 65.0, 110.0))


@pytest.mark.parametrize(
    ("data", "low", "high"),
    [
        ({"size_mm": [4, 2, 6]}, (-2, -1, 0), (2, 1, 6)),
        ({"size_mm": [4, 2, 6], "at_mm": [1, 2, 3]}, (-1, 1, 3), (3, 3, 9)),
        ({"shape": "cylinder", "diameter_mm": 4, "height_mm": 6}, (-2, -2, 0), (2, 2, 6)),
        (
            {"shape": "cylinder", "diameter_mm": 4, "height_mm": 6, "turn_deg": [0, 90, 0]},
            (0, -2, -2),
            (6, 2, 2),
        ),
        (
            {"shape": "cylinder", "diameter_mm": 4, "height_mm": 6, "turn_deg": [90, 0, 0]},
            (-2, -6, -2),
            (2, 0, 2),
        ),
        (
            {"shape": "cylinder", "diameter_mm": 4, "height_mm": 6, "turn_deg": [90, 0, 90]},
            (0, -2, -2),
            (6, 2, 2),
        ),
        ({"shape": "sphere", "diameter_mm": 4}, (-2, -2, 0), (2, 2, 4)),
        (
            {"shape": "cone", "diameter_mm": 4, "top_diameter_mm": 2, "height_mm": 3},
            (-2, -2, 0),
            (2, 2, 3),
        ),
    ],
)
def test_a_solid_stands_on_the_middle_of_its_bottom(
    data: dict[str, Any], low: tuple[float, ...], high: tuple[float, ...]
) -> None:
    placed = solid(SolidPart.model_validate(data), "x")
    (piece,) = prepare(Body("b", "table", (placed,)))
    assert piece.low == pytest.approx(low, abs=1e-12)
    assert piece.high == pytest.approx(high, abs=1e-12)


def test_a_gauge_block_is_as_tall_as_it_really_is() -> None:
    body = block_body("b", Block(size_mm=50, error_um=-8), (0.0, 0.0, 10.0))
    assert highest(body) == pytest.approx(59.992, abs=1e-12)


def test_the_table_s_top_is_where_the_bare_face_would_rest() -> None:
    machine = load_part("machine", "gantry-router")
    table, *rest = machine_bodies(machine)
    assert (table.id, table.link, highest(table)) == ("table", "table", -190.0)
    assert [body.id for body in rest] == ["beam", "left-leg", "right-leg"]
    assert chain_of(machine).displacement("gantry", (1.0, 2.0, 3.0)) == (0.0, 2.0, 0.0)
    assert chain_of(machine).displacement("head", (1.0, 2.0, 3.0)) == (1.0, 2.0, 3.0)
    mill = chain_of(load_part("machine", "bed-mill"))
    assert mill.displacement("table", (1.0, 2.0, 3.0)) == (-1.0, -2.0, 0.0)


def standing(y_mm: float, z_mm: float = -100.0, error: float = 0.0) -> Scenario:
    """Stock against the vise's fixed jaw at ``y_mm`` from it, spindle above the vise; unchecked."""
    sound = scenario_from_dict(
        {
            "machine": "bed-mill",
            "stock": ["aluminium-block", "vise"],
            "tools": ["end-mill-10"],
            "spindle_tool": "end-mill-10",
            "placements": {
                "vise": {"x_mm": -350, "y_mm": -175},
                "aluminium-block": {"on": "vise", "x_mm": -350, "y_mm": -175},
            },
            "controller": {"position_mm": [-350, -175, -100]},
        }
    )
    block = Placement(on="vise", x_mm=-350, y_mm=-175 + y_mm)
    return sound.model_copy(
        update={
            "placements": {**sound.placements, "aluminium-block": block},
            "controller": sound.controller.model_copy(
                update={"position_mm": (-350.0, -175.0, z_mm)}
            ),
            "truth": sound.truth.model_copy(update={"position_error_mm": (0.0, 0.0, error)}),
        }
    )


def pairs(scenario: Scenario) -> set[tuple[str, str]]:
    return {(a.id, b.id) for a, b in overlapping(scenario)}


def test_touching_is_not_overlapping_but_ten_nanometres_more_than_a_touch_is() -> None:
    assert pairs(standing(0.0)) == set()
    assert pairs(standing(1e-5)) == {("vise", "aluminium-block")}
    assert pairs(standing(-1e-5)) == {("vise", "aluminium-block")}


def test_a_tool_may_start_on_the_stock_but_not_in_it() -> None:
    # Stock top: -470 + seat 85 + 40 = -345; with the tool of 120 mm the tip is there at -225.
    assert pairs(standing(0.0, -225.0)) == set()
    assert pairs(standing(0.0, -225.001)) == {("tool", "aluminium-block")}
    # What counts is where the axis really is.
    assert pairs(standing(0.0, -225.0, -0.001)) == {("tool", "aluminium-block")}


def test_the_start_is_home_unless_told() -> None:
    scenario = scene_of_two_setters()
    assert start_position(scenario) == (0.0, 0.0, 0.0)
    assert start_position(standing(0.0, -50.0, 0.25)) == (-350.0, -175.0, -49.75)
