"""A twin under live hands: actions as processes beside each other, on a grid of exact times.

What a person does is logged with the simulated time at which it was done, and a scenario that does
the same at the same times (``log.py``) comes to the same outcome, bit for bit. For that, times of
actions lie on a grid of binary fractions, so that their differences are exact; and an action begins
exactly as a scenario's ``meanwhile`` does.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from math import floor
from typing import Any

import simpy

from drytouch.sim.bench.actions import needs
from drytouch.sim.errors import ControllerAlarm, DrytouchError, StepError
from drytouch.sim.recording import Source
from drytouch.sim.recording.rows import Rows
from drytouch.sim.recording.spool import Spool
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import FeedHold, Jog, Stop
from drytouch.sim.steps.runner import do_step, watch
from drytouch.sim.twin.twin import Twin

Calls = Generator[Any, Any, Any]
Tell = Callable[..., None]
# About a microsecond: sums and differences of such times are exact for thousands of hours.
GRID_S = 2.0**-20
# Newest actions that are never packed: the one that runs is among them.
KEPT = 32
_LOG = logging.getLogger(__name__)


@dataclass(slots=True)
class Logged:
    """One action as a step: when it began, and (a held key) when it ended."""

    number: int
    at_s: float
    step: Any
    held: bool = False
    until_s: float | None = None


@dataclass(slots=True)
class Running:
    """An action that is not over yet."""

    number: int
    do: str
    name: str
    since_s: float
    occupies: str
    logged: Logged
    release: simpy.Event | None = None
    released: bool = False
    over: bool = False
    line: tuple[str, int, str] | None = None


@dataclass(slots=True)
class Live:
    """The twin, its clock, and what is being done."""

    scenario: Scenario
    tell: Tell
    spool: Spool
    twin: Twin = field(init=False)
    time: float = 0.0
    log: Rows[Logged] = field(init=False)
    machine: Running | None = None
    hands: Running | None = None
    broken: str = ""
    _owed: float = 0.0
    _count: int = 0

    def __post_init__(self) -> None:
        # A scenario of a session has one step, which waits; findings name it as their source.
        self.twin = twin = Twin(self.scenario)
        # A session may last for hours: what it has done long ago is packed.
        twin.recorder.spill(self.spool)
        self.log = Rows(self.spool, KEPT, settled=self._settled)
        twin.controller.source = Source(step=0, call="wait")
        for beside in twin.scenario.meanwhile:
            watch(twin, beside)
        twin.controller.programs.face.wait_for_start = self._pause
        twin.controller.programs.watchers.append(self._line)

    # ---- time ----------------------------------------------------------------------------

    def advance(self, seconds: float) -> None:
        """Let simulated time pass; what is less than the grid is kept for the next call."""
        self._owed += seconds
        steps = floor(self._owed / GRID_S)
        self._owed -= steps * GRID_S
        if steps > 0:
            self._to(self.time + steps * GRID_S)

    def _to(self, time: float) -> None:
        if self.broken:
            return
        try:
            self.twin.advance(time)
        except Exception as error:  # a fault of ours must not take the other sessions along
            _LOG.exception("the twin of '%s' broke", self.scenario.name)
            self.broken = f"{type(error).__name__}: {error}"
            self.tell("broken", why="the twin has failed; the session is over")
        self.time = time

    # ---- actions -------------------------------------------------------------------------

    def busy(self, do: str) -> Running | None:
        """What stands in the way of an action, or None."""
        wanted = needs(do)
        if wanted in ("machine", "both") and self.machine is not None:
            return self.machine
        return self.hands if wanted in ("hands", "both") else None

    def start(self, step: Any, do: str | None = None) -> Running:
        """Begin a step now; it may be over when this returns."""
        self._count += 1
        logged = Logged(self._count, self.time, step, do == "jog-press")
        self.log.append(logged)
        self.log.pack()
        name = getattr(step, "name", step.do)
        running = Running(self._count, do or step.do, name, self.time, needs(do or step.do), logged)
        if running.occupies in ("machine", "both"):
            self.machine = running
        if running.occupies in ("hands", "both"):
            self.hands = running
        if do == "jog-press":
            running.release = simpy.Event(self.twin.env)
            calls = self._held(running, step)
        else:
            calls = do_step(self.twin, step)
        self.tell("did", action=running.number, do=running.do)
        self.twin.env.process(self._perform(running, step, calls))
        self._begin()
        return running

    def _settled(self, logged: Logged) -> bool:
        """Whether an action won't change any more: its key can't come up any later."""
        return self.machine is None or self.machine.logged is not logged

    def _begin(self) -> None:
        """Let what was just started do its first calls now, not at the next tick."""
        env, now = self.twin.env, self.twin.env.now
        # Only what is urgent: what else is due now comes after whatever a person still does now.
        while env._queue and env._queue[0][0] <= now and env._queue[0][1] <= simpy.events.URGENT:
            env.step()

    def _perform(self, running: Running, step: Any, calls: Calls) -> Calls:
        twin = self.twin
        twin.recorder.event(twin.kernel.agenda.command(), "meanwhile", step.do)
        try:
            result = yield from calls
        except ControllerAlarm as alarm:
            # The judge keeps it, and an alarm that is on is raised again at each further try: its
            # traceback would grow, and hold whatever those calls had in hand.
            alarm.__traceback__ = alarm.__context__ = None
            self._over(running, "done", result=None, alarm=alarm.code)
        except StepError as error:
            twin.error = f"meanwhile, {step.do}: {error}"
            self._over(running, "refused", why=error.message, fix=error.fix)
        except DrytouchError as error:
            self._over(running, "refused", why=str(error), fix="")
        except Exception as error:
            _LOG.exception("action %s failed", step.do)
            self._over(running, "refused", why=f"{type(error).__name__}: {error}", fix="")
        else:
            self._over(running, "done", result=_plain(result), alarm=None)

    def _over(self, running: Running, kind: str, **data: Any) -> None:
        running.over = True
        if self.machine is running:
            self.machine = None
        if self.hands is running:
            self.hands = None
        self.tell(kind, action=running.number, do=running.do, name=running.name, **data)

    def _held(self, running: Running, step: Jog) -> Calls:
        """As the step ``jog`` does it; only when the key comes up is not known yet."""
        controller = self.twin.controller
        line = controller.start_jog(step.axis, 1 if step.towards == "+" else -1,
                                    step.speed_mm_per_min)  # fmt: skip
        if line is None:
            return
        assert running.release is not None
        yield running.release | line.done
        controller.release_jog()
        if not line.done.processed:
            yield line.done
        controller.after(line)

    def release(self) -> None:
        """The jog key comes up."""
        running = self.machine
        if running is None or running.release is None or running.released:
            return
        if self.time <= running.since_s:
            self._to(self.time + GRID_S)  # a key is never down for no time at all
        running.released = True
        running.logged.until_s = self.time
        if not running.over:
            running.release.succeed()

    def halt(self) -> str:
        """Nobody is there: whatever moves stops. Says how: key, hold, stop, or nothing."""
        running, kernel = self.machine, self.twin.kernel
        if running is None and kernel.line is None:
            return "nothing"
        if running is not None and running.release is not None:
            self.release()
            return "key"
        if running is not None and (running.do in _SHORT or self._ignores_hold()):
            self.start(Stop(do="stop"))
            return "stop"
        if not kernel.hold:
            self.start(FeedHold(do="feed-hold", on=True))
        return "hold"

    def _ignores_hold(self) -> bool:
        return not self.twin.scenario.machine.habits.touch_obeys_feed_hold

    # ---- programs ------------------------------------------------------------------------

    def _line(self, file: str, line: int, text: str) -> None:
        if self.machine is not None:
            self.machine.line = (file, line, text)

    def _pause(self, text: str) -> simpy.Event:
        """A program waits for cycle start: the feed is held, and the log says so."""
        twin = self.twin
        t = twin.kernel.agenda.now()
        self._count += 1
        self.log.append(Logged(self._count, t, FeedHold(do="feed-hold", on=True)))
        twin.recorder.event(t, "meanwhile", "feed-hold")
        twin.kernel.set_hold(True)
        self.tell("pause", text=text)
        # An event that is over already: the program goes on to its next move at this very point,
        # as it does in a replay, where nobody is asked.
        event = simpy.Event(twin.env)
        event._ok, event._value, event.callbacks = True, None, None  # type: ignore[assignment]
        return event


# Moves that a person steps through by hand: there is nothing to go on with later.
_SHORT = ("wheel", "step", "jog")


def _plain(value: Any) -> Any:
    """A result as JSON can hold it."""
    if value is None or isinstance(value, bool | int | float | str):
        return value
    if hasattr(value, "_asdict"):
        return {name: _plain(item) for name, item in value._asdict().items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return str(value)
