"""Steps: what a person does, in order, beside each other, after alarms; refusals that say why."""

from __future__ import annotations

from typing import Any

import pytest
from truth_cases import HOME, MEASURE, OFF, ON, OVER, UP, down, jog, routine, run, touch, twin

from drytouch.sim.errors import ControllerAlarm, StepError


def events(made: Any, kind: str) -> list[Any]:
    return [data for _, name, data in made.recorder.events if name == kind]


def refused(steps: list[dict[str, Any]], message: str, **changes: Any) -> StepError:
    made = twin(steps, **changes)
    with pytest.raises(StepError, match=message) as caught:
        made.run_steps()
    assert caught.value.fix
    return caught.value


# ---- alarms and what comes after -------------------------------------------------------------


def test_after_an_alarm_everything_is_skipped_until_reset() -> None:
    made = twin([{"do": "move", "z_mm": -900.0}, UP, OVER, {"do": "reset"}, OVER])
    outcome = made.run_steps()
    assert [step for step, _ in events(made, "skipped")] == [1, 2]
    assert [data[0] for data in events(made, "step")] == [0, 3, 4]
    assert made.controller.position == (-600.0, -200.0, 0.0)
    assert outcome.verdict == "stopped"
    assert isinstance(outcome.result[0], ControllerAlarm)


def test_nothing_moves_between_alarm_and_reset_even_when_asked() -> None:
    made = twin([{"do": "e-stop"}, UP])
    outcome = made.run_steps()
    assert [alarm.code for _, alarm in outcome.alarms] == ["e-stop"]


def test_a_machine_that_forgets_its_place_is_homed_after_an_emergency_stop() -> None:
    bed = {
        "machine": "bed-mill",
        "spindle_tool": None,
        "placements": {
            "setter": {"x_mm": -550.0, "y_mm": -175.0},
            "aluminium-block": {"x_mm": -250.0, "y_mm": -175.0},
        },
        "controller": {"slot": 0},
    }
    move = {"do": "move", "x_mm": -100.0}
    blind = run([{"do": "e-stop"}, {"do": "reset"}, move], **bed)
    assert [alarm.code for _, alarm in blind.alarms] == ["not-homed"]
    seeing = run([{"do": "e-stop"}, {"do": "reset"}, HOME, move], **bed)
    assert not seeing.alarms


def test_an_emergency_stop_in_mid_move_and_going_on_after_it() -> None:
    stop = {"at_s": 0.5, "step": {"do": "e-stop"}}
    made = twin([OVER, {"do": "reset"}, OVER, MEASURE], meanwhile=[stop])
    outcome = made.run_steps()
    assert [alarm.code for _, alarm in outcome.alarms] == ["e-stop"]
    assert made.controller.row(1).length_mm == pytest.approx(120.0, abs=1e-3)
    assert (outcome.verdict, outcome.codes) == ("stopped", ())


def test_drives_off_refuse_to_move_and_the_error_of_a_step_says_which() -> None:
    assert run([OFF, UP, OVER]).alarms[0][1].code == "drives-off"
    error = refused([UP, {"do": "take-away", "item": "setter"}, {"do": "press-pad", "setter":
                     "setter"}], "stands nowhere")  # fmt: skip
    assert str(error).startswith("step 3 (press-pad)")
    refused([{"do": "e-stop"}, ON], "emergency stop is pressed")


# ---- beside the steps ------------------------------------------------------------------------


def test_something_after_the_nth_contact() -> None:
    beside = {"after": "contact", "nth": 2, "delay_s": 0.001, "step": {"do": "e-stop"}}
    made = twin([MEASURE], meanwhile=[beside])
    outcome = made.run_steps()
    assert len([1 for _, kind, _ in made.recorder.events if kind == "contact"]) == 2
    assert outcome.alarms[0][1].code == "e-stop"
    assert not outcome.numbers


def test_a_hold_beside_a_rapid_and_going_on() -> None:
    hold = {"at_s": 0.4, "step": {"do": "feed-hold"}}
    on = {"at_s": 5.0, "step": {"do": "feed-hold", "on": False}}
    plain, held = run([OVER]), run([OVER], meanwhile=[hold, on])
    assert held.time_s > 5.0 > plain.time_s
    assert held.verdict == "right"


