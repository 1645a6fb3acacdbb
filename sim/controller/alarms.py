"""Alarms, and the checks that raise them before anything moves."""

from __future__ import annotations

from typing import NoReturn

from drytouch.sim.controller.view import View
from drytouch.sim.errors import ControllerAlarm


class Alarms(View):
    """What stops a program, and says why."""

    def alarm(
        self, code: str, message: str, data: tuple[tuple[str, float | int | str], ...] = ()
    ) -> NoReturn:
        """Stop the program and say why; nothing moves until reset."""
        alarm = ControllerAlarm(code, message, data)
        self.alarm_now = alarm
        t = self._kernel.agenda.now()
        self._kernel.recorder.event(t, "alarm", [code, message])
        self._judge.alarm(alarm, t, self.source)
        self._kernel.tell("alarm", t)
        raise alarm

    def reset(self) -> None:
        """Pull the emergency stop out, clear the alarm."""
        self._kernel.reset()
        self.alarm_now = None

    def require_quiet_input(self, setter: str | None = None) -> None:
        """Alarm unless the watched input is off."""
        self._kernel.agenda.command()
        self._judge.checked_quiet(self._kernel.agenda.now())
        if self.input_on(setter):
            number = self.watched_input(setter)
            self._judge.already_tripped(self._kernel.agenda.now(), self.source, number)
            self.alarm(
                "already-tripped", f"input {number} is on before the touch", (("input", number),)
            )

    def require_proved_input(self, setter: str | None = None) -> None:
        """Alarm unless the watched input was seen off-on-off."""
        if not self.input_proved(setter):
            number = self.watched_input(setter)
            self.alarm(
                "unproved-input",
                f"input {number} was not seen off-on-off; press the pad by hand with drives off",
                (("input", number),),
            )

    def require_reference(self, setter: str | None = None) -> float:
        """The reference of a setter, mm; alarm unless there is one flagged valid."""
        record = self.record(setter)
        if record.reference_z_mm is None or not record.reference_valid:
            why = record.stale or "it was never taken"
            self.alarm("stale-reference", f"the setter's reference is not valid: {why}")
        self._judge.used_reference(setter or self.tables.selected or "", record)
        return record.reference_z_mm

    def _ready(self) -> None:
        kernel = self._kernel
        if kernel.estopped or kernel.agenda.due("power") is not None:
            self.alarm("e-stop", "the emergency stop is pressed; pull it out and reset")
        if self.alarm_now is not None:
            raise self.alarm_now
        if not kernel.powered:
            self.alarm("drives-off", "the drives are off; switch them on before a move")
        if kernel.line is not None:
            self.alarm("wrong-state", "a move is still running")
