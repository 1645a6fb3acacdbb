"""The pytest plugin: pytest inside pytest, what its failures say, and the page that explains it."""

from __future__ import annotations

import json
import re
import sys
import tomllib
from importlib.metadata import distributions
from pathlib import Path

import pytest
from fault_cases import centre
from matrix_cases import OWN

from drytouch.sim.commands.main import main
from drytouch.sim.faults import FAULTS
from drytouch.sim.recording import Recording
from drytouch.sim.scenario import library
from drytouch.sim.scenario.save import scenario_to_toml

pytest_plugins = ["pytester"]

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "testing-routines.md").read_text(encoding="utf-8")
# An older installation in a working tree may not name the plugin yet.
NAMED = any(
    (entry.group, entry.name) == ("pytest11", "drytouch")
    for installed in distributions()
    for entry in installed.entry_points
)
PLUGIN = [] if NAMED else ["-p", "drytouch.sim.pytest_plugin"]


def inner(pytester: pytest.Pytester, *words: str) -> pytest.RunResult:
    return pytester.runpytest_inprocess(*PLUGIN, "-p", "no:cacheprovider", *words)


def said(result: pytest.RunResult) -> str:
    """What pytest printed of raised errors, without its marks."""
    lines = (line for line in result.outlines if line.startswith("E "))
    return "\n".join(line[8:] if line.startswith("E       ") else line[1:] for line in lines)


def test_an_installation_names_the_plugin() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["entry-points"]["pytest11"] == {"drytouch": "drytouch.sim.pytest_plugin"}


def test_a_scenario_by_name_file_data_and_object(pytester: pytest.Pytester) -> None:
    pytester.mkdir("sub")
    (pytester.path / "sub" / "bench.toml").write_text(scenario_to_toml(centre()), encoding="utf-8")
    (pytester.path / "sub" / "test_it.py").write_text(
        OWN
        + """
import tomllib
from pathlib import Path

from drytouch.sim.scenario.load import load_scenario

FILE = Path(__file__).parent / "bench.toml"


def test_by_name(rehearse):
    assert rehearse("length-done-right").must_be_right().outcome.scenario == "length-done-right"


def test_by_file(rehearse):
    rehearse("bench.toml", hurried, row=1).must_be_right()
    rehearse(FILE, hurried, row=1).must_be_right()


def test_by_data(rehearse):
    rehearse(tomllib.loads(FILE.read_text()), "measure-length", row=1).must_be_right()


def test_by_object(rehearse, touch_off_twin):
    scenario = load_scenario(FILE)
    rehearse(scenario, hurried, row=1, seed=5).must_be_right()
    assert touch_off_twin(scenario, seed=5).seed == 5


def test_parts_of_a_run(rehearse):
    run = rehearse("bench.toml", hurried, row=1, fault="tip_broken")
    assert run.faults == ("tip-broken",)
    assert run.verdict == "right"
    assert run.codes == run.alarms == ()
    assert abs(run.number("row 1 length").belief - 116.0) < 0.002
    assert repr(run).startswith("<hurried(row=1) on 'bench', with 'tip-broken' (The tip is ")
    assert repr(run).endswith(": right>")
    run.must_end("right", "stopped").must_not_find("crash").must_catch().must_be_safe()
""",
        encoding="utf-8",
    )
    inner(pytester).assert_outcomes(passed=5)