def test_a_step_beside_that_can_not_be_done_is_in_the_outcome() -> None:
    outcome = run([OVER], meanwhile=[{"at_s": 0.1, "step": {"do": "load-tool"}}])
    assert outcome.error.startswith("meanwhile, load-tool: the axes are moving")


# ---- hands -----------------------------------------------------------------------------------


def test_a_pad_pressed_by_hand_shows_on_the_input_that_is_watched() -> None:
    made = twin([OFF, {"do": "press-pad", "setter": "setter"}, ON], controller={"proved": []})
    outcome = made.run_steps()
    assert events(made, "input-seen") == [[1, True]]
    assert made.controller.input_proved()
    assert outcome.result[1] is True


def test_the_routine_sees_a_press_that_comes_beside_it() -> None:
    press = {"at_s": 2.0, "step": {"do": "press-pad", "setter": "setter"}}
    outcome = run(
        [OFF, routine("prove-input"), {"do": "wait", "for_s": 1.0}, ON],
        controller={"proved": []},
        meanwhile=[press],
    )
    assert (outcome.verdict, outcome.codes) == ("right", ())
    assert outcome.result[1] == 1


def test_a_tool_change_tells_the_row_and_an_arm_goes_to_its_height() -> None:
    made = twin([{"do": "load-tool", "tool": "end-mill-6"}],
                controller={"position_mm": [-300.0, -200.0, -100.0]})  # fmt: skip
    outcome = made.run_steps()
    assert made.controller.position[2] == 0.0
    assert (made.tables.slot, made.stage.tool_name) == (2, "end-mill-6")
    assert outcome.verdict == "right"
    refused([{"do": "spin", "rpm": 100.0}, {"do": "load-tool"}], "spindle turns")


def test_what_carries_something_is_not_taken_away() -> None:
    on_stock = {"placements": {"setter": {"on": "aluminium-block", "x_mm": -300.0}}}
    refused([{"do": "take-away", "item": "aluminium-block"}], "stands on", **on_stock)


# ---- feeling, rules, jogging back ------------------------------------------------------------

BESIDE = [UP, {"do": "move", "x_mm": -450.0, "y_mm": -200.0}, {"do": "move", "z_mm": -369.9}]


@pytest.mark.parametrize(("gap_um", "felt"), [(-1.0, "wont-go"), (3.0, "drags"), (5.0, "slides")])
def test_a_block_is_felt_by_the_true_gap(gap_um: float, felt: str) -> None:
    # The tip is 50 mm above the table at -370, which reads 0.5 um lower on the way down.
    z = -370.0 - 0.0005 + gap_um * 1e-3
    outcome = run(
        [*BESIDE, {"do": "move", "z_mm": z}, OFF, {"do": "feel-block", "block": "block-50"}, ON]
    )
    assert outcome.result[-2] == felt
    assert outcome.verdict == "right"


def test_feeling_with_the_drives_on_is_a_hand_in_reach_unless_the_block_is_held_by_its_end() -> (
    None
):
    feel = {"do": "feel-block", "block": "block-50"}
    assert run([*BESIDE, feel]).codes == ("hand-in-reach",)
    assert run([*BESIDE, {**feel, "hand_ok": True}]).codes == ()


def test_stepping_up_until_it_drags_notes_the_height() -> None:
    made = twin([*BESIDE, jog(-0.13, 60.0), {"do": "step-until-feel", "block": "block-50",
                                             "by_mm": 0.001}])  # fmt: skip
    outcome = made.run_steps()
    # Upwards the face stands half of the lost motion lower than it reads: first fit at -369.9995.
    assert made.tables.noted["block-50"] == pytest.approx(-369.9995, abs=6e-4)
    assert outcome.verdict == "right"
    refused([*BESIDE, {"do": "step-until-feel", "block": "block-50", "by_mm": 0.001, "most": 3}],
            "never drags")  # fmt: skip


def test_feeling_what_is_not_there() -> None:
    feel = {"do": "feel-block", "block": "block-50", "on": "setter"}
    refused([*BESIDE, OFF, feel], "not setter")
    stands = {"placements": {"block-50": {"x_mm": -300.0, "y_mm": -100.0}}}
    refused([*BESIDE, OFF, {"do": "feel-block", "block": "block-50"}], "stands on", **stands)


