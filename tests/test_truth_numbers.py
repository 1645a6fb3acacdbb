"""Numbers against the truth, and what is said about signals, rows, references and hands."""

from __future__ import annotations

from typing import Any

import pytest
from truth_cases import (
    HOME,
    MEASURE,
    OFF,
    ON,
    REFERENCE_Z,
    UP,
    data,
    down,
    merged,
    only,
    routine,
    run,
    touch,
    twin,
)

from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.truth.catalogue import CATALOGUE
from drytouch.sim.truth.finding import make
from drytouch.sim.truth.verdict import ORDER, worst
from drytouch.sim.twin.twin import Twin

TOUCH = [*down(-357.0), touch(-365.0, store="length", row=1)]


def rows(**one: Any) -> dict[str, Any]:
    return {"controller": {"rows": {1: {"tool": "end-mill-10", **one}}}}


# ---- the number itself -----------------------------------------------------------------------


def test_a_length_is_trip_height_minus_reference() -> None:
    outcome = run(TOUCH)
    number = outcome.numbers["row 1 length"]
    assert number.truth == 120.0
    # The encoder notes whole tenths of a micrometre; the reference was not rounded.
    assert number.error == pytest.approx(0.0, abs=1e-4)
    assert outcome.codes == ()


@pytest.mark.parametrize("off_um", [0.0, 9.0, 11.0, -11.0, 300.0])
def test_a_false_reference_goes_straight_into_the_length(off_um: float) -> None:
    z = REFERENCE_Z + off_um * 1e-3
    outcome = run(TOUCH, controller={"records": {"setter": {"reference_z_mm": z}}})
    number = outcome.numbers["row 1 length"]
    assert number.error * 1e3 == pytest.approx(-off_um, abs=0.1)
    wrong = abs(off_um) > 10.0
    assert ("wrong-number" in outcome.codes) is wrong
    # It was false when the run began, and flagged valid.
    assert ("stale-reference" in outcome.codes) is wrong
    assert outcome.verdict == ("wrong" if wrong else "right")
    if wrong:
        assert only(outcome, "wrong-number").figures["error_um"] == pytest.approx(-off_um, abs=0.1)


def test_dirt_is_in_the_number_and_named_as_the_cause() -> None:
    outcome = run([MEASURE], truth={"noise": {"dirt_um": 60.0}})
    assert outcome.numbers["row 1 length"].error == pytest.approx(0.060, abs=1e-4)
    assert only(outcome, "wrong-number").why == "60 um of dirt lay between tool and pad."


def test_a_scan_is_late_by_feed_times_delay_and_only_equal_feeds_cancel() -> None:
    # The large centre notes the position 1 ms after the edge (its filter): at 400 and 25 mm/min
    # that is 6.7 and 0.4 um of path.
    def error(reference_feed: float, tool_feed: float) -> float:
        outcome = run(
            [UP, {"do": "move", "x_mm": -900.0, "y_mm": -300.0},
             {"do": "load-tool", "tool": "master-tool", "slot": 3}, {"do": "move", "z_mm": -570.0},
             touch(-580.0, reference_feed, store="reference"), UP,
             {"do": "load-tool", "tool": "end-mill-10", "slot": 1}, {"do": "move", "z_mm": -575.0},
             touch(-585.0, tool_feed, store="length", row=1)],
            machine="large-centre", tools=["end-mill-10", "end-mill-6", "master-tool"],
            placements={"setter": {"x_mm": -900.0, "y_mm": -300.0}},
            setter={"setter": {"bounce_pairs": 0}},
            controller={"records": {"setter": {
                "x_mm": -900.0, "y_mm": -300.0, "reference_z_mm": None, "reference_valid": False,
                "master_length_mm": 125.004, "height_mm": 59.9}}},
        )  # fmt: skip
        assert "unproved-input" not in outcome.codes
        return outcome.numbers["row 1 length"].error * 1e3

    assert error(25.0, 25.0) == pytest.approx(0.0, abs=0.2)
    assert error(400.0, 400.0) == pytest.approx(0.0, abs=0.2)
    late = (400.0 - 25.0) / 60.0 * 0.001 * 1e3
    assert error(25.0, 400.0) == pytest.approx(-late, abs=0.2)
    assert error(400.0, 25.0) == pytest.approx(late, abs=0.2)


