"""The twin: machine, scene and controller, running.

``twin.run(routine, ...)`` runs one routine and returns the outcome; ``twin.run_steps()`` runs the
scenario's own steps; ``twin.hand`` is the same controller with calls that block, for scripts and a
Python prompt. ``twin.advance(t)`` lets a live bench bring it up to a time.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from importlib.metadata import PackageNotFoundError, version
from math import inf
from pathlib import Path
from typing import Any

from drytouch.sim.controller.controller import Controller
from drytouch.sim.controller.tables import tables_from
from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.recording import Recorder, Source
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.set_up import set_up_of
from drytouch.sim.setter import Pad
from drytouch.sim.truth.judge import Judge
from drytouch.sim.twin.agenda import Clock
from drytouch.sim.twin.chance import Chance
from drytouch.sim.twin.hand import Hand
from drytouch.sim.twin.kernel import Kernel
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.stage import Stage

try:
    VERSION = version("drytouch")
except PackageNotFoundError:  # pragma: no cover - only in a tree that was never installed
    VERSION = "unknown"


class Twin:
    """A scenario, ready to run once. Build another for another run; ``stage`` may be shared."""

    def __init__(
        self, scenario: Scenario, seed: int | None = None, stage: Stage | None = None
    ) -> None:
        faults = scenario.faults
        if faults:
            # Imported here: few scenarios have faults, and the catalogue reads scenarios itself.
            from drytouch.sim.faults import with_faults

            scenario, stage = with_faults(scenario), None
        self.scenario = scenario
        self.seed = scenario.seed if seed is None else seed
        self.env = Clock()
        self.recorder = Recorder()
        self.stage = Stage(scenario) if stage is None else stage.copy()
        self.chance = Chance(self.seed, scenario.chance)
        self.kernel = Kernel(
            self.env,
            scenario.machine,
            self.stage,
            scenario.truth.noise,
            self.chance,
            self.recorder,
        )
        self.tables = tables_from(scenario.controller, list(scenario.setter))
        self.judge = Judge(scenario, self.kernel, self.stage, self.tables, self.recorder)
        self.kernel.judge = self.judge
        self.controller = Controller(scenario.machine, self.kernel, self.tables, self.judge)
        self.judge.controller = self.controller
        self.error = ""
        self.watching = False  # whether what happens beside the calls is on its way
        self._begin()
        for fault in faults:
            self.recorder.event(0.0, "fault", [fault.name, fault.arguments])

    def _begin(self) -> None:
        scenario, start, kernel = self.scenario, self.scenario.controller, self.kernel
        if start.position_mm is not None:
            kernel.command = start.position_mm
        kernel.shift = scenario.truth.position_error_mm
        self.recorder.begin(
            self._facts,
            {name: self.stage.scene.chain.factors(name) for name in self.stage.scene.chain.order},
            self.seed,
            start=kernel.physical(0.0),
        )
        self.stage.register(self.recorder)
        self._first_beliefs()
        kernel.homing_error = scenario.truth.homing_error_mm
        kernel.powered = start.drives_on
        kernel.rapid_override, kernel.feed_override = start.rapid_override, start.feed_override
        kernel.warmth = start.spindle_warmth
        self.controller.homed = start.homed
        for name, setter in scenario.setter.items():
            kernel.add_setter(Pad(name, setter))
        for name, socket in start.plugs.items():
            kernel.wires[name].socket = socket
        kernel.settle_inputs(0.0)
        for name in start.proved:
            number = self.tables.records[name].input
            if number in kernel.inputs:
                kernel.inputs[number].proof = 3
        self.judge.began()

    def _facts(self) -> dict[str, Any]:
        """What a recording says of its scenario, for people and pictures."""
        scenario = self.scenario
        asked = [question.model_dump() for question in scenario.questions]
        return {
            "name": scenario.name,
            "title": scenario.title,
            "story": scenario.story,
            "watch_for": scenario.watch_for,
            "display": scenario.display,
            "machine": scenario.machine.title or scenario.machine.name,
            "set_up": set_up_of(scenario),
            **({"questions": asked} if asked else {}),
        }

    def _first_beliefs(self) -> None:
        """What the controller's tables say at the start, for a replay's outlines."""
        believe, tables = self.recorder.belief, self.tables
        for name, record in tables.records.items():
            for key in ("x_mm", "y_mm", "height_mm", "reference_z_mm", "clearance_z_mm"):
                value = getattr(record, key)
                if value is not None:
                    believe(0.0, f"setter {name} {key}", value)
        for number, row in tables.rows.items():
            if row.length_mm is not None:
                believe(0.0, f"row {number} length", row.length_mm)
                if row.wear_mm:
                    believe(0.0, f"row {number} wear", row.wear_mm)
        for system in self.scenario.controller.systems:
            believe(0.0, f"{system} z", tables.systems[system][2])
        believe(0.0, "loaded slot", tables.slot)

    # ---- running -------------------------------------------------------------------------

    def run(self, routine: Callable[..., Any], *args: Any, **arguments: Any) -> Outcome:
        """Run one routine, and what happens beside it, to its end and return the outcome."""
        self.watch()
        name = getattr(routine, "__name__", "routine").replace("_", "-")
        result = self.perform(routine(self.controller, *args, **arguments), Source(call=name))
        return self.outcome(result)

    def run_steps(self) -> Outcome:
        """Run the scenario's steps, and what happens beside them."""
        from drytouch.sim.steps.runner import run_steps

        return self.outcome(self.perform(run_steps(self), Source()))

    def run_program(self, file: str | Path, **switches: Any) -> Outcome:
        """Check a program file whole, run it and return the outcome.

        ``switches`` are those of ``drytouch.sim.program.Options``: ``block_delete``,
        ``optional_stop``, ``single_block``, ``start_line``.

        Raises:
            InputError: the file can't be read.
            ProgramErrors: something is wrong with its text; nothing has moved.
        """
        from drytouch.sim.program import Options

        self.watch()
        calls = self.controller.run_program(str(file), Options(**switches))
        return self.outcome(self.perform(calls, Source(call="program")))

    def watch(self) -> None:
        """Let all that the scenario has happen beside the calls happen in its time; once only."""
        if self.watching:
            return
        self.watching = True
        if self.scenario.meanwhile:
            from drytouch.sim.steps.runner import watch

            for beside in self.scenario.meanwhile:
                watch(self, beside)

    def perform(self, calls: Any, source: Source | None = None) -> Any:
        """Drive a generator of calls to its end; an alarm ends it and is kept in the outcome.

        Raises:
            StepError: it asked for something that can't be done, or waits for ever.
        """
        if source is not None:
            self.controller.source = source
        if not isinstance(calls, Generator):
            return calls
        result, error = self.drive(calls)
        if error is not None and not isinstance(error, ControllerAlarm):
            raise error
        return result

    def drive(self, calls: Generator[Any, Any, Any]) -> tuple[Any, Exception | None]:
        """Drive a generator of calls to its end; its result, and the error that ended it.

        Raises:
            StepError: it waits for ever, or longer than the scenario's limit.
        """
        box: list[Any] = [None, None]
        process = self.env.process(_guarded(calls, box))
        env = self.env
        env.limit = limit = self.scenario.time_limit_s
        while process.callbacks is not None:
            if env.peek() > limit:
                raise _too_long(env.peek(), limit)
            env.step()
        return box[0], box[1]

    def advance(self, time_s: float) -> None:
        """Bring the twin up to a simulated time (live use)."""
        if time_s > self.env.now:
            self.env.run(until=time_s)
        self.kernel.agenda.command()

    @property
    def hand(self) -> Hand:
        """The controller's calls without ``yield``."""
        return Hand(self)

    def outcome(self, result: Any = None) -> Outcome:
        """Judge what has happened so far."""
        t = self.kernel.agenda.command()
        self.judge.close(t)
        verdict = self.judge.verdict()
        outcome = Outcome(
            self.scenario.name,
            self.seed,
            verdict,
            sorted(self.judge.findings, key=lambda finding: finding.time_s),
            self.judge.numbers,
            self.judge.alarms,
            t,
            VERSION,
            result,
            self.error,
            self.recorder,
            self.judge.alarm_sources,
        )
        self.recorder.ended_s = t
        return outcome


def _too_long(upcoming: float, limit: float) -> StepError:
    if upcoming == inf:
        return StepError(
            "nothing will ever happen: feed hold is on, or an override is at 0",
            "release the hold, or turn the override up",
        )
    return StepError(
        f"still running after {limit:g} s of simulated time",
        "look for a loop without an end, or raise time_limit_s",
    )


def _guarded(calls: Any, box: list[Any]) -> Any:
    """Run ``calls``; its result or its error go into ``box`` instead of through SimPy."""
    try:
        box[0] = yield from calls
    except Exception as error:  # handed on by perform, unless it is an alarm
        box[1] = error
