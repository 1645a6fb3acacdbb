"""One run of a matrix: what came of a routine under a fault, or under two."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from drytouch.sim.faults import FAULTS, NotHere, faulty
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.job import Job, Ran, run_job

if TYPE_CHECKING:
    from drytouch.sim.twin.outcome import Outcome

Result = Literal["caught", "missed", "harm", "no effect"]
RESULTS: tuple[Result, ...] = ("caught", "missed", "harm", "no effect")
# From what matters most to what matters least, for pairs and for reading.
WORST_FIRST: tuple[Result, ...] = ("harm", "missed", "caught", "no effect")
Trace = tuple[tuple[str, ...], tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Case:
    """What came of one fault (or two, or none); plain data, so that it may cross processes.

    ``why`` is one sentence; ``findings`` and ``numbers`` are those of the outcome as plain data;
    ``trace`` is what the routine did: kinds of its moves, and what it stored.
    """

    faults: tuple[str, ...]
    result: Result
    why: str
    verdict: str = ""
    alarm: str = ""
    findings: tuple[dict[str, Any], ...] = ()
    numbers: tuple[dict[str, Any], ...] = ()
    time_s: float = 0.0
    trace: Trace = ((), ())

    @property
    def name(self) -> str:
        """The faults' names in one word."""
        return " + ".join(self.faults) or "no fault"

    @property
    def title(self) -> str:
        """The faults in plain words."""
        return "; ".join(FAULTS[name].title for name in self.faults) or "Nothing is wrong"

    @property
    def catch(self) -> str:
        """What it takes to catch it."""
        return " ".join(FAULTS[name].catch for name in self.faults)

    @property
    def counts(self) -> bool:
        """Whether a routine could do anything about it, so that the score may count it."""
        return self.result != "no effect" and not any(FAULTS[name].unseen for name in self.faults)

    @property
    def impossible(self) -> bool:
        """Whether the fault can't happen in this scenario, so that nothing was run."""
        return not self.verdict

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of the findings, sorted, each once."""
        return tuple(sorted({finding["code"] for finding in self.findings}))

    def to_dict(self) -> dict[str, Any]:
        """Plain data for a report."""
        return {
            "faults": list(self.faults),
            "title": self.title,
            "result": self.result,
            "why": self.why,
            "counts": self.counts,
            "verdict": self.verdict,
            "alarm": self.alarm,
            "findings": list(self.findings),
            "numbers": list(self.numbers),
            "time_s": self.time_s,
            "to_catch_it": self.catch if self.result in ("missed", "harm") else "",
        }


def run_case(
    job: Job, scenario: Scenario, faults: tuple[str, ...], usual: Trace | None, seed: int
) -> Case:
    """Run a job under these faults; ``usual`` is what it does without any."""
    try:
        changed = faulty(scenario, *faults)
    except NotHere as error:
        return Case(faults, "no effect", f"Can't happen here: {error.reason}.")
    return case_of(faults, run_job(job, changed, seed), usual)


def case_of(faults: tuple[str, ...], ran: Ran, usual: Trace | None) -> Case:
    """Sort one run: caught, missed, harm or no effect."""
    outcome, trace = ran.outcome, trace_of(ran.outcome)
    result, why = _sorted(ran, trace, usual)
    alarm = outcome.alarms[0][1].code if outcome.alarms else ran.broke_off
    return Case(
        faults,
        result,
        why,
        outcome.verdict,
        alarm,
        tuple(finding.to_dict() for finding in outcome.findings),
        tuple(number.to_dict() for number in outcome.numbers.values()),
        outcome.time_s,
        trace,
    )


def trace_of(outcome: Outcome) -> Trace:
    """What was done: kinds of moves in order, rapids aside, and the names of what was stored.

    A rapid is left out where it would go nowhere, so that rapids say nothing about noticing.
    """
    recorder = outcome.recorder
    assert recorder is not None  # a twin's outcome always has one
    kinds = tuple(entry.kind for entry in recorder.lines if entry.kind != "rapid")
    # What stands at time 0 was there before the routine; wear goes with the length it belongs to.
    stored = tuple(
        key for t, key, _ in recorder.beliefs if t > 0.0 and not key.endswith((" error", " wear"))
    )
    return kinds, stored


def _sorted(ran: Ran, trace: Trace, usual: Trace | None) -> tuple[Result, str]:
    outcome = ran.outcome
    if outcome.verdict == "harm":
        return "harm", _worst_finding(outcome, "harm")
    if outcome.verdict == "wrong":
        return "missed", _worst_finding(outcome, "wrong")
    again = usual is not None and trace != usual
    if outcome.verdict == "risky":
        if again and _only_the_signal_lied(outcome):
            return "caught", "It did not believe the signal, touched again, and came out right."
        luck = _worst_finding(outcome, "risky")
        return "missed", f"It finished without noticing, by luck: {luck}"
    if ran.endless:
        return "missed", f"It would never have ended: {ran.broke_off}."
    if outcome.alarms:
        return "caught", f"It stopped: {outcome.alarms[0][1].message}."
    if ran.broke_off:
        return "caught", f"It broke off: {ran.broke_off}."
    if again:
        return "caught", "It noticed, and its numbers came out right."
    return "no effect", _unharmed(outcome)


def _only_the_signal_lied(outcome: Outcome) -> bool:
    """Whether all that was risky is a latch for nothing, which a further touch shows up."""
    risky = {finding.code for finding in outcome.findings if finding.severity == "risky"}
    return risky <= {"false-trigger", "bounce"}


def _worst_finding(outcome: Outcome, severity: str) -> str:
    found = [finding for finding in outcome.findings if finding.severity == severity]
    return found[0].what if found else f"The verdict is {severity}."


def _unharmed(outcome: Outcome) -> str:
    numbers = outcome.numbers.values()
    if not numbers:
        return "It did what it does without the fault, and nothing was met."
    worst = max(numbers, key=lambda number: abs(number.error) / number.tolerance)
    return (
        f"It did what it does without the fault; of its numbers, {worst.name} is furthest off, "
        f"by {abs(worst.error) * 1e3:.1f} um of {worst.tolerance * 1e3:.0f} um."
    )
