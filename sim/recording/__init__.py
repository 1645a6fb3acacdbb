"""A run taken down exactly: segments, not samples."""

from drytouch.sim.recording.recorder import LineEntry, Recorder, Source
from drytouch.sim.recording.recording import BodyAt, Event, Recording

__all__ = ["BodyAt", "Event", "LineEntry", "Recorder", "Recording", "Source"]
