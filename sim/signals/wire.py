"""From a setter's contact to the level at a socket: NO or NC, wire faults, link, polarity."""

from __future__ import annotations

from drytouch.sim.scenario.scenario import Noise
from drytouch.sim.scenario.setter import Setter


class Wire:
    """The link of one setter. ``pressed`` is the switch's own state: tripped or not.

    A plate's contact is the tool itself: ``touching`` a conducting tool closes the circuit.
    """

    __slots__ = ("broken", "name", "noise", "pressed", "setter", "slot", "socket")

    def __init__(self, name: str, setter: Setter, noise: Noise) -> None:
        self.name = name
        self.slot = f"noise {name}"
        self.setter = setter
        self.noise = noise
        self.socket: str | None = None
        self.pressed = False
        self.broken = False  # an intermittent wire, at this moment

    def circuit(self, t: float) -> bool:
        """True while current can flow at the socket's end of the link at time ``t`` (s)."""
        setter, noise = self.setter, self.noise
        pressed = self.pressed
        if noise.contact == "stuck-closed":
            pressed = setter.contact == "NO"
        elif noise.contact == "stuck-open":
            pressed = setter.contact == "NC"
        if setter.link.kind == "radio":
            # The receiver rests at 'not pressed' when nothing arrives.
            sent = setter.link.battery and not setter.link.blocked
            pressed = pressed and sent
        closed = pressed if setter.contact == "NO" else not pressed
        if t < noise.wire_since_s:
            return closed
        if noise.wire == "broken" or self.broken:
            return False
        if noise.wire == "shorted":
            return True
        return not closed if noise.wire == "reversed" else closed


def level(closed: bool, active_high: bool) -> bool:
    """Whether the input reads on, for a circuit that is closed or not."""
    return closed is active_high