def test_touched_at_another_feed_than_the_reference_is_given_as_the_cause() -> None:
    slow = [
        UP, {"do": "move", "x_mm": -600.0, "y_mm": -167.0}, {"do": "move", "z_mm": -475.0},
        touch(-485.0, 25.0, store="reference"),
    ]  # fmt: skip
    fast = [{"do": "load-tool", "tool": "end-mill-10", "slot": 1}, *down(-340.0),
            touch(-365.0, 400.0, store="length", row=1)]  # fmt: skip
    late = {
        "machine": {"use": "machining-centre", "sockets": {"setter": {"filter_s": 0.003}},
                    "habits": {"latch": "scan"}},
        "spindle_tool": None,
        "controller": {"slot": 0},
    }  # fmt: skip
    finding = only(run([*slow, *fast], **late), "wrong-number")
    assert finding.why.startswith("The reference was touched at 25 mm/min and the tool at 400:")


# ---- work zero and the tip -------------------------------------------------------------------

ON_STOCK: dict[str, Any] = {
    "work_system": "G54",
    "placements": {"setter": {"on": "aluminium-block", "x_mm": -300.0, "y_mm": -200.0}},
    "controller": {
        "rows": {1: {"length_mm": 120.0}},
        "records": {"setter": {"x_mm": -300.0, "reference_z_mm": None, "reference_valid": False}},
    },
}
TO_STOCK = [UP, {"do": "move", "x_mm": -300.0, "y_mm": -200.0}, {"do": "move", "z_mm": -317.0}]
ZERO = [*TO_STOCK, touch(-325.0, store="work-z", row=1)]


def tip(outcome: Any, system: str = "G54") -> float:
    return float(outcome.numbers[f"tip at work zero, {system}, row 1"].error)


def test_work_z_is_the_top_of_the_stock() -> None:
    outcome = run(ZERO, **ON_STOCK)
    # -540 + 40, and half of the lost motion on the way down.
    assert outcome.numbers["G54 z"].truth == pytest.approx(-500.0005)
    assert outcome.numbers["G54 z"].error == pytest.approx(0.0, abs=1e-4)
    assert tip(outcome) == pytest.approx(0.0, abs=1e-4)
    assert outcome.codes == ()


def test_an_error_that_length_and_work_z_share_cancels_at_the_tip() -> None:
    # A length 0.1 mm too long puts work Z 0.1 mm too low: the tip is right, two numbers are not.
    case = merged(ON_STOCK, {"controller": {"rows": {1: {"length_mm": 120.1}}}})
    outcome = run(ZERO, **case)
    assert outcome.numbers["G54 z"].error == pytest.approx(-0.1, abs=1e-4)
    assert tip(outcome) == pytest.approx(0.0, abs=1e-4)
    assert outcome.verdict == "wrong"
    # An error of the setter's height does not cancel.
    case = merged(ON_STOCK, {"controller": {"records": {"setter": {"height_mm": 59.8}}}})
    assert tip(run(ZERO, **case)) == pytest.approx(0.1, abs=1e-4)


def test_a_false_work_z_names_the_stored_numbers_behind_it() -> None:
    def why(case: dict[str, Any]) -> str:
        found = run(ZERO, **merged(ON_STOCK, {"controller": case})).findings
        return next(f.why for f in found if f.figures.get("name") == "G54 z")

    tall = {"records": {"setter": {"height_mm": 60.9}}}
    long = {"rows": {1: {"length_mm": 120.5}}}
    height = "the stored height of setter, off by +1000 um"
    assert why(tall) == f"It was computed from {height}."
    assert why(long) == "It was computed from the length in row 1, off by +500 um."
    both = f"It was computed from {height} and the length in row 1, off by +500 um."
    assert why(merged(tall, long)) == both


