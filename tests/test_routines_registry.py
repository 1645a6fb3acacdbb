"""Routines by name: their arguments, their errors, and what their code may know."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from routine_cases import CENTRE, build, do

import drytouch.sim.routines as routines
from drytouch.sim.errors import ALARM_CODES, StepError
from drytouch.sim.routines import ROUTINES, routine_by_name
from drytouch.sim.scenario.steps import Routine as RoutineStep
from drytouch.sim.steps import do_step

SOURCES = sorted(Path(routines.__file__).parent.glob("*.py"))
EACH = pytest.mark.parametrize("name", sorted(ROUTINES))


def test_the_whole_job_is_there() -> None:
    assert set(ROUTINES) == {
        "prove-input",
        "reference-by-face",
        "reference-by-master",
        "locate-setter",
        "set-clearance",
        "note-face-on-block",
        "measure-setter-height",
        "ten-touch-repeatability",
        "measure-length",
        "measure-length-here",
        "measure-length-turning",
        "recheck-length",
        "set-work-z",
    }


@EACH
def test_each_says_what_it_does_and_takes_units(name: str) -> None:
    entry = routine_by_name(name.replace("-", "_"))
    assert entry.name == name
    assert entry.summary.endswith(".")
    assert 20 < len(entry.summary) < 120
    assert "\n" not in entry.summary
    assert entry.guide.splitlines()[0].startswith(entry.summary[:20])
    plain = {"setter", "row", "system", "block", "count", "force", "here", "any_row"}
    plain |= {"on_block", "left_hand"}
    for argument in entry.arguments:
        assert argument.unit or argument.name in plain, argument.name
        assert argument.unit in ("", "mm", "s", "1/min")
        assert argument.required is (argument.default is None and "None" not in argument.kind)


@EACH
def test_each_names_only_alarms_that_there_are(name: str) -> None:
    guide = routine_by_name(name).guide
    told = guide[guide.index("Alarm") :] if "Alarm" in guide else ""
    words = {word.strip("`.,:;()") for word in told.split() if word.startswith("``")}
    codes = {word for word in words if "-" in word and word not in ROUTINES}
    assert codes <= set(ALARM_CODES)


@pytest.mark.parametrize(
    ("name", "nearest"),
    [("measure-lenght", "measure-length"), ("set_works_z", "set-work-z"), ("qqq", "")],
)
def test_a_name_that_there_is_not(name: str, nearest: str) -> None:
    with pytest.raises(StepError) as caught:
        routine_by_name(name)
    assert caught.value.message == f"there is no routine '{name}'"
    assert caught.value.fix.startswith(f"did you mean '{nearest}'? known: " if nearest else "known")


@pytest.mark.parametrize(
    ("name", "arguments", "words", "fix"),
    [
        ("measure-length", {}, "needs an argument 'row'", "give row"),
        (
            "recheck-length",
            {"row": 1, "longer_limit_mm": 0.1},
            "needs an argument 'shorter_limit_mm'",
            "give shorter_limit_mm in mm",
        ),
        (
            "measure-length",
            {"row": 1, "expected_lenght_mm": 2.0},
            "takes no argument 'expected_lenght_mm'",
            "did you mean 'expected_length_mm'? it takes row, setter, expected_length_mm, beside",
        ),
        ("measure-length", {"row": 1.5}, "argument 'row' is 1.5", "expected a whole number"),
        ("measure-length", {"row": True}, "argument 'row' is True", "expected a whole number"),
        ("measure-length", {"row": None}, "argument 'row' is None", "expected a whole number"),
        (
            "set-clearance",
            {"clearance_z_mm": "high", "longest_tool_mm": 1},
            "argument 'clearance_z_mm' is 'high'",
            "expected a number in mm",
        ),
        ("measure-length", {"row": 1, "any_row": 1}, "'any_row' is 1", "expected true or false"),
        ("set-work-z", {"system": 54, "row": 1}, "argument 'system' is 54", "expected a name"),
        ("prove-input", {"setter": 2}, "argument 'setter' is 2", "expected a name"),
        ("prove-input", {"controller": 2}, "no argument 'controller'", "it takes setter, time_out"),
    ],
)
def test_arguments_are_checked_before_anything_moves(
    name: str, arguments: dict[str, object], words: str, fix: str
) -> None:
    twin = build(CENTRE)
    with pytest.raises(StepError) as caught:
        routine_by_name(name).call(twin.controller, arguments)
    assert words in caught.value.message
    assert f"'{name}'" in caught.value.message
    assert fix in caught.value.fix
    assert twin.kernel.lines == 0


def test_a_whole_number_will_do_for_a_length() -> None:
    twin = build(CENTRE)
    do(twin, "set-clearance", clearance_z_mm=-100, longest_tool_mm=20, highest_z_mm=-480)
    assert twin.controller.record("main").clearance_z_mm == -100


def test_a_setter_that_there_is_not_and_a_row_that_there_is_not() -> None:
    with pytest.raises(StepError, match="no record of a setter 'mian'"):
        do(build(CENTRE), "measure-length", row=1, setter="mian")
    record = {"reference_z_mm": -480.1, "reference_valid": True}
    with pytest.raises(StepError, match="row 61 of the tool table"):
        do(build(CENTRE, record=record), "measure-length", row=61)


def test_steps_run_routines_by_name() -> None:
    twin = build(CENTRE)
    step = RoutineStep.model_validate(
        {
            "do": "routine",
            "name": "reference-by-face",
            "with": {"beside_y_mm": 33, "expected_pad_z_mm": -480},
        }
    )
    assert twin.perform(do_step(twin, step)) == pytest.approx(-480.1005, abs=1e-9)


# ---- what a routine may know -------------------------------------------------------------


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.stem)
def test_routines_know_the_controller_alone(path: Path) -> None:
    """No kernel, stage, truth or scenario behind a routine, nothing private of the controller."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            module = node.module or ""
            if module.startswith("drytouch"):
                assert module.startswith(
                    ("drytouch.sim.errors", "drytouch.sim.controller", "drytouch.sim.routines")
                ), module
        elif isinstance(node, ast.Import):
            assert not any(alias.name.startswith("drytouch") for alias in node.names)
        elif isinstance(node, ast.Attribute):
            assert not node.attr.startswith("_") or node.attr in ("__name__", "__doc__")
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id not in ("getattr", "vars", "eval", "exec", "setattr")
