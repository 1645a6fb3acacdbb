"""Files to start from work as they are; the schemas hold for every file of the library."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import jsonschema
import pytest
from bench_cases import do, down_to, over, prove, table
from command_cases import call

from drytouch.sim.bench import Session
from drytouch.sim.commands.new import PARTS
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import MODELS, load_part
from drytouch.sim.scenario.schema import part_schema, scenario_schema


def made(capsys: pytest.CaptureFixture[str], folder: Path, kind: str, *more: str) -> Path:
    done = call(capsys, "new", kind, "my-first", "--folder", str(folder), *more)
    assert done.code == 0, done.err
    return folder / "my-first.toml"


@pytest.mark.parametrize("kind", PARTS)
def test_a_new_part_can_be_used_at_once(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, kind: str
) -> None:
    path = made(capsys, tmp_path, kind)
    done = call(capsys, "check", str(path))
    assert (done.code, f"this {kind} can be used" in done.out) == (0, True)
    mine, theirs = load_part(kind, path), load_part(kind, PARTS[kind])
    changed = {"name": "", "title": ""} if hasattr(mine, "title") else {"name": ""}
    assert mine.model_copy(update=changed) == theirs.model_copy(update=changed)
    assert mine.name == "my-first"


def test_a_new_part_can_be_like_any_of_the_library(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = made(capsys, tmp_path, "machine", "--like", "gantry-router")
    assert load_part("machine", path).axes == load_part("machine", "gantry-router").axes
    for wrong, said in (
        (("machine", "a", "--like", "gantry-ruter"), "gantry-router"),
        (("scenario", "a", "--like", "bed-mill"), "only a part"),
    ):
        done = call(capsys, "new", *wrong, "--folder", str(tmp_path))
        assert done.code == 2
        assert said in done.err
    assert [file.name for file in tmp_path.iterdir()] == ["my-first.toml"]


def test_a_new_exercise_can_be_practised_and_come_out_right(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    session = Session.open(made(capsys, tmp_path, "exercise"))
    prove(session)
    do(session, "load-tool", tool="end-mill-10", slot=1)
    over(session)
    trip = table(session) + 59.9 + 120.0
    down_to(session, trip + 4.0)
    for store in ({}, {"store": "length", "row": 1}):
        do(session, "touch", z_mm=trip - 2.0, feed_mm_per_min=25.0, **store)
        down_to(session, trip + 2.0)
    do(session, "move", z_mm=session.live.twin.controller.top)
    do(session, "drives", on=False)
    do(session, "rule", what="tool-length", row=1)
    debrief = session.finish()
    assert debrief.verdict == "right", debrief.to_dict()


def test_the_schema_of_a_kind_is_printed_or_the_kinds_are_named(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert json.loads(call(capsys, "schema").out) == scenario_schema()
    assert json.loads(call(capsys, "schema", "tool").out) == part_schema(MODELS["tool"])
    done = call(capsys, "schema", "poem")
    assert (done.code, "stock" in done.err) == (2, True)


def _files(kind: str) -> list[Path]:
    return [library.path(kind, name) for name in library.names(kind)]


@pytest.mark.parametrize("kind", MODELS)
def test_the_schema_of_a_part_holds_for_every_one_of_the_library(kind: str) -> None:
    check = jsonschema.Draft202012Validator(part_schema(MODELS[kind]))
    check.check_schema(check.schema)
    for path in _files(kind):
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        assert [error.message for error in check.iter_errors(data)] == [], path
        assert list(check.iter_errors(data | {"no-such-key": 1})), "unknown keys are refused"
        assert list(check.iter_errors({})), "an empty file is no part"


def test_the_schema_of_scenarios_holds_for_every_one_of_the_library() -> None:
    check = jsonschema.Draft202012Validator(scenario_schema())
    check.check_schema(check.schema)
    for path in (*_files("demonstration"), *_files("exercise")):
        data = tomllib.loads(path.read_text(encoding="utf-8"))
        assert [error.message for error in check.iter_errors(data)] == [], path
        steps = data.get("steps", [])
        for step in steps[:1]:
            spoiled = data | {"steps": [step | {"do": "dance"}]}
            assert list(check.iter_errors(spoiled)), path


def test_a_figure_that_there_is_none_of_is_told_with_its_line_and_not_served(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = made(capsys, tmp_path, "exercise")
    assert call(capsys, "check", str(path)).out.endswith("this exercise can be used\n")
    text = path.read_text().replace("Measure the end mill", "Measure {row 9 length}")
    path.write_text(text)
    line = next(n for n, row in enumerate(text.splitlines(), 1) if "{row 9" in row)
    done = call(capsys, "check", str(path))
    assert done.code == 2
    assert f"my-first.toml:{line}: exercise: a text" in done.err
    assert "'{row 9 length}'" in done.err
    served = call(capsys, "bench", str(path), "--no-browser")
    assert (served.code, "{row 9 length}" in served.err) == (2, True)


def test_an_exercise_is_not_served_on_a_machine_that_it_is_pointless_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    done = call(
        capsys, "bench", "reference-between-the-lugs", "--machine", "bed-mill", "--no-browser"
    )
    assert (done.code, "no drive lugs" in done.err) == (2, True)