def test_a_shift_is_told_and_is_in_the_tip() -> None:
    case = merged(ON_STOCK, {"controller": {"shift_mm": [0.0, 0.0, 2.0]}})
    outcome = run(ZERO, **case)
    assert outcome.codes == ("leftover-shift", "wrong-number")
    assert only(outcome, "leftover-shift").figures["shift_mm"] == 2.0
    assert tip(outcome) == pytest.approx(2.0, abs=1e-4)
    used = run(
        [UP, {"do": "move", "z_mm": 300.0, "frame": "work"}],
        controller={"shift_mm": [0.0, 0.0, 2.0], "systems": {"G54": [-300.0, -200.0, -500.0]}},
    )
    assert used.codes == ("leftover-shift",)


def test_the_wrong_system_and_the_right_one() -> None:
    case = merged(ON_STOCK, {"work_system": "G55"})
    outcome = run(ZERO, **case)
    assert outcome.codes == ("wrong-system",)
    assert outcome.verdict == "wrong"
    figures = only(outcome, "wrong-system").figures
    assert (figures["system"], figures["meant"]) == ("G54", "G55")
    assert run([*ZERO[:-1], {**ZERO[-1], "system": "G55"}], **case).codes == ()


# ---- rows ------------------------------------------------------------------------------------


def test_old_wear_is_counted_twice_and_mended_by_clearing_it() -> None:
    kept = [*down(-357.0), touch(-365.0, store="length", row=1, keep_wear=True)]
    outcome = run(kept, **rows(wear_mm=-0.15))
    assert outcome.codes == ("wear-counted-twice", "wrong-number")
    assert outcome.numbers["row 1 length"].error == pytest.approx(-0.15, abs=1e-4)
    assert (
        run([*kept, {"do": "type-in", "row": 1, "wear_mm": 0.0}], **rows(wear_mm=-0.15)).codes == ()
    )
    assert run(TOUCH, **rows(wear_mm=-0.15)).codes == ()


def test_lengths_of_two_conventions() -> None:
    # Counted from the table, a tool of 120 mm is 120 - 540 mm.
    outcome = run([{"do": "type-in", "row": 1, "length_mm": -420.0}])
    assert outcome.codes == ("mixed-lengths", "wrong-number")
    assert only(outcome, "mixed-lengths").figures["base_mm"] == pytest.approx(-540.0005)


def test_a_typed_length_belongs_to_its_own_row_whatever_is_in_the_spindle() -> None:
    assert run([{"do": "type-in", "row": 2, "length_mm": 95.0}]).codes == ()
    wrong = run([{"do": "type-in", "row": 2, "length_mm": 96.0}])
    assert wrong.codes == ("wrong-number",)
    assert wrong.numbers["row 2 length"].error == pytest.approx(1.0)


def test_rows_that_belong_to_another_tool() -> None:
    stored = run([*down(-357.0), touch(-365.0, store="length", row=2)])
    assert stored.codes == ("wrong-slot",)
    assert (only(stored, "wrong-slot").figures["row"], stored.verdict) == (2, "wrong")
    used = run([{"do": "select", "length_row": 2}])
    assert used.codes == ("wrong-slot",)
    assert run([{"do": "select", "length_row": 1}]).codes == ()
    # Selected for one tool, used with the next.
    changed = run(
        [{"do": "select", "length_row": 1}, {"do": "load-tool", "tool": "end-mill-6", "slot": 2},
         {"do": "move", "z_mm": 300.0, "frame": "work"}],
        controller={"rows": {1: {"length_mm": 120.0}},
                    "systems": {"G54": [-300.0, -200.0, -500.0]}},
    )  # fmt: skip
    assert changed.codes == ("wrong-slot",)


