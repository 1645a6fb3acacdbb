"""Whatever is pressed and whenever: nothing jumps, nothing breaks, and the recording agrees."""

from __future__ import annotations

import random
from functools import partial
from typing import Any

import pytest

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.recording.recording import Recording
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.twin.twin import Twin

# machine -> (setter, tool, where it stands)
SHOPS = {
    "machining-centre": ("bolted-nc", "end-mill-10", (-380.0, -200.0)),
    "bed-mill": ("loose-no", "end-mill-6", (-350.0, -175.0)),
    "gantry-router": ("plate", "router-bit-6", (650.0, 1250.0)),
    "large-centre": ("wireless-nc", "end-mill-20", None),
}
TICK = 0.002


def shop(machine: str, seed: int) -> Twin:
    setter, tool, place = SHOPS[machine]
    data: dict[str, Any] = {
        "machine": machine, "setter": {"main": setter}, "tools": [tool], "spindle_tool": tool,
        "controller": {"plugs": {"main": "setter"}, "slot": 1},
    }  # fmt: skip
    axes = scenario_from_dict(data).machine.axes
    middle = [(a.min_mm + a.max_mm) / 2 for a in (axes.x, axes.y)] if place is None else place
    data["placements"] = {"main": {"x_mm": middle[0], "y_mm": middle[1]}}
    scenario = scenario_from_dict(data)
    twin = Twin(scenario, seed)
    top = twin.stage.places["main"].foot[2] + scenario.setter["main"].pad_height_mm
    tip = scenario.tools[tool].true_length_mm
    twin.kernel.command = (middle[0], middle[1], min(top + tip + 3.0, axes.z.max_mm))
    return twin


def jobs(twin: Twin, pick: random.Random) -> Any:
    """Moves one after the other, whatever the last one came to."""
    do, start = twin.controller, twin.kernel.command
    for _ in range(12):
        x, y = (c + pick.choice((0.0, 0.0, 3.0, -30.0)) for c in start[:2])
        z = start[2] + pick.choice((-2.5, -4.0, -12.0, 0.0, 0.5))
        feed = pick.choice((100.0, 900.0, 3000.0))
        # Pressed into a body aslant, an axis that comes free springs back sideways at once.
        aslant = x if z > start[2] - 3.0 and twin.kernel.press == (0.0, 0.0, 0.0) else None
        made = pick.choice(
            (
                partial(do.rapid, x=x, y=y, frame="machine"),
                partial(do.feed, z=z, feed_mm_per_min=feed, frame="machine"),
                partial(do.feed, x=aslant, z=z, feed_mm_per_min=feed, frame="machine"),
                partial(do.touch, z=z, feed_mm_per_min=feed, must_contact=False),
                partial(do.step, "z", pick.choice((-0.1, 0.1, 1.0))),
                partial(do.jog, "y", pick.choice((-5.0, 5.0)), 1000.0),
                partial(do.dwell, 0.05),
            )
        )
        try:
            yield from made()
        except ControllerAlarm:
            yield from do.dwell(0.3)
            do.reset()
            twin.kernel.powered = True
            do.homed = True  # taken for granted here; homing has tests of its own


def hands(twin: Twin, pick: random.Random) -> Any:
    """What people do meanwhile."""
    kernel = twin.kernel
    acts = (
        lambda: kernel.set_hold(True), lambda: kernel.set_hold(False),
        lambda: kernel.set_hold(False), lambda: kernel.set_hold(False),
        lambda: kernel.set_override(feed=pick.choice((0.1, 0.5, 1.0, 1.5))),
        lambda: kernel.set_override(rapid=pick.choice((0.05, 0.25, 1.0))),
        kernel.emergency_stop,
        lambda: kernel.plug("main", pick.choice((None, "setter", "setter"))),
        lambda: kernel.press_by_hand("main", pick.choice((True, False))),
        twin.controller.release_jog,
    )  # fmt: skip
    while True:
        yield twin.env.timeout(pick.expovariate(4.0))
        pick.choice(acts)()


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("machine", SHOPS)
def test_nothing_jumps_and_the_recording_agrees(machine: str, seed: int) -> None:
    pick = random.Random(f"{machine} {seed}")
    twin = shop(machine, seed)
    kernel = twin.kernel
    work = twin.env.process(jobs(twin, pick))
    twin.env.process(hands(twin, pick))
    fastest = [axis.rapid_mm_per_min / 60.0 * TICK for axis in kernel.axes]
    # Several axes at once take up their lost motion together, at the start of the line.
    slack = [axis.backlash_mm + 2e-6 for axis in kernel.axes]
    samples: list[tuple[float, Any, Any]] = []
    last, k = kernel.physical(), 0
    while work.is_alive and k * TICK < 30.0:
        k += 1
        twin.advance(k * TICK)
        here = kernel.physical()
        for i in range(3):
            assert abs(here[i] - last[i]) <= fastest[i] + slack[i], (k * TICK, i)
        last = here
        if k % 5 == 0 and kernel.line is not None:
            samples.append((k * TICK, here, kernel.pads["main"]))
    kernel.set_hold(False)
    kernel.set_override(rapid=1.0, feed=1.0)
    twin.advance(twin.env.now + 60.0)
    assert kernel.line is None
    recording = Recording.from_recorder(twin.recorder)
    for t, here, _ in samples:
        assert recording.position_at(t) == pytest.approx(here, abs=1e-6), t
    assert len(samples) > 20
    twin.outcome()
