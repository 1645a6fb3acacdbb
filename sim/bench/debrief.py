"""The debrief: what was achieved, what went wrong, what was skipped, and one thing to do better.

Luck does not pass: numbers that are true without their proofs make ``risky``.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any

from drytouch.sim.bench.proofs import PROOFS
from drytouch.sim.bench.scoring import scored
from drytouch.sim.truth.verdict import worst

if TYPE_CHECKING:
    from drytouch.sim.bench.session import Session
    from drytouch.sim.twin.outcome import Outcome

# A replay begins this much before a finding and ends this much after it, s.
BEFORE_S, AFTER_S = 3.0, 2.0
# What a move was heading for is known as it sets off: a replay of it begins this much before, s.
SETS_OFF_S = 0.5
PASSING = ("right", "stopped")


@dataclass(frozen=True, slots=True)
class Debrief:
    """What the trainee is told at the end; ``data`` is all of it, ready for JSON."""

    verdict: str
    passed: bool
    score: int
    do_better: str
    data: dict[str, Any]

    def to_dict(self) -> dict[str, Any]:
        """Plain data for a page and for the records."""
        return {
            "verdict": self.verdict, "passed": self.passed, "score": self.score,
            "do_better": self.do_better, **self.data,
        }  # fmt: skip


def judge(session: Session) -> Debrief:
    """Judge a session whose outcome is there."""
    outcome = session.outcome
    assert outcome is not None
    exercise = session.exercise
    numbers, findings = _numbers(session, outcome), _findings(session, outcome)
    states = {name: _state(session, name) for name in (exercise.states if exercise else ())}
    answers = _answers(session)
    skipped = _skipped(session)
    missing = [n["name"] for n in numbers if n["wanted"] and n["yours"] is None]
    missing += [name for name, reached in states.items() if not reached]
    wrong_answers = [entry for entry in answers if not entry["right"]]
    verdict = _verdict(outcome.verdict, skipped, missing, wrong_answers)
    hints = exercise.hints[: session.hints_used] if exercise else ()
    par = exercise.par_s if exercise else outcome.time_s
    late = max(ceil((outcome.time_s / par - 1.0) / 0.5), 0) if par > 0 else 0
    score, lines = scored(
        {
            "harm": int(outcome.verdict == "harm"),
            "wrong": int(outcome.verdict == "wrong"),
            "missing": len(missing),
            "answer": len(wrong_answers),
            "proof": len(skipped),
            "risk": sum(finding.severity == "risky" for finding in outcome.findings),
            "hint": sum(hint.cost for hint in hints),
            "time": late,
        }
    )
    return Debrief(
        verdict,
        verdict in PASSING,
        score,
        _do_better(session, outcome, skipped, missing, wrong_answers, late),
        {
            "run_verdict": outcome.verdict,
            "goal": exercise.goal if exercise else "",
            "teaches": exercise.teaches if exercise else "",
            "numbers": numbers,
            "states": states,
            "answers": answers,
            "findings": findings,
            "skipped": skipped,
            "missing": missing,
            "alarms": [
                {"time_s": t, "code": a.code, "message": a.message} for t, a in outcome.alarms
            ],
            "risk": _risk(session),
            "time_s": outcome.time_s,
            "par_s": par,
            "hints": {"used": len(hints), "cost": sum(hint.cost for hint in hints)},
            "score_lines": lines,
            "fault": session.opened.fault,
        },
    )


def _verdict(
    run: str, skipped: list[dict[str, str]], missing: list[str], wrong: list[dict[str, Any]]
) -> str:
    """Worst wins; ``unfinished`` where nothing is false and the goal was not reached."""
    if skipped:
        run = worst((run, "risky"))
    if run in ("harm", "wrong"):
        return run
    if missing or wrong:
        return "unfinished"
    return run


def _numbers(session: Session, outcome: Outcome) -> list[dict[str, Any]]:
    wanted = session.exercise.numbers if session.exercise else ()
    found = []
    for name in dict.fromkeys((*wanted, *outcome.numbers)):
        number = outcome.numbers.get(name)
        entry: dict[str, Any] = {"name": name, "unit": "mm", "wanted": name in wanted}
        if number is None:
            entry |= dict.fromkeys(("yours", "true", "error", "limit", "within"))
        else:
            within = abs(number.error) <= number.tolerance
            entry |= {"yours": number.belief, "true": number.truth, "error": number.error}
            entry |= {"limit": number.tolerance, "within": within}
        found.append(entry)
    return found


def _findings(session: Session, outcome: Outcome) -> list[dict[str, Any]]:
    found = []
    begun = [entry.at_s for entry in session.live.log]
    numbers = replay_numbers([finding.time_s for finding in outcome.findings])
    for number, finding in zip(numbers, outcome.findings, strict=True):
        last = bisect_right(begun, finding.time_s) - 1
        during = session.live.log[last] if last >= 0 else None
        found.append(
            finding.to_dict()
            | {
                "number": number,
                "replay_from_s": max(finding.time_s - BEFORE_S, 0.0),
                "replay_to_s": min(finding.time_s + AFTER_S, outcome.time_s),
                "action": None if during is None else during.number,
                "during": None if during is None else during.step.do,
            }
        )
    return found


def replay_numbers(times_s: Sequence[float]) -> list[int]:
    """For each finding its number on a replay page, which counts them in the order of time."""
    numbers = [0] * len(times_s)
    for number, i in enumerate(sorted(range(len(times_s)), key=times_s.__getitem__), 1):
        numbers[i] = number
    return numbers


def _risk(session: Session) -> dict[str, Any]:
    """The risk taken, with the times at which a replay of it begins; None where there is none."""
    found = session.risk.to_dict()
    for key, there in (
        ("nearest_miss", found["nearest_miss_mm"] is not None),
        ("fastest_approach", found["fastest_approach_mm_per_min"] > 0.0),
    ):
        from_s = max(found[f"{key}_s"] - SETS_OFF_S, 0.0) if there else None
        found[f"{key}_from_s"] = from_s
    return found


def _state(session: Session, name: str) -> bool:
    twin = session.live.twin
    if name == "homed":
        return twin.controller.homed
    if name == "input-proved":
        return bool(twin.tables.selected) and twin.controller.input_proved()
    if name == "reference-valid":
        record = twin.tables.records.get(twin.tables.selected or "")
        return record is not None and record.reference_valid
    if name == "clearance-stored":
        return any(
            key.endswith("clearance_z_mm") and t > 0.0 for t, key, _ in twin.recorder.beliefs
        )
    if name == "no-alarm":
        return twin.controller.alarm_now is None and not twin.kernel.estopped
    return any(
        kind == "program-line" and data[0] != "typed" for _, kind, data in twin.recorder.events
    )


def _answers(session: Session) -> list[dict[str, Any]]:
    return [
        {
            "question": question.name,
            "ask": question.ask,
            "yours": session.answers.get(question.name),
            "right_answer": question.answer,
            "right": session.answers.get(question.name) == question.answer,
            "because": question.because,
        }
        for question in session.opened.questions
    ]


def _skipped(session: Session) -> list[dict[str, str]]:
    found = []
    for name in session.exercise.proofs if session.exercise else ():
        proof = PROOFS[name]
        found += [
            {"proof": name, "of": of, "words": proof.words, "why": proof.why}
            for of in proof.missing(session)
        ]
    return found


def _do_better(
    session: Session,
    outcome: Outcome,
    skipped: list[dict[str, str]],
    missing: list[str],
    wrong: list[dict[str, Any]],
    late: int,
) -> str:
    """The one thing: the worst that happened comes first."""
    for severity in ("harm", "wrong"):
        for finding in outcome.findings:
            if finding.severity == severity:
                return finding.avoid
    if skipped:
        return f"{skipped[0]['words']}: it was skipped for {skipped[0]['of']}. {skipped[0]['why']}"
    for finding in outcome.findings:
        if finding.severity == "risky":
            return finding.avoid
    if missing:
        return f"Go on until it is done; still missing: {_STATES.get(missing[0], missing[0])}."
    if wrong:
        return f"{wrong[0]['ask']} The answer: {wrong[0]['right_answer']}. {wrong[0]['because']}"
    if session.hints_used:
        return "Do it once more without hints."
    if late:
        return "Do it once more, with fewer detours: it took longer than it needs."
    return "Nothing: do it like this at the machine, slower."


# What a goal's state is called to the person who has not reached it.
_STATES = {
    "homed": "the axes are homed",
    "input-proved": "the input is seen off, on, off",
    "reference-valid": "the setter's reference is taken and valid",
    "clearance-stored": "a clearance height is stored",
    "no-alarm": "no alarm stands",
    "program-run": "the program has been run",
}