# ---- references ------------------------------------------------------------------------------


def test_a_flagged_reference_used_all_the_same_and_one_that_is_asked_for() -> None:
    flagged = {"controller": {"records": {"setter": {"reference_valid": False}}}}
    used = run(TOUCH, **flagged)
    assert used.codes == ("stale-reference",)
    assert (used.verdict, only(used, "stale-reference").figures["flagged"]) == ("risky", "invalid")
    asked = run([MEASURE], **flagged)
    assert (asked.codes, asked.verdict) == ((), "stopped")


def test_a_reference_that_is_flagged_valid_and_no_longer_true() -> None:
    sideways = run([{"do": "nudge", "item": "setter", "by_mm": [0.5, 0.0, 0.0]}, MEASURE])
    assert sideways.codes == ("setter-moved", "stale-reference")
    stale = only(sideways, "stale-reference")
    assert (stale.figures["flagged"], stale.figures["across_mm"]) == ("valid", pytest.approx(0.5))
    assert sideways.verdict == "risky"
    down_by = run([{"do": "nudge", "item": "setter", "by_mm": [0.0, 0.0, 0.05]}, MEASURE])
    assert down_by.codes == ("setter-moved", "stale-reference", "wrong-number")
    assert down_by.numbers["row 1 length"].error == pytest.approx(0.05, abs=1e-4)
    assert only(down_by, "stale-reference").figures["moved_mm"] == pytest.approx(0.05, abs=1e-6)


def test_a_homing_that_lands_elsewhere_makes_every_height_stale() -> None:
    outcome = run([HOME, MEASURE], truth={"homing_error_mm": [0.0, 0.0, 0.04]})
    assert outcome.codes == ("stale-reference", "wrong-number")
    # The axis is 0.04 mm higher than it reads, and it came home from below through half of the lost
    # motion: the tool seems that much shorter.
    assert outcome.numbers["row 1 length"].error == pytest.approx(-0.0405, abs=1e-4)


def test_a_spindle_that_has_grown() -> None:
    # 30 um at full speed, settled after some time constants of 1200 s.
    outcome = run(
        [{"do": "spin", "rpm": 10000.0}, {"do": "wait", "for_s": 12000.0},
         {"do": "spin", "rpm": 0.0}, MEASURE],
        time_limit_s=20000.0,
    )  # fmt: skip
    assert outcome.codes == ("stale-reference", "wrong-number")
    # exp(-10) is still missing, and some seconds of cooling.
    assert outcome.numbers["row 1 length"].error == pytest.approx(0.030, abs=1e-3)
    assert "grown with warmth" in only(outcome, "stale-reference").why


def test_a_machine_that_forgets_flags_and_one_that_keeps_does_not() -> None:
    stop = [{"do": "e-stop"}, {"do": "reset"}, HOME, MEASURE]
    assert (run(stop).verdict, run(stop).codes) == ("right", ())
    forgets = {"machine": {"use": "machining-centre", "emergency_stop": {"keeps_reference": False}}}
    outcome = run(stop, **forgets)
    assert (outcome.verdict, outcome.codes) == ("stopped", ())
    assert outcome.alarms[-1][1].code == "stale-reference"


# ---- signals ---------------------------------------------------------------------------------


def test_a_touch_before_proof_is_risky_and_a_refused_one_is_not() -> None:
    outcome = run(TOUCH, controller={"proved": []})
    assert (outcome.codes, outcome.verdict) == (("unproved-input",), "risky")
    assert only(outcome, "unproved-input").figures["input"] == 1
    refused = run([{"do": "plug-in", "setter": "setter"}, *TOUCH])
    assert (refused.codes, refused.verdict) == (("already-tripped",), "stopped")
    assert "No cable" in only(refused, "already-tripped").why


