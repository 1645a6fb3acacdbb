"""One run under test, with checks whose failures read like a colleague's account of it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from drytouch.sim.errors import InputError, StepError
from drytouch.sim.faults import FAULTS, NotHere, fault_named, faulty
from drytouch.sim.recording import Recording
from drytouch.sim.routines.registry import ROUTINES
from drytouch.sim.scenario.files import write_atomically
from drytouch.sim.scenario.load import load_scenario, scenario_from_dict
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.account import account, under
from drytouch.sim.study.case import case_of
from drytouch.sim.study.job import Job, Ran, call, job_named, run_job, twin_for
from drytouch.sim.twin.twin import Twin

if TYPE_CHECKING:
    from drytouch.sim.truth.number import Number
    from drytouch.sim.twin.outcome import Outcome

_SAID = {
    "right": "it came out right",
    "stopped": "it stopped",
    "risky": "it got away with it by luck",
    "wrong": "it finished with a false number",
    "harm": "it came to harm",
}
_BAD = ("harm", "wrong", "risky")
What = str | Callable[..., Any]


def scenario_of(
    given: Scenario | dict[str, Any] | str | Path, folder: Path | None = None
) -> Scenario:
    """A scenario from an object, plain data, a library name, or a file (from ``folder``).

    Raises:
        InputError: there is no such scenario, or it says something impossible.
    """
    if isinstance(given, Scenario):
        return given
    if isinstance(given, dict):
        return scenario_from_dict(given, folder or ".")
    return load_scenario(_near(str(given), folder))


def _near(text: str, folder: Path | None) -> str:
    """A file's path, looked for beside the test first; a library name as it stands."""
    if folder is not None and (folder / text).is_file():
        return str(folder / text)
    return text


