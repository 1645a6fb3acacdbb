"""Chance: one seed a run, one child stream for each source.

Each source has its own child of the seed (``SeedSequence`` with a spawn key), so that adding a
source never shifts another, and a source that is never asked costs nothing.
"""

from __future__ import annotations

from numpy.random import PCG64, Generator, SeedSequence

# The order is part of the recorded behaviour: append, never reorder.
SOURCES = (
    "pre-travel",
    "bounce",
    "scan",
    "servo-tick",
    "link",
    "noise",
    "wire",
    "edge-pass",
    "feel",
    "rule",
    "person",
)
_KEYS = {name: index for index, name in enumerate(SOURCES)}


class Chance:
    """Random draws by source; with ``on=False`` every draw is its mean or its start.

    Raises:
        KeyError: the source is not one of ``SOURCES``.
    """

    def __init__(self, seed: int, on: bool = True) -> None:
        self.seed = seed
        self.on = on
        self._streams: dict[str, Generator] = {}

    def _stream(self, source: str) -> Generator:
        stream = self._streams.get(source)
        if stream is None:
            sequence = SeedSequence(self.seed, spawn_key=(_KEYS[source],))
            stream = self._streams[source] = Generator(PCG64(sequence))
        return stream

    def normal(self, source: str, sigma: float) -> float:
        """A draw from N(0, sigma); 0 with chance off."""
        if not self.on or sigma == 0.0:
            return 0.0
        return float(self._stream(source).standard_normal()) * sigma

    def uniform(self, source: str, width: float) -> float:
        """A draw from [0, width); 0 with chance off."""
        if not self.on or width == 0.0:
            return 0.0
        return float(self._stream(source).random()) * width

    def exponential(self, source: str, mean: float) -> float:
        """A waiting time of this mean; the mean itself with chance off."""
        if not self.on:
            return mean
        return float(self._stream(source).standard_exponential()) * mean

    def poisson(self, source: str, mean: float) -> int:
        """A count of this mean; 0 with chance off."""
        if not self.on or mean == 0.0:
            return 0
        return int(self._stream(source).poisson(mean))