def test_proof_is_void_after_each_change_and_back_after_a_press() -> None:
    replug = {"do": "plug-in", "setter": "setter", "socket": "setter"}
    assert run([replug, *TOUCH]).codes == ("unproved-input",)
    assert run([OFF, replug, {"do": "press-pad", "setter": "setter"}, ON, *TOUCH]).codes == ()
    assert run([OFF, {"do": "power-cycle"}, *TOUCH]).codes == ("unproved-input",)


def test_a_latch_in_the_air_is_false_and_counts_as_stopped_when_an_alarm_caught_it() -> None:
    noise = {"truth": {"noise": {"spikes_per_s": 0.5, "spike_s": 0.004}}}
    # With chance off a burst comes every 2 s and is seen as long as the scan finds it.
    stored = run([*down(-300.0), touch(-365.0, store="length", row=1)], **noise)
    assert {"false-trigger", "wrong-number"} <= set(stored.codes)
    assert stored.verdict == "wrong"
    assert only(stored, "wrong-number").why == "The controller latched where nothing was touched."
    caught = run([routine("measure-length", row=1)], **noise)
    assert caught.alarms
    assert not caught.numbers
    assert caught.verdict == "stopped"


def test_chatter_is_one_touch_and_a_worn_contact_is_two() -> None:
    base = data(chance=True, steps=[MEASURE])
    for seed in range(12):
        worn = merged(base, {"setter": {"setter": {"bounce_s": 0.03, "bounce_pairs": 12}}})
        seen = Twin(scenario_from_dict(worn), seed).run_steps()
        assert set(seen.codes) == {"bounce"}
        assert all(f.figures["after_ms"] > 5.0 for f in seen.findings)
        usual = Twin(scenario_from_dict(base), seed).run_steps()
        assert usual.codes == ()
        sockets = {"setter": {"filter_s": 0.03}}
        filtered = merged(worn, {"machine": {"use": "machining-centre", "sockets": sockets}})
        assert "bounce" not in Twin(scenario_from_dict(filtered), seed).run_steps().codes


def test_no_contact_says_whether_anything_was_met() -> None:
    air = run([*down(-340.0), touch(-350.0)])
    assert air.codes == ("no-contact",)
    assert only(air, "no-contact").why.startswith("Nothing was met")
    assert only(air, "no-contact").figures["path_mm"] == pytest.approx(10.0)


# ---- hands -----------------------------------------------------------------------------------

PRESS = {"do": "press-pad", "setter": "setter"}
IN, OUT = {"do": "hand", "inside": True}, {"do": "hand", "inside": False}


@pytest.mark.parametrize(
    ("steps", "bad"),
    [
        ([PRESS], True),
        ([OFF, PRESS, ON], False),
        ([OFF, IN, ON], True),
        ([OFF, IN, OUT, ON], False),
        ([{"do": "e-stop"}, IN, {"do": "reset"}], True),
        ([{"do": "e-stop"}, IN, OUT, {"do": "reset"}], False),
        ([OFF, IN, {"do": "power-cycle"}], True),
        ([{"do": "rule", "what": "tool-length"}], True),
        ([OFF, {"do": "rule", "what": "tool-length"}], False),
    ],
)
def test_a_hand_inside_while_something_could_move(steps: list[dict[str, Any]], bad: bool) -> None:
    outcome = run(steps)
    assert outcome.codes == (("hand-in-reach",) if bad else ())
    assert outcome.verdict == ("harm" if bad else "right")


def test_a_hand_that_goes_in_while_the_axis_moves() -> None:
    outcome = run([UP, {"do": "move", "z_mm": -200.0}], meanwhile=[{"at_s": 0.3, "step": IN}])
    assert outcome.codes == ("hand-in-reach",)
    assert only(outcome, "hand-in-reach").figures["what"] == "an axis was moving"


# ---- verdict and catalogue -------------------------------------------------------------------


def test_worst_wins() -> None:
    assert ORDER == ("harm", "wrong", "risky", "stopped", "right")
    assert worst([]) == "right"
    for index, verdict in enumerate(ORDER):
        assert worst(ORDER[index:]) == verdict
        assert worst(reversed(ORDER[index:])) == verdict


