"""Ties and ticks: commands at the instant of an event, in either order, and live runs in ticks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from twin_cases import X, Y, events, kinds, twin_of

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.twin.agenda import RANKS, Clock
from drytouch.sim.twin.twin import Twin

Command = Callable[[Twin], None]
# (kind, what it does): of one kind the later wins, so pairs are of different kinds.
COMMANDS: dict[str, tuple[str, Command]] = {
    "hold": ("hold", lambda twin: twin.kernel.set_hold(True)),
    "feed knob at 0": ("feed", lambda twin: twin.kernel.set_override(feed=0.0)),
    "feed knob at 30 %": ("feed", lambda twin: twin.kernel.set_override(feed=0.3)),
    "feed knob at 150 %": ("feed", lambda twin: twin.kernel.set_override(feed=1.5)),
    "rapid knob at 25 %": ("rapid", lambda twin: twin.kernel.set_override(rapid=0.25)),
    "emergency stop": ("stop", lambda twin: twin.kernel.emergency_stop()),
    "key let go": ("key", lambda twin: twin.controller.release_jog()),
    "plug pulled": ("signal", lambda twin: twin.kernel.plug("main", None)),
    "pad pressed": ("signal", lambda twin: twin.kernel.press_by_hand("main", True)),
}
PAIRS = [
    (first, second)
    for i, first in enumerate(COMMANDS)
    for second in list(COMMANDS)[i + 1 :]
    if COMMANDS[first][0] != COMMANDS[second][0]
]


def routine(twin: Twin) -> Any:
    """A rapid down, a fast touch, back, a slow touch, and up again; then a key is held."""
    do = twin.controller
    try:
        yield from do.rapid(z=-375.0, frame="machine")
        yield from do.touch(z=-390.0, feed_mm_per_min=600.0, must_contact=False)
        yield from do.feed(z=-378.0, feed_mm_per_min=1000.0, frame="machine")
        yield from do.touch(z=-382.0, feed_mm_per_min=60.0, must_contact=False)
        yield from do.rapid(z=-300.0, frame="machine")
        line = do.start_jog("x", 1, 3000.0)
        yield line.done | twin.env.timeout(1.0)
        do.release_jog()
        yield line.done
    except ControllerAlarm:
        return


def build(category: int = 1, reaction_s: float = 0.0, **over: Any) -> Twin:
    return twin_of(
        5,
        chance=True,
        machine={
            "emergency_stop": {"category": category, "reaction_s": reaction_s},
            "habits": {"touch_obeys_override": True},
            "sockets": {"setter": {"filter_s": 0.001}},
        },
        controller={"position_mm": [X, Y, -340.0]},
        **over,
    )


def at(twin: Twin, t: float, *commands: Command) -> None:
    def person() -> Any:
        yield twin.env.timeout(t)
        for command in commands:
            command(twin)

    twin.env.process(person())


def bits(twin: Twin) -> str:
    """Everything recorded, to the last bit, but for the order in which a person did things."""
    twin.recorder.end(twin.env.now)
    data = twin.recorder.to_dict()
    data["events"] = sorted(
        (e for e in data["events"] if e[1] not in ("hold", "override")),
        key=lambda e: (e[0], json.dumps(e)),
    )
    return json.dumps(data)


END = 14.0


@lru_cache
def instants() -> tuple[float, ...]:
    """Times of everything that happens in the undisturbed run, exact to the bit."""
    twin = build()
    twin.env.process(routine(twin))
    twin.advance(END)
    times = {t for t, _, _ in twin.recorder.events} | {t for t, _, _ in twin.recorder.edges}
    for line in twin.recorder.lines:
        times |= {line.t0, line.t1} | {piece[0] for piece in line.pieces}
    assert len(events(twin, "latch")) == 2
    assert max(times) < END - 1.0
    return tuple(sorted(t for t in times if t > 0.0))


@settings(max_examples=150)
@given(
    pair=st.sampled_from(PAIRS),
    index=st.integers(0, 10_000),
    between=st.sampled_from([0.0, 0.0, 0.37, 0.9]),
    category=st.sampled_from([0, 1]),
    reaction_s=st.sampled_from([0.0, 0.02]),
)
def test_two_commands_at_one_instant_give_the_same_bits_in_either_order(
    pair: tuple[str, str], index: int, between: float, category: int, reaction_s: float
) -> None:
    times = instants()
    i = index % (len(times) - 1)
    t = times[i] + between * (times[i + 1] - times[i])
    first, second = COMMANDS[pair[0]][1], COMMANDS[pair[1]][1]
    found = []
    for commands in ((first, second), (second, first)):
        twin = build(category, reaction_s)
        twin.env.process(routine(twin))
        at(twin, t, *commands)
        at(twin, t + 1.0, lambda twin: twin.kernel.set_hold(False))
        twin.advance(END)
        found.append(bits(twin))
    assert found[0] == found[1]


@pytest.mark.parametrize("name", ["hold", "feed knob at 30 %", "emergency stop", "plug pulled"])
@pytest.mark.parametrize("kind", ["contact", "close"])
@pytest.mark.parametrize("nth", [0, 1])
def test_a_command_at_the_instant_of_contact_does_not_swallow_it(
    name: str, kind: str, nth: int
) -> None:
    plain = build()
    plain.env.process(routine(plain))
    plain.advance(END)
    t = events(plain, kind)[nth][0]
    twin = build(reaction_s=0.02)
    twin.env.process(routine(twin))
    at(twin, t, COMMANDS[name][1])
    twin.advance(t)
    assert t in [e[0] for e in events(twin, kind)]
    assert events(twin, kind)[: nth + 1] == events(plain, kind)[: nth + 1]


@pytest.mark.parametrize("tick_ms", [7, 20, 33])
@pytest.mark.parametrize("disturbed", [False, True])
def test_live_runs_in_ticks_equal_a_single_run_bit_for_bit(tick_ms: int, disturbed: bool) -> None:
    found = []
    for live in (False, True):
        twin = build(reaction_s=0.02)
        twin.env.process(routine(twin))
        if disturbed:
            at(twin, instants()[3], COMMANDS["feed knob at 30 %"][1])
            at(twin, 1.0, COMMANDS["hold"][1])
            at(twin, 2.003, lambda twin: twin.kernel.set_hold(False))
            at(twin, 6.1, COMMANDS["emergency stop"][1])
        k = 0
        while live and (k + 1) * tick_ms * 1e-3 < END:
            k += 1
            twin.advance(k * tick_ms * 1e-3)
            twin.kernel.physical()
        twin.advance(END)
        found.append(bits(twin))
    assert found[0] == found[1]


def test_settling_early_and_often_is_harmless() -> None:
    plain, rung = build(), build()
    for twin in (plain, rung):
        twin.env.process(routine(twin))

    def bell() -> Any:
        for t in instants():
            for moment in (t - 1e-12, t, t + 1e-12):
                if moment > rung.env.now:
                    yield rung.env.timeout(moment - rung.env.now)
                rung.kernel.agenda.command()

    rung.env.process(bell())
    plain.advance(END)
    rung.advance(END)
    assert bits(plain) == bits(rung)
    assert len(kinds(plain)) > 8


def test_ranks_decide_among_slots_of_one_instant() -> None:
    clock = Clock()
    seen: list[str] = []
    names = [f"{rank} a" for rank in RANKS]
    for name in names:
        clock.agenda.register(name, lambda t, name=name: seen.append(name))
    for name in reversed(names):
        clock.agenda.set(name, 1.0)
    clock.agenda.set("hard a", 2.0)
    clock.agenda.set("rest a", 0.5)
    clock.agenda.settle(1.0)
    assert seen == ["rest a", *[n for n in names if n not in ("hard a", "rest a")]]
    clock.agenda.settle(3.0)
    assert seen[-1] == "hard a"
    assert clock.agenda.time == 2.0
    assert clock.agenda.first() == float("inf")


def test_a_slot_in_the_past_counts_as_now_and_a_cleared_one_never_comes() -> None:
    clock = Clock()
    seen: list[float] = []
    clock.agenda.register("stop", seen.append)
    clock.agenda.register("scan 1", seen.append)
    clock.agenda.set("stop", 2.0)
    clock.agenda.settle(2.0)
    clock.agenda.set("stop", 1.0)
    clock.agenda.set("scan 1", 3.0)
    clock.agenda.set("scan 1", None)
    clock.agenda.settle(5.0)
    assert seen == [2.0, 2.0]
    assert clock.agenda.due("scan 1") is None


# ---- the same bytes elsewhere ---------------------------------------------------------------

ELSEWHERE = """
import sys
sys.path.insert(0, sys.argv[1])
from test_twin_ties import END, bits, build, routine
twin = build()
twin.env.process(routine(twin))
twin.advance(END)
sys.stdout.write(bits(twin))
"""


def test_the_same_seed_gives_the_same_bytes_in_another_process() -> None:
    twin = build()
    twin.env.process(routine(twin))
    twin.advance(END)
    folder = os.path.dirname(os.path.abspath(__file__))
    environment = {**os.environ, "PYTHONHASHSEED": "77"}
    ran = subprocess.run(
        [sys.executable, "-c", ELSEWHERE, folder],
        capture_output=True, text=True, env=environment, check=True,
    )  # fmt: skip
    assert ran.stdout == bits(twin)
