"""One touch-off, twice: from event to event on the twin, and stepped at 1 ms in MuJoCo.

    python benchmarks/touch_off_against_stepping.py [--runs N] [--json]

Both do the same: bolted setter, 10 mm end mill, fast touch at 200 mm/min, back off 2 mm, slow touch
at 25 mm/min, up again; the same limits of speed, acceleration and jerk from the same planner, the
same delay of the servo, nothing by chance. The goals, each printed as met or missed:

    trigger position of the twin    within 0.01 um of the closed form
    speed                           at least 30 times the stepped run
    simulated time                  at least 6000 times as fast as wall time

Exit status 1 when the position or the 30 times is missed. (The last goal is only told: how long the
slow touch takes decides it as much as the program does.)

What is fair and what isn't:

- The twin does all that it always does: it looks for contact in the whole scene, keeps the
  recording, judges findings and returns an outcome. The stepped run does none of that.
- The head is the axis's mass on a slide, led by a position servo whose steady following error is
  the twin's. Its lag moves the moment of the trigger, not the place, which alone is compared. (A
  mocap body would be cheaper by little, and worse: the contact takes it as standing still.)
- The pad is a plunger on a slide with the setter's preload and rate. The tip is a ball and the pad
  a box, because that pair has an exact contact and is MuJoCo's quickest; on a flat pad a ball and
  a flat end of one length meet it at one height. Friction is off, gravity is off (preload holds
  the pad up), nothing else can touch. implicitfast, 1 ms, contact as hard as 1 ms bears.
- A trigger must be seen before the next step is commanded, so every step is one ``mj_step`` and one
  comparison in Python; path points of a whole line are computed at once before it starts.
- ``mujoco.rollout`` steps in C without coming back: whole batches are run, the trigger is looked
  for afterwards, and what was stepped too far is thrown away. A controller could not work so, but
  it shows what Python's loop costs; it is printed for comparison and not judged.
- Building the twin and loading the model are not counted; the first is printed, so that anyone can
  add it. In one process, twenty runs of the twin (about as long as one stepped run) alternate with
  one of each stepped way, so that each runs warm; medians.
"""

from __future__ import annotations

import argparse
import gc
import json
import statistics
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from time import perf_counter
from typing import Any

import mujoco
import numpy as np
from mujoco import rollout
from touch_off_case import (
    AGAIN_MM,
    BACK_MM_PER_MIN,
    BACK_OFF_MM,
    FAST_MM_PER_MIN,
    RUN_UP_MM,
    SEARCH_MM,
    SLOW_MM_PER_MIN,
    contact_z,
    trip_z,
    twin_of,
    two_stage,
    two_stage_scenario,
)

from drytouch.sim.motion import Limits, Track, delay_s, from_rest, stop
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.twin.stage import Stage

STEP_S = 0.001
BLOCK = 20  # twin runs by turns with one stepped run: about as long, so both run warm
BATCH = (
    100  # steps of one rollout: longer ones waste more past the trigger, shorter ones cost calls
)
POSITION_GOAL_UM = 0.01
RATIO_GOAL = 30.0
REAL_TIME_GOAL = 6000.0
PLUNGER_KG = 0.05  # a brass plunger of the pad's size; heavier ones only lag more

SETTLE_S = 0.002  # time constant of the head's speed loop: two steps, as fast as they resolve

# Metres. The contact's time constant is the shortest that MuJoCo bears, two steps; impedance near 1
# keeps the tip from sinking in.
MODEL = """
<mujoco>
  <option timestep="{step}" integrator="implicitfast" gravity="0 0 0"/>
  <worldbody>
    <body name="head">
      <joint name="head" type="slide" axis="0 0 1"/>
      <geom name="tip" type="sphere" size="0.005" pos="0 0 0.005" mass="{head_kg}"
        contype="0" conaffinity="0"/>
    </body>
    <body name="pad">
      <joint name="pad" type="slide" axis="0 0 1" limited="true" range="-{solid} 0"
        stiffness="{rate}" springref="{ahead}" damping="{damping}"/>
      <geom name="top" type="box" size="0.02 0.02 0.005" pos="0 0 -0.005" mass="{mass}"
        contype="0" conaffinity="0"/>
    </body>
  </worldbody>
  <contact>
    <pair geom1="tip" geom2="top" condim="1" solref="{hard} 1" solimp="0.999 0.9999 0.0001"/>
  </contact>
  <actuator>
    <position joint="head" kp="{stiff}" kv="{brake}"/>
  </actuator>
</mujoco>
"""


@dataclass
class Ways:
    """Figures of one way to run the touch-off; positions against the closed form, in um."""

    wall_ms: list[float] = field(default_factory=list)
    simulated_s: float = 0.0
    fast_error_um: float = 0.0
    slow_error_um: float = 0.0

    @property
    def median_ms(self) -> float:
        return statistics.median(self.wall_ms)

    @property
    def times_real(self) -> float:
        return self.simulated_s / (self.median_ms * 1e-3)


