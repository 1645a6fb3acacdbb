"""Keys, units and distributions of what varies; and that only what must be is built anew."""

from __future__ import annotations

import math
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from trial_cases import length_scenario

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.vary import Variation, parse_varies
from drytouch.sim.study.vary_keys import Refused, known_keys, resolve
from drytouch.sim.study.vary_set import BODILESS, Change
from drytouch.sim.twin.stage import Stage


def values(texts: list[str], count: int, first_seed: int = 1) -> list[tuple[Any, ...]]:
    scenario = length_scenario()
    variation = Variation(scenario, parse_varies(scenario, texts))
    return [variation.at(index, first_seed + index).values for index in range(count)]


def scenario_with(text: str, index: int = 0, seed: int = 1) -> Scenario:
    scenario = length_scenario()
    return Variation(scenario, parse_varies(scenario, [text])).at(index, seed).scenario


def test_units_of_a_key_are_converted() -> None:
    assert scenario_with("setter.setter.pre_travel_um=list:90").setter[
        "setter"
    ].pre_travel_mm == pytest.approx(0.09, abs=1e-15)
    inch = scenario_with("setter.setter.overtravel_in=list:0.2").setter["setter"]
    assert inch.overtravel_mm == pytest.approx(5.08, abs=1e-12)
    moved = scenario_with("truth.position_error_um#3=list:7").truth.position_error_mm
    assert moved == pytest.approx((0.0, 0.0, 0.007), abs=1e-15)


def test_choices_switches_and_steps_vary() -> None:
    assert scenario_with("machine.habits.latch=list:scan").machine.habits.latch == "scan"
    assert scenario_with("chance=list:false").chance is False
    step = scenario_with("steps#1.with.expected_length_mm=list:119.5").steps[0]
    assert getattr(step, "arguments", None) == {"row": 1, "expected_length_mm": 119.5}


def test_keys_with_dots_in_a_name_are_found() -> None:
    scenario = length_scenario()
    start = scenario.controller.model_copy(update={"systems": {"G59.1": (0.0, 0.0, 1.0)}})
    key = resolve(scenario.model_copy(update={"controller": start}), "controller.systems.G59.1#3")
    assert key is not None
    assert key.path == ("controller", "systems", "G59.1", 2)
    assert key.now == 1.0


def test_every_listed_key_is_found_under_its_own_name() -> None:
    scenario = load_scenario("commissioning-by-master")
    for text in known_keys(scenario):
        key = resolve(scenario, text)
        assert key is not None, text
        assert key.name == text


def test_nothing_outside_the_path_is_copied() -> None:
    changed = scenario_with("machine.axes.z.backlash_um=list:3")
    base = length_scenario()
    assert changed.machine.axes.z.backlash_mm == pytest.approx(0.003, abs=1e-15)
    assert changed.machine.axes.x is base.machine.axes.x
    assert changed.machine.spindle is base.machine.spindle
    assert changed.setter is base.setter
    assert base.machine.axes.z.backlash_mm == 0.001


def test_lists_and_grids_give_every_combination_in_turn() -> None:
    got = values(
        ["setter.setter.bounce_pairs=list:0,1,2", "machine.servo.feed_forward=grid:0,1,3"], 18
    )
    assert got[:4] == [(0, 0.0), (1, 0.0), (2, 0.0), (0, 0.5)]
    assert len(set(got)) == 9
    assert got[:9] == got[9:]


def test_a_value_depends_on_its_key_and_seed_alone() -> None:
    one = values(["setter.setter.pre_travel_um=normal:100,2"], 20)
    both = values(["machine.axes.z.backlash_um=uniform:0,2",
                   "setter.setter.pre_travel_um=normal:100,2"], 20)  # fmt: skip
    assert [value for (value,) in one] == [value for _, value in both]
    assert values(["setter.setter.pre_travel_um=normal:100,2"], 5, 11) == one[10:15]


@pytest.mark.parametrize(
    ("text", "mean", "deviation"),
    [
        ("setter.setter.pre_travel_um=normal:100,2", 100.0, 2.0),
        ("setter.setter.pre_travel_um=uniform:90,110", 100.0, 20 / math.sqrt(12)),
        ("setter.setter.pre_travel_um=choice:90,110", 100.0, 10.0),
    ],
)
def test_distributions_have_their_moments(text: str, mean: float, deviation: float) -> None:
    count = 4000
    got = [float(value) for (value,) in values([text], count)]
    average = sum(got) / count
    spread = math.sqrt(sum((v - average) ** 2 for v in got) / count)
    assert average == pytest.approx(mean, abs=4 * deviation / math.sqrt(count))
    assert spread == pytest.approx(deviation, rel=4 / math.sqrt(2 * count))
    said = parse_varies(length_scenario(), [text])[0].moments
    assert said == pytest.approx((mean * 1e-3, deviation * 1e-3), rel=1e-12)


def test_draws_outside_a_limit_are_drawn_again_and_counted() -> None:
    scenario = length_scenario()
    vary = parse_varies(scenario, ["setter.setter.pre_travel_sigma_um=normal:0,1"])
    drawn = [Variation(scenario, vary).at(index, index) for index in range(200)]
    assert all(entry.values[0] >= 0.0 for entry in drawn)  # type: ignore[operator]
    again = sum(entry.again for entry in drawn)
    # Each draw is refused with chance 1/2: as many refusals as draws, within 4 sigma (sqrt 2 n).
    assert again == pytest.approx(200, abs=4 * math.sqrt(2 * 200))