@pytest.mark.parametrize(
    ("check", "head"),
    [
        ("must_be_right()", "It should have come out right, but it finished with a false number."),
        ('must_stop("no-contact")', "It should have stopped, but it finished with a false number."),
        ('must_end("right")', "It should have ended right, but it finished with a false number."),
        ('must_find("crash", "bounce")', "It should have shown crash, bounce, and did not."),
        ('must_not_find("wrong-number")', "It should not have shown wrong-number, and did."),
        ("must_catch()", "It should have caught this, but it finished with a false number."),
        (
            'number("row 2 length")',
            "It should have stored 'row 2 length'; it stored 'row 1 length'.",
        ),
    ],
)
def test_each_check_says_what_it_wanted(pytester: pytest.Pytester, check: str, head: str) -> None:
    pytester.makepyfile(
        f"""
        from pathlib import Path

        def test_it(rehearse):
            rehearse("length-done-right", "measure-length", row=1, fault="chip-on-pad").{check}
        """
    )
    result = inner(pytester)
    result.assert_outcomes(failed=1)
    lines = said(result).splitlines()
    assert lines[0] == f"AssertionError: {head}"
    assert lines[1] == (
        "measure-length(row=1) on 'length-done-right', seed 1, with 'chip-on-pad' "
        "(A chip lies on the pad)"
    )
    assert lines[2] == "Verdict: wrong"
    assert re.fullmatch(
        r"- row 1 length: believed 120\.\d{4} mm, true 120\.0000 mm, off by \+(79|80)\.\d um; "
        r"10\.0 um are allowed  <- too far off",
        lines[5],
    )
    if "must_catch" in check:
        assert any(line.startswith("To catch it: Wipe pad and tool") for line in lines)
    assert lines[-1] == "Recording: not kept; pytest --drytouch-recordings=DIR keeps it"
    # The last frame shown is the test's own line, not ours.
    assert "rehearsal.py" not in result.stdout.str()


def test_a_check_with_a_wrong_alarm_or_verdict(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        """
        def test_alarm(rehearse):
            rehearse("length-done-right", fault="unplugged").must_stop("no-contact")

        def test_verdict(rehearse):
            rehearse("length-done-right").must_end("perfect")
        """
    )
    text = said(inner(pytester))
    assert "alarm 'no-contact'; it stopped with unproved-input." in text
    assert "there is no verdict 'perfect'" in text


def test_an_error_of_the_routines_own_is_shown_with_its_trace(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        OWN + "\n\ndef test_it(rehearse):\n"
        '    rehearse("length-done-right", mistaken, row=1).must_be_right()\n'
    )
    result = inner(pytester)
    text = said(result)
    assert "ValueError: a slip of the pen" in text
    assert "- it broke off: ValueError: a slip of the pen" in text
    result.stdout.fnmatch_lines(['>*raise ValueError("a slip of the pen")'])


@pytest.mark.parametrize("what", ["measure.ngc", "steps"])
def test_a_failing_program_shows_its_line_and_neighbours(
    pytester: pytest.Pytester, what: str
) -> None:
    text = library.path("program", "measure-length").read_text(encoding="utf-8")
    program = pytester.path / "measure.ngc"
    program.write_text(text, encoding="utf-8")
    steps = [{"do": "program", "file": str(program)}]
    (pytester.path / "bench.toml").write_text(
        scenario_to_toml(centre(steps=steps)), encoding="utf-8"
    )
    pytester.makepyfile(
        f"""
        def test_it(rehearse):
            rehearse("bench.toml", "{what}", fault="wire-shorted").must_be_safe()
        """
    )
    lines = said(inner(pytester)).splitlines()
    assert lines[1].startswith(f"{what} on 'bench', seed 1, with 'wire-shorted'")
    at = next(index for index, line in enumerate(lines) if line.startswith("At measure.ngc, line "))
    found = re.fullmatch(r"At measure\.ngc, line (\d+) \(runaway\):", lines[at])
    assert found is not None
    number, source = int(found.group(1)), text.splitlines()
    assert "G38.2" in source[number - 1]
    shown = [
        f"{'>' if near == number else ' '} {near:4} | {source[near - 1]}"
        for near in range(number - 2, number + 3)
    ]
    assert lines[at + 1 : at + 6] == shown


