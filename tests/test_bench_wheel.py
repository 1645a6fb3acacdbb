"""Detents in quick succession: none is lost, to and fro adds up, and an alarm ends them."""

from collections import Counter

import pytest
from bench_cases import do, over, table, wait
from hypothesis import given
from hypothesis import strategies as st

from drytouch.sim.bench import Session
from drytouch.sim.bench.wheel import MOST_DETENTS, Turn, Waiting

TURNS = st.builds(
    Turn,
    axis=st.sampled_from("xz"),
    by_mm=st.sampled_from([0.001, -0.001, 0.1, -0.1]),
    detents=st.integers(1, 100),
)


@given(st.lists(TURNS, max_size=12))
def test_what_waits_is_the_sum_of_what_was_turned(turns):
    waiting, asked = Waiting(), Counter()
    lost = 0
    for turn in turns:
        lost += waiting.add(turn)
        asked[turn.axis, abs(turn.by_mm)] += turn.detents if turn.by_mm > 0 else -turn.detents
    got, many = Counter(), 0
    while waiting:
        turn = waiting.take()
        assert turn.detents > 0
        many += turn.detents
        got[turn.axis, abs(turn.by_mm)] += turn.detents if turn.by_mm > 0 else -turn.detents
    assert many <= MOST_DETENTS
    if lost == 0:
        assert {k: v for k, v in got.items() if v} == {k: v for k, v in asked.items() if v}


def test_what_there_is_no_room_for_is_said():
    waiting = Waiting()
    assert waiting.add(Turn("z", 0.1, MOST_DETENTS - 1)) == 0
    assert waiting.add(Turn("x", 0.1, 3)) == 2
    assert waiting.add(Turn("z", 0.1, 1)) == 1
    assert [waiting.take(), waiting.take()] == [
        Turn("z", 0.1, MOST_DETENTS - 1), Turn("x", 0.1, 1)
    ]  # fmt: skip


def test_steps_pressed_faster_than_the_axis_follows_all_count():
    session = Session.open("length-done-right")
    do(session, "wheel", axis="z", by_mm=-5.0)
    for axis, by in (("z", -0.1), ("z", -0.1), ("z", 0.1), ("z", -0.1), ("x", -0.01), ("z", 0.001)):
        assert session.act({"do": "wheel", "axis": axis, "by_mm": by})["ok"]
    for _ in range(8):
        wait(session)
    x, _, z = session.state()["position"]["machine_mm"]
    assert (x, z) == pytest.approx((-0.01, -5.2 + 0.001), abs=1e-4)


def test_an_alarm_ends_what_was_still_to_come():
    session = Session.open("three-tools-by-hand")
    do(session, "load-tool", tool="end-mill-10", slot=1)
    over(session)
    # Above the pad by half a millimetre; the pad gives way, the housing does not.
    do(session, "move", z_mm=table(session) + 60.4 + 120.0)
    for _ in range(3):
        session.act({"do": "wheel", "axis": "z", "by_mm": -0.5, "detents": 60})
    wait(session)
    assert session.live.twin.controller.alarm_now is not None
    began = len(session.live.log)
    do(session, "reset")
    wait(session)
    assert len(session.live.log) == began + 1  # the reset, and nothing that had waited
