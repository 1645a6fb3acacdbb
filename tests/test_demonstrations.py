"""Every demonstration shows what it says, whatever should not matter to its verdict."""

from __future__ import annotations

import json
import tomllib
from itertools import pairwise
from typing import Any

import pytest
from demonstration_cases import (
    NAMES,
    in_inch,
    mirrored,
    outcome_of,
    run,
    scenario_named,
    shifted,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drytouch.sim.recording import Recording
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.scene import Chain, Scene, overlaps
from drytouch.sim.truth.catalogue import CATALOGUE
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

RIGHT = tuple(n for n in NAMES if scenario_named(n).expect.verdict == "right")  # type: ignore[union-attr]
# Typed lines carry their positions as text, which these changes do not rewrite.
MOVABLE = tuple(
    n for n in NAMES if all(s.do not in ("mdi", "program") for s in scenario_named(n).steps)
)


def recording_of(outcome: Outcome) -> Recording:
    return Recording.from_outcome(outcome)


def test_there_are_enough_of_them_and_each_machine_is_shown_right() -> None:
    assert len(NAMES) >= 30
    assert {scenario_named(n).machine.name for n in RIGHT} >= set(library.names("machine"))
    verdicts = {scenario_named(n).expect.verdict for n in NAMES}  # type: ignore[union-attr]
    assert verdicts == {"right", "stopped", "risky", "wrong", "harm"}


@pytest.mark.parametrize("name", NAMES)
def test_it_has_what_a_reader_and_a_learner_need(name: str) -> None:
    scenario = scenario_named(name)
    assert scenario.kind == "demonstration"
    assert scenario.title
    assert scenario.watch_for
    assert len(scenario.story) > 80
    assert scenario.expect is not None
    assert scenario.questions
    for question in scenario.questions:
        # A question about a finding that never comes would never be asked.
        if question.before and not question.before.endswith(" s"):
            assert question.before in scenario.expect.findings
        elif question.before:
            assert float(question.before[:-2]) < outcome_of(name).time_s


@pytest.mark.parametrize("name", NAMES)
def test_verdict_and_findings_are_exactly_as_promised(name: str) -> None:
    expect, outcome = scenario_named(name).expect, outcome_of(name)
    assert expect is not None
    assert not outcome.error
    assert (outcome.verdict, set(outcome.codes)) == (expect.verdict, set(expect.findings))


@pytest.mark.parametrize("name", NAMES)
def test_every_number_of_a_right_run_is_right_and_only_then_none_is_called_wrong(name: str) -> None:
    outcome = outcome_of(name)
    wrong = [n.name for n in outcome.numbers.values() if abs(n.error) > n.tolerance]
    told = [f for f in outcome.findings if f.code == "wrong-number"]
    assert len(told) == len(wrong)
    if name in RIGHT:
        assert not wrong
        assert not outcome.alarms


@pytest.mark.parametrize("name", NAMES)
def test_three_sentences_for_every_finding(name: str) -> None:
    for finding in outcome_of(name).findings:
        for sentence in (finding.what, finding.why, finding.avoid):
            assert sentence[0].isupper() or not sentence[0].isalpha()
            assert sentence.endswith((".", "?"))
            assert "{" not in sentence


@pytest.mark.parametrize("name", NAMES)
def test_the_recording_is_small_and_the_same_again(name: str) -> None:
    text = json.dumps(recording_of(outcome_of(name)).data, separators=(",", ":"))
    assert len(text.encode()) < 100_000 * max(outcome_of(name).time_s, 10.0) / 10.0
    again = Twin(scenario_named(name)).run_steps()
    assert json.dumps(recording_of(again).data, separators=(",", ":")) == text


def stages(data: dict[str, Any], recording: Recording) -> list[tuple[float, float, Scene]]:
    """What stood where, from when to when."""
    times = sorted({row[0] for row in data["scene"]} | {0.0, recording.duration_s})
    found = []
    for start, end in pairwise(times):
        scene = Scene(Chain({k: tuple(v) for k, v in data["links"].items()}))
        for there in recording.bodies_at((start + end) / 2):
            scene.place(there.body)
        found.append((start, end, scene))
    return found


@pytest.mark.parametrize("name", RIGHT)
def test_nothing_is_ever_inside_anything_else(name: str) -> None:
    recording = recording_of(outcome_of(name))
    for start, end, scene in stages(dict(recording.data), recording):
        times = {start, end}
        for line in recording.lines:
            t0, t1 = line.t
            times |= {t0 + (t1 - t0) * k / 8 for k in range(9)}
        for t in sorted(t for t in times if start < t < end):
            bad = [
                pair
                for pair in overlaps(scene, recording.position_at(t), 2e-6)
                # A pad is pressed in by what touches it: that is its depth, not an overlap.
                if not any(body.endswith(".pad") for body in pair)
            ]
            assert not bad, (t, bad)


@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    name=st.sampled_from(MOVABLE),
    # Whole hundredths: a readout of the same counts rounds the same way.
    by=st.tuples(*[st.integers(-30_000, 30_000).map(lambda n: n / 100)] * 3),
)
def test_machine_zero_elsewhere_changes_no_verdict(
    name: str, by: tuple[float, float, float]
) -> None:
    there, here = run(shifted(scenario_named(name), by)), outcome_of(name)
    assert (there.verdict, there.codes) == (here.verdict, here.codes)
    for key, number in here.numbers.items():
        assert there.numbers[key].error == pytest.approx(number.error, abs=2e-4), key


@pytest.mark.parametrize("name", MOVABLE)
def test_a_mirror_changes_no_verdict(name: str) -> None:
    there, here = run(mirrored(scenario_named(name))), outcome_of(name)
    assert (there.verdict, there.codes) == (here.verdict, here.codes)
    for key, number in here.numbers.items():
        assert there.numbers[key].error == pytest.approx(number.error, abs=2e-4), key


@pytest.mark.parametrize("name", NAMES)
def test_the_same_file_in_inch_agrees_within_a_nanometre(name: str) -> None:
    path = library.path("demonstration", name)
    data = in_inch(tomllib.loads(path.read_text(encoding="utf-8")))
    assert "_mm" not in json.dumps({k: v for k, v in data.items() if k != "story"})
    there, here = Twin(scenario_from_dict(data)).run_steps(), outcome_of(name)
    assert (there.verdict, there.codes) == (here.verdict, here.codes)
    for key, number in here.numbers.items():
        assert there.numbers[key].belief == pytest.approx(number.belief, abs=1e-6), key
        assert there.numbers[key].truth == pytest.approx(number.truth, abs=1e-6), key


@pytest.mark.parametrize("name", RIGHT)
def test_chance_makes_no_finding_of_a_right_run(name: str) -> None:
    for seed in range(100, 106):
        outcome = Twin(scenario_named(name), seed).run_steps()
        # Two touches may disagree by chance, which is an alarm; a finding it never is.
        assert outcome.codes == ()
        assert outcome.verdict == ("stopped" if outcome.alarms else "right")


def test_every_finding_is_shown_somewhere() -> None:
    shown = {code for n in NAMES for code in outcome_of(n).codes}
    assert shown == set(CATALOGUE)