def test_a_table_that_is_inconsistent_is_drawn_again() -> None:
    scenario = length_scenario()
    # Hysteresis must stay below pre-travel.
    texts = ["setter.setter.hysteresis_um=uniform:0,60", "setter.setter.pre_travel_um=uniform:0,60"]
    variation = Variation(scenario, parse_varies(scenario, texts))
    drawn = [variation.at(index, index) for index in range(100)]
    assert all(entry.values[0] < entry.values[1] for entry in drawn)  # type: ignore[operator]
    assert any(entry.again for entry in drawn)


def test_what_stands_where_is_checked_when_it_moves() -> None:
    scenario = length_scenario()
    vary = parse_varies(scenario, ["placements.setter.x_mm=list:-300"])
    with pytest.raises(InputError, match="trial 0"):
        Variation(scenario, vary).at(0, 0)


def test_a_limit_that_refuses_everything_is_an_error() -> None:
    scenario = length_scenario()
    vary = parse_varies(scenario, ["setter.setter.hysteresis_um=uniform:200,300"])
    with pytest.raises(InputError, match="100 draws were refused"):
        Variation(scenario, vary).at(0, 0)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("setter.setter.pretravel_mm=normal:1,1", "did you mean 'setter.setter.pre_travel_mm'"),
        ("setter.setter.pre_travel_mm=gauss:1,1", "no distribution 'gauss'"),
        ("setter.setter.pre_travel_deg=normal:1,1", "no unit of length"),
        ("setter.setter.pre_travel_mm", "not KEY=DISTRIBUTION"),
        ("setter.setter.pre_travel_mm=normal:1", "a mean and a sigma"),
        ("setter.setter.pre_travel_mm=normal:1,-1", "below 0"),
        ("setter.setter.pre_travel_mm=normal:-1,1", "must be at least 0"),
        ("setter.setter.pre_travel_mm=uniform:2,1", "above the highest"),
        ("setter.setter.pre_travel_mm=uniform:1,nan", "ordinary numbers"),
        ("setter.setter.pre_travel_mm=choice:", "one value or more"),
        ("setter.setter.pre_travel_mm=choice:long", "expected a number"),
        ("setter.setter.pre_travel_mm=grid:1,2,1", "2 values or more"),
        ("setter.setter.bounce_pairs=uniform:1,3", "whole numbers only"),
        ("setter.setter.bounce_pairs=grid:0,5,3", "whole numbers only"),
        ("machine.habits.latch=choice:edge,scann", "did you mean 'scan'"),
        ("setter.setter=choice:1", "no value 'setter.setter'"),
        ("seed=list:1,2", "no value 'seed'"),
        ("steps#9.with.row=list:1", "no value 'steps#9.with.row'"),
    ],
)
def test_mistakes_are_named_with_their_remedy(text: str, said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)) as caught:
        parse_varies(length_scenario(), [text])
    assert caught.value.fix


def test_the_same_key_in_two_units_is_a_mistake() -> None:
    with pytest.raises(InputError, match="varied twice"):
        parse_varies(
            length_scenario(),
            ["setter.setter.pre_travel_mm=list:0.1", "setter.setter.pre_travel_um=list:99"],
        )


@given(st.floats(0.031, 5.9), st.integers(0, 10**6))
def test_a_change_is_what_reading_the_file_anew_gives(pre_travel: float, seed: int) -> None:
    scenario = length_scenario()
    vary = parse_varies(scenario, [f"setter.setter.pre_travel_mm=list:{pre_travel!r}"])
    try:
        changed = Variation(scenario, vary).at(0, seed).scenario
    except InputError:
        # The pad would be longer than its room: reading it refuses that too.
        with pytest.raises(ValueError, match="exceed the"):
            Scenario.model_validate(_with_pre_travel(pre_travel))
        return
    assert changed == Scenario.model_validate(_with_pre_travel(pre_travel))


def _with_pre_travel(value: float) -> dict[str, Any]:
    data = length_scenario().model_dump(by_alias=True)
    data["setter"]["setter"]["pre_travel_mm"] = value
    return data


def _other(value: Any) -> Any:
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + 1
    return value


@pytest.mark.parametrize("name", ["commissioning-by-master", "setter-height-done-right"])
def test_no_body_depends_on_what_is_said_to_move_none(name: str) -> None:
    """Each field that is listed as moving no body: change it, build the stage, compare."""
    scenario = load_scenario(name)
    before = Stage(scenario).scene.content_key
    changed = 0
    for text in known_keys(scenario):
        key = resolve(scenario, text)
        assert key is not None
        if not any(field in BODILESS.get(owner.__name__, ()) for owner, field in key.owners):
            continue
        other = _other(key.now)
        if other == key.now:
            continue
        change = Change(scenario, [key])
        try:
            new = change.put([other], bodies=False)
        except Refused:  # a limit: this field can't take that value
            continue
        changed += 1
        assert Stage(new).scene.content_key == before, text
    assert changed > 60
