"""Random hands: nothing crashes, positions stay consistent, and every session replays exactly."""

from __future__ import annotations

import json
from typing import Any

import pytest
from bench_cases import replayed
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from drytouch.sim.bench import Session
from drytouch.sim.bench.actions import ACTIONS

AXES = st.sampled_from(["x", "y", "z"])
SIZES = st.sampled_from([0.001, 0.01, 0.1, 1.0, -0.001, -0.01, -0.1, -1.0, -10.0])
SCENARIOS = (
    "full-commissioning",
    "setter-height-by-block",
    "recover-after-an-emergency-stop",
    "reference-by-master",
    "work-z-in-the-second-system",
    "stale-reference-after-emergency-stop",
)
LINES = ("G53 G0 Z-20", "G91 G1 Z-5 F300", "G90", "G38.2 Z-400 F100", "M3 S500", "M5", "G0 X5", "(")
ROUTINES: tuple[tuple[str, dict[str, Any]], ...] = (
    ("measure-length", {"row": 1, "expected_length_mm": 120.0}),
    ("locate-setter", {}),
    ("reference-by-face", {"beside_y_mm": 33.0, "expected_pad_z_mm": -490.0}),
    ("prove-input", {"time_out_s": 2.0}),
    ("set-work-z", {"system": "G55", "row": 1}),
)


