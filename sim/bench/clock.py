"""Wall time into simulated time: the pace, and the beat without which a key is not held."""

from __future__ import annotations

from drytouch.sim.bench.live import Live

# A page beats each 30-50 ms; motion must have been told to stop within 0.2 s of the last beat,
# tick of the server (20 ms) and way through the network included.
BEAT_S = 0.1


class Pacing:
    """Lets a live twin follow the wall clock."""

    def __init__(self, live: Live) -> None:
        self.rate = 1.0
        self._live = live
        self._since_beat = 0.0

    def beat(self) -> None:
        """The page is there."""
        self._since_beat = 0.0

    def pass_time(self, wall_s: float, key_waits: bool) -> bool:
        """Let wall time pass (s); whether a key was lost on the way.

        A server that comes late with its tick must not move the axis for longer than the beat
        allows: the key comes up at its own time in between.
        """
        machine = self._live.machine
        held = machine is not None and machine.do == "jog-press" and not machine.released
        left = BEAT_S - self._since_beat
        self._since_beat += wall_s
        if not held or wall_s < left:
            self._live.advance(wall_s * self.rate)
            return key_waits and wall_s >= left
        self._live.advance(max(left, 0.0) * self.rate)
        self._live.release()
        self._live.advance((wall_s - max(left, 0.0)) * self.rate)
        return True
