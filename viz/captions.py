"""What a movie says in words, when: burnt into the picture and beside it as WebVTT (W3C)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from drytouch.sim.recording import Recording
from drytouch.viz import words
from drytouch.viz.look import CAUTION
from drytouch.viz.pace import Stretch, length_s, screen_time
from drytouch.viz.presses import presses_of
from drytouch.viz.units import Units

LEAST_S, MOST_S = 1.2, 6.0
"""A line of captions is readable after the one and tiring after the other."""
SAYS = {
    "blocked": "The axis stands against something and the drive pushes on.",
    "stall": "The motor loses steps and nobody notices.",
    "drive-fault": "The drive gives up.",
    "e-stop": "Emergency stop.",
    "reset": "The alarm is cleared.",
}


class Cue(NamedTuple):
    """One caption: from ``start`` to ``end`` s on screen; ``burnt``: drawn into the picture too."""

    start: float
    end: float
    text: str
    burnt: bool = True


def cues_of(recording: Recording, stretches: Sequence[Stretch]) -> list[Cue]:
    """All captions of a movie, in order, none overlapping."""
    units = Units.of(recording.scenario)
    told = [(screen_time(stretches, t), text, True) for t, text in happenings(recording, units)]
    at = 0.0
    cards: list[Cue] = []
    for stretch in stretches:
        text = _card(recording, stretch, units)
        if text:
            cards.append(Cue(at, at + stretch.lasts, text, False))
        at += stretch.lasts
    return timed(sorted(told), cards, length_s(stretches))


def timed(told: list[tuple[float, str, bool]], cards: list[Cue], end: float) -> list[Cue]:
    """Captions between the cards; what would be gone too soon joins the next."""
    cues: list[Cue] = []
    starts = [cue.start for cue in cards]
    for index, (start, text, burnt) in enumerate(told):
        inside = None
        for card in cards:  # one card may follow upon another
            if card.start - 1e-6 <= start < card.end - 1e-6:
                inside, start = card, card.end
        following = told[index + 1][0] if index + 1 < len(told) else end
        stops = [s for s in starts if s > start - 1e-6] + [end]
        until = min(max(following, start), start + MOST_S, min(stops))
        if cues and start - cues[-1].start < LEAST_S and not (
            inside is not None and cues[-1].end <= inside.start
        ):  # fmt: skip
            last = cues.pop()
            start, text = last.start, f"{last.text} {text}" if text != last.text else text
        if until > start + 1e-3:
            cues.append(Cue(start, until, text, burnt))
    return sorted([*cues, *cards])


def happenings(recording: Recording, units: Units) -> list[tuple[float, str]]:
    """What is worth a caption, and when: s of the run, and words."""
    found: list[tuple[float, str]] = []
    steps = [e for e in recording.events if e.kind == "step" and isinstance(e.data, list)]
    for event in recording.events:
        if event.kind == "step" and isinstance(event.data, list) and len(event.data) > 1:
            note = event.data[2] if len(event.data) > 2 and event.data[2] else ""
            name = str(event.data[1]).replace("-", " ")
            told = f"Step {event.data[0] + 1} of {len(steps)}: {name}{', ' * bool(note)}{note}."
            # Of steps that begin together only the last is seen to happen.
            if found and found[-1][0] == event.t and found[-1][1].startswith("Step"):
                found.pop()
            found.append((event.t, told))
        elif event.kind == "alarm" and isinstance(event.data, list) and len(event.data) > 1:
            found.append((event.t, f"Alarm: {event.data[1]}."))
        elif event.kind == "hand":
            found.append(
                (event.t, f"A hand is {event.data}." if event.data else "The hand is away.")
            )
        elif event.kind == "feel" and isinstance(event.data, list) and len(event.data) > 1:
            found.append((event.t, f"By feel, the gauge block {event.data[1]}."))
        elif event.kind == "plug" and isinstance(event.data, list) and len(event.data) > 1:
            to = f"goes into {event.data[1]}" if event.data[1] else "is pulled"
            found.append((event.t, f"The plug of {event.data[0]} {to}."))
        elif event.kind in SAYS:
            found.append((event.t, SAYS[event.kind]))
    for press in presses_of(recording):
        for mark in press.marks:
            if mark.name == "contact":
                found.append((mark.t, "Contact: the pad starts to move."))
            elif mark.name == "first edge":
                found.append((mark.t, f"The switch acts, {units.small(mark.depth_mm)} down."))
            elif mark.name == "scan":
                found.append((mark.t, "The controller sees the input change."))
            elif mark.name == "stop":
                left = press.left_mm(mark.depth_mm)
                spare = "" if left is None else f"; {units.length(left)} of overtravel left"
                if left is not None and left < 1e-6:
                    spare = "; no overtravel is left, the pad is solid"
                found.append((mark.t, f"At rest {units.small(mark.depth_mm)} down{spare}."))
    return found


def _card(recording: Recording, stretch: Stretch, units: Units) -> str:
    data = stretch.data
    if stretch.kind == "open":
        facts = recording.scenario
        watch = facts.get("watch_for")
        parts = [f"{words.title(recording)}.", str(facts.get("story", ""))]
        parts.append(f"Watch for: {watch}" if watch else "")
    elif stretch.kind == "finding":
        code = str(data.get("code", "")).replace("-", " ")
        parts = [f"{code[:1].upper()}{code[1:]}.", *(text for _, text in words.sentences(data))]
    elif stretch.kind == "ask":
        choices = " ".join(f"{n}: {text}." for n, text in enumerate(data.choices, 1))
        parts = [f"Stop and predict. {data.ask}", choices]
    elif stretch.kind == "tell":
        parts = [f"Answer {data.answer}: {data.choices[data.answer - 1]}.", data.because]
    elif stretch.kind == "end":
        parts = [f"Verdict: {recording.verdict or 'not judged'}.", f"Caution: {CAUTION}"]
    else:
        return ""
    return units.text(" ".join(" ".join(part.split()) for part in parts if part.strip()))


def to_webvtt(cues: Sequence[Cue], title: str) -> str:
    """The captions as a WebVTT file's text."""
    head = " ".join(title.split()).replace("-->", "to")
    blocks = [f"WEBVTT - {head}", f"NOTE {CAUTION}"]
    for number, cue in enumerate(cues, 1):
        text = cue.text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        blocks.append(f"{number}\n{_stamp(cue.start)} --> {_stamp(cue.end)}\n{text}")
    return "\n\n".join(blocks) + "\n"


