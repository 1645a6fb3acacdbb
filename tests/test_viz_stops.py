"""When a question stops a replay: one answer, and nothing that gives it away before."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_cases import call
from page_cases import demonstration

from drytouch.sim.recording import Recording
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.twin.twin import Twin
from drytouch.viz.pace import pace
from drytouch.viz.page_data import entry_of, facts_of, questions_of
from drytouch.viz.stops import UNSEEN_S, asked_in, stop_of

ASKED = (
    "wrong-socket-runaway",
    "lug-strike-at-touching-feed",
    "lug-strike-at-jog-speed",
    "clearance-too-low",
    "hollow-cutter-centred",
    "stale-reference-used-anyway",
    "setter-nudged",
    "hand-in-reach",
)


@pytest.mark.parametrize("name", ASKED)
def test_movie_and_page_ask_at_the_same_time_and_tell_after(name: str) -> None:
    recording, scenario = demonstration(name)
    on_page = [question["t"] for question in questions_of(recording, scenario.questions)]
    stretches = pace(recording, scenario.questions)
    assert on_page == [s.t0 for s in stretches if s.kind == "ask"]
    tells = [s.t0 for s in stretches if s.kind == "tell"]
    for ask, tell in zip(on_page, tells, strict=True):
        assert 0.0 <= ask <= tell <= recording.duration_s


@pytest.mark.parametrize("name", ASKED)
def test_what_would_answer_a_question_is_hidden_till_then(name: str) -> None:
    recording, scenario = demonstration(name)
    for question in questions_of(recording, scenario.questions):
        for finding in entry_of(recording, scenario)["findings"]:
            if finding["t"] <= question["t"] and finding["severity"] in ("harm", "wrong"):
                assert finding["code"] in question["hides"]


def test_a_number_is_asked_about_where_it_was_touched() -> None:
    recording, _ = demonstration("lug-strike-at-touching-feed")
    t = stop_of(recording, "wrong-number").ask
    assert recording.pad_depth_at("setter", t) > 0.09
    assert recording.speed_at(t) == pytest.approx(0.0, abs=1e-6)
    latches = [event.t for event in recording.events if event.kind == "latch"]
    assert latches[-1] < t < recording.duration_s


def test_the_room_of_a_way_is_asked_about_at_its_end() -> None:
    recording, scenario = demonstration("clearance-too-low")
    t = stop_of(recording, "low-clearance").ask
    assert recording.position_at(t)[0] == pytest.approx(-600.0, abs=0.01)
    assert recording.pad_depth_at("setter", t) == 0.0
    seen = [f["seen_t"] for f in entry_of(recording, scenario)["findings"]]
    assert seen[-1] == pytest.approx(t, abs=1e-3)


def test_a_trigger_that_never_comes_is_waited_for() -> None:
    recording, _ = demonstration("wrong-socket-runaway")
    close = next(event.t for event in recording.events if event.kind == "close")
    runaway = next(f["time_s"] for f in recording.findings if f["code"] == "runaway")
    ask = stop_of(recording, "runaway").ask
    assert ask == pytest.approx(close + UNSEEN_S)
    assert ask < runaway
    assert recording.signal_at("input 1.seen", ask) is not None


def test_a_recording_brings_its_set_up_along() -> None:
    recording, scenario = demonstration("wrong-socket-runaway")
    assert facts_of(recording, None) == facts_of(recording, scenario)
    assert facts_of(recording, None)["plugs"] == {"setter": "setter"}


def test_a_gallery_tells_a_run_that_differs_by_its_exit_code(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    text = library.path("demonstration", "hand-in-reach").read_text(encoding="utf-8")
    other = tmp_path / "other.toml"
    other.write_text(text.replace('verdict = "harm"', 'verdict = "right"'), encoding="utf-8")
    result = call(capsys, "gallery", str(other), "--out", str(tmp_path / "out"))
    assert result.code == 1
    assert "differs from what it promises" in result.err
    assert (tmp_path / "out" / "other.html").exists()


def test_a_recording_carries_its_questions_through_a_file(tmp_path: Path) -> None:
    scenario = load_scenario("wrong-socket-runaway")
    assert scenario.questions
    path = tmp_path / "a.recording.json"
    Recording.from_dict(Twin(scenario).run_steps().recorder.to_dict()).save(path)
    assert asked_in(Recording.load(path)) == scenario.questions
    plain = scenario.model_copy(update={"questions": ()})
    unasked = Recording.from_dict(Twin(plain).run_steps().recorder.to_dict())
    assert asked_in(unasked) == ()
    assert asked_in(unasked, scenario) == scenario.questions
