"""A run taken down exactly: segments, not samples."""

from drytouch.sim.recording.recorder import LineEntry, Recorder, Source

__all__ = ["LineEntry", "Recorder", "Source"]