def test_an_alarm_makes_stopped_of_an_otherwise_right_run() -> None:
    outcome = run([routine("recheck-length", row=1, longer_limit_mm=0.01, shorter_limit_mm=0.01)],
                  **rows(length_mm=119.9))  # fmt: skip
    assert (outcome.verdict, outcome.codes) == ("stopped", ())


def test_every_row_of_the_catalogue_has_a_verdict_and_three_sentences() -> None:
    wanted = {
        "crash", "runaway", "lug-strike", "setter-crushed", "tool-overloaded", "spun-into-pad",
        "hand-in-reach", "setter-moved", "near-miss", "low-clearance", "already-tripped",
        "no-contact", "false-trigger", "bounce", "missed-edge", "squeezed-block",
        "stale-reference", "unproved-input", "wrong-slot", "wrong-system", "mixed-lengths",
        "wear-counted-twice", "leftover-shift", "wrong-number", "lost-steps", "drive-fault",
        "limit",
    }  # fmt: skip
    assert set(CATALOGUE) == wanted
    for entry in CATALOGUE.values():
        assert entry.verdict in ORDER
        assert entry.what.endswith(".")
        assert entry.avoid.endswith(".")
        assert entry.why == "{why}" or entry.why.endswith(".")


def test_a_finding_rounds_no_figure_and_starts_its_sentences_with_a_capital() -> None:
    source = twin([]).controller.source
    finding = make(
        "near-miss", 1.5, (1.0, 2.0, 3.0), source,
        kind="jog", room_mm=0.123456, needed_mm=1.0, other="the pad",
    )  # fmt: skip
    assert finding.to_dict()["figures"]["room_mm"] == 0.123456
    assert finding.what == "A jog stopped 0.12 mm before the pad; stopping took 1.00 mm."


def test_a_false_length_that_the_rule_stops_was_stopped_until_somebody_goes_on() -> None:
    z = REFERENCE_Z + 1.5
    false = {"controller": {"records": {"setter": {"reference_z_mm": z}}}}
    rule = {"do": "rule", "what": "tool-length"}
    assert run([*TOUCH, UP, OFF], **false).verdict == "wrong"
    outcome = run([*TOUCH, UP, OFF, rule], **false)
    assert outcome.alarms[-1][1].code == "out-of-limit"
    assert outcome.verdict == "stopped"
    finding = only(outcome, "wrong-number")
    assert finding.severity == "stopped"
    assert finding.why.endswith("A check stopped it before anything was cut with it.")


def test_whoever_goes_on_after_the_alarm_of_a_check_was_not_stopped() -> None:
    false = {"controller": {"records": {"setter": {"reference_z_mm": REFERENCE_Z + 1.5}}}}
    steps = [*TOUCH, UP, OFF, {"do": "wait", "for_s": 60.0}]
    later = [
        {"at_s": at, "step": step}
        for at, step in (
            (30.0, {"do": "rule", "what": "tool-length"}),
            (45.0, {"do": "reset"}),
        )
    ]
    stopped = run(steps, meanwhile=later[:1], **false)
    went_on = run(steps, meanwhile=later, **false)
    assert (stopped.verdict, went_on.verdict) == ("stopped", "wrong")


def test_a_reference_that_was_never_true_is_not_told_as_one_that_moved() -> None:
    mistyped = {"controller": {"records": {"setter": {"reference_z_mm": REFERENCE_Z + 0.3}}}}
    finding = only(run(TOUCH, **mistyped), "stale-reference")
    assert "away from it" in finding.what
    assert finding.why.startswith("It did not hold when the run began")
    nudge = [{"do": "nudge", "item": "setter", "by_mm": [0.0, 0.0, 0.3]}]
    moved = only(run([*nudge, *TOUCH]), "stale-reference")
    assert "has moved by +0.300 mm in Z" in moved.what
