"""Each press of a pad: when what happened, and how deep the pad was then."""

from __future__ import annotations

from typing import NamedTuple

from drytouch.sim.recording import Recording
from drytouch.sim.recording.track import physical_path


class Mark(NamedTuple):
    """A named moment of a press: time in s, pad depth in mm."""

    name: str
    t: float
    depth_mm: float


class Press(NamedTuple):
    """From contact until the axis rests (s); ``limit_mm``: depth at which the pad is solid."""

    setter: str
    contact: float
    rest: float
    end: float
    limit_mm: float | None
    marks: tuple[Mark, ...]

    @property
    def trip(self) -> float | None:
        """When the contact in the setter acted, s."""
        return next((mark.t for mark in self.marks if mark.name == "first edge"), None)

    def left_mm(self, depth_mm: float) -> float | None:
        """Overtravel that is left at a depth; None where nothing limits it."""
        return None if self.limit_mm is None else max(self.limit_mm - depth_mm, 0.0)


def presses_of(recording: Recording) -> list[Press]:
    """All presses, in order of time."""
    contacts = [e for e in recording.events if e.kind == "contact" and isinstance(e.data, str)]
    found: list[Press] = []
    for event in contacts:
        press = _press(recording, event.t, event.data)
        if press is not None and (not found or press.contact >= found[-1].rest):
            found.append(press)
    return found


def _press(recording: Recording, contact: float, setter: str) -> Press | None:
    line = recording.line_at(contact)
    if line is None or not any(
        row[0] == setter and row[1] <= contact + 1e-6 for row in recording.data["pads"]
    ):
        return None
    after = (e.t for e in recording.events if e.kind in ("leave", "contact") and e.t > contact)
    end = min(next(after, recording.duration_s), recording.duration_s)
    rest = min(_at_rest(recording, contact), end)
    limits = [row[6] for row in recording.data["pads"] if row[0] == setter and row[1] <= rest]
    marks = [Mark("contact", contact, recording.pad_depth_at(setter, contact))]
    for name, t in _moments(recording, setter, contact, end):
        marks.append(Mark(name, t, recording.pad_depth_at(setter, t)))
    marks.append(Mark("stop", rest, recording.pad_depth_at(setter, rest)))
    marks.sort(key=lambda mark: mark.t)
    return Press(setter, contact, rest, end, limits[-1] if limits else None, tuple(marks))


def _at_rest(recording: Recording, contact: float) -> float:
    """When the axis that came down stands: its line's end, or where a body blocked it."""
    line = recording.line_at(contact)
    assert line is not None
    end = line.t[1]
    if line.block_mm is None or physical_path(line, end) < line.block_mm:
        return end
    low, high = contact, end
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if physical_path(line, middle) < line.block_mm else (low, middle)
    return high


def _moments(
    recording: Recording, setter: str, contact: float, end: float
) -> list[tuple[str, float]]:
    found: list[tuple[str, float]] = []
    for event in recording.events_between(contact, end, "close"):
        if event.data == setter:
            found.append(("first edge", event.t))
            break
    since = found[0][1] if found else contact
    for ending, name in ((".filtered", "filter"), (".seen", "scan")):
        times = [
            t
            for signal in recording.signals
            if signal.endswith(ending)
            for t, _ in recording.edges_of(signal)
            if since <= t < end
        ]
        if times:
            found.append((name, min(times)))
    latches = recording.events_between(contact, end, "latch")
    if latches:
        latch = latches[0]
        # The event comes when the controller has noticed; its data say when the position was taken.
        at = latch.data[0] if isinstance(latch.data, list) and latch.data else latch.t
        if isinstance(at, int | float) and contact <= at <= end:
            found.append(("latch", float(at)))
    return found
