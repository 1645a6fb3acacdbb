"""Proofs: what turns a true number into one that is known to be true.

Each looks at what was done, in the recording and the session's log; none asks whether the number
is right. ``missing`` returns for what a proof is missing, or an empty list.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from drytouch.sim.bench.second_ways import Past
from drytouch.sim.truth.number import Number

if TYPE_CHECKING:
    from drytouch.sim.bench.session import Session

# Two slow touches of a sound setter lie within this; what a record asks may be finer.
AGREE_MM = 0.01
# First moves of an unproved program: a quarter of the rapid is what can still be stopped by hand.
LOW_OVERRIDE = 0.25


@dataclass(frozen=True, slots=True)
class Proof:
    """One proof: its words, why it is asked for, and what finds it missing."""

    words: str
    why: str
    missing: Callable[[Session], list[str]]


def _input(session: Session) -> list[str]:
    """Pressed and looked at; where it was not seen off-on-off, nothing was touched after that."""
    findings = session.live.twin.judge.findings
    touched = any(entry.kind == "touch" for entry in session.live.twin.recorder.lines)
    if any(finding.code == "unproved-input" for finding in findings):
        return ["the input that the touch watched"]
    # Whoever pressed the pad, saw nothing come on and touched nothing has found what there is.
    pressed = any(kind == "input-seen" for _, kind, _ in _events(session))
    known = bool(session.live.scenario.controller.proved)
    return [] if pressed or known or touched else ["the input"]


def _wanted(session: Session) -> Iterator[Number]:
    """Numbers that the exercise asks for and that were stored."""
    names = session.exercise.numbers if session.exercise else ()
    numbers = session.live.twin.judge.numbers
    yield from (numbers[name] for name in names if name in numbers)


def _agree(session: Session) -> list[str]:
    past = Past(session)
    latches, found = past.latches, []
    for number in _wanted(session):
        if number.name.endswith((" x", " y")):
            continue  # a place is sighted, not touched
        # Two touches of one and the same thing: what another tool did agrees by accident.
        since, _ = past.tool(number.time_s)
        before = [z for t, z in latches if since <= t <= number.time_s][-2:]
        if len(before) < 2 or abs(before[1] - before[0]) > AGREE_MM:
            found.append(number.name)
    return found


def _crossed(session: Session) -> list[str]:
    past = Past(session)
    return [
        number.name
        for number in _wanted(session)
        if not number.name.endswith((" x", " y")) and not past.second_way(number)
    ]


def _known(session: Session) -> list[str]:
    return [] if Past(session).known_tools() else ["the reference"]


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
        "Each number was looked at a second way after it was stored: the same tool, row, setter or "
        "work system",
        "A rule shows what is off by a millimetre (it reads to half of one), jogging back some "
        "hundredths, a tool of known length its reference to a few.",
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
