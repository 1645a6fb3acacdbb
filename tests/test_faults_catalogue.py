"""The catalogue of faults: complete, pure, possible somewhere, and checked when a file is read."""

from __future__ import annotations

import json
import pickle
import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from fault_cases import centre, varied
from hypothesis import given, settings
from hypothesis import strategies as st

from drytouch.sim.errors import InputError, StepError
from drytouch.sim.faults import (
    FAULTS,
    GROUPS,
    NotHere,
    begins,
    fault_named,
    faulty,
    with_faults,
)
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.save import scenario_to_toml
from drytouch.sim.scenario.scenario import Fault, Scenario
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

SCENARIOS = varied()


def summary(outcome: Outcome) -> tuple[object, ...]:
    numbers = {name: number.error for name, number in outcome.numbers.items()}
    return outcome.verdict, outcome.codes, [alarm.code for _, alarm in outcome.alarms], numbers


def test_there_are_enough_of_every_group() -> None:
    counts = Counter(entry.group for entry in FAULTS.values())
    assert tuple(counts) == GROUPS  # told in this order
    assert len(FAULTS) >= 36
    assert min(counts.values()) >= 5


@pytest.mark.parametrize("name", FAULTS)
def test_an_entry_says_what_happened_and_what_it_takes_to_notice(name: str) -> None:
    entry = FAULTS[name]
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", name)
    assert entry.title[0].isupper()
    assert not entry.title.endswith(".")
    for text in (entry.story, entry.catch):
        assert re.fullmatch(r"[A-Z].{30,}\.", text), text
    for argument in entry.arguments:
        assert argument.accepts(argument.default)
        assert argument.unit or not argument.kinds & {"float"} or argument.name in UNITLESS
        assert argument.wanted


UNITLESS = {"friction", "warmth", "share", "feed"}  # ratios


def test_no_two_entries_say_the_same() -> None:
    assert len({entry.title for entry in FAULTS.values()}) == len(FAULTS)
    assert len({entry.story for entry in FAULTS.values()}) == len(FAULTS)


@pytest.mark.parametrize("where", SCENARIOS)
def test_a_fault_changes_a_copy_into_something_valid(where: str) -> None:
    scenario = SCENARIOS[where]
    before = pickle.dumps(scenario)
    for name, entry in FAULTS.items():
        try:
            changed = entry(scenario)
        except NotHere:
            continue
        assert changed != scenario, name
        assert Scenario.model_validate(changed.model_dump(by_alias=True)) == changed, name
        assert entry(scenario) == changed, name
    assert pickle.dumps(scenario) == before


def why_not(scenario: Scenario, name: str) -> str:
    """Why a fault can't happen there; empty where it can."""
    try:
        faulty(scenario, name)
    except NotHere as error:
        return error.reason
    return ""


def test_every_fault_can_happen_somewhere_and_says_why_it_cannot_elsewhere() -> None:
    for name in FAULTS:
        reasons = {why_not(scenario, name) for scenario in SCENARIOS.values()}
        assert "" in reasons, name
        assert all(reason[-1] not in ".!" for reason in reasons - {""}), name
    assert why_not(SCENARIOS["plain"], "return-lead-lost") == (
        "main is a switch, no conductive plate"
    )
    assert why_not(SCENARIOS["plate"], "pad-tilted") == "main has no plunger that could bend"
    assert why_not(SCENARIOS["bare"], "tip-broken") == "the spindle is bare"


NO_SETTER = {"setter": {}, "placements": {}, "controller": {"rows": {}, "slot": 0}}
NO_PLUG = {"controller": {"plugs": {}}}
ONE_INPUT = {"use": "machining-centre", "habits": {"watches": "fixed"}}
EMPTY = {"rows": {"1": {"tool": "end-mill-10"}}}


