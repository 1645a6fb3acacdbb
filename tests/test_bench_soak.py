"""Hours at the bench: memory stays flat, and what was done long ago is still exactly there."""

from __future__ import annotations

import gc
import json
import re
import tracemalloc
import zlib
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from bench_cases import do, replayed, same, wait
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import run_state_machine_as_test
from test_bench_random import Hands

from drytouch.sim.bench import Session, live, telling
from drytouch.sim.bench.records import Records, _compressed
from drytouch.sim.recording import recorder, rows
from drytouch.sim.recording.rows import Rows
from drytouch.sim.scene import ContactCache
from drytouch.sim.twin import stage

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"


@pytest.fixture(scope="module")
def soak() -> Iterator[ModuleType]:
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(BENCHMARKS))
        import soak_hand

        yield soak_hand


def few(patch: pytest.MonkeyPatch, together: int, keep: int) -> None:
    """So many rows are packed at once, and so many are kept."""
    patch.setattr(rows, "TOGETHER", together)
    patch.setattr(recorder, "KEPT", keep)
    patch.setattr(live, "KEPT", keep)
    patch.setattr(telling, "_KEPT", keep)


@pytest.fixture
def tiny() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        few(patch, 3, 1)
        yield


def worked(soak: ModuleType, seed: int, actions: int, packs: bool = True) -> Any:
    """A hand that has done so much, with a page that looked on."""
    with pytest.MonkeyPatch.context() as patch:
        if not packs:
            patch.setattr(Rows, "pack", lambda self: None)
        hand = soak.Hand(Session.open(soak.scenario(seed)), seed)
        hand.work(actions)
        hand.session.finish()
    return hand


# ---- flat ------------------------------------------------------------------------------------

# One batch of lines comes and goes, 200 kB; what stays are the places of packed rows and a byte for
# each action, 50 kB an hour. As objects the rows would take 25 MB an hour.
MOST_KB = 200.0
LEAST_S = 700.0


def test_four_times_the_work_takes_no_more_memory(
    soak: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The process remembers 20,000 contacts and 512 plans for all its sessions together, and no
    # more: that is not what is measured here.
    monkeypatch.setattr(stage, "_CACHE", ContactCache(64))
    plans = import_module("drytouch.sim.motion.from_rest")
    monkeypatch.setattr(plans, "relative_profile", plans.relative_profile.__wrapped__)
    hand = soak.Hand(Session.open(soak.scenario()), pages=False)
    hand.session.act({"do": "beat"})  # what reads messages is made once a process
    tracemalloc.start(1)
    try:
        found = []
        for actions in (200, 600):
            hand.work(actions)
            gc.collect()
            found.append((hand.session.live.time, tracemalloc.get_traced_memory()[0] / 1e3))
    finally:
        tracemalloc.stop()
    (t0, before), (t1, after) = found
    taken = hand.session.live.twin.recorder
    assert hand.done == 800
    assert len(taken.lines) > 2200
    assert len(hand.session.live.log) > 1100
    assert not hand.refused
    assert t1 - t0 > LEAST_S
    assert after - before < MOST_KB
    # A page that comes now is told its 300 events without a look into the file.
    assert isinstance(hand.session.teller.events, Rows)
    assert len(hand.session.teller.events._tail) >= 300


def test_alarms_hold_on_to_nothing_and_do_not_grow(soak: ModuleType) -> None:
    session = Session.open(soak.scenario())
    do(session, "mdi", line="G53 G0 X9000")
    first = session.live.twin.controller.alarm_now
    for _ in range(5):
        do(session, "jog-press", axis="x", towards="+")
        do(session, "jog-release")
    alarms = session.live.twin.judge.alarms
    assert alarms
    assert session.live.twin.controller.alarm_now is first
    assert all(alarm.__traceback__ is None for _, alarm in alarms)


# ---- exact -----------------------------------------------------------------------------------


def everything(session: Session) -> dict[str, Any]:
    """All that a session leaves behind, and all that it can be asked for."""
    assert session.debrief is not None
    return {
        "recording": session.recording(),
        "text": "".join(session.live.twin.recorder.to_json()),
        "debrief": session.debrief.to_dict(),
        "scenario": session.as_scenario(),
        "state": session.state(0),
        "log": list(session.live.log),
        "done": session.done,
        "spans": [session.state(since)["events"] for since in (1, 50, 10**6)],
    }


@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 99), together=st.integers(1, 9), keep=st.integers(1, 9))
def test_a_packed_session_is_the_same_as_one_that_is_not(
    soak: ModuleType, seed: int, together: int, keep: int
) -> None:
    with pytest.MonkeyPatch.context() as patch:
        few(patch, together, keep)
        packed, plain = (worked(soak, seed, 25, packs) for packs in (True, False))
        assert packed.session.live.spool.size_bytes > 0
        assert plain.session.live.spool.size_bytes == 0
        assert everything(packed.session) == everything(plain.session)
        assert packed.told == plain.told


