"""A thin blocking face of the controller, for scripts, tests and a Python prompt."""

from __future__ import annotations

from collections.abc import Generator
from functools import wraps
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import ControllerAlarm

if TYPE_CHECKING:
    from drytouch.sim.twin.twin import Twin


class Hand:
    """Each call of the controller, run to its end before it returns.

    >>> twin.hand.rapid(z=0.0, frame="machine")  # doctest: +SKIP

    Raises ``ControllerAlarm`` where the controller raised one.
    """

    def __init__(self, twin: Twin) -> None:
        self._twin = twin

    def __getattr__(self, name: str) -> Any:
        target = getattr(self._twin.controller, name)
        if not callable(target):
            return target

        @wraps(target)
        def call(*args: Any, **kwargs: Any) -> Any:
            made = target(*args, **kwargs)
            if not isinstance(made, Generator):
                return made
            result, error = self._twin.drive(made)
            if isinstance(error, ControllerAlarm):
                raise ControllerAlarm(*error.args)  # anew: its traceback starts here
            if error is not None:
                raise error
            return result

        return call
