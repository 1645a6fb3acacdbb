"""``drytouch matrix``: screen, exit codes, and the four files that it writes."""

from __future__ import annotations

import json
import re
from html import escape
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as Xml

import pytest
from fault_cases import centre
from matrix_cases import OWN

from drytouch.sim.commands.main import main
from drytouch.sim.faults import FAULTS
from drytouch.sim.scenario import library
from drytouch.sim.scenario.save import scenario_to_toml
from drytouch.sim.study.case import run_case
from drytouch.sim.truth.catalogue import CATALOGUE

NAMES = ("matrix.json", "matrix.html", "matrix.junit.xml", "matrix.sarif")
FEW = ["unplugged", "wire-shorted", "chip-on-pad", "radio-blocked", "tool-slipped", "hand-put-in"]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "own.py").write_text(OWN, encoding="utf-8")
    text = scenario_to_toml(centre(chance=True, name='the "<b>&" bench'))
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    return tmp_path


def matrix(*words: str, few: bool = True) -> int:
    only = [word for name in FEW for word in ("--only", name)] if few else []
    return main(["matrix", *words, "--on", "bench.toml", "--out", "out", "--no-picture", *only])


def read(bench: Path, name: str) -> str:
    return (bench / "out" / name).read_text(encoding="utf-8")


