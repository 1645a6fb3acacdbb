"""What a line does to setters that nothing bolts down: pushed along, or slid by the table."""

from __future__ import annotations

from math import hypot, inf
from typing import TYPE_CHECKING, Any

from drytouch.sim.setter.slide import GRAVITY_MM_PER_S2, run_out, slide

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
        w = kernel.slipping.pop(item, 0.0)
        pieces, speed = _really_run(kernel, line, t)
        fastest = max((abs(p.a0) for p in pieces), default=0.0)
        ends = max((abs(p.a0 + p.jerk * (p.t1 - p.t0)) for p in pieces), default=0.0)
        if w == 0.0 and speed == 0.0 and max(fastest, ends) * share <= static:
            continue
        moved, w = slide(pieces, share, static, kinetic, w)
        if line.coasts:
            kernel.slipping[item] = w  # it slides on while the table runs down
        else:
            moved += run_out(w + speed * share, kinetic)
        _shift(kernel, item, (moved * x / share, moved * y / share), "the table's acceleration",
               "The table accelerated harder than friction could carry the setter along.",
               t)  # fmt: skip


def _really_run(kernel: KernelState, line: Line, t: float) -> tuple[list[Any], float]:
    """The pieces that the delayed axis has run by ``t``, and the speed that a body took away."""
    track, until, speed = line.track, t - line.delay, 0.0
    if line.block < inf:
        met = track.crossing(line.block, line.t0)
        if met is not None and met < until:
            until, speed = met, track.state_at(met).v
    pieces = [piece for piece in track.pieces if piece.t0 < until]
    if pieces and pieces[-1].t1 > until:
        pieces[-1] = pieces[-1]._replace(t1=until)
    return pieces, speed


def _shift(
    kernel: KernelState, item: str, by: tuple[float, float], cause: str, why: str, t: float
) -> None:
    distance = hypot(*by)
    if distance < LEAST_SLIDE_MM:
        return
    kernel.stage.shift(item, (by[0], by[1], 0.0), kernel.recorder, t)
    kernel.judge.setter_moved(item, distance, cause, why, t)
