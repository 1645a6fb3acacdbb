"""What the replay page is told beside the recording: words, looks, questions, the set-up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.scenario import Question, Scenario
from drytouch.sim.scenario.set_up import set_up_of
from drytouch.viz import look, words
from drytouch.viz.moment import choose_moment, time_s
from drytouch.viz.stops import OF_A_WAY, stop_time

TOGETHER_S = 1e-3
"""Findings this close in time are one blow: each gives the others away."""

FIGURES = 4
"""More figures than this would push a finding's sentences out of sight."""


def entry_of(recording: Recording, scenario: Scenario | None) -> dict[str, Any]:
    """One recording with its words, as ``Entry`` in viz/web/source/data.ts."""
    moment = choose_moment(recording)
    facts = recording.scenario
    return {
        "name": str(facts.get("name") or ""),
        "title": words.title(recording),
        "story": _line(facts.get("story")),
        "watch_for": _line(facts.get("watch_for")),
        "verdict": recording.verdict,
        "decisive_s": moment.t,
        "decisive_code": str((moment.finding or {}).get("code", "")),
        "findings": [_finding(finding, recording) for finding in recording.findings],
        "numbers": [_number(number) for number in words.numbers(recording)],
        "alarms": words.alarms(recording),
        "facts": facts_of(recording, scenario),
        "recording": {key: value for key, value in recording.data.items() if key != "outcome"},
    }


def _line(text: Any) -> str:
    return " ".join(str(text or "").split())


def _finding(finding: Mapping[str, Any], recording: Recording) -> dict[str, Any]:
    told = min(max(time_s(finding, recording.duration_s), 0.0), recording.duration_s)
    seen = told
    line = recording.line_at(told) if finding.get("code") in OF_A_WAY else None
    if line is not None and told < line.t[1] <= recording.duration_s:
        seen = line.t[1]
    code = str(finding.get("code") or "finding").replace("-", " ")
    return {
        "code": str(finding.get("code") or ""),
        "title": code[:1].upper() + code[1:],
        "severity": str(finding.get("severity") or ""),
        "t": told,
        "seen_t": seen,
        "sentences": words.sentences(finding),
        "figures": words.figures(finding, FIGURES),
    }


def _number(number: words.NumberOff) -> dict[str, Any]:
    return {
        "name": number.name,
        "belief": words.written(number.belief, "mm"),
        "truth": words.written(number.truth, "mm"),
        "error": words.written(number.error, "mm", signed=True),
        "off": abs(number.error) > (number.tolerance or words.USUAL_TOLERANCE_MM),
    }


def facts_of(recording: Recording, scenario: Scenario | None) -> dict[str, Any]:
    """Setters' figures, sockets, plugs and tables at time 0, as far as they are known.

    A recording carries them among its facts ("set_up"); for one made before it did, a scenario
    has them.
    """
    empty: dict[str, Any] = {
        "setters": {},
        "sockets": {},
        "plugs": {},
        "start": {},
        "length_convention": "face",
    }
    carried = recording.scenario.get("set_up")
    if isinstance(carried, Mapping):
        return {**empty, **{key: value for key, value in carried.items() if key in empty}}
    return empty if scenario is None else {**empty, **set_up_of(scenario)}


def questions_of(recording: Recording, questions: Sequence[Question]) -> list[dict[str, Any]]:
    """Each question with the time to stop at, s."""
    return [
        {
            "t": stop_time(recording, question.before),
            "hides": _giving_away(recording, question.before),
            "ask": question.ask,
            "choices": list(question.choices),
            "answer": question.answer,
            "because": question.because,
        }
        for question in questions
    ]


def _giving_away(recording: Recording, before: str) -> list[str]:
    """Codes of findings told by the question's stop that would answer it."""
    stop = stop_time(recording, before)
    found = {before} & {str(finding.get("code")) for finding in recording.findings}
    if not found:  # a question at a time is about what comes after it
        return []
    told = [f for f in recording.findings if time_s(f, stop) <= stop]
    asked = [time_s(f, stop) for f in recording.findings if f.get("code") == before]
    for finding in told:
        with_it = any(abs(time_s(finding, stop) - t) < TOGETHER_S for t in asked)
        if with_it or finding.get("severity") in ("harm", "wrong"):
            found.add(str(finding.get("code")))
    return sorted(found)


def looks() -> dict[str, Any]:
    """Colours, materials and words of the one table that all renderers read."""
    return {
        "materials": {name: material._asdict() for name, material in look.MATERIALS.items()},
        "labels": look.LABELS,
        "verdicts": {name: verdict._asdict() for name, verdict in look.VERDICTS.items()},
        "ink": look.INK,
        "belief": look.BELIEF,
        "edge": look.EDGE_LINE,
        "background": look.BACKGROUND,
        "background_low": look.BACKGROUND_LOW,
        "view_angle_deg": look.VIEW_ANGLE_DEG,
    }


def zero_of(recording: Recording, at: str) -> float:
    """The time at which two recordings are lined up: the first event of that kind, or finding."""
    for event in recording.events:
        if event.kind == at or (event.kind == "finding" and event.data == at):
            return event.t
    raise InputError(
        f"the recording of {words.title(recording)!r} has no {at!r} to line up at",
        key="line_up",
        fix="give an event that both recordings have: "
        + (", ".join(dict.fromkeys(event.kind for event in recording.events)) or "there is none"),
    )