class Stepped:
    """The touch-off in MuJoCo."""

    def __init__(self, scenario: Scenario) -> None:
        setter, axis, servo = (
            scenario.setter["main"],
            scenario.machine.axes.z,
            scenario.machine.servo,
        )
        rate = setter.rate_N_per_mm * 1e3
        self.delay = delay_s(servo.position_gain_per_s, servo.feed_forward)
        brake = axis.moving_mass_kg / SETTLE_S
        self.model = mujoco.MjModel.from_xml_string(
            MODEL.format(
                step=STEP_S,
                hard=2 * STEP_S,
                rate=rate,
                ahead=setter.preload_N / rate,
                # Aperiodic, so that it rides on the tip and doesn't ring.
                damping=2.0 * (rate * PLUNGER_KG) ** 0.5,
                mass=PLUNGER_KG,
                head_kg=axis.moving_mass_kg,
                brake=brake,
                stiff=brake / self.delay,
                solid=(setter.pre_travel_mm + setter.overtravel_mm) * 1e-3,
            )
        )
        self.data = mujoco.MjData(self.model)
        self.acceleration, self.jerk = axis.acceleration_mm_per_s2, axis.jerk_mm_per_s3
        self.rapid_mm_per_min = axis.rapid_mm_per_min
        self.returns = scenario.machine.habits.after_touch == "return"
        self.contact = contact_z(scenario)
        self.trip = -setter.pre_travel_mm * 1e-3
        self.in_batches = False
        self.full = mujoco.mjtState.mjSTATE_FULLPHYSICS
        self.steps = 0

    def reset(self) -> None:
        mujoco.mj_resetData(self.model, self.data)
        self.z = self.contact + RUN_UP_MM
        self.data.qpos[0] = RUN_UP_MM * 1e-3
        self.steps = 0

    def run(self) -> tuple[float, float]:
        """The whole touch-off; heights (mm) at which the fast and the slow touch triggered."""
        rough = self.line(self.contact - SEARCH_MM, FAST_MM_PER_MIN, True)
        self.line(rough + BACK_OFF_MM, BACK_MM_PER_MIN)
        fine = self.line(rough - AGAIN_MM, SLOW_MM_PER_MIN, True)
        self.line(self.contact + RUN_UP_MM, self.rapid_mm_per_min)
        return rough, fine

    def line(self, goal: float, feed_mm_per_min: float, touch: bool = False) -> float:
        """One line; returns the height (mm) at the trigger, or where it ended."""
        way = goal - self.z
        sign = 1.0 if way > 0.0 else -1.0
        limits = Limits(feed_mm_per_min / 60.0, self.acceleration, self.jerk)
        track = Track()
        track.append(from_rest(abs(way), limits, 0.0))
        points = self._points(track, 0, sign)
        walk = self._walk_in_batches if self.in_batches else self._walk
        seen = walk(points, self.trip if touch else -1.0)
        found = self.contact + float(self.data.qpos[0]) * 1e3
        if seen < len(points):
            t = (seen + 1) * STEP_S
            state = track.cut(t)
            if state.v > 0.0:
                track.append(stop(state, t, limits))
            walk(self._points(track, seen + 1, sign), -1.0)
        self.z += sign * track.end_s
        if touch and self.returns:
            self.line(found, feed_mm_per_min)
        return found

    def _points(self, track: Track, first: int, sign: float) -> Any:
        """Commanded height of the tip above the free pad (m) at each step of the line."""
        last = int((track.end_time + self.delay) / STEP_S) + 2
        t = np.arange(first, last) * STEP_S
        s = np.zeros_like(t)
        for t0, t1, s0, v0, a0, jerk, s1 in track.pieces:
            dt = np.minimum(t, t1) - t0
            inside = s0 + dt * (v0 + dt * (0.5 * a0 + dt * jerk / 6.0))
            s = np.where(t >= t1, s1, np.where(t >= t0, inside, s))
        return (self.z - self.contact + sign * s) * 1e-3

    def _walk(self, points: Any, trip: float) -> int:
        """Step along; the number of the step after which the switch was seen, or all."""
        model, data, step = self.model, self.data, mujoco.mj_step
        command, place = data.ctrl, data.qpos
        for k, height in enumerate(points.tolist()):
            command[0] = height
            step(model, data)
            if place[1] <= trip:
                self.steps += k + 1
                return k
        self.steps += len(points)
        return len(points)

    def _walk_in_batches(self, points: Any, trip: float) -> int:
        """The same in C; what was stepped past the trigger is thrown away."""
        model, data = self.model, self.data
        state = np.empty(mujoco.mj_stateSize(model, self.full))
        mujoco.mj_getState(model, data, state, self.full)
        for begin in range(0, len(points), BATCH):
            part = points[begin : begin + BATCH]
            states, _ = rollout.rollout(model, data, state, part.reshape(1, -1, 1))
            passed = np.flatnonzero(states[0, :, 2] <= trip)  # time, head, pad, ...
            count = int(passed[0]) + 1 if passed.size else len(part)
            state = states[0, count - 1].copy()
            self.steps += count
            mujoco.mj_setState(model, data, state, self.full)
            if passed.size:
                return begin + int(passed[0])
        return len(points)


