"""Errors that a user can act on: what, where, what was expected, what to do.

Every class keeps its data as the positional arguments of ``Exception``, so that an error can be
rebuilt from ``type(error)(*error.args)``. SimPy and pickle both do that when an error crosses a
process boundary; a class with another constructor would turn into a puzzling ``TypeError``.
"""

from __future__ import annotations


class DrytouchError(Exception):
    """Base of every error that is the user's to mend; the command line prints it and exits 2."""


class InputError(DrytouchError):
    """A file or an argument can't be used.

    Arguments: ``message`` (what is wrong and what was expected), ``file``, ``key`` (dotted path
    inside the file), ``line`` (1-based) and ``fix`` (what to do); empty or 0 where unknown.
    """

    def __init__(
        self, message: str, file: str = "", key: str = "", line: int = 0, fix: str = ""
    ) -> None:
        super().__init__(message, file, key, line, fix)
        self.message = message
        self.file = file
        self.key = key
        self.line = line
        self.fix = fix

    def __str__(self) -> str:
        place = self.file + (f":{self.line}" if self.line else "")
        parts = [p for p in (place, self.key) if p]
        head = ": ".join([*parts, self.message])
        return f"{head}\n  fix: {self.fix}" if self.fix else head


class StepError(DrytouchError):
    """A step or call can't be done in the state that the twin is in now.

    Arguments: ``message`` and ``fix``.
    """

    def __init__(self, message: str, fix: str = "") -> None:
        super().__init__(message, fix)
        self.message = message
        self.fix = fix

    def __str__(self) -> str:
        return f"{self.message}\n  fix: {self.fix}" if self.fix else self.message


class ControllerAlarm(DrytouchError):
    """The controller stopped the program and says why.

    Arguments: ``code`` (one of ``ALARM_CODES``), ``message``, and ``data``, a tuple of
    ``(name, value)`` pairs with units in the names.
    """

    def __init__(
        self, code: str, message: str, data: tuple[tuple[str, float | int | str], ...] = ()
    ) -> None:
        super().__init__(code, message, data)
        self.code = code
        self.message = message
        self.data = data

    def __str__(self) -> str:
        return f"alarm {self.code}: {self.message}"


ALARM_CODES = {
    "no-contact": "the touch reached its end and the input never came on",
    "already-tripped": "the input was on before the touch began",
    "soft-limit": "the move would leave the travel that the limits allow",
    "hard-limit": "an axis ran onto its limit switch",
    "not-homed": "the machine does not know where its axes are",
    "drives-off": "the drives are off",
    "e-stop": "the emergency stop is pressed",
    "following-error": "an axis is further behind its command than its drive allows",
    "out-of-limit": "a measured number is outside the limit given for it",
    "stale-reference": "the setter's reference is flagged invalid",
    "unreachable": "the spindle face can't reach the setter's pad",
    "low-clearance": "the clearance height is below what stands under the path",
    "unproved-input": "the input that the touch would watch was never seen off-on-off",
    "not-agreeing": "two slow touches do not agree",
    "wrong-state": "the call can't be done in the machine's present state",
    "program": "the program raised an alarm of its own",
}
