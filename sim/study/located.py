"""A controller that notes on which line of a Python file each of its calls was made.

A finding then points at the line of the routine under test, as it does for a program.
"""

from __future__ import annotations

import sys
from functools import wraps
from typing import Any

from drytouch.sim.recording import Source


class Located:
    """The controller, seen from one file: every call first says which line of it is running."""

    __slots__ = ("_controller", "_file", "_name")

    def __init__(self, controller: Any, file: str, name: str) -> None:
        object.__setattr__(self, "_controller", controller)
        object.__setattr__(self, "_file", file)
        object.__setattr__(self, "_name", name)

    def __getattr__(self, name: str) -> Any:
        target = getattr(self._controller, name)
        if not callable(target):
            return target

        @wraps(target)
        def call(*args: Any, **kwargs: Any) -> Any:
            line = _line_in(self._file)
            if line is not None:
                self._controller.source = Source(
                    file=self._file, program_line=line, call=self._name
                )
            return target(*args, **kwargs)

        return call

    def __setattr__(self, name: str, value: Any) -> None:
        setattr(self._controller, name, value)


def _line_in(file: str) -> int | None:
    """The line of ``file`` that is being run, the innermost one; None where it is not running.

    A generator that another one waits for has it as its caller, so that the frames lead from a
    shared helper back to the file.
    """
    frame = sys._getframe(2)
    while frame is not None:
        if frame.f_code.co_filename == file:
            return frame.f_lineno
        frame = frame.f_back  # type: ignore[assignment]
    return None
