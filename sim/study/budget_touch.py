"""What chance makes of one latch: when it is noted, where, and how it is rounded."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from drytouch.sim.motion import delay_s
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.budget_lateness import DRAWS, lateness
from drytouch.sim.study.budget_probe import Touched

# Rounding spreads evenly (and adds step^2/12) to within 2 % while a count is below twice the
# scatter; beyond that it depends on where between two counts the pad trips.
_COARSE = 2.0


@dataclass
class TouchChance:
    """What chance does to one latch. Times in s, the rest in mm along Z."""

    repeat: float
    slope: float  # Z per s of lateness: minus the feed
    bounce: tuple[float, float]  # mean, deviation
    scan: tuple[float, float]
    link: tuple[float, float]
    lag: float
    step: float
    draws: NDArray[np.float64]

    @property
    def smooth(self) -> float:
        """Scatter of this latch before it is rounded to encoder counts, mm."""
        times = self.bounce[1] ** 2 + self.scan[1] ** 2 + self.link[1] ** 2
        return sqrt(self.repeat**2 + self.slope**2 * times)

    @property
    def coarse(self) -> bool:
        """Whether a count is wider than the scatter: rounding is then no even spread at all."""
        return self.step > _COARSE * self.smooth

    @property
    def rounding(self) -> tuple[float, float]:
        """Mean shift and scatter from rounding; from the draws where a count is coarse, mm."""
        if not self.coarse:
            return 0.0, self.step / sqrt(12.0)
        shift = float(self.draws.mean()) - self.slope * self.mean_s
        return shift, sqrt(max(float(self.draws.var()) - self.smooth**2, 0.0))

    @property
    def deviation(self) -> float:
        """Scatter of this latch, mm."""
        return sqrt(self.smooth**2 + self.rounding[1] ** 2)

    @property
    def mean_s(self) -> float:
        """Mean lateness, s."""
        return self.bounce[0] + self.scan[0] + self.link[0] + self.lag


def touch_chance(scenario: Scenario, touch: Touched, number: int) -> TouchChance:
    """What chance makes of a touch; ``number`` gives its draws a stream of their own."""
    machine, setter, socket = scenario.machine, touch.setter, touch.socket
    habits, servo = machine.habits, machine.servo
    marks = lateness(setter, socket).at(habits.latch)
    scan = (0.0, 0.0)
    if habits.latch == "scan":
        scan = (socket.scan_s / 2.0, socket.scan_s / sqrt(12.0))
    # Filter and bounce have what the scan by itself does not explain.
    mean, variance = float(marks.mean()) - scan[0], float(marks.var()) - scan[1] ** 2
    drawn = bool(setter.bounce_pairs and setter.bounce_s)
    bounce = (mean, sqrt(max(variance, 0.0))) if drawn else (socket.filter_s, 0.0)
    if not drawn and habits.latch == "edge":
        bounce = (0.0, 0.0)
    radio = setter.link.kind == "radio"
    jitter = setter.link.jitter_s if radio else 0.0
    link = ((setter.link.delay_s if radio else 0.0) + jitter / 2.0, jitter / sqrt(12.0))
    by_command = habits.latch_source == "command" and servo.drive != "stepper"
    lag = delay_s(servo.position_gain_per_s, servo.feed_forward) if by_command else 0.0
    slope = touch.down * touch.speed_mm_per_s
    sigma = setter.pre_travel_sigma_mm / abs(touch.rate) * abs(touch.down)
    step = machine.axes.z.encoder_step_mm
    chance = np.random.Generator(np.random.PCG64(1000 + number))
    late = chance.permutation(marks) + link[0] - jitter / 2.0 + jitter * chance.random(DRAWS) + lag
    z = touch.z_mm + sigma * chance.standard_normal(DRAWS) + slope * late
    draws = np.round(z / step) * step - touch.z_mm
    return TouchChance(sigma, slope, bounce, scan, link, lag, step, draws)