def test_what_else_a_run_may_say(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        OWN
        + """
import unittest

import pytest

from drytouch.sim.errors import InputError


def test_never_ends(rehearse):
    with pytest.raises(AssertionError, match="it should have ended|It should have ended"):
        rehearse("length-done-right", endless, row=1).must_be_safe()


def test_unknown_fault(rehearse):
    with pytest.raises(InputError, match="did you mean 'unplugged'"):
        rehearse("length-done-right", fault="unpluged")


def test_every_fault_that_can_happen(rehearse):
    runs = list(rehearse.under_faults("length-done-right", "measure-length"))
    assert len({run.faults for run in runs}) == len(runs) > 50
    assert runs[0].result is None  # it stopped before it measured
    assert "rehearse(scenario" in repr(rehearse)


def test_what_cannot_happen_is_told_where_it_was_asked_for(rehearse):
    from drytouch.sim.faults import NotHere

    with pytest.raises(NotHere, match="no radio link"):
        list(rehearse.under_faults("length-done-right", faults=["radio-blocked"]))


def test_prepared(rehearse):
    rehearse("work-z-done-right", "set-work-z").must_be_right()


@pytest.mark.usefixtures("touch_off_twin")
class ByHand(unittest.TestCase):
    def test_it(self):
        self.assertEqual(self.touch_off_twin("length-done-right").tables.slot, 1)
"""
    )
    inner(pytester).assert_outcomes(passed=6)


FAILING = (
    OWN
    + """

def test_check(rehearse):
    rehearse("length-done-right", hurried, row=1, fault="wire-shorted").must_be_safe()


def test_plain_assert(rehearse):
    first = rehearse("length-done-right", hurried, row=1)
    second = rehearse("length-done-right", hurried, row=1, seed=9)
    assert first.verdict == second.verdict == "harm"


def test_passes(rehearse):
    rehearse("length-done-right")
"""
)
KEPT = ["test_check-1", "test_plain_assert-1", "test_plain_assert-2"]


@pytest.mark.parametrize("workers", [(), ("-n", "2")])
def test_recordings_of_failures_are_kept(
    pytester: pytest.Pytester, workers: tuple[str, ...]
) -> None:
    pytester.makepyfile(test_it=FAILING)
    result = inner(pytester, "--drytouch-recordings=kept", *workers)
    result.assert_outcomes(failed=2, passed=1)
    folder = pytester.path / "kept"
    names = [f"test_it.py-{name}.recording.json" for name in KEPT]
    assert sorted(path.name for path in folder.iterdir()) == names
    assert f"Recording: {folder / names[0]}" in said(result)
    for name in names[1:]:
        result.stdout.fnmatch_lines([f"*{name}"])
    verdicts = [Recording.load(folder / name).data["outcome"]["verdict"] for name in names]
    assert verdicts == ["harm", "right", "right"]


