"""Rows of a long run: the newest in memory, older ones packed into an unnamed temporary file.

A live twin may run for hours, and its recording must stay exact; an hour of jogging is 25 MB as
Python objects and 1 MB packed. Ordinary runs keep plain lists and pay nothing.
"""

from __future__ import annotations

import pickle
import zlib
from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from itertools import chain
from math import inf
from operator import index as as_index
from typing import Any, TypeVar, overload

from drytouch.sim.recording.spool import Place, Spool

T = TypeVar("T")

# Rows are packed so many at once: 0.6 ms of work for lines, whose 128 take 0.2 MB as objects. Twice
# as many would be 2 % smaller, half as many 6 % larger.
TOGETHER = 128
# The fastest level: a better one takes four times as long and saves an eighth.
LEVEL = 1


class Rows(Sequence[T]):
    """A list to append to, whose older rows are packed whenever ``pack`` is called.

    ``keep``: so many of the newest rows are never packed. ``settled`` says whether a row won't
    change any more; one that may, and all after it, wait. Packed rows come back equal, each time
    as new objects.
    """

    __slots__ = ("_keep", "_last", "_packed", "_places", "_settled", "_spool", "_tail", "append")

    append: Callable[[T], None]
    """The list's own method: nothing stands between a hot path and its list."""

    def __init__(
        self,
        spool: Spool,
        keep: int = 0,
        rows: Sequence[T] = (),
        settled: Callable[[T], bool] | None = None,
    ) -> None:
        self._spool = spool
        self._keep = keep
        self._settled = settled
        self._tail: list[T] = list(rows)
        self.append = self._tail.append
        self._places: list[Place | list[T]] = []
        self._packed = 0
        self._last: tuple[int, list[T]] = (-1, [])

    def pack(self) -> None:
        """Pack what is more than is to be kept; cheap when there is nothing to do."""
        tail = self._tail
        while len(tail) >= self._keep + TOGETHER:
            rows = tail[:TOGETHER]
            if self._settled is not None and not all(map(self._settled, rows)):
                return
            self._places.append(self._put(rows))
            self._packed += TOGETHER
            del tail[:TOGETHER]
            self._last = (-1, [])

    def _put(self, rows: list[T]) -> Place | list[T]:
        try:
            data = pickle.dumps(rows, pickle.HIGHEST_PROTOCOL)
        except (pickle.PicklingError, TypeError, AttributeError):
            return rows  # not plain data: it stays as it is, and whoever writes it says so
        return self._spool.put(zlib.compress(data, LEVEL))

    def _get(self, number: int) -> list[T]:
        place = self._places[number]
        if isinstance(place, list):
            return place
        rows: list[T] = pickle.loads(zlib.decompress(self._spool.get(place)))
        return rows

    def batches(self) -> Iterator[list[T]]:
        """All rows in order, a few at a time: no more than these are in memory for it."""
        for number in range(len(self._places)):
            yield self._get(number)
        if self._tail:
            yield list(self._tail)

    def __len__(self) -> int:
        return self._packed + len(self._tail)

    def __iter__(self) -> Iterator[T]:
        at = 0
        # As with a list, rows that come meanwhile are seen too, packed or not.
        while at < len(self):
            if at < self._packed:
                rows = self._get(at // TOGETHER)[at % TOGETHER :]
                yield from rows
                at += len(rows)
            else:
                yield self._tail[at - self._packed]
                at += 1

    @overload
    def __getitem__(self, where: int) -> T: ...
    @overload
    def __getitem__(self, where: slice) -> list[T]: ...
    def __getitem__(self, where: int | slice) -> T | list[T]:
        if isinstance(where, slice):
            wanted = range(*where.indices(len(self)))
            if wanted.step == 1 and wanted.start >= self._packed:
                return self._tail[wanted.start - self._packed : wanted.stop - self._packed]
            return [self[at] for at in wanted]
        at = as_index(where)
        if at < 0:
            at += len(self)
        if not 0 <= at < len(self):
            raise IndexError(f"no row {where}; there are {len(self)}")
        if at >= self._packed:
            return self._tail[at - self._packed]
        number, within = divmod(at, TOGETHER)
        last = self._last
        if last[0] != number:
            last = self._last = (number, self._get(number))
        return last[1][within]


Entries = list[T] | Rows[T]
"""Rows as a run keeps them: a plain list, or one that is packed."""


def in_order(rows: Sequence[T], key: Callable[[Any], float]) -> Iterator[T]:
    """As ``sorted`` gives them, ties as they came; of packed rows only a few are in memory."""
    return _few_at_once(rows, key) if isinstance(rows, Rows) else iter(sorted(rows, key=key))


def _few_at_once(rows: Rows[T], key: Callable[[Any], float]) -> Iterator[T]:
    """Rows are all but in order: one waits only while a later batch has an earlier one."""
    least = [min(map(key, batch)) for batch in rows.batches()]
    waiting: list[T] = []
    for batch in rows.batches():
        del least[0]
        waiting = sorted(chain(waiting, batch), key=key)
        ready = bisect_right(waiting, min(least, default=inf), key=key)
        yield from waiting[:ready]
        del waiting[:ready]
