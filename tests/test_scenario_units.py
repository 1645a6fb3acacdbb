"""Units: inch and millimetre say the same thing, and a wrong unit is never guessed at."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from drytouch.sim.scenario.machine import Spindle
from drytouch.sim.scenario.scenario import Block, Placement
from drytouch.sim.scenario.shapes import SolidPart
from drytouch.sim.scenario.steps import Move, Wait
from drytouch.sim.scenario.tool import Tool
from drytouch.sim.scenario.units import FAMILIES, converted, split_unit, suffixes_like

NANOMETRE = 1e-6  # in mm
LENGTH = st.floats(-2000, 2000)


@given(LENGTH, LENGTH)
def test_inch_and_mm_place_an_item_within_a_nanometre(x: float, y: float) -> None:
    in_mm = Placement.model_validate({"x_mm": x, "y_mm": y})
    in_inch = Placement.model_validate({"x_in": x / 25.4, "y_in": y / 25.4})
    assert abs(in_mm.x_mm - in_inch.x_mm) < NANOMETRE
    assert abs(in_mm.y_mm - in_inch.y_mm) < NANOMETRE


@given(st.lists(st.floats(0.001, 900), min_size=3, max_size=3))
def test_inch_and_mm_size_a_box_within_a_nanometre(size: list[float]) -> None:
    in_mm = SolidPart.model_validate({"size_mm": size})
    in_inch = SolidPart.model_validate({"size_in": [value / 25.4 for value in size]})
    assert in_mm.size_mm is not None
    assert in_inch.size_mm is not None
    for one, other in zip(in_mm.size_mm, in_inch.size_mm, strict=True):
        assert abs(one - other) < NANOMETRE


@given(st.lists(st.floats(0.5, 300), min_size=1, max_size=8))
def test_a_tool_is_as_long_in_inch_as_in_mm(lengths: list[float]) -> None:
    in_mm = Tool.model_validate({"stack": [{"diameter_mm": 9, "length_mm": v} for v in lengths]})
    in_inch = Tool.model_validate(
        {"stack": [{"diameter_mm": 9, "length_in": v / 25.4} for v in lengths]}
    )
    assert abs(in_mm.true_length_mm - in_inch.true_length_mm) < NANOMETRE


@given(st.sampled_from(sorted(FAMILIES)), st.data())
def test_every_pair_of_units_goes_there_and_back(family: str, data: st.DataObject) -> None:
    own = data.draw(st.sampled_from(sorted(FAMILIES[family])))
    given_in = data.draw(st.sampled_from(sorted(FAMILIES[family])))
    value = data.draw(st.floats(1e-6, 1e6))
    there = converted({f"k_{given_in}": value}, {f"k_{own}"})
    back = converted({f"k_{own}": there[f"k_{own}"]}, {f"k_{given_in}"})
    assert math.isclose(back[f"k_{given_in}"], value, rel_tol=1e-14)


# Expected values from the definitions: 1 in = 25.4 mm, 1 lbf = 0.45359237 kg * 9.80665 m/s^2.
KNOWN: list[tuple[str, float, str, float]] = [
    ("x_in", 1, "x_mm", 25.4),
    ("x_um", 5, "x_mm", 0.005),
    ("f_in_per_min", 10, "f_mm_per_min", 254.0),
    ("f_mm_per_s", 2, "f_mm_per_min", 120.0),
    ("f_m_per_min", 3, "f_mm_per_min", 3000.0),
    ("a_m_per_s2", 2, "a_mm_per_s2", 2000.0),
    ("j_m_per_s3", 2, "j_mm_per_s3", 2000.0),
    ("t_ms", 3, "t_s", 0.003),
    ("t_us", 3, "t_s", 3e-6),
    ("t_min", 2, "t_s", 120.0),
    ("a_rad", math.pi, "a_deg", 180.0),
    ("p_lbf", 1, "p_N", 0.45359237 * 9.80665),
    ("c_lbf_per_in", 1, "c_N_per_mm", 0.45359237 * 9.80665 / 25.4),
    ("m_g", 500, "m_kg", 0.5),
]


@pytest.mark.parametrize(("key", "value", "own", "expected"), KNOWN)
def test_known_conversions(key: str, value: float, own: str, expected: float) -> None:
    assert converted({key: value}, {own}) == {own: pytest.approx(expected, rel=1e-15)}


def test_lists_are_converted_and_own_units_are_left_alone_bit_for_bit() -> None:
    assert converted({"at_in": [1, [2.0, True], "x"]}, {"at_mm"}) == {
        "at_mm": [25.4, [50.8, True], "x"]
    }
    assert converted({"at_mm": 0.1 + 0.2, "other_in": 3}, {"at_mm"}) == {
        "at_mm": 0.1 + 0.2,
        "other_in": 3,
    }


@pytest.mark.parametrize(
    ("key", "parts"),
    [
        ("length_mm", ("length", "mm")),
        ("feed_mm_per_min", ("feed", "mm_per_min")),
        ("jerk_mm_per_s3", ("jerk", "mm_per_s3")),
        ("for_min", ("for", "min")),
        ("min_mm", ("min", "mm")),
        ("spikes_per_s", ("spikes_per", "s")),
        ("rows", None),
        ("mm", None),
    ],
)
def test_the_longest_suffix_is_the_unit(key: str, parts: tuple[str, str] | None) -> None:
    assert split_unit(key) == parts


def test_families_share_no_suffix() -> None:
    suffixes = [suffix for family in FAMILIES.values() for suffix in family]
    assert len(suffixes) == len(set(suffixes))
    assert suffixes_like("um") == ("mm", "in", "um")


@pytest.mark.parametrize(
    ("model", "data", "words"),
    [
        (Wait, {"do": "wait", "for_kg": 1}, "'for_kg' is in a unit of mass; expected a time"),
        (Block, {"size_mm": 1, "size_in": 1}, "'size_in' and another key both give size_mm"),
        (Block, {"size_mm": "1"}, "'size_mm' expects a number, not \"1\""),
        (Block, {"size_mm": False}, "'size_mm' expects a number, not false"),
        (Block, {"size_mm": "none"}, "'size_mm' expects a number, not \"none\""),
        (Move, {"do": "move", "x_mm": math.inf}, "finite"),
        (Move, {"do": "move", "x_in": math.nan}, "finite"),
    ],
)
def test_wrong_units_and_numbers_are_refused(model: Any, data: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError) as caught:
        model.model_validate(data)
    assert words in str(caught.value)


def test_none_says_that_there_is_no_angle_to_orient_to() -> None:
    nose = {"face_diameter_mm": 70, "bore_diameter_mm": 30}
    assert Spindle.model_validate(nose).orient_deg == 0.0
    assert Spindle.model_validate({**nose, "orient_deg": "none"}).orient_deg is None