class Hands(RuleBasedStateMachine):
    """Somebody who knows nothing presses everything."""

    session: Session

    @initialize(name=st.sampled_from(SCENARIOS), seed=st.integers(0, 3))
    def begin(self, name: str, seed: int) -> None:
        self.session = Session.open(name, seed=seed)
        self.events = 0

    def act(self, do: str, **figures: Any) -> dict[str, Any]:
        reply = self.session.act({"do": do, **figures}, role="instructor")
        json.dumps(reply, allow_nan=False)
        assert reply["ok"] or (reply["code"] and reply["why"])
        return reply

    @rule(seconds=st.sampled_from([0.001, 0.02, 0.25, 3.0, 40.0]))
    def tick(self, seconds: float) -> None:
        self.session.tick(seconds)

    @rule(axis=AXES, towards=st.sampled_from("+-"), speed=st.sampled_from([100.0, 3000.0]))
    def press(self, axis: str, towards: str, speed: float) -> None:
        self.act("jog-press", axis=axis, towards=towards, speed_mm_per_min=speed)

    @rule(times=st.integers(1, 8), seconds=st.sampled_from([0.02, 0.05]))
    def hold_on(self, times: int, seconds: float) -> None:
        for _ in range(times):
            self.act("beat")
            self.session.tick(seconds)

    @rule()
    def release(self) -> None:
        self.act("jog-release")

    @rule(axis=AXES, by=SIZES, detents=st.integers(1, 20))
    def wheel(self, axis: str, by: float, detents: int) -> None:
        self.act("wheel", axis=axis, by_mm=by, detents=detents)

    @rule(dx=st.sampled_from([0.0, 33.0, -20.0]), z=st.sampled_from([0.0, 60.0, 180.0, 250.0]))
    def move(self, dx: float, z: float) -> None:
        scenario = self.session.live.scenario
        place = scenario.placements["setter"]
        table = scenario.machine.table.top_z_mm
        if self.act("move", x_mm=place.x_mm + dx, y_mm=place.y_mm)["ok"]:
            self.session.tick(20.0)
            self.act("move", z_mm=min(table + z, 0.0))

    @rule(feed=st.sampled_from([25.0, 400.0]), store=st.sampled_from([None, "length", "reference"]))
    def touch(self, feed: float, store: str | None) -> None:
        z = self.session.live.scenario.machine.axes.z.min_mm
        self.act("touch", z_mm=z, feed_mm_per_min=feed, store=store, row=1)

    @rule(
        do=st.sampled_from(
            ["home", "e-stop", "stop", "reset", "power-cycle", "hint", "outline", "beat"]
        )
    )
    def plain(self, do: str) -> None:
        self.act(do, **({"on": True} if do == "outline" else {}))

    @rule(on=st.booleans(), do=st.sampled_from(["drives", "feed-hold", "freeze"]))
    def switch(self, do: str, on: bool) -> None:
        self.act(do, on=on)

    @rule(rate=st.sampled_from([0, 0.1, 1, 10]))
    def pace(self, rate: float) -> None:
        self.act("pace", rate=rate)

    @rule(rapid=st.sampled_from([0.0, 0.05, 1.0]), feed=st.sampled_from([0.0, 0.5, 2.0]))
    def override(self, rapid: float, feed: float) -> None:
        self.act("override", rapid=rapid, feed=feed)

    @rule(line=st.sampled_from(LINES))
    def mdi(self, line: str) -> None:
        self.act("mdi", line=line)

    @rule(which=st.sampled_from(ROUTINES))
    def routine(self, which: tuple[str, dict[str, Any]]) -> None:
        self.act("routine", name=which[0], **{"with": which[1]})

    @rule(single=st.booleans())
    def program(self, single: bool) -> None:
        self.act("program", file="measure-length", single_block=single)

    @rule(socket=st.sampled_from(["setter", "receiver", "spindle-probe", None]))
    def plug(self, socket: str | None) -> None:
        self.act("plug-in", setter="setter", socket=socket)

    @rule(do=st.sampled_from(["press", "feel", "rule", "hand-in", "hand-out", "jog-back"]))
    def hands(self, do: str) -> None:
        if do == "press":
            self.act("press-pad", setter="setter")
        elif do == "feel":
            self.act("feel-block", block="block-50")
        elif do == "rule":
            self.act("rule", what="tool-length")
        elif do == "jog-back":
            self.act("jog-back")
        else:
            self.act("hand", inside=do == "hand-in")

    @rule(tool=st.sampled_from(["end-mill-10", "second-master", "master-tool", None]))
    def load(self, tool: str | None) -> None:
        self.act("load-tool", tool=tool)

    @rule(dx=st.sampled_from([0.0, 50.0]), item=st.sampled_from(["setter", "steel-block"]))
    def stand(self, item: str, dx: float) -> None:
        self.act("take-away", item=item)
        place = self.session.live.scenario.placements["setter"]
        self.act("place", item=item, x_mm=place.x_mm + dx, y_mm=place.y_mm)

    @rule(angle=st.sampled_from([0.0, 90.0]), rpm=st.sampled_from([0.0, 300.0, -300.0]))
    def turn(self, angle: float, rpm: float) -> None:
        self.act("turn-spindle", to_deg=angle)
        self.act("spin", rpm=rpm)

    @rule(name=st.sampled_from(["tool-slipped", "wire-broken", "contact-stuck-closed", "nonsense"]))
    def fault(self, name: str) -> None:
        self.act("fault", name=name)

    @rule()
    def type_in(self) -> None:
        self.act("type-in", row=1, length_mm=119.5, wear_mm=0.1)
        self.act("type-in", setter="setter", reference_z_mm=-480.0, x_mm=-500.0)
        self.act("select", system="G55", length_row=1)

    @rule()
    def lost(self) -> None:
        self.session.lost()

    @invariant()
    def consistent(self) -> None:
        if not hasattr(self, "session"):
            return
        session = self.session
        assert not session.live.broken
        state = session.state(since=self.events)
        json.dumps(state, allow_nan=False)
        numbers = [event["n"] for event in state["events"]]
        assert numbers == list(range(self.events + 1, self.events + 1 + len(numbers)))
        self.events += len(numbers)
        kernel = session.live.twin.kernel
        if kernel.line is None:
            # Readout and truth differ by what the kernel itself says, and by nothing else.
            t = kernel.agenda.now()
            for read, real, apart in zip(
                kernel.reported(t), kernel.physical(t), kernel.offset(t), strict=True
            ):
                assert real - read == pytest.approx(apart, abs=1e-9)
            assert state["moving"] is None
        assert session.twin_time() == session.live.time

    def teardown(self) -> None:
        if not hasattr(self, "session"):
            return
        session = self.session
        session.finish()
        assert session.outcome is not None
        again, first = replayed(session).to_dict(), session.outcome.to_dict()
        again.pop("scenario")
        first.pop("scenario")
        assert again == first
        assert session.act({"do": "home"})["code"] == "over"


TestHands = Hands.TestCase
TestHands.settings = settings(
    max_examples=25, stateful_step_count=20, deadline=None,
    suppress_health_check=list(HealthCheck),
)  # fmt: skip


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=8,
)
MESSAGES = JSON | st.fixed_dictionaries(
    {"do": st.sampled_from(sorted(ACTIONS))},
    optional={
        "axis": JSON, "by_mm": JSON, "on": JSON, "setter": JSON, "item": JSON, "tool": JSON,
        "name": JSON, "with": JSON, "line": JSON, "file": JSON, "rate": JSON, "id": JSON,
        "for_s": JSON, "rpm": JSON, "x_mm": JSON, "y_mm": JSON, "z_mm": JSON, "row": JSON,
    },
)  # fmt: skip


@settings(max_examples=250, deadline=None)
@given(MESSAGES)
def test_any_message_is_answered(message: Any) -> None:
    session = Session.open("full-commissioning")
    reply = session.act(message)
    assert reply["ok"] or (reply["code"] and reply["why"])
    json.dumps(reply, allow_nan=False)
    assert not session.live.broken
    session.tick(0.1)
    json.dumps(session.state(), allow_nan=False)