def test_without_the_option_nothing_is_written(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(test_it=FAILING)
    inner(pytester).assert_outcomes(failed=2, passed=1)
    assert not list(pytester.path.rglob("*.json"))


def test_the_mark_runs_a_test_once_a_fault(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        """
        import pytest

        @pytest.mark.drytouch_faults()
        def test_all(rehearse, fault):
            rehearse("length-done-right", "measure-length", row=1, fault=fault)

        @pytest.mark.drytouch_faults("tip_broken", "unplugged")
        def test_named(fault):
            assert fault in ("tip-broken", "unplugged")

        @pytest.mark.drytouch_faults(group="data", but=["old_wear"])
        def test_group(fault):
            pass

        class TestIt:
            @pytest.mark.drytouch_faults("radio-blocked")
            def test_skips(self, rehearse, touch_off_twin, fault):
                touch_off_twin("length-done-right", fault=fault)
        """
    )
    group = sum(entry.group == "data" for entry in FAULTS.values()) - 1
    result = inner(pytester, "-rs")
    counts = result.parseoutcomes()
    assert counts["passed"] + counts["skipped"] == len(FAULTS) + 2 + group + 1
    assert "failed" not in counts
    result.stdout.fnmatch_lines(["*can't happen here: setter has no radio link"])


@pytest.mark.parametrize(
    ("mark", "argument", "text"),
    [
        ('"unpluged"', "fault", "there is no fault 'unpluged'; did you mean 'unplugged'?"),
        ('group="cables"', "fault", "there is no group 'cables' of faults"),
        ("", "rehearse", "a test marked drytouch_faults takes an argument 'fault'"),
    ],
)
def test_a_mark_that_cannot_be_is_told(
    pytester: pytest.Pytester, mark: str, argument: str, text: str
) -> None:
    pytester.makepyfile(
        f"""
        import pytest

        @pytest.mark.drytouch_faults({mark})
        def test_it({argument}):
            pass
        """
    )
    result = inner(pytester)
    assert result.ret != 0
    assert text in result.stdout.str() + result.stderr.str()


def test_the_mark_is_known_where_marks_are_strict(pytester: pytest.Pytester) -> None:
    result = inner(pytester, "--markers")
    result.stdout.fnmatch_lines(["@pytest.mark.drytouch_faults(*names, group=None, but=()):*"])


def test_a_suite_that_uses_nothing_loads_nothing(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(
        """
        import sys

        def test_it(request):
            loaded = [name for name in sys.modules if name.startswith("drytouch")]
            assert set(loaded) <= {"drytouch", "drytouch.sim", "drytouch.sim.pytest_plugin"}
            assert "pydantic" not in sys.modules
            assert "simpy" not in sys.modules
        """
    )
    words = [sys.executable, "-m", "pytest", *PLUGIN, "-p", "no:cacheprovider", "-q"]
    result = pytester.run(*words)
    assert result.ret == 0, result.stdout.str()


# ---- the page --------------------------------------------------------------------------------


def blocks(kind: str) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)


def test_the_examples_of_the_page_run(pytester: pytest.Pytester) -> None:
    pytester.makepyfile(test_page="\n\n".join(blocks("python")))
    result = inner(pytester)
    counts = result.parseoutcomes()
    assert "failed" not in counts
    assert "errors" not in counts
    assert counts["passed"] > 10


def test_the_failure_that_the_page_shows_is_what_is_said(pytester: pytest.Pytester) -> None:
    (fails,) = blocks("python fails")
    hurried = next(block for block in blocks("python") if block.startswith("def hurried"))
    # The same lines as in the page's own file, where the first example stands above.
    source = "# a routine of our own\n\n\n" + hurried.split("\n\n\n")[0] + "\n\n\n" + fails
    pytester.makepyfile(test_page=source)
    result = inner(pytester)
    result.assert_outcomes(failed=1)
    (shown,) = blocks("text")
    assert said(result).removeprefix("AssertionError: ") == shown.rstrip("\n")


def test_the_commands_of_the_page_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "routines.py").write_text(OWN, encoding="utf-8")
    (text,) = blocks("console")
    commands = [line.split()[1:] for line in text.splitlines()]
    assert len(commands) == 4
    for words in commands:
        assert main([*words, "--no-picture", "--json"]) == 0
        report = json.loads(capsys.readouterr().out)
        assert all(entry["right_without_fault"] for entry in report["matrices"])


def test_the_faults_of_the_page_load(tmp_path: Path) -> None:
    from drytouch.sim.scenario.load import load_scenario

    (text,) = blocks("toml")
    path = tmp_path / "bench.toml"
    path.write_text(scenario_to_toml(centre(chance=True)) + "\n" + text, encoding="utf-8")
    scenario = load_scenario(path)
    assert [fault.name for fault in scenario.faults] == ["line-noisy"]
    assert scenario.meanwhile[-1].nth == 2


def test_the_page_lists_the_whole_catalogue() -> None:
    rows = re.findall(r"^\| `([a-z-]+)` \| (\w+) \| (.*?) \| (.*?) ?\|$", PAGE, re.MULTILINE)
    assert [row[0] for row in rows] == list(FAULTS)
    for name, group, title, figures in rows:
        entry = FAULTS[name]
        assert (group, title) == (entry.group, entry.title)
        given = dict(re.findall(r"`(\w+) = ([^`]+)`", figures))
        shown = {a.name: a.default for a in entry.arguments if a.default is not None}
        assert {key: tomllib.loads(f"v = {text}")["v"] for key, text in given.items()} == shown