def test_a_rule_finds_a_gross_error_and_no_small_one() -> None:
    read = [OFF, {"do": "rule", "what": "tool-length", "row": 1}, ON]
    typed = {"do": "type-in", "row": 1}
    good = run([{**typed, "length_mm": 120.4}, *read])
    assert [alarm.code for _, alarm in good.alarms] == []
    assert good.result[2] == 120.0
    bad = run([{**typed, "length_mm": 4.7244}, *read])
    assert [alarm.code for _, alarm in bad.alarms] == ["out-of-limit"]


@pytest.mark.parametrize("off_mm", [0.0, 0.2])
def test_jogging_back_reads_about_zero_or_stops(off_mm: float) -> None:
    outcome = run(
        [UP, {"do": "move", "x_mm": -300.0, "y_mm": -200.0}, {"do": "jog-back", "row": 1}],
        controller={"rows": {1: {"length_mm": 120.0}},
                    "systems": {"G54": [-300.0, -200.0, -500.0005 + off_mm]}},
    )  # fmt: skip
    assert [alarm.code for _, alarm in outcome.alarms] == (["out-of-limit"] if off_mm else [])
    assert outcome.codes == ()
    if not off_mm:
        # It stops within a step above the surface and never touches it.
        assert 0.0 < outcome.result[-1] <= 0.0105


# ---- keys, tables, typed lines ---------------------------------------------------------------


def test_a_jog_key_held_for_a_time_covers_speed_times_time() -> None:
    made = twin([UP, {"do": "jog", "axis": "z", "for_s": 2.0, "speed_mm_per_min": 600.0}])
    made.run_steps()
    # From rest to rest: the key's time at full speed, whatever the ramps are.
    assert made.controller.position[2] == pytest.approx(-20.0, abs=1e-9)


def test_a_bare_touch_stores_what_it_is_told() -> None:
    made = twin([*down(-357.0), touch(-365.0)])
    outcome = made.run_steps()
    assert outcome.result[-1].z == pytest.approx(-360.1005, abs=6e-5)
    assert not outcome.numbers
    empty = {"controller": {"records": {"setter": {"reference_z_mm": None, "height_mm": None,
                                                   "reference_valid": False}}}}  # fmt: skip
    refused([*down(-357.0), touch(-365.0, store="length", row=1)], "no reference", **empty)
    refused([*down(-357.0), touch(-365.0, store="work-z", row=1)], "is not stored", **empty)


def test_typing_into_three_tables_at_once() -> None:
    made = twin([{"do": "type-in", "row": 1, "wear_mm": -0.01, "system": "G55", "z_mm": -500.0,
                  "setter": "setter", "height_mm": 59.9, "clearance_z_mm": -430.0}])  # fmt: skip
    made.run_steps()
    assert made.tables.rows[1].wear_mm == -0.01
    assert made.tables.systems["G55"] == (0.0, 0.0, -500.0)
    assert made.tables.records["setter"].clearance_z_mm == -430.0


def test_a_routine_takes_its_arguments_in_inch() -> None:
    inch = {"do": "routine", "name": "measure-length",
            "with": {"row": 1, "expected_length_in": 120.0 / 25.4}}  # fmt: skip
    assert run([inch]).time_s == run([MEASURE]).time_s


def test_typed_lines_meet_the_same_judge() -> None:
    lines = ["G21 G90 G94", "G53 G0 Z0", "G53 G0 X-600 Y-200", "G53 G0 Z-357", "G38.2 Z-365 F25",
             "G10 L1 P1 R[#5063+480.1005]"]  # fmt: skip
    steps = [{"do": "mdi", "line": line} for line in lines]
    right = run(steps)
    assert (right.codes, right.verdict) == ((), "right")
    assert right.numbers["row 1 length"].error == pytest.approx(0.0, abs=1e-4)
    assert run(steps, controller={"proved": []}).codes == ("unproved-input",)
    flag = {"controller": {"records": {"setter": {"reference_valid": False}}}}
    assert run(steps, **flag).codes == ("stale-reference",)
    # A list of lengths that a program writes belongs to the rows' own tools.
    assert run([{"do": "mdi", "line": "G10 L1 P2 R95"}]).codes == ()
    refused([{"do": "mdi", "line": "G0 Q"}], "typed:1")
