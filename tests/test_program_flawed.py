"""Programs with one planted mistake: the run shows it, and the sound original doesn't."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from drytouch.sim.program.check import check_program
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.steps import Program
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

ORIGINALS = {
    "across-before-up": "measure-length",
    "clearance-of-another": "measure-length",
    "endless-search": "find-pad",
    "incremental-left-on": "measure-and-park",
    "machine-frame-forgotten": "measure-length",
    "no-quiet-check": "measure-by-skip",
    "rapid-for-touch": "measure-length",
    "recheck-that-pauses": "recheck-and-approach",
    "recheck-that-writes": "recheck-length",
    "shift-still-active": "stock-top",
    "short-back-off": "measure-length",
    "stale-row": "measure-length",
    "units-left-switched": "measure-in-two-units",
    "wear-kept": "measure-length",
    "wrong-sign": "recheck-and-approach",
}
# A number in a setting at the head is what the case needs, not its mistake.
SETTINGS = {"clearance-of-another": ("#101=0 (", "#101=120 (")}


def original_text(name: str) -> str:
    text = library.path("program", ORIGINALS[name]).read_text("utf-8")
    return text.replace(*SETTINGS[name]) if name in SETTINGS else text


def run(name: str, program: Path | None = None) -> Outcome:
    """The flawed program's scenario, or the same with another program."""
    scenario = load_scenario(library.path("demonstration", f"flawed-{name}"))
    steps = list(scenario.steps)
    index = next(i for i, step in enumerate(steps) if isinstance(step, Program))
    assert Path(steps[index].file) == library.path("program", name)  # type: ignore[union-attr]
    if program is not None:
        steps[index] = steps[index].model_copy(update={"file": str(program)})
    return Twin(scenario.model_copy(update={"steps": tuple(steps)})).run_steps()


def test_every_flawed_program_has_its_case() -> None:
    flawed = sorted((library.root() / "programs" / "flawed").glob("*.ngc"))
    assert [path.stem for path in flawed] == sorted(ORIGINALS)
    assert len(ORIGINALS) >= 14


@pytest.mark.parametrize("name", ORIGINALS)
def test_the_mistake_is_one_place_of_a_sound_program(name: str) -> None:
    head, *flawed = library.path("program", name).read_text("utf-8").splitlines()
    assert head == "(One mistake is in this program: find it before the machine does.)"
    changes = difflib.SequenceMatcher(None, original_text(name).splitlines(), flawed, False)
    places = [tag for tag in changes.get_opcodes() if tag[0] != "equal"]
    assert 1 <= len(places) <= 2
    assert sum(max(b - a, d - c) for _, a, b, c, d in places) <= 7


@pytest.mark.parametrize("name", ORIGINALS)
def test_nothing_is_wrong_with_its_text(name: str) -> None:
    text = library.path("program", name).read_text("utf-8")
    assert check_program(text, name).errors == ()


@pytest.mark.parametrize("name", ORIGINALS)
def test_the_run_shows_the_mistake(name: str) -> None:
    scenario, outcome = load_scenario(library.path("demonstration", f"flawed-{name}")), run(name)
    assert scenario.expect is not None
    assert (outcome.verdict, set(outcome.codes)) == (
        scenario.expect.verdict,
        set(scenario.expect.findings),
    )
    assert outcome.verdict != "right"
    for finding in outcome.findings:
        if finding.code != "wrong-number":
            assert finding.source.file == f"{name}.ngc"
            assert finding.source.program_line


@pytest.mark.parametrize("name", ORIGINALS)
def test_the_sound_original_does_not(name: str, tmp_path: Path) -> None:
    path = tmp_path / "sound.ngc"
    path.write_text(original_text(name), "utf-8")
    sound, flawed = run(name, path), run(name)
    assert sound.codes == ()
    assert sound.verdict in ("right", "stopped")
    # A sound program stops only where something is really wrong with the machine or its tables.
    if flawed.verdict == "stopped":
        assert sound.verdict == "right"
    if sound.verdict == "stopped":
        assert sound.alarms[-1][1].code == "program"
        assert not sound.numbers