def from_webvtt(text: str) -> list[Cue]:
    """The captions of such a text; ValueError where it is none."""
    blocks = re.split(r"\n{2,}", text.strip())
    if not blocks[0].startswith("WEBVTT"):
        raise ValueError("no WebVTT: the first line must begin with WEBVTT")
    cues = []
    for block in blocks[1:]:
        if block.startswith("NOTE"):
            continue
        lines = block.splitlines()
        timing = next((i for i, line in enumerate(lines) if "-->" in line), None)
        if timing is None:
            raise ValueError(f"no timing in: {block}")
        start, _, end = lines[timing].partition(" --> ")
        said = "\n".join(lines[timing + 1 :])
        for sign, plain in (("&lt;", "<"), ("&gt;", ">"), ("&amp;", "&")):
            said = said.replace(sign, plain)
        cues.append(Cue(_seconds(start), _seconds(end), said))
    return cues


def _stamp(s: float) -> str:
    whole = round(s * 1000)
    minutes, rest = divmod(whole, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def _seconds(stamp: str) -> float:
    found = re.fullmatch(r"(?:(\d+):)?([0-5]\d):([0-5]\d)\.(\d{3})", stamp.strip())
    if found is None:
        raise ValueError(f"no time: {stamp}")
    hours, minutes, seconds, thousandths = (int(part or 0) for part in found.groups())
    return hours * 3600 + minutes * 60 + seconds + thousandths / 1000
