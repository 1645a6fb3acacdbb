"""What a line does to setters that nothing bolts down: pushed along, or slid by the table."""

from __future__ import annotations

from math import hypot
from typing import TYPE_CHECKING

from drytouch.sim.setter.slide import GRAVITY_MM_PER_S2, slide_distance

if TYPE_CHECKING:
    from drytouch.sim.scenario.setter import Setter
    from drytouch.sim.twin.line import Line
    from drytouch.sim.twin.state import KernelState

# Far below what any locating routine can tell; rounding of a slide out and back is smaller still.
LEAST_SLIDE_MM = 1e-4


def friction_decelerations(setter: Setter) -> tuple[float, float]:
    """Static and kinetic limits of the table's acceleration, mm/s^2: weight plus magnet pull."""
    held = GRAVITY_MM_PER_S2 + setter.holding_force_N / setter.mass_kg * 1000.0
    return setter.friction_static * held, setter.friction_kinetic * held


def slide_setters(kernel: KernelState, line: Line, walked: float, t: float) -> None:
    """Shift what the ended line has pushed or shaken loose; the controller learns nothing."""
    for s, hit, item in line.pushes:
        if walked <= s:
            continue
        at = line.track.crossing(s, line.t0)
        when = t if at is None else at + line.delay
        kernel.judge.pushed(line, hit, when, line.track.state_at(when - line.delay).v)
        u = line.direction
        _shift(kernel, item, (u[0] * (walked - s), u[1] * (walked - s)), "hit from the side",
               "A blow from the side pushed it along the table.", t)  # fmt: skip
    links, machine = kernel.machine.links, kernel.machine
    table = links[machine.table_link]
    x, y = table.get("x", 0) * line.direction[0], table.get("y", 0) * line.direction[1]
    share = hypot(x, y)
    if share < 1e-9:
        return
    for item in kernel.stage.loose:
        if item not in kernel.stage.places:
            continue
        static, kinetic = friction_decelerations(kernel.stage.scenario.setter[item])
        fastest = max((abs(p.a0) for p in line.track.pieces), default=0.0)
        ends = max((abs(p.a0 + p.jerk * (p.t1 - p.t0)) for p in line.track.pieces), default=0.0)
        if max(fastest, ends) * share <= static:
            continue
        moved = slide_distance(line.track.pieces, share, static, kinetic)
        _shift(kernel, item, (moved * x / share, moved * y / share), "the table's acceleration",
               "The table accelerated harder than friction could carry the setter along.",
               t)  # fmt: skip


def _shift(
    kernel: KernelState, item: str, by: tuple[float, float], cause: str, why: str, t: float
) -> None:
    distance = hypot(*by)
    if distance < LEAST_SLIDE_MM:
        return
    kernel.stage.shift(item, (by[0], by[1], 0.0), kernel.recorder, t)
    kernel.judge.setter_moved(item, distance, cause, why, t)
