"""The movie's readouts: what is being done, where the axes are, how fast, what the inputs say."""

from __future__ import annotations

from typing import Any

from drytouch.sim.recording import Recording
from drytouch.viz import look
from drytouch.viz.board import Pad
from drytouch.viz.units import Units

READOUTS = 212.0
"""Height, shown pixels."""
KINDS = {
    "rapid": "rapid move", "feed": "move at feed", "touch": "touch", "jog": "jog",
    "step": "a step by hand", "return": "back to the latched place", "home": "homing",
    "sag": "the axis sags", "coast": "the axis coasts to a stop",
}  # fmt: skip


class Readouts:
    """Draws the readouts of a recording at a time."""

    def __init__(self, recording: Recording, units: Units) -> None:
        self._recording = recording
        self._units = units
        self._inputs = [s for s in recording.signals if s.endswith(".seen")][:2]
        self._stored = [
            (t, str(key), value)
            for t, key, value in recording.data["beliefs"]
            if t > 0.0 and isinstance(value, int | float) and not str(key).endswith("error")
            and not isinstance(value, bool)
        ]  # fmt: skip
        self._key: Any = None
        self._piece: Any = None

    def draw(self, t: float, wide: float) -> Any:
        """As an array of bytes, ``wide`` shown pixels across."""
        rows = self._rows(t)
        if rows != self._key:
            self._key = rows
            self._piece = self._picture(rows, wide)
        return self._piece

    def _rows(self, t: float) -> tuple[Any, ...]:
        recording, units = self._recording, self._units
        line = recording.line_at(t)
        moving = line is not None and t <= line.t[1] and recording.speed_at(t) > 1e-6
        doing = KINDS.get(line.kind, line.kind) if moving and line is not None else "at rest"
        axes = tuple(units.length(value) for value in recording.position_at(t))
        inputs = tuple((name[:-5], recording.signal_at(name, t)) for name in self._inputs)
        rpm = recording.spindle_at(t)[1]
        stored = [row for row in self._stored if row[0] <= t]
        said = ""
        if stored:
            _, key, value = stored[-1]
            name = key.removesuffix("_mm").replace("_", " ")
            said = f"{name}: {units.length(float(value), 4)}"
        return doing, units.feed(recording.speed_at(t)), axes, inputs, round(rpm), said

    def _picture(self, rows: tuple[Any, ...], wide: float) -> Any:
        doing, speed, axes, inputs, rpm, stored = rows
        pad = Pad((wide, READOUTS))
        narrow = wide < 320
        pad.text(14, 30, doing, 20, look.INK, True, room=wide - (26 if narrow else 170))
        pad.text(wide - 12, 56 if narrow else 30, speed, 20, look.INK, True, "rs")
        y = 58.0
        said = "machine position" if narrow else "machine position of the spindle face"
        y += 17 if narrow else 0
        pad.text(14, y, said, 13, look.INK_SOFT)
        for name, value in zip("XYZ", axes, strict=True):
            y += 25
            pad.text(14, y, name, 20, look.INK_SOFT, True)
            pad.text(wide - 12, y, value, 20, look.INK, True, "rs")
        y += 10
        for name, level in inputs:
            y += 23
            seen = f"sees {name}" if narrow else f"the controller sees {name}"
            pad.text(14, y, seen, 16, look.INK, room=wide - 100)
            on = level == 1
            pad.disc(wide - 70, y - 6, 7, look.INK if on else look.PAPER, look.INK)
            pad.text(wide - 12, y, "ON" if on else "off", 17, look.INK, on, "rs")
        if rpm and y < READOUTS - 24:
            y += 23
            way = "turning" if rpm > 0 else "turning against the cut"
            pad.text(14, y, f"spindle {way}, {abs(rpm)} rev/min", 16, look.INK, room=wide - 26)
        if stored and y < READOUTS - 24:
            y += 23
            pad.text(14, y, f"stored {stored}", 16, look.INK, room=wide - 26)
        return pad.pixels()