@pytest.mark.parametrize(
    ("name", "more", "figures", "reason"),
    [
        ("chip-on-pad", NO_SETTER, {}, "there is no setter"),
        ("contact-stuck-closed", NO_SETTER, {}, "there is no setter"),
        ("contact-stuck-open", NO_SETTER, {}, "there is no setter"),
        ("pad-sticks-down", NO_SETTER, {}, "there is no setter"),
        ("e-stop-mid-touch", NO_SETTER, {}, "there is no setter"),
        ("wire-broken", NO_SETTER, {}, "there is no setter"),
        ("unplugged", NO_SETTER, {}, "there is no setter"),
        ("wire-broken", NO_PLUG, {}, "no plug is in a socket"),
        ("unplugged", NO_PLUG, {}, "the plug of main is in no socket"),
        ("setter-missing", {"placements": {}}, {}, "main stands nowhere"),
        ("other-socket", {}, {"socket": "roof"}, "the machine has no other socket 'roof'"),
        (
            "contact-worn",
            {},
            {},
            "the scenario runs without chance, and this is nothing but scatter",
        ),
        ("contact-bounces", {}, {}, "the scenario runs without chance, and bounces are chance"),
        ("setter-loose", {"setter": {"main": "loose-no"}}, {}, "main is loose already"),
        (
            "spring-stiff",
            {"setter": {"main": "plate"}},
            {},
            "main is a plate without spring and travel",
        ),
        (
            "watches-other-input",
            {"machine": ONE_INPUT},
            {},
            "this machine always watches one and the same input",
        ),
        ("zero-moved", {}, {"axis": "w"}, "the machine has no axis 'w'"),
        ("axis-slack", {}, {"backlash_mm": 0.0005}, "axis z has that much lost motion already"),
        (
            "axes-lag",
            {"machine": "bed-mill", "placements": {}},
            {},
            "an open-loop drive has no gain",
        ),
        (
            "latches-command",
            {"machine": "bed-mill", "placements": {}},
            {},
            "an open-loop drive knows its command only",
        ),
        (
            "latches-late",
            {"machine": {"use": "machining-centre", "habits": {"latch": "scan"}}},
            {},
            "it notes the position at the next look already",
        ),
        ("scan-slow", {}, {"scan_s": 0.0005}, "the input is looked at that seldom already"),
        ("filter-long", {}, {"filter_s": 0.0}, "the filter is that long already"),
        (
            "spindle-grown",
            {"controller": {"spindle_warmth": 1.0}},
            {},
            "the spindle is as warm as that already",
        ),
        (
            "reference-lost",
            {"record": {"reference_valid": False}},
            {},
            "no setter has a valid reference",
        ),
        (
            "wrong-tool",
            {"tools": ["end-mill-10"], "controller": EMPTY},
            {},
            "the crib holds no other tool",
        ),
        ("wrong-tool", {}, {"tool": "saw"}, "the crib holds no other tool 'saw'"),
        ("tool-pushed-in", {}, {"by_mm": 500.0}, "nothing of the tool would be left"),
        ("tip-broken", {}, {"by_mm": 0.0}, "as much of the tip is gone already"),
        (
            "tool-left-in",
            {"spindle_tool": None, "tools": [], "controller": {"rows": {}}},
            {},
            "the crib is empty",
        ),
        (
            "spindle-turned",
            {"machine": "bed-mill", "placements": {}},
            {},
            "nothing on this spindle depends on its angle",
        ),
        ("offset-active", {}, {"row": 7}, "row 7 holds no length"),
        ("other-system", {}, {"system": "G60"}, "there is no other work system 'G60'"),
        (
            "counts-in-steps",
            {"controller": {"distance": "incremental"}},
            {},
            "moves count in steps already",
        ),
        ("length-in-inch", {}, {}, "no row holds a length"),
        ("wrong-slot", {}, {"slot": 1}, "there is no other row"),
        ("wrong-slot", {"spindle_tool": None}, {}, "the spindle is bare"),
        ("rows-swapped", {"controller": EMPTY}, {}, "there are no two rows with tools"),
        ("old-wear", {"controller": {"rows": {}, "slot": 0}}, {}, "the tool table is empty"),
        ("height-wrong", {"record": {"height_mm": "none"}}, {}, "the height of main is not stored"),
        ("reference-wrong", {"record": {"reference_z_mm": "none"}}, {}, "main has no reference"),
        ("place-wrong", {"record": {"x_mm": "none"}}, {}, "the place of main is not stored"),
        (
            "clearance-low",
            {"record": {"clearance_z_mm": "none"}},
            {},
            "main has no clearance height",
        ),
    ],
)
def test_why_a_fault_cannot_happen(
    name: str, more: dict[str, Any], figures: dict[str, Any], reason: str
) -> None:
    more = json.loads(json.dumps(more))  # a case of its own: scenarios take from it
    for key in ("proved", "plugs", "records"):
        if more.get("setter") == {}:
            more["controller"][key] = [] if key == "proved" else {}
    scenario = centre(steps=[], **more)
    with pytest.raises(NotHere) as caught:
        faulty(scenario, name, **figures)
    assert caught.value.reason == reason


