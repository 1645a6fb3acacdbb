"""One trainee's session: messages in, state out; nothing that comes in can make it crash."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from drytouch.sim.bench import state as shown
from drytouch.sim.bench.actions import ACTIONS, ALWAYS, INSTRUCTOR_ONLY, STEP_NAMES, adapter
from drytouch.sim.bench.clock import Pacing
from drytouch.sim.bench.debrief import Debrief, judge
from drytouch.sim.bench.live import Live
from drytouch.sim.bench.log import scenario_of
from drytouch.sim.bench.opening import Opened, opened
from drytouch.sim.bench.programs import file_names, refuse_unreadable, renamed
from drytouch.sim.bench.risk import Risk
from drytouch.sim.bench.telling import Teller
from drytouch.sim.bench.wheel import Turn, Waiting
from drytouch.sim.errors import DrytouchError, InputError
from drytouch.sim.recording.spool import Spool
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.step_checks import step_problems
from drytouch.sim.scenario.steps import Jog, StepAxis
from drytouch.sim.twin.outcome import Outcome

# More messages than this that make no sense, and the last ones are counted, not kept.
MOST_BAD = 200


class Refused(Exception):
    """A message that can't be followed: code, why, and what would help."""

    def __init__(self, code: str, why: str, fix: str = "") -> None:
        super().__init__(code, why, fix)
        self.code, self.why, self.fix = code, why, fix


