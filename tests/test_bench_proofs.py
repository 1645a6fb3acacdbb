"""A proof belongs to its number: it can't be earned by a reading of something else."""

from __future__ import annotations

from typing import Any

import pytest
from bench_cases import do, routine, same
from bench_trainee import Trainee

from drytouch.sim.bench import Session
from drytouch.sim.bench.proofs import PROOFS
from drytouch.sim.bench.second_ways import RULE_DOUBT_MM, Past
from drytouch.sim.scenario.load import load_part, load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.steps import measuring


def measured(scenario: str | Scenario = "three-tools-by-hand") -> Trainee:
    """Every row's tool measured by hand; no rule held to anything yet."""
    at = Trainee(Session.open(scenario, seed=3))
    at.prove()
    for row in at.rows():
        at.touch_by_hand(row, store=True)
    return at


def skipped(at: Trainee, proof: str) -> list[str]:
    """What a proof is missing for, so far."""
    return PROOFS[proof].missing(at.session)


ROWS = ["row 1 length", "row 2 length", "row 3 length"]


def test_a_rule_proves_the_tool_that_it_was_held_to_and_no_other() -> None:
    at = measured()
    assert skipped(at, "cross-checked") == ROWS
    at.rule("tool-length")  # the drill of row 3 is in the spindle, and its row is in use
    assert skipped(at, "cross-checked") == ROWS[:2]
    at.load(1)
    at.rule("tool-length", row=1)
    assert skipped(at, "cross-checked") == ROWS[1:2]


def test_a_rule_proves_what_is_stored_and_not_what_will_be() -> None:
    at = measured()
    at.rule("tool-length", row=3)
    assert skipped(at, "cross-checked") == ROWS[:2]
    at.touch_by_hand(3, store=True)  # the same number, stored anew: nobody has looked at this one
    assert skipped(at, "cross-checked") == ROWS


def test_a_tool_of_the_same_length_proves_nothing_about_another_row() -> None:
    base = load_scenario("three-tools-by-hand")
    rows = base.controller.rows
    like = {"end-mill-3": load_part("tool", "end-mill-3"), **base.tools}
    rows = {**rows, 1: rows[1].model_copy(update={"tool": "end-mill-3"})}
    controller = base.controller.model_copy(update={"rows": rows})
    at = measured(base.model_copy(update={"tools": like, "controller": controller}))
    assert at.sheet("end-mill-3") == at.sheet("end-mill-6")
    at.load(1)
    at.rule("tool-length", row=2)  # it agrees with row 2, whose tool lies in the crib
    assert at.state()["alarm"] is None
    assert skipped(at, "cross-checked") == ROWS


@pytest.mark.parametrize("what", ["setter-height", "tip-to-table", "tip-to-stock"])
def test_a_reading_of_something_else_proves_no_length(what: str) -> None:
    at = measured()
    at.over("aluminium-block" if what == "tip-to-stock" else None)
    if what == "tip-to-table":
        at.go(*at.free_spot())
    at.session.act({"do": "rule", "what": what})
    at.session.tick(15.0)
    assert skipped(at, "cross-checked") == ROWS


def test_measuring_again_with_the_same_reference_is_no_second_way() -> None:
    base = load_scenario("three-tools-by-hand")
    assert base.exercise is not None
    exercise = base.exercise.model_copy(update={"routines": None})
    at = measured(base.model_copy(update={"exercise": exercise}))
    routine(at.session, "recheck-length", row=3, longer_limit_mm=0.05, shorter_limit_mm=0.05)
    assert at.state()["alarm"] is None
    assert skipped(at, "cross-checked") == ROWS


def test_touches_before_and_after_a_change_of_tool_are_no_agreement() -> None:
    """The tool was out in between: one touch of each seat, which may differ."""
    base = load_scenario("three-tools-by-hand")
    assert base.exercise is not None
    at = Trainee(Session.open(base, seed=3))
    at.prove()
    for store in (False, True):
        at.load(1)
        at.over()
        trip = at.record()["reference_z_mm"] + at.in_spindle()
        at.down_to(trip + 2.0)
        what: dict[str, Any] = {"store": "length", "row": 1} if store else {}
        at.do("touch", z_mm=trip - 2.0, feed_mm_per_min=25.0, **what)
        at.up()
    assert skipped(at, "touches-agree") == ["row 1 length"]
    at.touch_by_hand(1, store=True)
    assert skipped(at, "touches-agree") == []


# ---- references --------------------------------------------------------------------------


def referenced() -> Trainee:
    at = Trainee(Session.open("reference-by-master", seed=3))
    at.prove()
    at.reference_by_master()
    return at


def proofs_of_reference(at: Trainee) -> tuple[list[str], list[str]]:
    return skipped(at, "cross-checked"), skipped(at, "known-tool")


BOTH = (["setter reference"], ["the reference"])


def test_the_master_itself_proves_nothing_about_its_own_reference() -> None:
    at = referenced()
    assert proofs_of_reference(at) == BOTH
    master = at.state()["modes"]["tool"]
    at.routine("measure-length", row=3, expected_length_mm=at.sheet(master))
    assert at.state()["alarm"] is None
    assert proofs_of_reference(at) == BOTH
    at.known_tool()
    assert proofs_of_reference(at) == ([], [])


def test_a_certificate_that_is_typed_in_proves_nothing() -> None:
    at = referenced()
    at.load(2)
    master = at.sheet(str(at.rows()[3]["tool"]))
    at.do("type-in", row=2, length_mm=at.sheet(str(at.rows()[2]["tool"])) - master)
    assert at.session.live.twin.judge.numbers["row 2 length"].error == pytest.approx(0.0, abs=1e-9)
    assert proofs_of_reference(at) == BOTH


