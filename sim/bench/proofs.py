"""Proofs: what turns a true number into one that is known to be true.

Each looks at what was done, in the recording and the session's log; none asks whether the number
is right. ``missing`` returns for what a proof is missing, or an empty list.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from drytouch.sim.truth.number import Number

if TYPE_CHECKING:
    from drytouch.sim.bench.session import Session

# Two slow touches of a sound setter lie within this; what a record asks may be finer.
AGREE_MM = 0.01
# A rule reads to half a millimetre; what differs by more than twice that is no reading error.
RULE_DOUBT_MM = 1.0
# A tool of known length that comes out within this of its paper proves the reference behind it.
KNOWN_MM = 0.02
# First moves of an unproved program: a quarter of the rapid is what can still be stopped by hand.
LOW_OVERRIDE = 0.25


@dataclass(frozen=True, slots=True)
class Proof:
    """One proof: its words, why it is asked for, and what finds it missing."""

    words: str
    why: str
    missing: Callable[[Session], list[str]]


def _input(session: Session) -> list[str]:
    findings = session.live.twin.judge.findings
    touched = any(entry.kind == "touch" for entry in session.live.twin.recorder.lines)
    skipped = any(finding.code == "unproved-input" for finding in findings)
    if skipped:
        return ["the input that the touch watched"]
    seen = [data for _, kind, data in _events(session) if kind == "input-seen"]
    pressed = any(on for _, on in seen) or bool(session.live.scenario.controller.proved)
    return [] if pressed or (touched and not skipped) else ["the input"]


def _wanted(session: Session) -> Iterator[Number]:
    """Numbers that the exercise asks for and that were stored."""
    names = session.exercise.numbers if session.exercise else ()
    numbers = session.live.twin.judge.numbers
    yield from (numbers[name] for name in names if name in numbers)


def _agree(session: Session) -> list[str]:
    latches = [(t, data[3]) for t, kind, data in _events(session) if kind == "latch"]
    found = []
    for number in _wanted(session):
        if number.name.endswith((" x", " y")):
            continue  # a place is sighted, not touched
        before = [z for t, z in latches if t <= number.time_s][-2:]
        if len(before) < 2 or abs(before[1] - before[0]) > AGREE_MM:
            found.append(number.name)
    return found


def _crossed(session: Session) -> list[str]:
    return [
        number.name
        for number in _wanted(session)
        if not number.name.endswith((" x", " y")) and not _second_way(session, number)
    ]


def _second_way(session: Session, number: Number) -> bool:
    """Whether a number was looked at another way after it was stored."""
    after = [entry for entry in _events(session) if entry[0] >= number.time_s]
    rules = [data for _, kind, data in after if kind == "rule" and _agrees(data)]
    jogged = [data for _, kind, data in after if kind == "jog-back"]
    by_rule = {data[0] for data in rules}
    if number.name.startswith("row "):
        row = number.name.split()[1]
        return (
            "tool-length" in by_rule
            or bool(jogged)
            or _did(session, "recheck-length", number.time_s, "row", row)
        )
    if number.name.endswith(" z"):
        return "tip-to-stock" in by_rule or any(data[0] in number.name for data in jogged)
    if number.name.endswith(" height"):
        return "setter-height" in by_rule
    return bool(by_rule & {"tool-length", "setter-height"}) or bool(_known_tools(session, number))


def _agrees(data: Any) -> bool:
    what, reading, belief = data
    if what == "tip-to-table":
        return True
    return belief is not None and abs(reading - belief) <= RULE_DOUBT_MM


def _did(session: Session, routine: str, since_s: float, key: str, value: str) -> bool:
    return any(
        entry.step.do == "routine"
        and entry.step.name.replace("_", "-") == routine
        and entry.at_s >= since_s
        and str(entry.step.arguments.get(key)) == value
        and entry.number in session.done
        for entry in session.live.log
    )


def _known_tools(session: Session, after: Number | None = None) -> list[str]:
    """Rows of tools of known length that were measured and came out as their paper says."""
    twin = session.live.twin
    base = twin.judge.length_base(twin.kernel.agenda.now())
    found = []
    for name, number in twin.judge.numbers.items():
        if not name.startswith("row "):
            continue
        row = twin.tables.rows.get(int(name.split()[1]))
        tool = twin.scenario.tools.get(row.tool or "") if row else None
        certified = tool.certified_length_mm if tool else None
        late = after is None or number.time_s >= after.time_s
        if certified is not None and late and abs(number.belief - base - certified) <= KNOWN_MM:
            found.append(name)
    return found


def _known(session: Session) -> list[str]:
    return [] if _known_tools(session) else ["the reference"]


def _ten(session: Session) -> list[str]:
    done = any(
        entry.step.do == "routine"
        and entry.step.name.replace("_", "-") == "ten-touch-repeatability"
        and entry.number in session.done
        for entry in session.live.log
    )
    return [] if done else ["the setter"]


def _block(session: Session) -> list[str]:
    """Felt from below: it would not go, then it dragged."""
    stepped_up = any(
        entry.step.do == "step-until-feel" and entry.step.by_mm > 0 and entry.number in session.done
        for entry in session.live.log
    )
    felt = [data[1] for _, kind, data in _events(session) if kind == "feel"]
    by_hand = "wont-go" in felt and "drags" in felt[felt.index("wont-go") :]
    return [] if stepped_up or by_hand else ["the gauge block"]


def _low(session: Session) -> list[str]:
    """The rapid override was low whenever a line of a program ran."""
    rapid = session.live.scenario.controller.rapid_override
    for _, kind, data in _events(session):
        if kind == "override":
            rapid = data[0]
        elif kind == "program-line" and data[0] != "typed" and rapid > LOW_OVERRIDE:
            return [f"line {data[1]} of {data[0]}, at {rapid:.0%}"]
    return []


def _events(session: Session) -> Sequence[tuple[float, str, Any]]:
    return session.live.twin.recorder.events


PROOFS: dict[str, Proof] = {
    "input-proved": Proof(
        "The input that the touch watches was seen to go off, on, off",
        "A wrong socket, a broken wire or reversed polarity shows only when the pad is pressed.",
        _input,
    ),
    "touches-agree": Proof(
        "Two slow touches agree before a number is believed",
        "One touch may have been a disturbance, a bounce or a chip.",
        _agree,
    ),
    "cross-checked": Proof(
        "Each number was looked at a second way after it was stored",
        "A rule, a tool of known length or jogging back shows what the first way can't.",
        _crossed,
    ),
    "ten-touches": Proof(
        "The setter repeated within its limit in ten touches",
        "A worn, loose or dirty setter shows in its scatter first.",
        _ten,
    ),
    "block-from-below": Proof(
        "The block was felt from too low, stepping up",
        "Stepping down onto a block squeezes it with the stiffness of the axis.",
        _block,
    ),
    "low-override": Proof(
        "The program ran at a quarter of the rapid or less",
        "What a hand on the knob can't stop in time is no rehearsal.",
        _low,
    ),
    "known-tool": Proof(
        "A second tool of known length came out as its paper says",
        "An error of the reference is in every length, and no length alone shows it.",
        _known,
    ),
}
