"""Judging signals: inputs before a touch, latches, second triggers, touches without contact."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drytouch.sim.truth.catalogue import PROVE_FIRST
from drytouch.sim.truth.contacts import ContactJudge

if TYPE_CHECKING:
    from drytouch.sim.recording import Source
    from drytouch.sim.signals import Input
    from drytouch.sim.twin.line import Line

# A snap contact chatters for 1-3 ms; a latch that is taken once is not hurt by it. What comes on
# again later than this is a second touch to whoever counts.
CHATTER_S = 0.005


class SignalJudge(ContactJudge):
    """Findings from what the controller saw of the pad."""

    touch_feed: float | None

    def touch_asked(self, t: float, source: Source, number: int) -> None:
        """A touch is about to watch an input: was it ever proved?"""
        entry = self.kernel.inputs[number]
        if entry.proof != 3 and not entry.seen:  # one that is on is refused: nothing is risked
            self._find("unproved-input", t, source, input=number)

    def checked_quiet(self, t: float) -> None:
        """The routine looked at its input before touching."""

    def already_tripped(self, t: float, source: Source, number: int) -> None:
        """The input is on before the touch."""
        self._find("already-tripped", t, source, input=number, why=self._why_on(number))

    def _why_on(self, number: int) -> str:
        socket = self.kernel.inputs[number].socket
        wire = next((w for w in self.kernel.wires.values() if w.socket == socket), None)
        noise = self.kernel.noise
        if wire is None:
            return "No cable is in that socket, and an open circuit reads as on here."
        if noise.wire != "sound" or wire.broken:
            return f"The wire is {noise.wire}, which reads as on with this contact and polarity."
        if noise.contact != "sound":
            return f"The contact is {noise.contact}."
        if any(pad.touching for pad in self.kernel.pads.values()):
            return "The pad is pressed already."
        return "Contact kind and polarity do not fit together."

    def latched(self, line: Line, entry: Input, t: float) -> None:
        """The controller has noted a position: was anything touching?"""
        self.touch_feed = line.feed
        pads = self.kernel.pads
        closed = any(
            pads[name].pressed
            for name, wire in self.kernel.wires.items()
            if wire.socket == entry.socket
        )
        if not closed:
            assert line.latch is not None
            self._find(
                "false-trigger", t, line.source, z_mm=line.latch[2],
                why="A disturbance on the line held longer than the filter."
                if self.kernel.noise.spikes_per_s
                else "The wire or the contact gave a signal by itself.",
            )  # fmt: skip

    def second_trigger(self, line: Line, entry: Input, t: float) -> None:
        """The input comes on again within one touch."""
        if self.kernel.rpm != 0.0:
            return  # a turning cutter's next edge passes over the pad: no bounce
        if t - line.latch_time <= CHATTER_S:
            return
        self._find(
            "bounce", t, line.source,
            after_ms=(t - line.latch_time) * 1e3, filter_ms=entry.filter_s * 1e3,
        )  # fmt: skip

    def no_contact(self, line: Line | None, t: float, source: Source) -> None:
        """A touch reached its end."""
        pressed = line is not None and line.touched
        self._find(
            "no-contact", t, source, path_mm=line.goal if line else 0.0,
            avoid=PROVE_FIRST if pressed else "",
            why="The pad was pressed, but nothing arrived at the input."
            if pressed
            else "Nothing was met on the way down: the pad is elsewhere, or the tool is shorter "
            "or hollow.",
        )  # fmt: skip