def test_all_files_tell_the_same(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert matrix("measure-length") == 0
    screen = capsys.readouterr().out
    assert {path.name for path in (bench / "out").iterdir()} == set(NAMES)
    report = json.loads(read(bench, "matrix.json"))
    assert (report["format"], report["format_version"]) == ("drytouch matrix", 1)
    (told,) = report["matrices"]
    assert told["counts"] == {"caught": 1, "missed": 1, "harm": 2, "no-effect": 2}
    assert told["score"] == 0.0  # one caught, one missed, one harmed; the hand is not in it
    assert told["right_without_fault"] is True
    assert told["finished"] is True
    page = (Path(__file__).parents[1] / "docs" / "testing-routines.md").read_text(encoding="utf-8")
    for key in (*report, *told, *told["faults"][0]):
        assert f"`{key}`" in page, key
    assert "score 0 of 100; 2 harm, 1 missed, 1 caught, 2 no effect" in screen
    assert "no effect here (1): tool-slipped" in screen
    assert "can't happen here (1): radio-blocked" in screen
    assert "The score: each fault that had an effect" in screen
    assert "Caution: " in screen
    for name in NAMES:
        assert f"written: {Path('out') / name}" in screen


def test_json_is_one_object_and_nothing_else(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert matrix("measure-length", "--json", "--require", "harm=0") == 1
    report = json.loads(capsys.readouterr().out)
    assert report["limits_broken"] == ["harm=0: it is 2"]


def test_limits_set_the_exit_code(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert matrix("measure-length", "--require", "harm<=2", "--require", "missed<=1") == 0
    assert "limits kept: harm<=2, missed<=1" in capsys.readouterr().out
    assert matrix("measure-length", "--require", "score>=50") == 1
    assert "limit broken: score>=50: it is 0" in capsys.readouterr().out
    assert matrix("measure-length", "--require", "beauty>1") == 2
    assert "a matrix does not count 'beauty'" in capsys.readouterr().err


def test_the_news_that_it_is_not_right_without_a_fault(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert matrix("own.py:fearful", "--with", "row=1") == 1
    screen = capsys.readouterr().out
    assert "without any fault it ended 'stopped'" in screen
    assert "It stopped: better not." in screen
    assert "It gets no score." in screen
    suite = Xml.fromstring(read(bench, "matrix.junit.xml"))[0]
    assert (suite.get("tests"), suite.get("failures")) == ("1", "1")
    (result,) = json.loads(read(bench, "matrix.sarif"))["runs"][0]["results"]
    assert result["ruleId"] == "no-good-end"
    assert "no score" in read(bench, "matrix.html")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("mesure-length",), "did you mean 'measure-length'"),
        (("own.py:hurried", "--with", "row"), "write it as in row=1"),
        (("own.py:none",), "there is no function 'none' in it"),
        (("measure-length", "--only", "unpluged"), "did you mean 'unplugged'"),
    ],
)
def test_bad_input_exits_with_2_and_a_fix(
    bench: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    assert matrix(*words) == 2
    assert said in capsys.readouterr().err
    assert not (bench / "out").exists()


def test_junit_has_a_test_a_fault(bench: Path) -> None:
    matrix("measure-length")
    root = Xml.fromstring(read(bench, "matrix.junit.xml"))
    (suite,) = root
    tests = {test.get("name"): test for test in suite}
    assert {name for name in tests if name and "," not in name} == set(FEW)
    kinds = {name: [child.tag for child in test] for name, test in tests.items() if name in FEW}
    assert kinds == {
        "unplugged": [],
        "wire-shorted": ["failure"],
        "chip-on-pad": ["failure"],
        "hand-put-in": ["failure"],
        "radio-blocked": ["skipped"],
        "tool-slipped": ["skipped"],
    }
    assert suite.get("tests") == str(len(tests))
    assert (suite.get("failures"), suite.get("skipped")) == ("3", "2")
    assert '<b>&" bench' in str(suite.get("name"))


def test_the_page_is_whole_and_needs_nothing_else(bench: Path) -> None:
    matrix("measure-length", few=False)
    text = read(bench, "matrix.html")
    for entry in FAULTS.values():
        assert escape(entry.title) in text
    assert '<b>&" bench' not in text  # a scenario's name is text, not markup
    assert "the &quot;&lt;b&gt;&amp;&quot; bench" in text
    assert not re.search(r"(src|href)=['\"](?!data:)", text)
    assert "http" not in text
    assert "@import" not in text
    assert "Caution: " in text


def test_two_routines_stand_side_by_side(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert matrix("measure-length", "--beside", "own.py:hurried") == 0
    screen = capsys.readouterr().out
    assert "own.py:hurried: score " in screen
    report = json.loads(read(bench, "matrix.json"))
    assert [entry["arguments"]["row"] for entry in report["matrices"]] == [1, 1]
    assert read(bench, "matrix.html").count("<th>") == 3
    assert len(Xml.fromstring(read(bench, "matrix.junit.xml"))) == 2


def check_sarif(log: dict[str, Any]) -> list[dict[str, Any]]:
    """What SARIF 2.1.0 (OASIS, sections 3.13 to 3.58) requires of what we write."""
    assert set(log) == {"$schema", "version", "runs"}
    assert log["version"] == "2.1.0"
    (run,) = log["runs"]
    driver = run["tool"]["driver"]
    assert driver["name"] == "drytouch"
    ids = [rule["id"] for rule in driver["rules"]]
    assert len(ids) == len(set(ids))
    results: list[dict[str, Any]] = run["results"]
    for result in results:
        assert ids[result["ruleIndex"]] == result["ruleId"]
        assert result["level"] in ("none", "note", "warning", "error")
        assert result["message"]["text"]
        for location in result["locations"]:
            place = location["physicalLocation"]
            assert place["region"]["startLine"] >= 1
            assert re.fullmatch(r"(file:///)?[^\s\\]+", place["artifactLocation"]["uri"])
    return results


def place(result: dict[str, Any]) -> tuple[str, int]:
    (location,) = result["locations"]
    physical = location["physicalLocation"]
    return physical["artifactLocation"]["uri"], physical["region"]["startLine"]


def test_sarif_points_at_the_line_of_a_function(bench: Path) -> None:
    matrix("own.py:hurried", "--with", "row=1")
    results = check_sarif(json.loads(read(bench, "matrix.sarif")))
    lines = OWN.splitlines()
    runaway = next(result for result in results if result["ruleId"] == "runaway")
    uri, line = place(runaway)
    assert uri == "own.py"
    assert "controller.touch(" in lines[line - 1]
    assert (
        "With 'wire-shorted' (The wire is shorted): The axis fed on" in (runaway["message"]["text"])
    )
    assert runaway["level"] == "error"
    assert {result["ruleId"] for result in results} <= set(CATALOGUE)
    false = next(result for result in results if result["ruleId"] == "wrong-number")
    assert "controller.store_length(" in lines[place(false)[1] - 1]


def test_a_line_is_found_through_helpers_that_the_function_shares(bench: Path) -> None:
    (bench / "own.py").write_text(
        "from drytouch.sim.routines.touching import approach, two_stage_touch\n\n\n"
        "def shared(controller, row):\n"
        "    record = controller.record()\n"
        "    place = (record.x_mm, record.y_mm)\n"
        "    yield from approach(controller, controller.top, place, -345.0)\n"
        "    touched = yield from two_stage_touch(controller, record, None, -370.0)\n"
        "    controller.store_length(row, touched.z_mm - record.reference_z_mm)\n",
        encoding="utf-8",
    )
    matrix("own.py:shared", "--with", "row=1")
    results = check_sarif(json.loads(read(bench, "matrix.sarif")))
    found = {result["ruleId"]: place(result) for result in results}
    assert found["runaway"] == ("own.py", 8)
    assert found["wrong-number"] == ("own.py", 9)


def test_sarif_points_at_the_line_of_a_program(bench: Path) -> None:
    program = bench / "measure.ngc"
    text = library.path("program", "measure-length").read_text(encoding="utf-8")
    program.write_text(text, encoding="utf-8")
    assert matrix("measure.ngc") == 0
    results = check_sarif(json.loads(read(bench, "matrix.sarif")))
    runaway = next(result for result in results if result["ruleId"] == "runaway")
    uri, line = place(runaway)
    assert uri == "measure.ngc"
    assert "G38.2" in text.splitlines()[line - 1]


def test_sarif_of_a_built_in_routine_points_at_the_scenario(bench: Path) -> None:
    matrix("measure-length")
    results = check_sarif(json.loads(read(bench, "matrix.sarif")))
    assert {place(result) for result in results} == {("bench.toml", 1)}


def test_pairs_are_told_where_they_are_worse(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    only = [word for name in ("pad-sticks-down", "scan-slow") for word in ("--only", name)]
    words = ["matrix", "measure-length", "--pairs", "--on", "bench.toml", "--out", "out"]
    assert main([*words, "--no-picture", *only, "--require", "worse-together=0"]) == 1
    screen = capsys.readouterr().out
    assert "1 pairs of faults; 1 end worse than either fault alone" in screen
    assert "pad-sticks-down + scan-slow: harm." in screen
    assert "Two faults at once" in read(bench, "matrix.html")
    names = [test.get("name") for test in Xml.fromstring(read(bench, "matrix.junit.xml"))[0]]
    assert "pad-sticks-down + scan-slow" in names


def test_an_interrupted_matrix_keeps_what_is_done(
    bench: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = []

    def run_some(job: Any, scenario: Any, faults: tuple[str, ...], *more: Any) -> Any:
        seen.append(faults)
        if len(seen) == 8:
            raise KeyboardInterrupt
        return run_case(job, scenario, faults, *more)

    monkeypatch.setattr("drytouch.sim.study.matrix.run_case", run_some)
    assert matrix("measure-length") == 130
    caught = capsys.readouterr()
    assert "stopped; finished work is in out" in caught.err
    assert json.loads(read(bench, "matrix.json"))["matrices"][0]["finished"] is False
    assert "Interrupted: this is what was done." in read(bench, "matrix.html")


def test_pictures_of_the_harm_are_in_the_page(bench: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = []

    def draw(self: object, recording: Any, path: Path) -> Path:
        drawn.append(recording.data["outcome"]["verdict"])
        path.write_bytes(b"not really a picture")
        return path

    monkeypatch.setattr("drytouch.sim.commands.pictures.Pictures.draw", draw)
    only = [word for name in FEW for word in ("--only", name)]
    main(["matrix", "measure-length", "--on", "bench.toml", "--out", "out", *only])
    assert drawn == ["harm", "harm"]
    text = read(bench, "matrix.html")
    assert text.count("<figure><img alt=") == 2
    assert text.count("src='data:image/png;base64,bm90IHJlYWxseSBhIHBpY3R1cmU='") == 2
