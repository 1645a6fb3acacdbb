"""docs/programs.md says what is so, and the program that it works out runs on every machine."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
from program_twins import run_file, with_settings
from routine_cases import BENCHES, Bench, build, do
from test_program_library import base_of, same_end, same_rows

from drytouch.sim.commands.main import main
from drytouch.sim.program.check import check_program
from drytouch.sim.program.errors import CODES
from drytouch.sim.program.findings import WARNINGS
from drytouch.sim.program.machine_values import describe
from drytouch.sim.program.settings import POINTS
from drytouch.sim.scenario import library
from drytouch.sim.scenario.machine import Habits
from drytouch.sim.scenario.machine import Machine as MachineFile

GUIDE = (Path(__file__).parents[1] / "docs" / "programs.md").read_text("utf-8")
WORKED = re.search(r"```ngc\n(.*?)```", GUIDE, re.S)[1]  # type: ignore[index]


def table(head: str) -> list[list[str]]:
    """The rows of the table whose first line begins with ``head``."""
    rows = GUIDE.split(f"| {head} |", 1)[1].split("\n\n", 1)[0].splitlines()[2:]
    return [[cell.strip().strip("`") for cell in row.strip("|").split(" | ")] for row in rows]


def test_the_table_of_machine_values_is_the_one_in_force() -> None:
    assert f"```text\n{describe()}\n```" in GUIDE


def test_errors_and_warnings_are_the_ones_in_force() -> None:
    assert {code: says for code, says in table("code")} == CODES  # noqa: C416
    told = {code: says for code, says in table("warning")}  # noqa: C416
    assert told == {code: says for code, says in WARNINGS.items() if code != "setting"}


def test_every_point_on_which_controls_differ_has_its_key_and_choices() -> None:
    rows = table("point")
    assert [row[0] for row in rows] == [what for what, _ in POINTS.values()]
    for (_, key, choices), (_, known) in zip(rows, POINTS.values(), strict=True):
        model = MachineFile if key == "rapids" else Habits
        field = model.model_fields[key]
        if known:
            assert choices.split(", ") == list(get_args(field.annotation))
            assert choices.split(", ")[0] == field.default
        else:
            assert field.default == 0


def test_the_programs_that_it_names_are_there() -> None:
    last = GUIDE.split("## The programs of the library", 1)[1]
    named = set(re.findall(r"`([a-z-]+)`", last))
    sound = {path.stem for path in (library.root() / "programs").glob("*.ngc")}
    assert sound <= named
    assert len(list((library.root() / "programs" / "flawed").glob("*.ngc"))) == 15


def test_the_worked_program_leaves_nothing_to_doubt() -> None:
    checked = check_program(WORKED, "guide.ngc")
    assert checked.errors == ()
    assert {warning.code for warning in checked.warnings} <= {"setting"}


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("bench", BENCHES, ids=lambda b: b.machine)
def test_the_worked_program_measures_on_every_machine(
    bench: Bench, seed: int, tmp_path: Path
) -> None:
    path = tmp_path / "guide.ngc"
    path.write_text(WORKED, "utf-8")
    twins = []
    for _ in range(3):
        twins.append(
            build(bench, chance=True, seed=seed, tool=bench.tools[1], record=base_of(bench),
                  controller={"rows": {"1": {}, "2": {"tool": bench.tools[1]}}, "slot": 2})
        )  # fmt: skip
    run_file(twins[0], path)
    do(twins[1], "measure-length", row=2)
    run_file(twins[2], with_settings("measure-length", tmp_path))
    same_rows(twins[1], twins[0])
    same_rows(twins[1], twins[2])
    same_end(twins[1], twins[2])
    assert twins[0].controller.position == twins[1].controller.position
    outcome = twins[0].outcome()
    assert outcome.verdict == "right"
    assert abs(outcome.numbers["row 2 length"].error) < 0.01


def test_its_commands_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("measure.ngc").write_text(WORKED, "utf-8")
    lines = re.findall(r"^    drytouch (.*)$", GUIDE, re.M)
    assert len(lines) == 3
    for line in lines:
        more = ["--no-picture"] if line.startswith("run") else []
        assert main([*line.split(), *more]) == 0, capsys.readouterr()
    assert sorted(path.name for path in Path("shop").iterdir()) == [
        "parameters.txt", "setters.toml", "tools.txt",
    ]  # fmt: skip


def test_every_option_of_it_is_one_of_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    main(["run", "--help"])
    shown = re.sub(r"\x1b\[[0-9;]*m", "", capsys.readouterr().out)
    for option, _ in table("option"):
        assert option.split()[0] in shown


@pytest.mark.parametrize(
    ("habit", "value"),
    [
        ("after_touch", "stay"), ("touch_result", "machine"), ("skip_when_tripped", "error"),
        ("logic_binds", "looser"), ("compare", "within"), ("fix_rounds", "to-zero"),
        ("length_after_end", "cancelled"), ("home_axes", "all"), ("feed_on_unit_line", "old"),
        ("offsets_on_unit_change", "numbers"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("program", ["guide", "measure-length", "measure-by-skip"])
def test_no_habit_of_a_control_changes_what_the_programs_measure(
    program: str, habit: str, value: str, tmp_path: Path
) -> None:
    path = tmp_path / "guide.ngc"
    path.write_text(WORKED, "utf-8")
    if program != "guide":
        path = library.path("program", program)
    bench, habits = BENCHES[0], {habit: value}
    twin = build(bench, tool=bench.tools[0], record=base_of(bench),
                 machine={"use": bench.machine, "habits": habits})  # fmt: skip
    run_file(twin, path)
    outcome = twin.outcome()
    assert outcome.verdict == "right"
    assert abs(outcome.numbers["row 1 length"].error) < 0.003
