"""How late a touch is latched: from the closing contact through bounce, filter and scan.

A model of its own, written from the rules of an input and not from the twin's code: contact edges
alternate within the bounce time; a level passes the filter when it holds still for the filter's
time; the controller looks at ticks of unknown phase. It is not normal, so it is drawn (JCGM 101)
and not propagated.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil, inf
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from drytouch.sim.scenario.machine import Socket
from drytouch.sim.scenario.setter import Setter

Samples = NDArray[np.float64]
# The mean of so many draws is known to 0.7 % of their deviation, the deviation to 0.5 %.
DRAWS = 20_000


class Lateness(NamedTuple):
    """Draws of the time from closing to each mark, s; the link's delay is not in them."""

    edge: Samples
    filtered: Samples
    seen: Samples

    def at(self, latch: str) -> Samples:
        """Draws of the mark at which a machine of this habit latches."""
        marks: dict[str, Samples] = {
            "edge": self.edge, "filter": self.filtered, "scan": self.seen,
        }  # fmt: skip
        return marks[latch]


def lateness(setter: Setter, socket: Socket, seed: int = 0, draws: int = DRAWS) -> Lateness:
    """Draw what an input makes of a closing contact; the arrays are shared, for reading only."""
    bounces = setter.bounce_pairs > 0 and setter.bounce_s > 0.0
    bounce = (setter.bounce_s, setter.bounce_pairs) if bounces else (0.0, 0)
    return _draw(*bounce, socket.filter_s, socket.scan_s, seed, draws)


@lru_cache(maxsize=64)
def _draw(
    bounce_s: float, mean_pairs: int, filter_s: float, scan_s: float, seed: int, draws: int
) -> Lateness:
    chance = np.random.Generator(np.random.PCG64(seed))
    phases = chance.random(draws) * scan_s
    pairs = chance.poisson(mean_pairs, draws)
    edge, filtered = np.zeros(draws), np.full(draws, filter_s)
    seen = np.full(draws, filter_s)
    if scan_s > 0.0:
        seen = phases + np.ceil((filtered - phases) / scan_s) * scan_s
    for place in np.flatnonzero(pairs):
        times = np.sort(chance.random(2 * pairs[place]) * bounce_s)
        mark = _first_seen(times.tolist(), filter_s, scan_s, float(phases[place]))
        edge[place], filtered[place], seen[place] = mark
    for marks in (edge, filtered, seen):
        marks.flags.writeable = False
    return Lateness(edge, filtered, seen)


def _first_seen(
    bounces: list[float], filter_s: float, scan_s: float, phase: float
) -> tuple[float, float, float]:
    """Edge, end of filter and tick of the first look at which a bouncing contact reads on."""
    edges = [(0.0, True)] + [(t, bool(i % 2)) for i, t in enumerate(bounces)]
    passed: list[tuple[float, bool, float]] = []
    state = False
    for (t, on), (following, _) in zip(edges, [*edges[1:], (inf, False)], strict=True):
        # No filter lets every edge through.
        if on != state and (following - t > filter_s or filter_s == 0.0):
            passed.append((t + filter_s, on, t))
            state = on
    for (t, on, edge), (off, _, _) in zip(passed, [*passed[1:], (inf, False, 0.0)], strict=True):
        if not on:
            continue
        tick = phase + ceil((t - phase) / scan_s) * scan_s if scan_s > 0.0 else t
        if tick < off or scan_s == 0.0:
            return edge, t, tick
    raise AssertionError("the last level of a bounce is on")