class Rehearsal:
    """What came of a run; ``outcome`` is all of it, the ``must_`` checks are for tests.

    ``fault`` names what was wrong, ``what`` what was run. Checks give the rehearsal back, so that
    they can follow one another.
    """

    def __init__(
        self,
        ran: Ran,
        what: str,
        job: Job,
        faults: tuple[str, ...] = (),
        keep: Callable[[Rehearsal], Path | None] | None = None,
    ) -> None:
        self.ran = ran
        self.what = what
        self.faults = faults
        self._job = job
        self._keep = keep

    @property
    def outcome(self) -> Outcome:
        """Verdict, findings, numbers, alarms, recorder."""
        return self.ran.outcome

    @property
    def verdict(self) -> str:
        """right, stopped, risky, wrong or harm; a routine that broke off has stopped."""
        verdict = self.outcome.verdict
        return "stopped" if verdict == "right" and self.ran.broke_off else verdict

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of the findings, sorted, each once."""
        return self.outcome.codes

    @property
    def result(self) -> Any:
        """What the routine returned."""
        return self.outcome.result

    @property
    def alarms(self) -> tuple[str, ...]:
        """Codes of the alarms, in order."""
        return tuple(alarm.code for _, alarm in self.outcome.alarms)

    def number(self, name: str) -> Number:
        """A stored number by its name, such as ``row 1 length``; fails where there is none."""
        __tracebackhide__ = True
        found = self.outcome.numbers.get(name)
        if found is None:
            known = ", ".join(f"'{key}'" for key in self.outcome.numbers) or "none"
            self.fail(f"it should have stored '{name}'; it stored {known}")
        return found

    # ---- checks --------------------------------------------------------------------------

    def must_end(self, *verdicts: str) -> Rehearsal:
        """Fail unless the verdict is one of these."""
        __tracebackhide__ = True
        unknown = [verdict for verdict in verdicts if verdict not in _SAID]
        if unknown or not verdicts:
            raise StepError(
                f"there is no verdict {', '.join(map(repr, unknown)) or 'given'}",
                f"use one or more of {', '.join(_SAID)}",
            )
        if self.verdict not in verdicts:
            self.fail(f"it should have ended {' or '.join(verdicts)}, but {_SAID[self.verdict]}")
        return self

    def must_be_right(self) -> Rehearsal:
        """Fail unless its numbers are true, nothing was met, and nothing was skipped."""
        __tracebackhide__ = True
        if self.verdict != "right":
            self.fail(f"it should have come out right, but {_SAID[self.verdict]}")
        return self

    def must_stop(self, alarm: str | None = None) -> Rehearsal:
        """Fail unless it stopped before harm: with this alarm, or with any."""
        __tracebackhide__ = True
        if self.verdict != "stopped":
            self.fail(f"it should have stopped, but {_SAID[self.verdict]}")
        if alarm is not None and alarm not in self.alarms:
            seen = ", ".join(self.alarms) or self.ran.broke_off
            self.fail(f"it should have stopped with the alarm '{alarm}'; it stopped with {seen}")
        return self

    def must_be_safe(self) -> Rehearsal:
        """Fail when it did harm, stored a false number, got away by luck, or never ended.

        This is what a good routine does under any fault: it is right, or it stops.
        """
        __tracebackhide__ = True
        if self.verdict in _BAD:
            self.fail(f"it should have been right or stopped, but {_SAID[self.verdict]}")
        if self.ran.endless:
            self.fail("it should have ended, but it never would have")
        return self

    def must_find(self, *codes: str) -> Rehearsal:
        """Fail unless all of these findings were made."""
        __tracebackhide__ = True
        missing = [code for code in codes if code not in self.codes]
        if missing:
            self.fail(f"it should have shown {', '.join(missing)}, and did not")
        return self

    def must_not_find(self, *codes: str) -> Rehearsal:
        """Fail when one of these findings was made."""
        __tracebackhide__ = True
        seen = [code for code in codes if code in self.codes]
        if seen:
            self.fail(f"it should not have shown {', '.join(seen)}, and did")
        return self

    def must_catch(self) -> Rehearsal:
        """Fail unless a fault was noticed: it stopped, or came out right all the same."""
        __tracebackhide__ = True
        case = case_of(self.faults, self.ran, None)
        if case.result in ("missed", "harm"):
            to_catch = f"\nTo catch it: {case.catch}" if self.faults else ""
            self.fail(f"it should have caught this, but {_SAID[self.verdict]}", to_catch)
        return self

    # ---- telling -------------------------------------------------------------------------

    def fail(self, head: str, more: str = "") -> NoReturn:
        """Raise ``AssertionError`` with ``head`` and the whole account."""
        __tracebackhide__ = True
        text = f"{head[:1].upper()}{head[1:]}.\n{self.account()}{more}"
        if self._keep is not None:
            kept = self._keep(self)
            text += f"\nRecording: {kept}" if kept else f"\nRecording: not kept; {NOT_KEPT}"
        raise AssertionError(text) from self.ran.error

    def account(self) -> str:
        """What was run, what came of it, and where: for a person."""
        return account(self.ran, self.what, self.faults, self.verdict, self._job)

    def record(self, folder: Path, name: str) -> Path:
        """Write the recording into a folder, for a replay; gives back its path.

        Raises:
            InputError: it can't be written there.
        """
        outcome = self.outcome
        assert outcome.recorder is not None  # a twin's outcome always has one
        outcome.recorder.end(outcome.time_s, outcome.to_dict())
        data = Recording.from_recorder(outcome.recorder).data
        stem = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip(".-") or "run"
        path = folder / f"{stem}.recording.json"
        write_atomically(path, json.dumps(data, separators=(",", ":")) + "\n")
        return path

    def __repr__(self) -> str:
        found = f": {', '.join(self.codes)}" if self.codes else ""
        with_them = under(self.faults)
        return f"<{self.what} on '{self.outcome.scenario}'{with_them}: {self.verdict}{found}>"


NOT_KEPT = "pytest --drytouch-recordings=DIR keeps it"


class Rehearse:
    """Runs routines, programs and steps for tests; ``folder`` is where relative files start."""

    def __init__(
        self,
        folder: Path | None = None,
        keep: Callable[[Rehearsal], Path | None] | None = None,
    ) -> None:
        self._folder = folder
        self._keep = keep
        self.done: list[Rehearsal] = []

    def twin(
        self,
        scenario: Scenario | dict[str, Any] | str | Path,
        *,
        fault: str | Sequence[str] = (),
        seed: int | None = None,
    ) -> Twin:
        """A twin ready to be driven; ``twin.hand`` has calls that block."""
        return twin_for(faulty(scenario_of(scenario, self._folder), *_several(fault)), seed)

    def __call__(
        self,
        scenario: Scenario | dict[str, Any] | str | Path,
        what: What = "steps",
        *,
        fault: str | Sequence[str] = (),
        seed: int | None = None,
        after_step: int | None = None,
        **arguments: Any,
    ) -> Rehearsal:
        """Run a routine (its function or name), a program's file, or the scenario's own steps.

        ``after_step``: do that many of the scenario's own steps first. A built-in routine's name
        that the steps have as well is prepared for by the steps before it.

        Raises:
            NotHere: the fault can't happen in this scenario.
            InputError: scenario or routine can't be used.
        """
        faults = _several(fault)
        loaded = scenario_of(scenario, self._folder)
        changed = faulty(loaded, *faults)
        if isinstance(what, str):
            job = job_named(_near(what, self._folder), loaded, arguments, after_step)
            ran = run_job(job, changed, seed)
        else:
            name = getattr(what, "__name__", "routine").replace("_", "-")
            job = Job("routine" if name in ROUTINES else "function", name)
            ran = call(twin_for(changed, seed), what, after_step or 0, **arguments)
        rehearsal = Rehearsal(ran, _called(job, arguments), job, faults, self._keep)
        self.done.append(rehearsal)
        return rehearsal

    def under_faults(
        self,
        scenario: Scenario | dict[str, Any] | str | Path,
        what: What = "steps",
        *,
        faults: Sequence[str] = (),
        seed: int | None = None,
        **arguments: Any,
    ) -> Iterator[Rehearsal]:
        """The same under one fault after another: those named, or every one that can happen."""
        loaded = scenario_of(scenario, self._folder)
        for name in faults or FAULTS:
            try:
                yield self(loaded, what, fault=name, seed=seed, **arguments)
            except NotHere:
                if faults:  # asked for by name: then it should be possible
                    raise


def _several(fault: str | Sequence[str]) -> tuple[str, ...]:
    names = (fault,) if isinstance(fault, str) else tuple(fault)
    try:
        return tuple(fault_named(name).name for name in names)
    except StepError as error:
        raise InputError(error.message, fix=error.fix) from None


def _called(job: Job, arguments: dict[str, Any]) -> str:
    name = job.name.replace("\\", "/").rpartition("/")[2] if job.kind != "routine" else job.name
    given = ", ".join(f"{key}={value!r}" for key, value in arguments.items())
    return f"{name}({given})" if given else name
