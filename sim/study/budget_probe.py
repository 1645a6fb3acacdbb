"""Asking the twin how its numbers depend on each touch: ideal latches, one of them nudged.

With chance off and every latch exactly where the pad trips, what is left in a number's error is
what the touches did not cause. Nudging one latch at a time then gives the number's sensitivity to
that touch, whatever routine or program did the arithmetic (GUM 5.1.3, note 2: coefficients by
experiment). A reference that several numbers share shows in all of their coefficients.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import InputError, StepError
from drytouch.sim.scenario.machine import Socket
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.twin.chance import Chance
from drytouch.sim.twin.stage import Stage
from drytouch.sim.twin.twin import Twin

if TYPE_CHECKING:
    from drytouch.sim.twin.line import Line, Vector

# Far below any agreement limit between two touches, far above rounding of a machine position.
NUDGE_MM = 1e-5


class SomeChance(Chance):
    """Chance at work in some sources only; ``asked`` is every source that was wanted."""

    def __init__(self, seed: int, only: frozenset[str]) -> None:
        super().__init__(seed)
        self.only = only
        self.asked: set[str] = set()

    def _goes(self, source: str, size: float) -> bool:
        if size > 0.0:
            self.asked.add(source)
        return source in self.only

    def normal(self, source: str, sigma: float) -> float:
        """A draw, or 0."""
        return super().normal(source, sigma) if self._goes(source, sigma) else 0.0

    def uniform(self, source: str, width: float) -> float:
        """A draw, or 0."""
        return super().uniform(source, width) if self._goes(source, width) else 0.0

    def exponential(self, source: str, mean: float) -> float:
        """A draw, or the mean."""
        return super().exponential(source, mean) if self._goes(source, mean) else mean

    def poisson(self, source: str, mean: float) -> int:
        """A draw, or 0."""
        return super().poisson(source, mean) if self._goes(source, mean) else 0


@dataclass
class Touched:
    """One latch of a run, and what it went through. Speeds along the path, mm/s."""

    setter: Setter
    socket: Socket
    speed_mm_per_s: float
    z_mm: float
    down: float  # Z per mm of path: -1 straight down
    rate: float  # pad travel per mm of path


@dataclass
class Probed:
    """What one run stored (error of each number, mm) and the touches that it made."""

    errors: dict[str, float]
    touches: list[Touched] = field(default_factory=list)
    asked: frozenset[str] = frozenset()


def probe(
    scenario: Scenario,
    nudges: Mapping[int, float] | None = None,
    only: frozenset[str] = frozenset(),
    seed: int = 0,
    stage: Stage | None = None,
) -> Probed:
    """Run the steps once with ideal latches; ``nudges`` shift the latches of these touches, mm.

    Raises:
        InputError: a step can't be done.
    """
    twin = Twin(scenario, seed, stage)
    chance = SomeChance(seed, only)
    twin.chance = twin.kernel.chance = chance
    touches: list[Touched] = []
    kernel: Any = twin.kernel
    as_it_is = kernel.latched_position

    def ideal(line: Line, when: float) -> Vector:
        pad = next((pad for pad in kernel.pads.values() if pad.touching), None)
        if pad is None:
            return as_it_is(line, when)  # type: ignore[no-any-return]
        s = pad.s_at(pad.trip)
        if s is None:
            return as_it_is(line, when)  # type: ignore[no-any-return]
        x, y, z = line.command_at(s)
        socket = kernel.machine.sockets[kernel.wires[pad.name].socket]
        speed = line.track.state_at(when - line.delay).v
        touches.append(
            Touched(pad.setter, socket, speed, z, line.direction[2], pad.line_rate)
        )  # fmt: skip
        nudge = nudges.get(len(touches) - 1, 0.0) if nudges else 0.0
        return (x, y, z + nudge)

    kernel.latched_position = ideal
    try:
        outcome = twin.run_steps()
    except StepError as error:
        raise InputError(error.message, scenario.name, fix=error.fix) from None
    errors = {number.name: number.error for number in outcome.numbers.values()}
    return Probed(errors, touches, frozenset(chance.asked))


def sensitivities(scenario: Scenario, plain: Probed, stage: Stage) -> dict[str, list[float]]:
    """How far each number moves with each touch's latch, mm per mm."""
    found: dict[str, list[float]] = {name: [] for name in plain.errors}
    for index in range(len(plain.touches)):
        nudged = probe(scenario, {index: NUDGE_MM}, stage=stage).errors
        for name, error in plain.errors.items():
            moved = nudged.get(name, error) - error
            # Nudges pass sums and means of a few touches: anything finer is rounding.
            found[name].append(round(moved / NUDGE_MM, 6))
    return found