def timed(call: Callable[[], Any]) -> tuple[float, Any]:
    begin = perf_counter()
    result = call()
    return (perf_counter() - begin) * 1e3, result


def twin_positions(scenario: Scenario, stage: Stage) -> list[float]:
    """True heights (mm) of the face at the moments at which the contact switched."""
    twin = twin_of(scenario, stage)
    heights: list[float] = []

    def note(kind: str, t: float) -> None:
        if kind == "close":
            heights.append(twin.kernel.physical(t)[2])

    twin.kernel.observers.append(note)
    outcome = twin.run(two_stage, contact_z(scenario))
    if outcome.verdict != "right" or len(heights) != 2:
        raise SystemExit(f"the touch-off went wrong: {outcome.verdict}, {outcome.codes}")
    return heights


def compare(runs: int) -> dict[str, Any]:
    """Run every way ``runs`` times, by turns; ``Ways`` by name, and ``build_ms`` of the twin."""
    scenario = two_stage_scenario()
    stage = Stage(scenario)
    stepped = Stepped(scenario)
    contact, trip = contact_z(scenario), trip_z(scenario)
    ways = {name: Ways() for name in ("twin", "stepped", "in_batches")}
    ways["twin"].fast_error_um, ways["twin"].slow_error_um = (
        (z - trip) * 1e3 for z in twin_positions(scenario, stage)
    )
    build: list[float] = []
    gc.collect()
    gc.disable()
    try:
        for _ in range(runs):
            for _ in range(BLOCK):
                built, twin = timed(lambda: twin_of(scenario, stage))
                build.append(built)
                wall, outcome = timed(lambda: twin.run(two_stage, contact))  # noqa: B023
                ways["twin"].wall_ms.append(wall)
                ways["twin"].simulated_s = outcome.time_s
            for name in ("stepped", "in_batches"):
                way = ways[name]
                stepped.in_batches = name == "in_batches"
                stepped.reset()
                wall, found = timed(stepped.run)
                way.wall_ms.append(wall)
                way.simulated_s = stepped.steps * STEP_S
                way.fast_error_um, way.slow_error_um = ((z - trip) * 1e3 for z in found)
            gc.collect()
    finally:
        gc.enable()
    return {**ways, "build_ms": statistics.median(build)}


def goals(figures: dict[str, Any]) -> dict[str, bool]:
    """Which of the stated goals are met."""
    twin, stepped = figures["twin"], figures["stepped"]
    worst = max(abs(twin.fast_error_um), abs(twin.slow_error_um))
    return {
        f"trigger position of the twin within {POSITION_GOAL_UM} um": worst <= POSITION_GOAL_UM,
        f"at least {RATIO_GOAL:g} times the speed of stepping": (
            stepped.median_ms / twin.median_ms >= RATIO_GOAL
        ),
        f"at least {REAL_TIME_GOAL:g} times real time": twin.times_real >= REAL_TIME_GOAL,
    }


def report(figures: dict[str, Any], runs: int) -> str:
    """The table and the goals, as text."""
    names = ("twin", "stepped", "in_batches")
    ways: list[Ways] = [figures[name] for name in names]
    twin = ways[0]
    rows = [
        ("", "twin", "stepped 1 ms", "(in C batches)"),
        ("wall time of a touch-off, ms", *(f"{way.median_ms:.3f}" for way in ways)),
        ("times the twin's", *(f"{way.median_ms / twin.median_ms:.1f}" for way in ways)),
        ("simulated time, s", *(f"{way.simulated_s:.3f}" for way in ways)),
        ("simulated / wall time", *(f"{way.times_real:.0f}" for way in ways)),
        ("trigger error, fast touch, um", *(f"{way.fast_error_um:+.6f}" for way in ways)),
        ("trigger error, slow touch, um", *(f"{way.slow_error_um:+.6f}" for way in ways)),
    ]
    lines = [f"{row[0]:<32}" + "".join(f"{cell:>16}" for cell in row[1:]) for row in rows]
    lines.append(
        f"medians of {runs} stepped runs and {runs * BLOCK} of the twin;"
        f" MuJoCo {mujoco.__version__}"
    )
    lines.append(f"not counted: building the twin, {figures['build_ms']:.3f} ms")
    lines += [f"{'meets' if met else 'MISSES'}: {goal}" for goal, met in goals(figures).items()]
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """Print the comparison; 1 when the position or the ratio is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--runs", type=int, default=41, help="runs of each way (default 41)")
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")
    options = parser.parse_args(arguments)
    if options.runs < 1:
        parser.error("--runs: give at least 1")
    figures = compare(options.runs)
    met = goals(figures)
    if options.json:
        plain = {k: asdict(v) if isinstance(v, Ways) else v for k, v in figures.items()}
        print(json.dumps({**plain, "goals": met}, indent=1))
    else:
        print(report(figures, options.runs))
    return 0 if all(list(met.values())[:2]) else 1


if __name__ == "__main__":
    sys.exit(main())
