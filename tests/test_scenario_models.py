"""What each model refuses, word for word, one broken rule at a time."""

from copy import deepcopy
from typing import Any

import pytest
from pydantic import ValidationError

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import MODELS, load_part, scenario_from_dict
from drytouch.sim.scenario.save import plain

SOUND = {
    "machine": "machining-centre",
    "setter": "bolted-ring-nc",
    "tool": "face-mill-80",
    "stock": "round-bar",
    "block": "block-50",
}

RULES: list[tuple[str, dict[str, Any], str]] = [
    ("machine", {"axes.x.min_mm": 5.0}, "min_mm (5) must be below max_mm (0)"),
    ("machine", {"axes.x.home_mm": 6.0}, "home_mm (6) lies outside the axis' travel"),
    (
        "machine",
        {"spindle.bore_diameter_mm": 90.0},
        "bore_diameter_mm must be below face_diameter_mm",
    ),
    (
        "machine",
        {"spindle.lugs.1.inner_radius_mm": 40.0},
        "inner_radius_mm must be below outer_radius_mm",
    ),
    ("machine", {"table_link": "bed"}, "links has no 'bed'; it names base, table, head"),
    (
        "machine",
        {"links.head": {"z": -1}},
        "axis z: head minus table must move by +1 per mm, not -1",
    ),
    (
        "machine",
        {"bodies.0.link": "bed"},
        "body 'column' is on link 'bed'; links names base, table, head",
    ),
    (
        "machine",
        {"axes.y.following_error_limit_mm": 10.0},
        "axes.y.following_error_limit_mm (10) must exceed rapid / position gain (10 mm), or "
        "every rapid faults",
    ),
    (
        "setter",
        {"pre_travel_mm": 0.04},
        "expected hysteresis_mm < pre_travel_mm < overtravel_mm, not 0.04, 0.04, 6",
    ),
    ("setter", {"base_height_mm": 60.0}, "pad_height_mm must exceed base_height_mm"),
    (
        "setter",
        {"overtravel_mm": 8.881},
        "pre_travel_mm and overtravel_mm together exceed the 9 mm that the pad stands above "
        "its base",
    ),
    ("setter", {"friction_kinetic": 0.21}, "friction_kinetic can't exceed friction_static"),
    (
        "setter",
        {"centre_bolt_diameter_mm": 64.0},
        "centre_bolt_diameter_mm must be below pad_diameter_mm",
    ),
    ("tool", {"stack.0.length_mm": None}, "a cylinder needs length_mm"),
    ("tool", {"stack.0.shape": "cone"}, "a cone needs end_diameter_mm"),
    ("tool", {"inserts.count": 5}, "axial_errors_um needs 5 numbers, one an edge, not 6"),
    (
        "tool",
        {"inserts.axial_errors_um": [-1.0] * 6},
        "the highest edge of axial_errors_um must be 0, the others below",
    ),
    (
        "tool",
        {"inserts.axial_errors_um": [0.0, 0, 0, 0, 0, -6000]},
        "'axial_errors_um' leave nothing of an edge: depth_mm is too small",
    ),
    (
        "tool",
        {"inserts.edge_thickness_mm": 80.0},
        "'edge_thickness_mm' must be below circle_diameter_mm",
    ),
    ("tool", {"inserts.edge_width_mm": 80.0}, "'edge_width_mm' must be below circle_diameter_mm"),
    ("tool", {"worn_mm": 5.988}, "'worn_mm' (5.988) must stay below 5.988 mm"),
    ("tool", {"pulled_out_mm": -85.0}, "'pulled_out_mm' (-85) leaves nothing of the tool"),
    (
        "tool",
        {"certified_length_mm": 85.0},
        "'certified_length_mm' belongs to a master tool: add master = true",
    ),
    ("stock", {"parts.0.height_mm": None}, "a cylinder needs height_mm"),
    ("stock", {"parts.0.shape": "mesh"}, "a mesh needs file"),
    (
        "stock",
        {"parts.0.size_mm": [1.0, 0.0, 1.0]},
        "size_mm must be positive, not [1.0, 0.0, 1.0]",
    ),
]


def changed(kind: str, changes: dict[str, Any]) -> dict[str, Any]:
    data: dict[str, Any] = deepcopy(plain(load_part(kind, SOUND[kind])))
    for dotted, value in changes.items():
        here: Any = data
        *path, last = dotted.split(".")
        for part in path:
            here = here[int(part)] if isinstance(here, list) else here.setdefault(part, {})
        here[last] = value
    return data


@pytest.mark.parametrize("kind", SOUND)
def test_the_parts_to_be_spoiled_are_sound(kind: str) -> None:
    assert MODELS[kind].model_validate(changed(kind, {})) == load_part(kind, SOUND[kind])


@pytest.mark.parametrize(("kind", "changes", "message"), RULES)
def test_a_broken_rule_is_told_in_its_own_words(
    kind: str, changes: dict[str, Any], message: str
) -> None:
    with pytest.raises(ValidationError) as caught:
        MODELS[kind].model_validate(changed(kind, changes))
    # A list with a broken entry also counts as too short; the loader leaves that out.
    (error,) = [entry for entry in caught.value.errors() if entry["type"] != "too_short"]
    assert error["msg"] == f"Value error, {message}"


def test_steppers_have_no_following_error_to_exceed() -> None:
    data = changed("machine", {"servo.drive": "stepper", "axes.y.following_error_limit_mm": 1.0})
    assert MODELS["machine"].model_validate(data).servo.drive == "stepper"  # type: ignore[attr-defined]


def test_models_can_t_be_changed() -> None:
    with pytest.raises(ValidationError, match="frozen"):
        load_part("block", "block-50").size_mm = 3


def test_a_part_that_makes_no_body_is_told_before_a_step_puts_it_down(tmp_path: Any) -> None:
    broken = tmp_path / "lump.stl"
    broken.write_text("solid nothing\nendsolid nothing\n")
    with pytest.raises(InputError) as caught:
        scenario_from_dict(
            {
                "machine": "bed-mill",
                "stock": {
                    "lump": {"parts": [{"shape": "mesh", "file": str(broken), "file_unit": "mm"}]}
                },
            }
        )
    assert caught.value.key == "stock.lump"
    assert caught.value.message.startswith(f"{broken}: ")
    assert caught.value.fix
