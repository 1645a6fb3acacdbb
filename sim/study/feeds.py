"""The highest safe touching feeds of a machine, setter, tool and input chain.

Overtravel, counted from the trip: ``v * (bounce + filter + scan + link + servo tick)``, plus the
following error still to run out, plus the way to stop from ``v``. It grows with ``v``, so that the
highest safe fast feed is its root against what the pad, or the tool, can bear. The highest slow
feed is the one at which two touches still agree within the limit that the record gives them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import inf, sqrt

from drytouch.sim.errors import InputError
from drytouch.sim.motion import Limits, delay_s, stop_distance
from drytouch.sim.scenario.controller import SetterRecord
from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.machine import Machine, Socket
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.scenario.tool import Tool
from drytouch.sim.study.budget_lateness import Lateness, lateness

# What is kept free of the pad's overtravel, for wear, chips and a tool that is not quite sharp.
MARGIN = 0.2
# Two touches that should agree: three standard deviations of their difference are allowed for.
_SIGMAS = 3.0
_S_PER_MIN = 60.0


@dataclass(frozen=True)
class InputChain:
    """A setter on its input, on a machine, under a tool. Speeds in mm/s, lengths in mm."""

    setter_name: str
    tool_name: str | None
    setter: Setter
    socket: Socket
    machine: Machine
    tool: Tool | None
    record: SetterRecord

    @cached_property
    def _lateness(self) -> Lateness:
        return lateness(self.setter, self.socket)

    @cached_property
    def _mean_seen_s(self) -> float:
        return float(self._lateness.seen.mean())

    @property
    def _bounces(self) -> bool:
        """Whether bounce can make a touch late: with neither filter nor scan nothing waits."""
        waits = self.socket.filter_s > 0.0 or self.socket.scan_s > 0.0
        return waits and self.setter.bounce_pairs > 0

    @property
    def _link(self) -> tuple[float, float]:
        link = self.setter.link
        return (link.delay_s, link.jitter_s) if link.kind == "radio" else (0.0, 0.0)

    def causes_s(self, worst: bool) -> dict[str, float]:
        """Time from the closing contact to the start of the stop, by cause."""
        delay, jitter = self._link
        tick = self.machine.servo.tick_s
        if worst:
            return {
                "bounce": self.setter.bounce_s if self._bounces else 0.0,
                "filter": self.socket.filter_s,
                "scan": self.socket.scan_s,
                "link": delay + jitter,
                "servo tick": tick,
            }
        scan = self.socket.scan_s / 2.0
        seen = self._mean_seen_s
        return {
            "bounce": seen - self.socket.filter_s - scan,
            "filter": self.socket.filter_s,
            "scan": scan,
            "link": delay + jitter / 2.0,
            "servo tick": tick / 2.0,
        }

    @property
    def lag_s(self) -> float:
        """How much later the axis is than its command."""
        servo = self.machine.servo
        if servo.drive == "stepper":
            return 0.0
        return delay_s(servo.position_gain_per_s, servo.feed_forward)

    def stop_mm(self, speed: float) -> float:
        """Way to stop from a steady speed."""
        z = self.machine.axes.z
        limits = Limits(speed, z.acceleration_mm_per_s2, z.jerk_mm_per_s3)
        return stop_distance(speed, limits) if speed > 0.0 else 0.0

    def overtravel(self, speed: float, worst: bool = True) -> float:
        """Pad travel after the trip, for a touch that is settled at this speed."""
        return self._overtravel(speed, sum(self.causes_s(worst).values()))

    def _overtravel(self, speed: float, late_s: float) -> float:
        return speed * (late_s + self.lag_s) + self.stop_mm(speed)

    @property
    def budget(self) -> tuple[float, str]:
        """How much overtravel there is, and what gives out first."""
        setter, room = self.setter, self.setter.overtravel_mm
        if self.tool is None:
            return room, "the pad's travel"
        spare = self.tool.force_limit_N - setter.preload_N
        bears = inf if spare >= 0.0 else 0.0
        if setter.rate_N_per_mm > 0.0:
            bears = max(spare / setter.rate_N_per_mm - setter.pre_travel_mm, 0.0)
        return (bears, "what the tool bears") if bears < room else (room, "the pad's travel")

    def root(self, allowed: float, worst: bool = True) -> float:
        """The speed at which the overtravel is just what is allowed; 0 where nothing is."""
        if allowed <= 0.0:
            return 0.0
        late_s = sum(self.causes_s(worst).values())
        low, high = 0.0, 1.0
        while self._overtravel(high, late_s) < allowed:
            low, high = high, high * 2.0
        for _ in range(200):
            middle = (low + high) / 2.0
            if middle in (low, high):
                break
            if self._overtravel(middle, late_s) <= allowed:
                low = middle
            else:
                high = middle
        return low

    def fast(self, worst: bool, margin: float) -> tuple[float, str]:
        """Highest safe fast feed, mm/min, and what limits it."""
        room, what = self.budget
        limits = [
            (self.root(room * (1.0 - margin), worst) * _S_PER_MIN, what),
            (self.setter.worst_feed_mm_per_min, "the setter's maker"),
            (self.machine.axes.z.feed_max_mm_per_min, "the axis"),
        ]
        return min(limits)

    def slow(self, worst: bool, margin: float) -> tuple[float, str]:
        """Highest slow feed at which two touches agree, mm/min, and what limits it."""
        fast, what = self.fast(worst, margin)
        limit = self.record.agree_mm
        step, sigma = self.machine.axes.z.encoder_step_mm, self.setter.pre_travel_sigma_mm
        habit = self.machine.habits.latch
        jitter = self._link[1]
        if worst:
            waits = (self.setter.bounce_s if self._bounces else 0.0) + jitter
            waits += self.socket.scan_s if habit == "scan" else 0.0
            room = limit - step - _SIGMAS * sqrt(2.0) * sigma
            feed = inf if waits == 0.0 and room >= 0.0 else max(room, 0.0) / max(waits, 1e-12)
        else:
            late = float(self._lateness.at(habit).var()) + jitter**2 / 12.0
            allowed = (limit / (_SIGMAS * sqrt(2.0))) ** 2 - sigma**2 - step**2 / 12.0
            feed = inf if late == 0.0 and allowed >= 0.0 else sqrt(max(allowed, 0.0) / (late or 1))
        return min((feed * _S_PER_MIN, "two touches that agree"), (fast, what))

    def back_off(self, fast: float, slow: float, worst: bool = True) -> dict[str, float]:
        """What the back-off between touches must exceed, mm, by cause; feeds in mm/min."""
        slow_speed = slow / _S_PER_MIN
        return {
            "overtravel": self.overtravel(fast / _S_PER_MIN, worst),
            "hysteresis": self.setter.hysteresis_mm,
            # Speeding up takes the way that stopping does.
            "run-up": self.stop_mm(slow_speed),
            "settling": slow_speed * self.lag_s,
        }


def chains_of(scenario: Scenario, setter: str | None, tool: str | None) -> list[InputChain]:
    """Every setter of the scenario (or one) under the tool that is meant.

    Raises:
        InputError: no such setter or tool, or a setter that no input could hear.
    """
    if tool is not None and tool not in scenario.tools:
        raise InputError(
            f"the scenario has no tool '{tool}'",
            key="--tool",
            fix=nearest(tool, list(scenario.tools)),
        )
    if setter is not None and setter not in scenario.setter:
        raise InputError(
            f"the scenario has no setter '{setter}'",
            key="--setter",
            fix=nearest(setter, list(scenario.setter)),
        )
    if not scenario.setter:
        raise InputError("the scenario has no setter", scenario.name, fix="add one: setter = ...")
    name = tool or scenario.spindle_tool or next(iter(scenario.tools), None)
    chains = []
    for key in [setter] if setter else list(scenario.setter):
        record = scenario.controller.records.get(key) or SetterRecord()
        chains.append(
            InputChain(
                key,
                name,
                scenario.setter[key],
                scenario.machine.sockets[socket_of(scenario, key)],
                scenario.machine,
                scenario.tools[name] if name else None,
                record,
            )
        )
    return chains


def socket_of(scenario: Scenario, setter: str) -> str:
    """The socket that the setter's plug is in, or the one whose input its record watches."""
    plugged = scenario.controller.plugs.get(setter)
    if plugged is not None:
        return plugged
    record = scenario.controller.records.get(setter) or SetterRecord()
    for name, socket in scenario.machine.sockets.items():
        if socket.input == record.input:
            return name
    raise InputError(
        f"no socket leads to input {record.input}, which '{setter}' is watched on",
        scenario.name,
        key=f"controller.records.{setter}.input",
        fix="give the number of an input that a socket has",
    )
