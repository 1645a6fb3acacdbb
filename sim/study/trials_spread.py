"""How a number spreads over any count of trials, in memory that does not grow with it.

Mean and standard deviation are exact: parts are merged by Chan, Golub and LeVeque's update
(1983), always in the order of the trials, so that the bits are the same wherever they were done.
Percentiles come from counts in buckets that widen with the distance from the first part's median:
a percentile is off by at most 0.1 % of that distance. Rates have Wilson's interval (1927).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from math import ceil, floor, log, sqrt

import numpy as np

# Neighbouring buckets differ by this factor, so that their middle is within 0.1 % of their ends.
_GROWTH = 1.002
# Nearer to the median than this all values are one: a thousandth of a nanometre, in mm.
_FLOOR = 1e-9
# Two-sided 95 %: the normal quantile at 0.975.
Z95 = 1.959963984540054


def wilson(hits: int, count: int, z: float = Z95) -> tuple[float, float]:
    """Wilson's score interval for a rate of ``hits`` in ``count``; (0, 1) where nothing is known.

    E. B. Wilson, JASA 22 (1927) 209. Unlike the plain normal interval it stays inside 0 to 1 and
    says something where nothing, or everything, was hit.
    """
    if count == 0:
        return 0.0, 1.0
    rate, square = hits / count, z * z
    middle = (rate + square / (2 * count)) / (1 + square / count)
    half = z / (1 + square / count) * sqrt(rate * (1 - rate) / count + square / (4 * count**2))
    low = 0.0 if hits == 0 else max(middle - half, 0.0)
    high = 1.0 if hits == count else min(middle + half, 1.0)
    return low, high


class Spread:
    """Mean, standard deviation, extremes and percentiles of a stream of numbers."""

    def __init__(self) -> None:
        self.count = 0
        self.mean = 0.0
        self.low = self.high = 0.0
        self._squares = 0.0
        self._centre = 0.0
        self._buckets: dict[int, int] = {}

    def add(self, values: Sequence[float]) -> None:
        """Take in one part's values, in the order of the trials."""
        if not values:
            return
        array = np.asarray(values, dtype=float)
        n, mean = len(values), float(array.mean())
        squares = float(np.square(array - mean).sum())
        if self.count == 0:
            self._centre = float(np.median(array))
            self.low, self.high = float(array.min()), float(array.max())
        total = self.count + n
        step = mean - self.mean
        self.mean += step * n / total
        self._squares += squares + step * step * self.count * n / total
        self.count = total
        self.low = min(self.low, float(array.min()))
        self.high = max(self.high, float(array.max()))
        away = array - self._centre
        size = np.maximum(np.abs(away), _FLOOR)
        index = np.ceil(np.log(size / _FLOOR) / log(_GROWTH)).astype(int) * np.sign(away)
        for key, times in zip(*np.unique(index.astype(int), return_counts=True), strict=True):
            self._buckets[int(key)] = self._buckets.get(int(key), 0) + int(times)

    @property
    def deviation(self) -> float:
        """Standard deviation of one value (n - 1 in the divisor)."""
        return sqrt(self._squares / (self.count - 1)) if self.count > 1 else 0.0

    def mean_interval(self) -> tuple[float, float]:
        """95 % interval of the mean, from the normal distribution."""
        half = Z95 * self.deviation / sqrt(self.count) if self.count else 0.0
        return self.mean - half, self.mean + half

    def _value(self, key: int) -> float:
        if key == 0:
            return self._centre
        away = _FLOOR * float(_GROWTH ** (abs(key) - 0.5))
        value = self._centre + (away if key > 0 else -away)
        return min(max(value, self.low), self.high)

    def quantile(self, share: float) -> float:
        """The value below which this share of all values lies (nearest rank)."""
        return self._at_rank(max(1, ceil(share * self.count)))

    def _at_rank(self, rank: int) -> float:
        if self.count == 0:
            return 0.0
        if rank >= self.count:
            return self.high
        if rank <= 1:
            return self.low
        keys = sorted(self._buckets)
        for key, below in zip(keys, accumulate(self._buckets[k] for k in keys), strict=True):
            if below >= rank:
                return self._value(key)
        return self.high

    def quantile_interval(self, share: float) -> tuple[float, float]:
        """95 % interval of a percentile, from the ranks that it may have (binomial)."""
        half = Z95 * sqrt(self.count * share * (1 - share))
        middle = share * self.count
        return self._at_rank(floor(middle - half)), self._at_rank(ceil(middle + half) + 1)

    def within(self, share: float) -> float:
        """The least bound that this share of all values stays inside of, either side of 0."""
        pairs = sorted((abs(self._value(key)), times) for key, times in self._buckets.items())
        rank = max(1, ceil(share * self.count))
        seen = 0
        for value, times in pairs:
            seen += times
            if seen >= rank:
                return value
        return 0.0

    def histogram(self, bars: int) -> tuple[float, float, list[int]]:
        """Lowest and highest value, and counts in equal bars between them."""
        if self.high <= self.low:
            return self.low, self.high, [self.count]
        width = (self.high - self.low) / bars
        counts = [0] * bars
        for key, times in self._buckets.items():
            bar = int((self._value(key) - self.low) / width)
            counts[min(max(bar, 0), bars - 1)] += times
        return self.low, self.high, counts


class Thinned:
    """An even choice of rows: every k-th, where k doubles whenever they become too many."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._every = 1
        self.rows: list[tuple[int, Sequence[object]]] = []

    def add(self, index: int, row: Sequence[object]) -> None:
        """Offer row number ``index``."""
        if index % self._every:
            return
        self.rows.append((index, row))
        if len(self.rows) > self._most:
            self._every *= 2
            self.rows = [kept for kept in self.rows if kept[0] % self._every == 0]