@given(st.lists(st.sampled_from(sorted(FAULTS)), max_size=5), st.sampled_from(sorted(SCENARIOS)))
@settings(max_examples=60)
def test_faults_combine(names: list[str], where: str) -> None:
    scenario = SCENARIOS[where]
    before = pickle.dumps(scenario)
    changed, put_in = scenario, []
    for name in names:
        try:
            changed = faulty(changed, name)
        except NotHere:
            continue
        put_in.append(name)
    assert pickle.dumps(scenario) == before
    assert faulty(scenario, *put_in) == changed
    Scenario.model_validate(changed.model_dump(by_alias=True))


def test_a_scenarios_own_faults_are_put_in_when_its_twin_is_built() -> None:
    listed = centre(faults=[{"name": "chip-on-pad", "with": {"dirt_um": 40.0}}])
    put_in = faulty(centre(), "chip-on-pad", dirt_um=40.0)
    assert with_faults(listed) == put_in
    assert with_faults(put_in) is put_in
    twin = Twin(listed)
    assert twin.scenario == put_in
    assert (0.0, "fault", ["chip-on-pad", {"dirt_um": 40.0}]) in twin.recorder.events
    assert summary(twin.run_steps()) == summary(Twin(put_in).run_steps())
    assert Twin(listed).run_steps().verdict == "wrong"


def test_faults_survive_saving(tmp_path: Path) -> None:
    step = {"after": "close", "step": {"do": "fault", "name": "zero_moved", "with": {"by_mm": 0.2}}}
    listed = centre(faults=[{"name": "tool-slipped", "with": {"by_mm": 0.2}}], meanwhile=[step])
    path = tmp_path / "saved.toml"
    path.write_text(scenario_to_toml(listed), encoding="utf-8")
    again = load_scenario(path)
    assert again.faults == (Fault.model_validate({"name": "tool-slipped", "with": {"by_mm": 0.2}}),)
    assert again.meanwhile == listed.meanwhile


BASE = 'machine = "machining-centre"\nsetter.main = "bolted-nc"\ntools = ["end-mill-10"]\n'


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ('[[faults]]\nname = "chip-on-pd"\n', 5, "did you mean 'chip-on-pad'?"),
        ('[[faults]]\nname = "chip-on-pad"\nwith.dirt_mm = 1\n', 6, "did you mean 'dirt_um'?"),
        ('[[faults]]\nname = "chip-on-pad"\nwith.dirt_um = "x"\n', 6, "expected a number in um"),
        ('[[faults]]\nname = "chip-on-pad"\nwith.dirt_um = -1\n', 4, "makes something impossible"),
        ('[[faults]]\nname = "radio-blocked"\n', 4, "has no effect here: main has no radio link"),
        ('[[faults]]\nname = "unplugged"\n', 4, "the plug of main is in no socket"),
        ('[[steps]]\ndo = "fault"\nname = "tip_brokn"\n', 6, "did you mean 'tip-broken'?"),
        (
            '[[meanwhile]]\nat_s = 1\nstep = {do="fault", name="tip-broken", with={by=1}}\n',
            6,
            "use one of: by_mm",
        ),
    ],
)
def test_a_wrong_fault_is_told_with_its_line(
    tmp_path: Path, text: str, line: int, said: str
) -> None:
    path = tmp_path / "case.toml"
    path.write_text(BASE + text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert caught.value.line == line
    assert said in str(caught.value)


def test_names_and_arguments_are_checked_in_python_too() -> None:
    with pytest.raises(StepError, match="did you mean 'wire-broken'"):
        fault_named("wire-brokn")
    assert fault_named("wire_broken") is FAULTS["wire-broken"]
    with pytest.raises(StepError, match="takes no argument 'far'"):
        faulty(centre(), "contact-stuck-open", far=1)
    with pytest.raises(StepError, match="a whole number"):
        faulty(centre(), "homed-a-turn-off", turns=1.5)
    with pytest.raises(StepError, match="belong to one fault"):
        faulty(centre(), "tool-slipped", "tool-worn", by_mm=0.1)
    with pytest.raises(StepError, match="takes no argument"):
        begins(centre(), "tool-slipped", at_s=1.0, far=1)
    with pytest.raises(NotHere, match="there is no setter 'other'"):
        faulty(centre(), "setter-shifted", setter="other")
    error = NotHere("why")
    assert str(NotHere(*error.args)) == "why"
