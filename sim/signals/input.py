"""One input of the controller: raw level, filter, scan.

A level must hold still for the filter's time before it passes. A quiet gap longer than that passes
it, even inside a bounce. What has passed is seen at the next tick of the scan.
"""

from __future__ import annotations

from math import ceil

# Ticks found by division come one late in about 0.8 % of cases without this guard.
_TICK_GUARD = 1e-9


def next_tick(t: float, period: float, phase: float) -> float:
    """The first tick at or after ``t`` (s); the present instant counts. Period 0: ``t``."""
    if period <= 0.0:
        return t
    count = ceil((t - phase) / period - _TICK_GUARD)
    tick = phase + count * period
    return tick if tick > t else t


class Input:
    """Levels of one input as booleans (on or off), and when each was reached.

    ``edges`` waits for its time as data: a bounce of twenty edges costs one agenda slot.
    """

    __slots__ = (
        "edge_time",
        "edges",
        "filter_s",
        "filter_time",
        "filtered",
        "number",
        "phase",
        "proof",
        "quiet_since",
        "raw",
        "scan_s",
        "seen",
        "slots",
        "socket",
    )

    def __init__(self, number: int, socket: str, filter_s: float, scan_s: float) -> None:
        self.number = number
        self.socket = socket
        self.filter_s = filter_s
        self.scan_s = scan_s
        self.phase = 0.0
        self.raw = self.filtered = self.seen = False
        self.edge_time = self.filter_time = self.quiet_since = 0.0
        self.edges: list[tuple[float, bool]] = []
        self.proof = 0  # 0 nothing, 1 off, 2 off-on, 3 off-on-off: proved
        self.slots = (f"edge {number}", f"filter {number}", f"scan {number}")

    def start(self, on: bool) -> None:
        """Take a level as settled, as at power-up or when a plug goes in."""
        self.raw = self.filtered = self.seen = on
        self.edges.clear()

    def push(self, edges: list[tuple[float, bool]]) -> None:
        """Queue edges; all that is queued later than the first of them is superseded."""
        first = edges[0][0]
        self.edges = [edge for edge in self.edges if edge[0] < first] + edges

    def spike(self, t: float, width_s: float) -> None:
        """Something else holds the line on from ``t`` for ``width_s``; what is queued stays."""
        end, after = t + width_s, self.raw
        later = []
        for edge in self.edges:
            if edge[0] <= end:
                after = edge[1]
            else:
                later.append(edge)
        self.edges = [(t, True), (end, after), *later]

    def see(self, on: bool) -> None:
        """The scan finds ``on``; follow the proof off-on-off."""
        self.seen = on
        if self.proof == 0 and not on:
            self.proof = 1
        elif self.proof == 1 and on:
            self.proof = 2
        elif self.proof == 2 and not on:
            self.proof = 3

    def forget_proof(self) -> None:
        """The plug, the power or the selection has changed: proof starts again."""
        self.proof = 0 if self.seen else 1