def test_a_long_session_replays_to_the_same_outcome_and_recording(soak: ModuleType) -> None:
    hand = worked(soak, 5, 500)
    session = hand.session
    assert session.live.spool.size_bytes > 50_000
    same(session)
    # The replay's own recording, which nothing packs, tells of the same lines and edges.
    ours = session.recording()
    again = replayed(session).recorder
    assert again is not None
    theirs = again.to_dict()
    for key in ("edges", "pads", "beliefs", "scene", "geometry"):
        assert theirs[key] == ours[key]
    without = [{k: v for k, v in line.items() if k != "source"} for line in ours["lines"]]
    assert without == [{k: v for k, v in line.items() if k != "source"} for line in theirs["lines"]]


def test_a_session_is_kept_as_it_was(tiny: None, soak: ModuleType, tmp_path: Path) -> None:
    session = worked(soak, 3, 40).session
    records = Records(tmp_path)
    found = records.attempt(records.save(session))
    assert found["recording"] == json.loads(json.dumps(session.recording()))


def test_keeping_a_session_takes_far_less_than_all_of_it_as_objects(soak: ModuleType) -> None:
    taken = worked(soak, 4, 600).session.live.twin.recorder
    ways: tuple[Callable[[], int], ...] = (
        lambda: len(_compressed(taken.to_json())),
        lambda: len(zlib.compress(json.dumps(taken.to_dict()).encode())),
    )
    peaks = []
    tracemalloc.start(1)
    try:
        for way in ways:
            gc.collect()
            tracemalloc.reset_peak()
            before = tracemalloc.get_traced_memory()[0]
            assert way() > 100_000
            peaks.append(tracemalloc.get_traced_memory()[1] - before)
    finally:
        tracemalloc.stop()
    assert peaks[0] < peaks[1] / 4  # and the more so, the longer it is


def test_a_key_that_is_held_through_a_hundred_other_things_comes_up_in_the_log(
    tiny: None, soak: ModuleType
) -> None:
    session = Session.open(soak.scenario())
    held = session.act({"do": "jog-press", "axis": "x", "towards": "-"})["n"]
    for number in range(40):
        session.act({"do": "beat"})
        assert session.act({"do": "override", "feed": 1.0 + number / 100})["ok"]
        session.tick(0.01)
    began = session.live.time
    session.act({"do": "jog-release"})
    wait(session)
    do(session, "wheel", axis="x", by_mm=0.01)
    do(session, "override", feed=1.0)
    entry = session.live.log[held - 1]
    assert (entry.number, entry.held, entry.until_s) == (held, True, began)
    assert session.live.log._packed > held
    assert [entry.number for entry in session.live.log] == list(range(1, held + 43))
    session.finish()
    same(session)


def test_what_is_done_is_known_without_a_look_back(tiny: None, soak: ModuleType) -> None:
    session = Session.open(soak.scenario())
    do(session, "mdi", line="G53 G0 X9000")  # ends in an alarm
    do(session, "reset")
    do(session, "move", z_mm=-20.0)
    session.act({"do": "feel-block", "block": "block-50", "on": "setter"})  # refused later
    do(session, "override", rapid=0.5)
    ended = {
        event["action"]
        for event in session.teller.events
        if event["kind"] == "done" and event["alarm"] is None
    }
    assert session.done == ended == {2, 3, 5}


def test_random_hands_lose_nothing_where_all_is_packed(tiny: None) -> None:
    # Each of them replays in the end, and a page misses no event on the way.
    run_state_machine_as_test(Hands, settings=settings(max_examples=12, stateful_step_count=30))


def test_the_benchmark_tells_memory_and_what_was_done(
    soak: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = import_module("bench_soak")
    monkeypatch.setattr(bench, "STEP_S", 60.0)
    hands = bench.soak(2, 2 / 60, False)
    bench.keep(hands[0])
    told = capsys.readouterr().out
    lines = sum(len(hand.session.live.twin.recorder.lines) for hand in hands)
    assert [int(word) for word in re.findall(r"^ +(\d+) min", told, re.MULTILINE)] == [1, 2]
    # Judging ends a line that was still on its way.
    assert lines - 1 <= int(re.findall(r"(\d+) lines", told)[-1]) <= lines
    assert "judged in" in told
