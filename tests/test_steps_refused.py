"""Steps less often taken, and what is refused while something moves, turns or is missing."""

from __future__ import annotations

from typing import Any

import pytest
from truth_cases import OFF, ON, OVER, UP, run, twin

from drytouch.sim.controller.controller import Controller
from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.library import names
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.twin.stage import Stage
from drytouch.sim.twin.twin import Twin

STOCK_TOP_Z = -540.0 + 40.0  # the library's aluminium block is 40 mm high
OVER_STOCK = {"do": "move", "x_mm": -300.0, "y_mm": -200.0}


def beside(step: dict[str, Any], at_s: float = 0.5) -> dict[str, Any]:
    return {"meanwhile": [{"at_s": at_s, "step": step}]}


def test_a_power_cycle_forgets_references_and_proofs_but_not_the_place_of_absolute_encoders() -> (
    None
):
    forgetful = {"use": "machining-centre", "habits": {"reference_lost_at_power_cycle": True}}
    made = twin([{"do": "power-cycle"}, OVER], machine=forgetful)
    outcome = made.run_steps()
    record = made.tables.records["setter"]
    assert (record.reference_valid, record.stale) == (False, "a power cycle")
    assert not made.controller.input_proved()
    assert made.controller.position == (-600.0, -200.0, 0.0)
    assert outcome.time_s > 60.0


def test_a_power_cycle_of_a_machine_without_absolute_encoders_asks_for_homing() -> None:
    made = twin(
        [{"do": "power-cycle"}, {"do": "move", "x_mm": -100.0}],
        machine="bed-mill",
        spindle_tool=None,
        placements={
            "setter": {"x_mm": -550.0, "y_mm": -175.0},
            "aluminium-block": {"x_mm": -250.0, "y_mm": -175.0},
        },
        controller={"slot": 0},
    )
    outcome = made.run_steps()
    assert [alarm.code for _, alarm in outcome.alarms] == ["not-homed"]


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (OFF, "the axes are moving"),
        ({"do": "power-cycle"}, "the axes are moving"),
        ({"do": "load-tool", "tool": "end-mill-6"}, "the axes are moving"),
    ],
)
def test_nothing_is_switched_or_changed_while_axes_move(step: dict[str, Any], words: str) -> None:
    made = twin([OVER], **beside(step))
    made.run_steps()
    assert words in made.error
    assert made.controller.position == (-600.0, -200.0, 0.0)


@pytest.mark.parametrize(
    "step", [{"do": "load-tool", "tool": "end-mill-6"}, {"do": "turn-spindle", "to_deg": 30.0}]
)
def test_hands_stay_off_a_turning_spindle(step: dict[str, Any]) -> None:
    with pytest.raises(StepError, match="turns") as caught:
        run([{"do": "spin", "rpm": 500.0}, step])
    assert caught.value.fix


def test_drives_do_not_come_on_under_a_pressed_button() -> None:
    made = twin([{"do": "e-stop"}])
    made.run_steps()
    from drytouch.sim.scenario.steps import Drives
    from drytouch.sim.steps import do_step

    with pytest.raises(StepError, match="emergency stop is pressed"):
        made.perform(do_step(made, Drives(do="drives", on=True)))


def test_a_jog_key_held_at_the_limit_does_nothing() -> None:
    made = twin([{"do": "jog", "axis": "z", "towards": "+", "for_s": 1.0}])
    made.run_steps()
    assert made.controller.position[2] == 0.0
    assert not made.recorder.lines


def test_a_feed_hold_and_a_chosen_setter_as_steps() -> None:
    made = twin(
        [
            {"do": "feed-hold"},
            {"do": "feed-hold", "on": False},
            {"do": "select-setter", "setter": "setter"},
            {"do": "select", "system": "G55", "length_row": 2},
            OVER,
        ]
    )
    made.run_steps()
    assert made.tables.system == "G55"
    assert made.tables.length_row == 2
    assert made.controller.position[:2] == (-600.0, -200.0)


def test_a_person_who_presses_stop_ends_the_move_without_an_alarm_of_the_machine() -> None:
    made = twin([OVER, UP], **beside({"do": "stop"}, at_s=0.6))
    outcome = made.run_steps()
    assert made.recorder.lines[0].block_mm is None
    assert -600.0 < made.controller.position[0] < 0.0
    assert outcome.verdict in ("right", "stopped")
    assert not [finding for finding in outcome.findings if finding.severity == "harm"]


# ---- measuring by hand -----------------------------------------------------------------------


def reading(made: Twin) -> list[Any]:
    return [data for _, kind, data in made.recorder.events if kind == "rule"]


