"""The forms that a scenario file may use, and what they mean."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.files import read_text, write_atomically
from drytouch.sim.scenario.load import (
    load_part,
    load_scenario,
    scenario_from_dict,
    scenario_schema,
)
from drytouch.sim.scenario.scenario import Scenario


def loaded(folder: Path, text: str) -> Scenario:
    path = folder / "case.toml"
    path.write_text(text, encoding="utf-8")
    return load_scenario(path)


def test_parts_by_name_come_from_the_library(tmp_path: Path) -> None:
    scenario = loaded(
        tmp_path,
        'machine = "bed-mill"\nsetter = "bolted-nc"\ntools = ["end-mill-10", "drill-8"]\n'
        'stock = "vise"\nblocks = ["block-50"]\n',
    )
    assert scenario.machine == load_part("machine", "bed-mill")
    assert scenario.setter == {"setter": load_part("setter", "bolted-nc")}
    assert list(scenario.tools) == ["end-mill-10", "drill-8"]
    assert scenario.tools["drill-8"] == load_part("tool", "drill-8")
    assert scenario.stock == {"stock": load_part("stock", "vise")}
    assert scenario.blocks == {"block-50": load_part("block", "block-50")}
    assert scenario.name == "case"


def test_several_setters_by_name_and_one_inline(tmp_path: Path) -> None:
    scenario = loaded(
        tmp_path,
        'machine = "bed-mill"\nsetter.main = "bolted-nc"\n'
        'setter.front = {use = "magnetic-no", tilt_deg = 0.2}\n'
        "[setter.own]\nbase_diameter_mm = 40\nbase_height_mm = 30\npad_diameter_in = 1\n"
        "pad_height_mm = 40\npre_travel_mm = 0.1\novertravel_mm = 5\n",
    )
    assert list(scenario.setter) == ["main", "front", "own"]
    assert scenario.setter["front"].tilt_deg == 0.2
    assert scenario.setter["front"].name == "magnetic-no" or scenario.setter["front"].name
    assert scenario.setter["own"].name == "own"
    assert scenario.setter["own"].pad_diameter_mm == 25.4


@pytest.mark.parametrize(
    "text",
    [
        'setter = {use = "bolted-nc", tilt_deg = 0.3}',
        '[setter]\nuse = "bolted-nc"\ntilt_deg = 0.3',
        '[setter.setter]\nuse = "bolted-nc"\ntilt_deg = 0.3',
    ],
)
def test_one_setter_in_three_forms(text: str, tmp_path: Path) -> None:
    scenario = loaded(tmp_path, f'machine = "bed-mill"\n{text}\n')
    plain = load_part("setter", "bolted-nc")
    assert {k: v.model_dump(exclude={"name"}) for k, v in scenario.setter.items()} == {
        "setter": plain.model_copy(update={"tilt_deg": 0.3}).model_dump(exclude={"name"})
    }


def test_changes_merge_deep_and_keep_the_rest(tmp_path: Path) -> None:
    scenario = loaded(
        tmp_path,
        '[machine]\nuse = "machining-centre"\n[machine.servo]\nposition_gain_per_s = 60\n'
        "[machine.axes.z]\nmin_in = -18\n",
    )
    plain = load_part("machine", "machining-centre")
    assert scenario.machine.servo.position_gain_per_s == 60
    assert scenario.machine.servo.feed_forward == plain.servo.feed_forward
    assert scenario.machine.axes.z.min_mm == pytest.approx(-457.2, abs=1e-9)
    assert scenario.machine.axes.z.max_mm == plain.axes.z.max_mm
    assert scenario.machine.axes.x == plain.axes.x
    assert scenario.machine.spindle == plain.spindle


def test_lists_are_replaced_not_merged(tmp_path: Path) -> None:
    scenario = loaded(
        tmp_path, '[machine]\nuse = "machining-centre"\n[machine.spindle]\nlugs = []\n'
    )
    assert scenario.machine.spindle.lugs == ()
    assert len(load_part("machine", "machining-centre").spindle.lugs) == 2


def test_the_library_s_own_part_is_never_changed(tmp_path: Path) -> None:
    before = load_part("machine", "bed-mill").model_dump_json()
    loaded(tmp_path, '[machine]\nuse = "bed-mill"\n[machine.servo]\ntick_ms = 2\n')
    assert load_part("machine", "bed-mill").model_dump_json() == before


def test_tools_in_a_list_may_change_the_part(tmp_path: Path) -> None:
    scenario = loaded(
        tmp_path,
        'machine = "bed-mill"\ntools = ["drill-8", {use = "drill-8", name = "blunt", '
        'worn_um = 200}, {use = "end-mill-6", pulled_out_mm = 1}]\n',
    )
    assert list(scenario.tools) == ["drill-8", "blunt", "end-mill-6"]
    sound, blunt = scenario.tools["drill-8"], scenario.tools["blunt"]
    assert blunt.true_length_mm == pytest.approx(sound.true_length_mm - 0.2, abs=1e-12)
    assert scenario.tools["end-mill-6"].true_length_mm == pytest.approx(96, abs=1e-12)


def test_paths_start_from_the_file_that_names_them(tmp_path: Path) -> None:
    parts = tmp_path / "parts"
    parts.mkdir()
    (parts / "mine.toml").write_text('use = "./base.toml"\nmass_kg = 2\n')
    (parts / "base.toml").write_text('use = "bolted-nc"\ntitle = "mine"\n')
    (tmp_path / "deep").mkdir()
    scenario = loaded(
        tmp_path / "deep",
        'machine = "bed-mill"\nsetter.a = "../parts/mine.toml"\n'
        'setter.b = {use = "../parts/mine.toml", contact = "NO"}\n',
    )
    assert scenario.setter["a"].title == "mine"
    assert scenario.setter["a"].mass_kg == 2
    assert (scenario.setter["b"].contact, scenario.setter["b"].title) == ("NO", "mine")


# A tetrahedron, 10 mm along each axis.
STL = """solid t
facet normal 0 0 -1
outer loop
vertex 0 0 0
vertex 0 10 0
vertex 10 0 0
endloop
endfacet
facet normal 0 -1 0
outer loop
vertex 0 0 0
vertex 10 0 0
vertex 0 0 10
endloop
endfacet
facet normal -1 0 0
outer loop
vertex 0 0 0
vertex 0 0 10
vertex 0 10 0
endloop
endfacet
facet normal 1 1 1
outer loop
vertex 10 0 0
vertex 0 10 0
vertex 0 0 10
endloop
endfacet
endsolid t
"""


def test_a_mesh_is_read_from_beside_its_part_in_its_stated_unit(tmp_path: Path) -> None:
    from drytouch.sim.scenario.places import top_of

    parts = tmp_path / "parts"
    parts.mkdir()
    (parts / "lump.stl").write_text(STL)
    (parts / "lump.toml").write_text(
        'parts = [{shape = "mesh", file = "lump.stl", file_unit = "inch"}]\n'
    )
    scenario = loaded(
        tmp_path,
        'machine = "bed-mill"\nstock.a = "./parts/lump.toml"\n'
        'stock.b = {use = "./parts/lump.toml", title = "b"}\n'
        "[placements]\na = {x_mm = 0, y_mm = -100}\nb = {x_mm = 0, y_mm = -100}\n",
    )
    for name in ("a", "b"):
        assert scenario.stock[name].parts[0].file == str((parts / "lump.stl").resolve())
        assert top_of(scenario, name) == pytest.approx(-470 + 254, abs=1e-3)


def test_a_program_is_found_beside_the_scenario(tmp_path: Path) -> None:
    (tmp_path / "part.ngc").write_text("m2\n")
    scenario = loaded(
        tmp_path, 'machine = "bed-mill"\n[[steps]]\ndo = "program"\nfile = "part.ngc"\n'
    )
    assert scenario.steps[0].file == str((tmp_path / "part.ngc").resolve())  # type: ignore[union-attr]


def test_data_loads_as_a_file_does(tmp_path: Path) -> None:
    from_file = loaded(tmp_path, 'name = "n"\nmachine = "bed-mill"\nblocks.a = {size_mm = 3}\n')
    data: dict[str, Any] = {"name": "n", "machine": "bed-mill", "blocks": {"a": {"size_mm": 3}}}
    kept = json.loads(json.dumps(data))
    assert scenario_from_dict(data) == from_file
    assert data == kept  # what was passed in is left alone
    models = {"name": "n", "machine": from_file.machine, "blocks": from_file.blocks}
    assert scenario_from_dict(models) == from_file


def test_rows_are_numbered_and_arguments_keep_their_types(tmp_path: Path) -> None:
    scenario = loaded(
        tmp_path,
        'machine = "bed-mill"\nsetter.file = "loose-no"\n[controller.rows]\n3.length_in = 4\n'
        '[[faults]]\nname = "contact-bounces"\n'
        '[faults.with]\npairs = 1\nbounce_s = 1.5\nsetter = "file"\n',
    )
    assert scenario.controller.rows[3].length_mm == pytest.approx(101.6, abs=1e-12)
    assert scenario.faults[0].arguments == {"pairs": 1, "bounce_s": 1.5, "setter": "file"}


SOUND: dict[str, Any] = {
    "machine": {"use": "bed-mill", "servo": {"tick_s": 0.002}},
    "setter": {"a": {"use": "bolted-nc", "tilt_deg": 1}, "b": "loose-no"},
    "tools": ["drill-8", {"use": "end-mill-6", "worn_um": 3}],
    "stock": {"s": {"parts": [{"shape": "box", "size_mm": [100, 90, 80]}]}},
    "blocks": {"k": {"size_in": 1}},
    "placements": {"a": {"x_mm": -350, "y_mm": -175, "on": "s"}, "s": {"x_mm": -350, "y_in": -7}},
    "controller": {"rows": {"3": {"length_mm": 5, "tool": "drill-8"}}, "plugs": {"a": "spare"}},
    "steps": [{"do": "jog", "axis": "z", "by_mm": -3}, {"do": "load-tool", "tool": "drill-8"}],
    "meanwhile": [{"at_s": 3, "step": {"do": "e-stop"}}],
    "expect": {"findings": ["crash"]},
}
JUNK = st.one_of(
    st.none(),
    st.sampled_from(["", "table", "use", "do", "../x.toml", "bolted-nc", "a", "s"]),
    st.booleans(),
    st.integers(-5, 50),
    st.floats(),
    st.just([]),
    st.just({}),
    st.just({"use": "a"}),
    st.just({"do": "jog"}),
    st.just([{}]),
    st.just(["a", 1]),
)


def test_the_data_to_be_spoiled_is_sound() -> None:
    assert scenario_from_dict(SOUND).steps[1].do == "load-tool"


@settings(max_examples=300)
@given(st.data(), JUNK)
def test_spoiled_data_loads_or_is_refused_with_an_input_error(
    data: st.DataObject, junk: Any
) -> None:
    spoiled = copy.deepcopy(SOUND)
    here: Any = spoiled
    while True:
        keys = list(here) if isinstance(here, dict) else list(range(len(here)))
        key = data.draw(st.sampled_from([*keys, "new"] if isinstance(here, dict) else keys))
        inner = here.get(key) if isinstance(here, dict) else here[key]
        if not isinstance(inner, dict | list) or not inner or data.draw(st.booleans()):
            break
        here = inner
    here[key] = junk
    try:
        assert isinstance(scenario_from_dict(spoiled), Scenario)
    except InputError as error:
        refused = error
    else:
        return
    assert refused.message
    assert "<" not in refused.message, "an inner name of Python's shows"


def test_the_schema_describes_short_forms_and_units() -> None:
    schema = scenario_schema()
    assert json.loads(json.dumps(schema)) == schema
    machine = schema["properties"]["machine"]["anyOf"]
    assert machine[0]["type"] == "string"
    assert machine[1] == {"$ref": "#/$defs/Machine"}
    placement = schema["$defs"]["Placement"]
    assert {"x_mm", "x_in", "x_um", "on", "lift_in"} <= set(placement["properties"])
    assert placement["additionalProperties"] is False
    assert "required" not in placement
    assert {"anyOf": [{"required": ["x_mm"]}, {"required": ["x_in"]}, {"required": ["x_um"]}]} in (
        placement["allOf"]
    )
    row = schema["$defs"]["Override"]["properties"]
    assert set(row) == {"do", "note", "rapid", "feed"}


def test_writing_replaces_whole_files_only(tmp_path: Path) -> None:
    target = tmp_path / "out.toml"
    write_atomically(target, "first\n")
    write_atomically(target, b"second\n")
    assert target.read_bytes() == b"second\n"
    assert [p.name for p in tmp_path.iterdir()] == ["out.toml"]
    plain = tmp_path / "plain"
    plain.write_text("")
    assert target.stat().st_mode == plain.stat().st_mode


def test_a_failed_write_leaves_the_old_file_and_no_litter(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        write_atomically(tmp_path / "no" / "out.json", "x")
    assert caught.value.args == (
        "can't be written: No such file or directory",
        str(tmp_path / "no" / "out.json"),
        "",
        0,
        "name a file in a folder that exists and that you may write to",
    )
    folder = tmp_path / "taken"
    folder.mkdir()
    with pytest.raises(InputError):
        write_atomically(folder, "x")
    assert [p.name for p in tmp_path.iterdir()] == ["taken"]
    assert read_text(Path(__file__)).startswith('"""The forms')


def test_a_record_whose_input_was_left_out_is_told_once_its_setter_is_plugged_in() -> None:
    data: dict[str, Any] = {
        "setter": "bolted-nc",
        "controller": {"records": {"setter": {"x_mm": 0.0}}},
    }
    machine = load_part("machine", "bed-mill").model_dump(by_alias=True, exclude_unset=True)
    machine["sockets"] = {"one": {"input": 4, "active_high": True}}
    data["machine"] = machine
    assert scenario_from_dict(data).setter
    data["controller"]["plugs"] = {"setter": "one"}
    with pytest.raises(InputError, match="no socket leads to input 1"):
        scenario_from_dict(data)
    data["controller"]["records"]["setter"]["input"] = 4
    assert scenario_from_dict(data).controller.records["setter"].input == 4
