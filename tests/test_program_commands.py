"""Programs from the command line, and tables kept in files."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_cases import below, call

from drytouch.sim.controller.table_files import PARAMETERS, TOOLS, save_with, start_with
from drytouch.sim.errors import InputError
from drytouch.sim.program import ProgramError
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.twin.twin import Twin

Capture = pytest.CaptureFixture[str]
MEASURE = "measure-length.ngc"  # from the library: there is no such file in the folder
ON = ("--on", "length-done-right", "--no-picture")


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def saved(*lines: str) -> str:
    Path("case.ngc").write_text("\n".join(lines) + "\n", "utf-8")
    return "case.ngc"


def test_a_program_runs_where_a_scenario_would_run_its_steps(
    tmp_path: Path, capsys: Capture
) -> None:
    done = call(capsys, "run", MEASURE, *ON)
    assert (done.code, done.err) == (0, "")
    assert "measure-length.ngc on: A tool length, done right" in done.out
    assert "verdict: right" in done.out
    stem = "out/measure-length-on-length-done-right"
    assert below(tmp_path) == ["out", f"{stem}.outcome.json", f"{stem}.recording.json"]
    numbers = json.loads(Path(f"{stem}.outcome.json").read_text())["numbers"]
    assert [number["name"] for number in numbers] == ["row 1 length"]


def test_the_exit_code_tells_a_run_that_is_not_right(capsys: Capture) -> None:
    done = call(capsys, "run", saved("(ALARM, no)", "M2"), *ON, "--json")
    assert done.code == 1
    assert json.loads(done.out)["alarms"][0]["message"] == "no"


def test_an_alarm_of_a_program_names_its_line(capsys: Capture) -> None:
    file = saved("G21", "(ALARM, no)", "M2")
    done = call(capsys, "run", file, *ON)
    assert "alarm at 0.000 s: program: no\n   call program, line 2 of case.ngc\n" in done.out
    alarm = json.loads(call(capsys, "run", file, *ON, "--json").out)["alarms"][0]
    assert (alarm["line"], alarm["step"], Path(alarm["file"]).name) == (2, None, "case.ngc")


def test_a_sum_without_brackets_is_told_what_it_lacks(capsys: Capture) -> None:
    done = call(capsys, "check", saved("#1=#2/3", "M2"))
    assert done.code == 2
    assert "case.ngc:1:6: E-CHAR '/' can't be read here: a sum stands in brackets" in done.err


def test_what_a_demonstration_promises_of_its_own_steps_is_not_asked_of_a_program(
    capsys: Capture,
) -> None:
    on = ("--on", "flawed-recheck-that-pauses", "--no-picture")
    done = call(capsys, "run", "recheck-that-pauses.ngc", *on)
    assert done.code == 1
    assert "as expected: NO - expected the verdict 'right', saw 'harm'\n" in done.out
    # The sound program on the same machine stops: not right, but not by luck either.
    done = call(capsys, "run", "recheck-and-approach.ngc", *on, "--json")
    assert json.loads(done.out)["verdict"] == "stopped"


def test_errors_of_the_text_stop_everything_and_tell_the_place(
    tmp_path: Path, capsys: Capture
) -> None:
    done = call(capsys, "run", saved("G0 X1", "  G1 Y[2", "G1 X3 X4 F10", "M2"), *ON)
    assert (done.code, done.out) == (2, "")
    lines = done.err.splitlines()
    assert lines[0].startswith("case.ngc:2:")
    assert " E-EXPR " in lines[0]
    assert lines[1] == "  G1 Y[2"
    assert lines[2].strip() == "^"
    assert any(line.startswith("case.ngc:3:7: E-REPEAT ") for line in lines)
    assert below(tmp_path) == ["case.ngc"]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("case.ngc", "--follow"), "a program runs as a step of a scenario"),
        (("length-done-right", "--on", "recheck-done-right"), "this is none by its name"),
        (("length-done-right", "--follow"), "this is none by its name"),
        (("gone.ngc", *ON), "gone.ngc: there is no such program"),
        (("case.ngc", "--on", "nowhere-land"), "the library has no scenario 'nowhere-land'"),
    ],
)
def test_what_does_not_fit_together_is_said(
    arguments: tuple[str, ...], says: str, capsys: Capture
) -> None:
    saved("M2")
    done = call(capsys, "run", *arguments)
    assert (done.code, done.out) == (2, "")
    assert says in done.err
    assert "fix: " in done.err


def test_following_a_program_prints_lines_with_positions(capsys: Capture) -> None:
    file = saved("G21 G90", "/G53 G0 Z-1", "G53 G0 Z-50", "M1", "M2")
    done = call(capsys, "run", file, *ON, "--follow", "--block-delete", "--optional-stop")
    followed = [line for line in done.out.splitlines() if line.startswith("case.ngc:")]
    assert "pause: M1" in done.out.splitlines()
    assert followed == [
        "case.ngc:1  X0.000 Y0.000 Z0.000  G21 G90",
        "case.ngc:2  X0.000 Y0.000 Z0.000  /G53 G0 Z-1",
        "case.ngc:3  X0.000 Y0.000 Z0.000  G53 G0 Z-50",
        "case.ngc:4  X0.000 Y0.000 Z-50.000  M1",
        "case.ngc:5  X0.000 Y0.000 Z-50.000  M2",
    ]
    done = call(capsys, "run", file, *ON, "--follow", "--json", "--from-line", "3")
    assert json.loads(done.out)["verdict"] == "right"
    state, pause, first = done.err.splitlines()[:3]
    assert state.startswith("message: at line 3: G0 G17 G90 G94 G21 ")
    assert pause == "pause: start from line 3"
    assert first.startswith("case.ngc:3  ")


def test_a_loop_without_an_end_is_cut_at_the_time_limit(capsys: Capture) -> None:
    done = call(capsys, "run", saved("WHILE [1 GT 0] DO 1", "G4 P60", "END 1", "M2"), *ON)
    assert done.code == 2
    assert "case.ngc:2: still running after 3600 s of simulated time" in done.err
    # Without time passing it is an alarm of the control.
    done = call(capsys, "run", saved("WHILE [1 GT 0] DO 1", "#1=2", "END 1", "M2"), *ON, "--json")
    assert done.code == 1
    assert "goes round in a circle" in json.loads(done.out)["alarms"][0]["message"]


def test_tables_are_loaded_before_and_saved_after(capsys: Capture) -> None:
    first = saved("G10 L1 P1 R119.5 Q-0.02", "G10 L2 P3 X-12.5 Z-400", "#120=7.25", "M2")
    assert call(capsys, "run", first, *ON, "--tables", "shop").code in (0, 1)
    assert (Path("shop") / TOOLS).read_text().splitlines()[2:] == [
        "1\t1\t119.5\t0\tend-mill-10 wear -0.02"
    ]
    second = saved(
        "IF [[#5601+#5701] LT 119.47] GOTO 9", "IF [#120 GT 7.3] GOTO 9",
        "IF [#120 LT 7.2] GOTO 9", "IF [#5261 GT -12.4] GOTO 9", "G10 L1 P1 Q0", "M2",
        "N9 (ALARM, not what was stored)", "M2",
    )  # fmt: skip
    done = call(capsys, "run", second, *ON, "--tables", "shop", "--json")
    assert json.loads(done.out)["alarms"] == []
    assert (Path("shop") / TOOLS).read_text().splitlines()[2:] == ["1\t1\t119.5\t0\tend-mill-10"]


def test_a_reference_taken_by_one_program_serves_the_next(capsys: Capture) -> None:
    taken = saved("#5841=-480.25", "#5844=-430", "M2")
    assert call(capsys, "run", taken, *ON, "--tables", "shop").code in (0, 1)
    used = saved(
        "IF [[#5841 EQ -480.25] AND [#5844 EQ -430]] GOTO 5", "(ALARM, it was forgotten)", "M2",
        "N5 M2",
    )  # fmt: skip
    done = call(capsys, "run", used, *ON, "--tables", "shop", "--json")
    assert json.loads(done.out)["alarms"] == []
    assert [a["message"] for a in json.loads(call(capsys, "run", used, *ON, "--json").out)[
        "alarms"
    ]] == ["it was forgotten"]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[setter.setter]\nreference_z = -1\n", "unknown key 'reference_z'"),
        ("[setter.other]\nx_mm = 1.0\n", "there is no setter 'other' here"),
        ("[setter\n", "setters.toml:1"),
    ],
)
def test_a_broken_file_of_setters_is_told(capsys: Capture, text: str, said: str) -> None:
    Path("shop").mkdir()
    (Path("shop") / "setters.toml").write_text(text)
    done = call(capsys, "run", saved("M2"), *ON, "--tables", "shop")
    assert (done.code, said in done.err) == (2, True), done.err
    assert (Path("shop") / "setters.toml").read_text() == text


def test_a_broken_table_file_is_told_with_its_line(capsys: Capture) -> None:
    Path("shop").mkdir()
    (Path("shop") / TOOLS).write_text("tools\n\n1 1 119.5 0\n1 1 7 0\n")
    done = call(capsys, "run", saved("M2"), *ON, "--tables", "shop")
    assert done.code == 2
    assert f"{Path('shop') / TOOLS}:4:1: E-FILE pocket 1 is in the table twice" in done.err
    (Path("shop") / TOOLS).write_text("tools\n\n99 1 119.5 0\n")
    done = call(capsys, "run", saved("M2"), *ON, "--tables", "shop")
    assert "there is no row 99\n  fix: rows go from 1 to 60" in done.err


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_files_bring_back_what_was_there(units: str, tmp_path: Path) -> None:
    scenario = load_scenario("length-done-right")
    start = scenario.controller.model_copy(update={"units": units})
    twin = Twin(scenario.model_copy(update={"controller": start}))
    for line in (
        "G10 L1 P1 R3.5 Q-0.00001", "G10 L1 P7 R-2", "G10 L2 P9 X-1 Y-2 Z-3", "G59.3", "G92 Z5",
        "#33=0.1", "#150=-1234.5678",
    ):  # fmt: skip
        twin.hand.mdi(line)
    save_with(twin.controller, tmp_path)
    again = start_with(start, tmp_path, 60, ["setter"])
    assert again.systems["G59.3"] == pytest.approx(twin.tables.systems["G59.3"])
    assert again.shift_mm == pytest.approx(twin.tables.shift)
    assert (again.system, again.parameters[150]) == ("G59.3", -1234.5678)
    for number in (1, 7):
        row = twin.tables.rows[number]
        assert again.rows[number].length_mm == pytest.approx(row.length_mm, rel=1e-15)
        assert again.rows[number].wear_mm == pytest.approx(row.wear_mm, rel=1e-15)
    assert again.rows[1].tool == "end-mill-10"
    record = twin.tables.records["setter"]
    kept = again.records["setter"]
    assert all(getattr(record, name) == value for name, value in kept)
    twin = Twin(scenario.model_copy(update={"controller": again}))
    assert twin.controller.programs.interpreter.read(33) == 0.1


def test_a_folder_without_files_changes_nothing(tmp_path: Path) -> None:
    start = load_scenario("length-done-right").controller
    assert start_with(start, tmp_path, 60, ["setter"]) == start


def test_files_that_are_not_in_the_layout_are_refused(tmp_path: Path) -> None:
    start = load_scenario("length-done-right").controller
    (tmp_path / PARAMETERS).write_text("no empty line\n5220 1\n")
    with pytest.raises(ProgramError) as caught:
        start_with(start, tmp_path, 60, ["setter"])
    assert caught.value.code == "E-FILE"
    (tmp_path / PARAMETERS).unlink()
    (tmp_path / TOOLS).write_text("t\n\n61 61 1 0\n")
    with pytest.raises(InputError):
        start_with(start, tmp_path, 60, ["setter"])