def test_a_rule_on_everything_that_it_can_be_held_to() -> None:
    made = twin(
        [
            OFF,
            {"do": "rule", "what": "setter-height", "setter": "setter"},
            {"do": "rule", "what": "tip-to-table"},
            ON,
            OVER_STOCK,
            {"do": "move", "z_mm": STOCK_TOP_Z + 120.0 + 30.0},
            OFF,
            {"do": "rule", "what": "tip-to-stock"},
        ],
        placements={"setter": {"x_mm": -600.0, "y_mm": -100.0}},
        controller={"position_mm": [-450.0, -300.0, -300.0], "systems": {"G54": [0, 0, -380.0]}},
    )
    made.run_steps()
    values = reading(made)
    assert [what for what, _, _ in values] == ["setter-height", "tip-to-table", "tip-to-stock"]
    assert values[0][1] == pytest.approx(59.9, abs=0.5)
    assert values[1][1] == pytest.approx(540.0 - 300.0 - 120.0, abs=0.5)
    assert values[2][1] == pytest.approx(30.0, abs=0.5)


def test_a_rule_to_the_stock_says_nothing_of_a_work_zero_that_nobody_has_stored() -> None:
    made = twin(
        [OFF, {"do": "rule", "what": "tip-to-stock"}],
        placements={"setter": {"x_mm": -600.0, "y_mm": -100.0}},
        controller={"position_mm": [-300.0, -200.0, 0.0]},
    )
    assert list(made.run_steps().alarms) == []
    ((_, read, belief),) = reading(made)
    assert belief is None
    assert read > 0.0


def test_no_rule_without_a_tool_and_no_jogging_back_without_stock() -> None:
    with pytest.raises(StepError, match="no tool in the spindle"):
        run([{"do": "rule", "what": "tool-length"}], spindle_tool=None)
    with pytest.raises(StepError, match="no stock"):
        run([{"do": "take-away", "item": "aluminium-block"}, {"do": "jog-back"}])


def test_a_block_that_is_missing_or_stands_on_the_table_can_not_be_felt_with() -> None:
    with pytest.raises(StepError, match="stands on the table"):
        run(
            [
                {"do": "place", "item": "block-50", "x_mm": -100.0, "y_mm": -100.0},
                {"do": "feel-block", "block": "block-50"},
            ]
        )
    with pytest.raises(StepError, match="never slides"):
        run(
            [
                {"do": "move", "x_mm": -450.0, "y_mm": -300.0, "z_mm": -375.0},
                {"do": "step-until-feel", "block": "block-50", "want": "slides", "most": 2},
            ],
            placements={"setter": {"x_mm": -600.0, "y_mm": -100.0}},
        )


# ---- the stage -------------------------------------------------------------------------------


def test_a_shared_stage_serves_a_scenario_that_differs_in_figures_only() -> None:
    from truth_cases import data

    base = scenario_from_dict(data(steps=[OVER]))
    stage = Stage(base)
    softer = base.model_copy(
        update={"tools": {**base.tools, "end-mill-10": base.tools["end-mill-10"].model_copy(
            update={"force_limit_N": 1.0})}}
    )  # fmt: skip
    twin_of_both = Twin(softer, stage=stage.with_figures(softer))
    assert twin_of_both.stage.tool is softer.tools["end-mill-10"]
    assert stage.tool is base.tools["end-mill-10"]
    assert twin_of_both.run_steps().verdict == "right"


def test_the_stage_says_what_it_does_not_hold() -> None:
    made = twin([])
    with pytest.raises(StepError, match="no tool 'broom' in the crib"):
        made.stage.load("broom", made.recorder, 0.0)
    with pytest.raises(StepError, match="stands nowhere"):
        made.stage.take_away("block-50", made.recorder, 0.0)
    with pytest.raises(StepError, match="stands nowhere"):
        made.stage.shift("block-50", (1.0, 0.0, 0.0), made.recorder, 0.0)


def test_a_bare_face_feels_for_a_block_beside_its_lugs() -> None:
    # The lugs reach 8 mm further down than the face: what counts under a block is the face.
    made = twin(
        [{"do": "move", "x_mm": -450.0, "y_mm": -300.0, "z_mm": -480.0}],
        spindle_tool=None,
        placements={"setter": {"x_mm": -650.0, "y_mm": -50.0}},
        controller={"slot": 0},
    )
    made.run_steps()
    (hit,) = made.stage.below(made.kernel.physical(), 200.0)
    assert hit.moving_feature == "face"
    assert hit.s == pytest.approx(60.0, abs=0.002)  # 540 - 480, but for the lost motion


def test_rows_and_systems_that_do_not_exist_are_refused() -> None:
    controller: Controller = twin([]).controller
    with pytest.raises(StepError, match="row 0"):
        controller.row(0)
    with pytest.raises(StepError, match="no work system 'G60'"):
        controller.select_system("G60")
    with pytest.raises(StepError, match="no work system 'G60'"):
        controller.store_system("G60", z=1.0)
    with pytest.raises(StepError, match="no record of a setter 'ghost'"):
        controller.record("ghost")
    controller.tables.records["setter"].reference_valid = False
    with pytest.raises(ControllerAlarm, match="is not valid"):
        controller.require_reference()


def test_every_demonstration_is_in_the_library_by_name() -> None:
    assert {"wrong-socket-runaway", "length-done-right"} <= set(names("demonstration"))
    assert Recording.from_outcome(run([OVER])).duration_s > 0.0