class Session:
    """A live twin, an exercise or none, and everything that was done."""

    def __init__(self, opened: Opened, trainee: str = "") -> None:
        self.opened = opened
        self.exercise = opened.exercise
        self.trainee = trainee
        self.display = opened.scenario.display
        self._names = file_names(opened.exercise)
        spool = Spool()
        self.teller = Teller(spool, self._names)
        self.live = Live(opened.scenario, self._tell, spool)
        self.teller.follow(self.live.twin)
        self.risk = Risk(self.live.twin)
        self.pacing = Pacing(self.live)
        self.frozen = self.outline = False
        self.hints_used = 0
        self.answers: dict[str, str] = {}
        self.bad_messages: list[str] = []
        self.bad_count = 0
        self.outcome: Outcome | None = None
        self.debrief: Debrief | None = None
        self._waiting: dict[str, Any] | None = None
        self._wheel = Waiting()

    @classmethod
    def open(
        cls,
        scenario: str | Path | Scenario,
        machine: str | Path | None = None,
        seed: int | None = None,
        trainee: str = "",
    ) -> Session:
        """A session on an exercise or scenario, on its own machine or on another.

        Raises:
            InputError: no such file or name, or the machine lacks what the exercise needs.
        """
        return cls(opened(scenario, machine, seed), trainee)

    # ---- messages ------------------------------------------------------------------------

    def act(self, action: Any, role: str = "trainee") -> dict[str, Any]:
        """Do what a message asks; the reply says whether, and else why not. Never raises."""
        head = {"do": action.get("do"), "id": action.get("id")} if isinstance(action, dict) else {}
        head = {key: value for key, value in head.items() if isinstance(value, str | int)}
        try:
            extra = self._act(action, role)
        except Refused as error:
            return self._refusal(head, error)
        except DrytouchError as error:
            return self._refusal(head, Refused("not-now", str(error)))
        return {"ok": True, "time_s": self.live.time, **head, **extra}

    def _refusal(self, head: dict[str, Any], error: Refused) -> dict[str, Any]:
        if error.code == "bad-message":
            self.bad_count += 1
            if self.bad_count <= MOST_BAD:
                self.bad_messages.append(error.why)
                self._tell("bad-message", why=error.why)
        said = renamed({"why": error.why, "fix": error.fix}, self._names)
        return {"ok": False, "time_s": self.live.time, **head, "code": error.code, **said}

    def _act(self, message: Any, role: str) -> dict[str, Any]:
        action = _read(message)
        do = action.do
        self._permit(do, role)
        if do in STEP_NAMES:
            return self._step(action, do)
        extra: dict[str, Any] = _BENCH[do](self, action) or {}
        return extra

    def _permit(self, do: str, role: str) -> None:
        if do in INSTRUCTOR_ONLY and role != "instructor":
            raise Refused("not-allowed", f"'{do}' is for instructors")
        if do in ALWAYS:
            return
        if self.over:
            raise Refused("over", "the exercise is over", "start another")
        if self.frozen and role != "instructor":
            raise Refused("frozen", "the instructor has stopped everybody", "wait")
        if self.exercise is not None and do in self.exercise.not_allowed and role == "trainee":
            raise Refused("not-allowed", f"this exercise is done without '{do}'")

    def _step(self, step: Any, do: str) -> dict[str, Any]:
        if do == "program":
            step = self._named_program(step)
        self._check(step)
        self._refuse_busy(do)
        if self.pacing.rate == 10 and self.live.busy("jog") is None and do in ("jog", "step"):
            self.pacing.rate = 1.0
        running = self.live.start(step)
        self.teller.catch_up(self.live.twin)
        return {"n": running.number, "running": not running.over}

    def _refuse_busy(self, do: str) -> None:
        other = self.live.busy(do)
        if other is not None:
            raise Refused("busy", f"'{other.name}' is not over yet", "wait, hold or stop it")

    def _check(self, step: Any) -> None:
        """What a scenario file would be refused for is refused here, so that every log loads."""
        exercise = self.exercise
        offered = exercise.routines if exercise else None
        if step.do == "routine" and offered is not None:
            name = step.name.replace("_", "-")
            if name not in offered:
                raise Refused("not-allowed", f"this exercise is done without '{name}'")
        only = self.live.scenario.model_copy(update={"steps": (step,), "meanwhile": ()})
        for problem in step_problems(only):
            raise Refused("bad-message", problem.message, problem.fix)

    def _named_program(self, step: Any) -> Any:
        files = self.opened.programs
        if step.file not in files:
            known = ", ".join(sorted(files))
            raise Refused("bad-message", f"there is no program '{step.file}'", f"known: {known}")
        path = files[step.file]
        try:
            refuse_unreadable(path, self.live.twin)
        except DrytouchError as error:
            raise Refused("not-now", str(error), "correct the program first") from None
        return step.model_copy(update={"file": str(path)})

    # ---- what is no step -----------------------------------------------------------------

    def _jog_press(self, action: Any) -> dict[str, Any]:
        self.pacing.beat()
        if self.pacing.rate == 10:
            self.pacing.rate = 1.0
        held = self.live.machine
        if held is not None and held.do in ("jog-press", "wheel"):
            # One axis at a time: this key has its turn when the axis rests.
            self.live.release()
            self._waiting = action
            self._wheel.clear()
            if self.live.machine is not None:
                return {"waiting": True}
        self._refuse_busy("jog-press")
        self._press(action)
        return {"n": self.live.log[-1].number}

    def _press(self, action: Any) -> None:
        self._waiting = None
        step = Jog(
            do="jog",
            axis=action.axis,
            towards=action.towards,
            speed_mm_per_min=action.speed_mm_per_min,
            for_s=1.0,  # until the key comes up
        )
        self.live.start(step, "jog-press")
        self.teller.catch_up(self.live.twin)

    def _jog_release(self, action: Any) -> None:
        self._waiting = None
        self.live.release()

    def _beat(self, action: Any) -> None:
        self.pacing.beat()

    def _turn(self, action: Any) -> dict[str, Any]:
        if action.by_mm == 0:
            raise Refused("bad-message", "'by_mm' is 0: nothing would move")
        machine = self.live.machine
        if machine is not None and machine.do == "wheel":
            dropped = self._wheel.add(Turn(action.axis, action.by_mm, action.detents))
            return {"waiting": True, "dropped": dropped}
        self._refuse_busy("wheel")
        if self.pacing.rate == 10:
            self.pacing.rate = 1.0
        self._wheel.clear()
        self._start_wheel(Turn(action.axis, action.by_mm, action.detents))
        return {"n": self.live.log[-1].number}

    def _start_wheel(self, turn: Turn) -> None:
        step = {"do": "step", "axis": turn.axis, "by_mm": turn.by_mm, "count": turn.detents}
        self.live.start(StepAxis.model_validate(step), "wheel")
        self.teller.catch_up(self.live.twin)

    def _pace(self, action: Any) -> None:
        machine = self.live.machine
        if action.rate == 10 and machine is not None and machine.do in _BY_HAND:
            raise Refused("not-now", "ten times as fast is for waiting, not for jogging")
        self.pacing.rate = float(action.rate)

    def _units(self, action: Any) -> None:
        self.display = action.units

    def _hint(self, action: Any) -> dict[str, Any]:
        hints = self.exercise.hints if self.exercise else ()
        if self.hints_used >= len(hints):
            raise Refused("not-now", "there are no more hints")
        hint = hints[self.hints_used]
        self.hints_used += 1
        self._tell("hint", text=hint.text, cost=hint.cost)
        return {"text": hint.text, "cost": hint.cost}

    def _answer(self, action: Any) -> None:
        asked = {question.name: question for question in self.opened.questions}
        if action.question not in asked:
            known = ", ".join(asked) or "none"
            raise Refused("bad-message", f"nothing is asked under '{action.question}'", known)
        choices = asked[action.question].choices
        if action.choice not in choices:
            raise Refused("bad-message", f"'{action.choice}' is no choice", "; ".join(choices))
        self.answers[action.question] = action.choice

    def _finish(self, action: Any) -> dict[str, Any]:
        if self.live.machine is not None or self.live.hands is not None:
            raise Refused("not-now", "something still runs", "wait until it is over, or stop it")
        debrief = self.finish()
        return {"verdict": debrief.verdict, "score": debrief.score}

    def _show_outline(self, action: Any) -> None:
        if action.on and not self.over:
            raise Refused("not-allowed", "what is so is shown after the exercise, not during it")
        self.outline = action.on

    def _freeze(self, action: Any) -> None:
        self.frozen = action.on
        if action.on:
            self._stop_everything()
        self._tell("instructor", do="freeze", on=action.on)

    # ---- time ----------------------------------------------------------------------------

    @property
    def done(self) -> frozenset[int]:
        """Numbers of the actions that came to their end without an alarm."""
        return self.teller.done

    @property
    def over(self) -> bool:
        """Whether it was judged, or can't go on."""
        return self.debrief is not None or bool(self.live.broken)

    def tick(self, wall_s: float) -> None:
        """Let wall time pass (s); the twin follows at the session's pace."""
        if self.over or not wall_s > 0.0:
            return
        if self.pacing.pass_time(wall_s, self._waiting is not None):
            self._waiting = None
            self._tell("key-lost")
        if self.live.machine is None and not self.live.broken:
            if self._waiting is not None:
                self._press(self._waiting)
            elif self.live.twin.controller.alarm_now is not None:
                self._wheel.clear()  # whatever was still to come, the hand stops now
            elif self._wheel:
                self._start_wheel(self._wheel.take())
        self.teller.catch_up(self.live.twin)

    def lost(self) -> str:
        """The page is gone: keys are up and motion stops. Says how: key, hold, stop, nothing."""
        if self.over:
            return "nothing"
        how = self._stop_everything()
        self._tell("page-lost", stopped_by=how)
        return how

    def _stop_everything(self) -> str:
        self._waiting = None
        self._wheel.clear()
        if self.pacing.rate == 10:
            self.pacing.rate = 1.0
        how = "nothing" if self.over else self.live.halt()
        self.teller.catch_up(self.live.twin)
        return how

    # ---- what comes out ------------------------------------------------------------------

    def state(self, since: int = 0) -> dict[str, Any]:
        """All that a page shows, as plain data; events numbered above ``since``."""
        held = self.live.machine
        key = held.logged.step if held is not None and held.do == "jog-press" else None
        belief = shown.belief(self.live.twin) if self.outline and self.over else None
        return {
            "format": 1,
            "time_s": self.live.time,
            "pace": self.pacing.rate,
            "frozen": self.frozen,
            "over": self.over,
            "display": self.display,
            **_renamed_state(shown.machine_state(self.live, self.display), self._names),
            "key": None if key is None else {"axis": key.axis, "towards": key.towards},
            "outline": self.outline,
            "belief": belief,
            "programs": sorted(self.opened.programs),
            "exercise": self.opened.shown(self.answers, self.hints_used),
            "events": self.teller.since(since),
        }

    def twin_time(self) -> float:
        """The twin's own clock, s: the same as the session's."""
        return float(self.live.twin.env.now)

    @property
    def scene_version(self) -> int:
        """Grows whenever a body comes, goes or changes."""
        return len(self.live.twin.recorder.scenes)

    def bodies(self) -> list[Any]:
        """The bodies that are there now (``drytouch.sim.scene.Body``), for triangles."""
        return list(self.live.twin.stage.scene.bodies)

    def recording(self) -> dict[str, Any]:
        """The recording so far, in the recording format; whole after the end."""
        data: dict[str, Any] = self.live.twin.recorder.to_dict()
        return data

    def finish(self) -> Debrief:
        """Judge what was done; from then on nothing can be done."""
        if self.debrief is None:
            self.live.release()
            if not self.live.broken:
                self.live.advance(LAST_S)
            self.teller.catch_up(self.live.twin)
            self.outcome = self.live.twin.outcome()
            # A replay of it shows findings, numbers and verdict as well.
            self.live.twin.recorder.outcome = self.outcome.to_dict()
            self.debrief = judge(self)
            self._tell("judged", verdict=self.debrief.verdict, score=self.debrief.score)
        return self.debrief

    def as_scenario(self) -> Scenario:
        """What was done so far as a scenario that replays to the same outcome."""
        verdict = None if self.outcome is None else self.outcome.verdict
        return scenario_of(self.live.scenario, self.live.log, self.live.time, verdict)

    def _tell(self, kind: str, **data: Any) -> None:
        self.teller.tell(self.live.time if hasattr(self, "live") else 0.0, kind, **data)


