"""Recordings of real runs: motion without jumps, and pads that lie under what presses them."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from drytouch.sim.recording import Recording
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.twin.twin import Twin

SCENARIO = """
machine = {{ use = "bed-mill"{backlash} }}
setter.main = "bolted-nc"
tools = ["end-mill-10"]
spindle_tool = "end-mill-10"
stock = "aluminium-block"
[placements]
main = {{ on = "table", x_mm = -300, y_mm = -175 }}
stock = {{ on = "table", x_mm = -480, y_mm = -175 }}
[controller]
plugs = {{ main = "setter" }}
proved = ["main"]
"""


def two_stage(c: Any) -> Any:
    yield from c.rapid(z=c.top, frame="machine")
    yield from c.rapid(x=-300.0, y=-175.0, frame="machine")
    rough = yield from c.touch(z=-330.0, feed_mm_per_min=200, frame="machine")
    yield from c.feed(z=rough.z + 3.0, feed_mm_per_min=800, frame="machine")
    yield from c.touch(z=rough.z - 3.0, feed_mm_per_min=25, frame="machine")
    yield from c.rapid(z=c.top, frame="machine")


def run(folder: Path, backlash: str) -> Recording:
    path = folder / "case.toml"
    path.write_text(SCENARIO.format(backlash=backlash))
    return Recording.from_outcome(Twin(load_scenario(path)).run(two_stage))


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Recording:
    return run(tmp_path_factory.mktemp("twin"), "")


def test_it_holds_two_touches_in_few_bytes(recording: Recording, tmp_path: Path) -> None:
    recording.save(tmp_path / "a.json")
    assert (tmp_path / "a.json").stat().st_size < 30_000
    assert len(recording.events_between(0.0, recording.duration_s, "latch")) == 2
    assert Recording.load(tmp_path / "a.json").data == recording.data
    assert recording.verdict == recording.data["outcome"]["verdict"]


def test_each_line_starts_where_the_one_before_ended(recording: Recording) -> None:
    for before, after in pairwise(recording.lines):
        assert after.t[0] >= before.t[1]
        ended = recording.position_at(before.t[1])
        assert after.start == pytest.approx(ended, abs=1e-9)


def test_position_moves_no_faster_than_the_speed_says(recording: Recording) -> None:
    step = 0.01
    count = int(recording.duration_s / step)
    for k in range(count):
        t = k * step
        a, b = recording.position_at(t), recording.position_at(t + step)
        moved = sum((q - p) ** 2 for p, q in zip(a, b, strict=True)) ** 0.5
        # 300 mm/s^2 is the machine's hardest acceleration along any line; 1.5 of it on a diagonal.
        speed = max(recording.speed_at(t), recording.speed_at(t + step))
        assert moved <= (speed + 450.0 * step) * step + 1e-9


@pytest.mark.parametrize(
    "backlash_mm",
    [
        0.0,
        0.005,
    ],
)
def test_a_pressed_pad_lies_right_under_the_tip(tmp_path: Path, backlash_mm: float) -> None:
    recording = run(tmp_path, f", axes.z.backlash_mm = {backlash_mm}")
    pressed = 0
    t, step = 0.0, 0.01
    while t < recording.duration_s:
        there = {item.id: item for item in recording.bodies_at(t)}
        low = min(p.at[2] - p.shape.height / 2 for p in there["tool"].body.parts)  # type: ignore[union-attr]
        tip = there["tool"].position[2] + low
        pad = there["main.pad"]
        part = pad.body.parts[0]
        top = pad.position[2] + part.at[2] + part.shape.height / 2  # type: ignore[union-attr]
        x, y, _ = pad.position
        # The pad's place under the axis of the spindle, which stays at x = y = 0.
        over = abs(x) < 0.1 and abs(y) < 0.1
        depth = recording.pad_depth_at("main", t)
        wanted = max(top - tip, 0.0) if over else 0.0
        assert depth == pytest.approx(wanted, abs=1e-6)
        pressed += depth > 0.0
        t += step
    assert pressed > 10


def test_signals_follow_the_contact(recording: Recording) -> None:
    raw, seen = recording.edges_of("input 1.raw"), recording.edges_of("input 1.seen")
    on = [t for t, level in seen if level == 1]
    assert len(on) == 2
    for t in on:
        # Seen only after the filter has held still, and never without a press.
        assert any(level == 1 and time < t for time, level in raw)
        assert recording.pad_depth_at("main", t) > 0.0
