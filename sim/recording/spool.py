"""Where packed rows wait: an unnamed temporary file, or memory where none can be written."""

from __future__ import annotations

import weakref
from tempfile import TemporaryFile
from threading import Lock
from typing import IO

from drytouch.sim.errors import InputError

Place = tuple[int, int] | bytes
"""Offset and length in the file; or the packed rows themselves, where none could be written."""


class Spool:
    """An unnamed temporary file, made when first needed: the system removes it with the process.

    Where the disk is full or can't be written, packed rows stay in memory instead.
    """

    def __init__(self) -> None:
        self._file: IO[bytes] | None = None
        self._refused = False
        self._end = 0
        self._lock = Lock()  # a session is kept by one thread while another still shows it

    def put(self, data: bytes) -> Place:
        """Keep packed rows; where they are."""
        with self._lock:
            file = self._open()
            if file is None:
                return data
            try:
                file.seek(self._end)
                if file.write(data) != len(data):
                    return data
            except OSError:
                return data
            place = (self._end, len(data))
            self._end += len(data)
            return place

    def get(self, place: Place) -> bytes:
        """What was put there.

        Raises:
            InputError: the file can't be read any more.
        """
        if isinstance(place, bytes):
            return place
        assert self._file is not None
        offset, length = place
        try:
            with self._lock:
                self._file.seek(offset)
                data = self._file.read(length)
        except OSError as error:
            raise _lost(str(error)) from None
        if len(data) != length:
            raise _lost(f"{len(data)} of {length} bytes are there")
        return data

    @property
    def size_bytes(self) -> int:
        """How long the file is."""
        return self._end

    def _open(self) -> IO[bytes] | None:
        if self._file is None and not self._refused:
            try:
                # No buffer: what can't be written shows at once, and a session costs no memory.
                self._file = TemporaryFile(prefix="drytouch-", buffering=0)  # noqa: SIM115
            except OSError:
                self._refused = True
            else:
                weakref.finalize(self, self._file.close)
        return self._file


def _lost(why: str) -> InputError:
    return InputError(
        f"a session's temporary file can't be read: {why}",
        fix="check the disk that holds temporary files (TMPDIR)",
    )