def _renamed_state(state: dict[str, Any], names: dict[str, str]) -> dict[str, Any]:
    """The state without names of files that give the exercise away."""
    if not names:
        return state
    return state | {key: renamed(state[key], names) for key in ("alarm", "running")}


# What was done at the last instant still has its consequences before it is judged.
LAST_S = 2.0**-10
_BY_HAND = ("jog-press", "wheel", "jog", "step")
_BENCH: dict[str, Any] = {
    "jog-press": Session._jog_press,
    "jog-release": Session._jog_release,
    "beat": Session._beat,
    "wheel": Session._turn,
    "pace": Session._pace,
    "units": Session._units,
    "hint": Session._hint,
    "answer": Session._answer,
    "finish": Session._finish,
    "outline": Session._show_outline,
    "freeze": Session._freeze,
}


def _read(message: Any) -> Any:
    """A message as its model."""
    if not isinstance(message, dict):
        raise Refused("bad-message", "a message is a JSON object with 'do'")
    do = message.get("do")
    if not isinstance(do, str) or do not in ACTIONS:
        raise Refused("bad-message", f"there is no action {str(do)[:60]!r}")
    try:
        return adapter().validate_python({k: v for k, v in message.items() if k != "id"})
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"][1:])
        raise Refused("bad-message", f"{do} {place}: {first['msg']}"[:300]) from None
    except (InputError, ValueError, TypeError, RecursionError) as error:
        raise Refused("bad-message", f"{do}: {error}"[:300]) from None