def test_a_tool_measured_before_the_reference_was_taken_proves_nothing_about_it() -> None:
    at = referenced()
    at.known_tool()
    at.reference_by_master()
    assert proofs_of_reference(at) == BOTH


def test_a_rule_on_a_tool_that_was_measured_with_it_is_a_rough_look_at_a_reference() -> None:
    """It is a second way; it is no tool of known length that came out as its paper says."""
    at = Trainee(Session.open("recover-after-an-emergency-stop", seed=3))
    at.session.tick(3.0)
    at.do("reset")
    at.prove()
    at.do("home")
    at.reference()
    at.load(1)
    at.rule("setter-height", setter=at.setter)
    assert "setter reference" in skipped(at, "cross-checked")
    at.do("home")
    at.prove()
    at.do("load-tool")
    at.reference()
    tool = at.load(1)
    at.routine("measure-length", row=1, expected_length_mm=at.sheet(tool))
    assert skipped(at, "cross-checked") == ["setter reference", "row 1 length"]
    at.rule("tool-length", row=1)
    assert skipped(at, "cross-checked") == []
    assert skipped(at, "known-tool") == ["the reference"]


# ---- work Z and height -------------------------------------------------------------------


def zeroed(system: str) -> Trainee:
    """Work Z stored in a system, the setter off, the tip right up over the stock."""
    base = load_scenario("work-z-in-the-second-system")
    assert base.exercise is not None
    exercise = base.exercise.model_copy(update={"numbers": (f"{system} z",)})
    at = Trainee(
        Session.open(base.model_copy(update={"exercise": exercise, "work_system": system}), seed=3)
    )
    at.prove()
    at.onto_stock()
    at.over()
    at.down_to(at.pad_z() + at.in_spindle() + 10.0)
    at.routine("set-work-z", system=system, row=1)
    at.off()
    return at


@pytest.mark.parametrize(("system", "other"), [("G55", "G54"), ("G59.1", "G59")])
def test_jogging_back_in_another_system_proves_nothing(system: str, other: str) -> None:
    at = zeroed(system)
    # The other system holds the very same zero: the reading is right, and belongs to it.
    z = at.state()["tables"]["systems"][system][2]
    at.do("type-in", system=other, z_mm=z)
    at.do("jog-back", system=other, row=1)
    assert at.state()["alarm"] is None
    assert skipped(at, "cross-checked") == [f"{system} z"]
    at.up()
    at.do("jog-back", system=system, row=1)
    assert skipped(at, "cross-checked") == []


def test_a_rule_under_the_tip_counts_in_the_system_and_length_that_are_in_use() -> None:
    at = zeroed("G55")
    at.down_to(at.state()["tables"]["systems"]["G55"][2] + at.in_spindle() + 20.0)
    at.do("select", system="G55", length_row=1)
    at.do("select", system="G54")
    at.do("type-in", system="G54", z_mm=at.state()["tables"]["systems"]["G55"][2])
    at.rule("tip-to-stock")
    assert skipped(at, "cross-checked") == ["G55 z"]
    at.do("select", system="G55")
    at.rule("tip-to-stock")
    assert skipped(at, "cross-checked") == []


def test_jogging_back_with_the_tool_that_set_the_zero_hides_an_error_of_its_length() -> None:
    """Length 5 mm too long: the zero is 5 mm too low, and the tip comes back to about zero."""
    base = load_scenario("work-z-in-the-second-system")
    assert base.exercise is not None
    exercise = base.exercise.model_copy(update={"numbers": ("row 1 length", "G55 z")})
    at = Trainee(Session.open(base.model_copy(update={"exercise": exercise}), seed=3))
    at.prove()
    at.do("type-in", row=1, length_mm=125.0)
    at.work_zero(1)
    assert at.state()["alarm"] is None
    assert skipped(at, "cross-checked") == ["row 1 length"]


def test_a_height_is_proved_by_a_rule_on_the_setter_and_not_on_the_tool() -> None:
    at = Trainee(Session.open("setter-height-by-block", seed=3))
    at.prove()
    at.setter_height()
    assert skipped(at, "cross-checked") == []
    at = Trainee(Session.open("setter-height-by-block", seed=3))
    at.prove()
    at.rule("tool-length", row=2)
    assert skipped(at, "block-from-below") == ["the gauge block"]
    number = at.session.live.twin.judge.numbers.get("setter height")
    assert number is None


# ---- what is said of it ------------------------------------------------------------------


def test_the_rules_accuracy_is_said_and_is_the_rules_own() -> None:
    proof = PROOFS["cross-checked"]
    assert "reads to half" in proof.why
    assert measuring.RULE_STEP_MM == 0.5
    assert RULE_DOUBT_MM == measuring.RULE_DOUBT_MM == 2 * measuring.RULE_STEP_MM


def test_a_rule_that_disagrees_proves_nothing() -> None:
    at = measured()
    at.do("type-in", row=3, length_mm=169.0)
    at.rule("tool-length", row=3)
    assert "3 length" in skipped(at, "cross-checked")[-1]
    do(at.session, "reset")
    at.session.finish()
    same(at.session)


def test_the_past_knows_what_was_in_the_spindle() -> None:
    at = measured()
    past = Past(at.session)
    tools = [past.tool(at.session.live.twin.judge.numbers[name].time_s)[1] for name in ROWS]
    assert tools == [at.rows()[row]["tool"] for row in (1, 2, 3)]
    assert past.tool(0.0) == (0.0, None)
