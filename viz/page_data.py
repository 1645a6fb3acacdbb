"""What the replay page is told beside the recording: words, looks, questions, the set-up."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.scenario import Question, Scenario
from drytouch.sim.scenario.set_up import set_up_of
from drytouch.viz import look, words
from drytouch.viz.moment import choose_moment, time_s

FIGURES = 4
"""More figures than this would push a finding's sentences out of sight."""

BEFORE_S = 0.4
"""A question without an earlier touch to stop at stops this long before its finding."""

AFTER_S = 1e-6
"""A stop just after an event: what it did is to be seen."""

TOUCHES = ("contact", "close")
"""What may have happened already when a question about its consequence is asked."""


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
        "findings": [_finding(finding, recording.duration_s) for finding in recording.findings],
        "numbers": [_number(number) for number in words.numbers(recording)],
        "alarms": words.alarms(recording),
        "facts": facts_of(recording, scenario),
        "recording": {key: value for key, value in recording.data.items() if key != "outcome"},
    }


def _line(text: Any) -> str:
    return " ".join(str(text or "").split())


def _finding(finding: Mapping[str, Any], duration_s: float) -> dict[str, Any]:
    code = str(finding.get("code") or "finding").replace("-", " ")
    return {
        "code": str(finding.get("code") or ""),
        "title": code[:1].upper() + code[1:],
        "severity": str(finding.get("severity") or ""),
        "t": min(max(time_s(finding, duration_s), 0.0), duration_s),
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

    A recording may carry them among its facts ("set_up"); a scenario has them all.
    """
    empty: dict[str, Any] = {
        "setters": {},
        "sockets": {},
        "plugs": {},
        "start": {},
        "length_convention": "face",
    }
    carried = recording.scenario.get("set_up")
    if scenario is None:
        known = carried if isinstance(carried, Mapping) else {}
        return {**empty, **{key: value for key, value in known.items() if key in empty}}
    return {**empty, **set_up_of(scenario)}


def questions_of(recording: Recording, questions: Sequence[Question]) -> list[dict[str, Any]]:
    """Each question with the time to stop at, s."""
    return [
        {
            "t": stop_time(recording, question.before),
            "ask": question.ask,
            "choices": list(question.choices),
            "answer": question.answer,
            "because": question.because,
        }
        for question in questions
    ]


def stop_time(recording: Recording, before: str) -> float:
    """When to stop for a question (s): before a finding, or at a time such as "3.2 s".

    A finding that grows out of a touch is asked about when the touch has begun and, where it
    has, the contact has acted; one that is the touch itself, shortly before it.

    Raises:
        InputError: ``before`` is neither.
    """
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*s\s*", before)
    if found:
        return min(float(found.group(1)), recording.duration_s)
    if not before.strip():
        at = choose_moment(recording).t
    else:
        times = [time_s(f, 0.0) for f in recording.findings if f.get("code") == before]
        times += [event.t for event in recording.events if event.kind == before]
        if not times and re.fullmatch(r"[a-z]+(-[a-z]+)*", before):
            # The run went another way than the question's author expected.
            times = [choose_moment(recording).t]
        if not times:
            raise InputError(
                f"a question's stop is {before!r}",
                key="questions.before",
                fix='give a finding\'s code, or a time such as "3.2 s"',
            )
        at = min(times)
    line = recording.line_at(max(at - AFTER_S, 0.0))
    starts = line.t[0] if line is not None else 0.0
    touched = [e.t for e in recording.events_between(starts, at - AFTER_S) if e.kind in TOUCHES]
    return max(touched[-1] + AFTER_S if touched else max(at - BEFORE_S, starts), 0.0)


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
