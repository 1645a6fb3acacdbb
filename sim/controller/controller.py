"""The controller: one set of calls for a person, a program and a routine.

It knows its own tables, the position readout and the inputs as it sees them; it never looks at the
truth. Calls that take time are generators, to be used with ``yield from`` in a SimPy process. The
layers, each in its own module: view, alarms, storing, moves, and this.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from drytouch.sim.controller.moves import Calls, Moves, Touch

if TYPE_CHECKING:
    from drytouch.sim.controller.programs import Programs
    from drytouch.sim.program import Options

__all__ = ["Calls", "Controller", "Touch"]


class Controller(Moves):
    """Calls on the machine. Motion calls raise ``ControllerAlarm`` when they can't go on."""

    @cached_property
    def programs(self) -> Programs:
        """What runs programs and typed lines."""
        # Imported here: most runs need no language.
        from drytouch.sim.controller.programs import Programs

        return Programs(self, self._machine, self._kernel, self._judge)

    def mdi(self, line: str) -> Calls:
        """Run one line of program as typed."""
        yield from self.programs.run_line(line)

    def run_program(self, file: str, options: Options | None = None) -> Calls:
        """Check a program file whole, then run it; returns how it ended."""
        return (yield from self.programs.run_file(file, options))

    @property
    def change_height(self) -> float:
        """Machine Z at which an arm changes tools, mm; the top of Z where there is none."""
        z = self._machine.tool_change.z_mm
        return self.top if z is None else z

    def change_tool(self, number: int) -> Calls:
        """Bring the tool that belongs to a row into the spindle; 0 empties it.

        An arm swings only at its height, so the axis goes there first; a person changes where it
        stands. The tool that is in already stays as it is.
        """
        tables = self.tables
        if number == tables.slot:
            return
        row = self.row(number) if number else None
        if row is not None and row.tool is None:
            self.alarm("wrong-state", f"no tool belongs to row {number}: there is none to load")
        self._ready()
        self.spin(0.0)
        if self._machine.tool_change.by == "arm":
            yield from self.rapid(z=self.change_height, frame="machine")
        yield from self.dwell(self._machine.tool_change.time_s)
        t = self._kernel.agenda.command()
        self._kernel.stage.load(row.tool if row else None, self._kernel.recorder, t)
        self.believe_slot(number)

    def turn_knobs(self, rapid: float | None = None, feed: float | None = None) -> None:
        """Turn the override knobs (1.0 is 100 %); a program may have put the feed's out of work."""
        if not self._knobs_work and feed is not None:
            self._feed_knob, feed = feed, None
        self._kernel.set_override(rapid, feed)

    def enable_overrides(self, enabled: bool) -> None:
        """Let the feed override knob work, or run all feeds at 100 % wherever it stands.

        The rapid override stays at work: it is what a person slows a first run with.
        """
        if enabled == self._knobs_work:
            return
        self._knobs_work = enabled
        if enabled:
            self._kernel.set_override(None, self._feed_knob)
        else:
            self._feed_knob = self._kernel.feed_override
            self._kernel.set_override(None, 1.0)
