"""How fast time runs in a movie: slow around contact, quick through waits, still for reading."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from drytouch.sim.recording import Recording
from drytouch.viz import words
from drytouch.viz.moment import time_s
from drytouch.viz.presses import Press, presses_of
from drytouch.viz.stops import stop_of

SLOW = tuple(1 / n for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000))
FAST = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
DOWN_S, STOP_S = 2.5, 4.0
"""Screen time from contact to the trip, and from there to rest: long enough to point at."""
TAIL = 0.4
"""The look at the pressed pad afterwards, as a share of the time that the stop took."""
USUAL_PRESSES = 4
"""With more presses each gets its share of what these would take."""
STRIKE_S = 0.12
"""Real time about a strike that no pad softens, shown slowly."""
STRIKES = ("crash", "lug-strike", "near-miss", "setter-moved", "spun-into-pad", "lost-steps")
"""Findings that are a movement to watch; the others are about a state."""
MOTION_S = 45.0
"""All other motion takes no longer than this on screen, or it is sped up."""
WAIT_S = 0.8
"""A wait longer than this is shortened to it."""
WORDS_PER_S = 3.6
"""Silent reading by trained adults is about 4 words a second (Brysbaert 2019: 238 a minute)."""
MOST_S = 13.0
"""A card stands no longer than this: whoever reads on can stop the movie."""
AGAIN_S = 2.5
"""For a finding of a kind that was shown before."""
OPEN_S, END_S, ASK_S, TELL_S = 6.0, 7.0, 9.0, 7.0
"""Least time of each card."""


class Stretch(NamedTuple):
    """A part of the movie: from ``t0`` to ``t1`` s of the run in ``lasts`` s on screen.

    ``kind``: "run", "contact", "wait", or a card with time at a stand: "open", "finding", "ask",
    "tell", "end"; ``data`` is what the card is about.
    """

    kind: str
    t0: float
    t1: float
    lasts: float
    data: Any = None

    @property
    def speed(self) -> float:
        """Seconds of the run per second on screen; 0 on a card."""
        return (self.t1 - self.t0) / self.lasts if self.lasts > 0.0 else 0.0


class Shot(NamedTuple):
    """One frame: time of the run, time on screen, and the stretch that it belongs to."""

    t: float
    screen_s: float
    stretch: Stretch


def pace(recording: Recording, questions: Sequence[Any] = (), cards: bool = True) -> list[Stretch]:
    """The whole movie of a recording; ``questions``: ask before the decisive moments."""
    presses = presses_of(recording)
    slow = _slow_windows(recording, presses)
    runs = _runs(slow, [line.t for line in recording.lines], 0.0, recording.duration_s)
    if not cards:
        return runs
    stills = [(0.0, 0, Stretch("open", 0.0, 0.0, _reading(_opening(recording), OPEN_S)))]
    told: set[Any] = set()
    for t, finding in _findings(recording, presses):
        if finding.get("code") in told:  # the same sentences again need no reading
            stills.append((t, 4, Stretch("finding", t, t, AGAIN_S, finding)))
            continue
        told.add(finding.get("code"))
        text = " ".join(sentence for _, sentence in words.sentences(finding))
        stills.append((t, 4, Stretch("finding", t, t, _reading(text, 4.0), finding)))
    for question in questions:
        ask, tell = _when(recording, presses, question)
        # Time to think is worth more than time to read.
        text = f"{question.ask} {' '.join(question.choices)}"
        stills.append((ask, 1, Stretch("ask", ask, ask, _reading(text, ASK_S), question)))
        shown = _reading(question.because, TELL_S)
        stills.append((tell, 3, Stretch("tell", tell, tell, shown, question)))
    end = recording.duration_s
    stills.append((math.inf, 9, Stretch("end", end, end, END_S)))
    stills.sort(key=lambda still: still[:2])
    return list(_joined(runs, [still[2] for still in stills]))


def shots(stretches: Sequence[Stretch], frames_per_s: float) -> Iterator[Shot]:
    """Every frame, at its middle times."""
    start, number = 0.0, 0
    for stretch in stretches:
        end = start + stretch.lasts
        while number / frames_per_s < end - 1e-9:
            screen = number / frames_per_s
            share = (screen - start) / stretch.lasts
            yield Shot(stretch.t0 + (stretch.t1 - stretch.t0) * share, screen, stretch)
            number += 1
        start = end


def length_s(stretches: Iterable[Stretch]) -> float:
    """How long the movie is, s."""
    return sum(stretch.lasts for stretch in stretches)


def screen_time(stretches: Sequence[Stretch], t: float) -> float:
    """When on screen the run comes to ``t``, s: before any card that stands at that time."""
    start = 0.0
    for stretch in stretches:
        if stretch.t1 >= t and stretch.t1 > stretch.t0:
            share = (t - stretch.t0) / (stretch.t1 - stretch.t0)
            return start + stretch.lasts * min(max(share, 0.0), 1.0)
        start += stretch.lasts
    return start


def named_speed(stretch: Stretch) -> str:
    """The speed for the screen: "1/100 speed", "real time", "5 x speed, waiting"."""
    speed = stretch.speed
    if speed <= 0.0:
        return "paused"
    if abs(speed - 1.0) < 0.03:
        return "real time"
    if speed < 1.0:
        return f"1/{round(1.0 / speed)} speed"
    text = f"{speed:.0f} x speed" if speed >= 1.95 else f"{speed:.1f} x speed"
    return f"{text}, waiting" if stretch.kind == "wait" else text


def pace_beside(
    recordings: Sequence[Recording], zeros: Sequence[float], cards: bool = True
) -> list[Stretch]:
    """Two or more runs on one clock, which is 0 where each comes to its own ``zeros`` (s)."""
    slow: list[tuple[float, float, float]] = []
    for recording, zero in zip(recordings, zeros, strict=True):
        windows = _slow_windows(recording, presses_of(recording))
        slow += [(t0 - zero, t1 - zero, speed) for t0, t1, speed in windows]
    start = -max(zeros)
    end = max(r.duration_s - zero for r, zero in zip(recordings, zeros, strict=True))
    lines = sorted(
        (line.t[0] - zero, line.t[1] - zero)
        for recording, zero in zip(recordings, zeros, strict=True)
        for line in recording.lines
    )
    runs = _runs(_apart(slow), lines, start, end)
    if not cards:
        return runs
    first = Stretch("open", start, start, OPEN_S)
    return [first, *runs, Stretch("end", end, end, END_S + 3.0)]


def _runs(
    slow: Sequence[tuple[float, float, float]], lines: Sequence[tuple[float, float]],
    start: float, end: float,
) -> list[Stretch]:  # fmt: skip
    """The run without cards: contacts first, motion and waits between them."""
    rest: list[tuple[float, float]] = []
    at = start
    for t0, t1, _ in slow:
        if t0 > at:
            rest.append((at, t0))
        at = max(at, t1)
    if end > at:
        rest.append((at, end))
    pieces = [piece for t0, t1 in rest for piece in _moving(lines, t0, t1)]
    moving = sum(t1 - t0 for t0, t1, moves in pieces if moves)
    base = next((s for s in FAST if moving / s <= MOTION_S), FAST[-1])
    runs = [Stretch("contact", t0, t1, (t1 - t0) / speed) for t0, t1, speed in slow]
    for t0, t1, moves in pieces:
        lasts = (t1 - t0) / base if moves else min((t1 - t0) / base, WAIT_S)
        runs.append(Stretch("run" if moves else "wait", t0, t1, lasts))
    return sorted(runs, key=lambda run: run.t0)


def _slow_windows(
    recording: Recording, presses: Sequence[Press]
) -> list[tuple[float, float, float]]:
    share = min(1.0, USUAL_PRESSES / len(presses)) if presses else 1.0
    wanted: list[tuple[float, float, float]] = []
    for press in presses:
        trip, rest = press.trip, press.rest
        if trip is None or trip >= rest:
            speed = _nice((rest - press.contact) / ((DOWN_S + STOP_S) * share))
            wanted.append((press.contact, rest, speed))
        else:
            down = _nice((trip - press.contact) / (DOWN_S * share))
            stop = _nice((rest - trip) / (STOP_S * share))
            # The trip itself belongs to the slower part: it begins a little before.
            early = min(0.4 * stop, (trip - press.contact) / 2) if stop < down else 0.0
            wanted.append((press.contact, trip - early, down))
            wanted.append((trip - early, rest, stop))
        wanted[-1] = (wanted[-1][0], settled(press), wanted[-1][2])
    for finding in recording.findings:
        t = time_s(finding, -1.0)
        inside = any(p.contact - STRIKE_S <= t <= p.rest + STRIKE_S for p in presses)
        shows = finding.get("code") in STRIKES
        if shows and not inside and recording.speed_at(max(t - 1e-4, 0.0)) > 0.0:
            wanted.append((max(t - STRIKE_S, 0.0), min(t + STRIKE_S, recording.duration_s), 0.1))
    return _apart(wanted)


def settled(press: Press) -> float:
    """When the axis has rested long enough for a look at it, s of the run."""
    since = press.contact if press.trip is None else press.trip
    return min(press.rest + TAIL * (press.rest - since), press.end)


def _apart(wanted: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """In order, none reaching into the one before."""
    found: list[tuple[float, float, float]] = []
    for t0, t1, speed in sorted(wanted):
        begin = max(t0, found[-1][1]) if found else t0
        if t1 > begin:
            found.append((begin, t1, speed))
    return found


def _nice(speed: float) -> float:
    """The speed of the list that is nearest, and never faster than real time."""
    return min(SLOW, key=lambda s: abs(math.log(s / max(speed, 1e-9))))


def _moving(
    lines: Sequence[tuple[float, float]], t0: float, t1: float
) -> Iterator[tuple[float, float, bool]]:
    """The span in parts that move and parts that stand; ``lines``: starts and ends, in order."""
    at = t0
    for start, end in lines:
        a, b = max(start, at), min(end, t1)
        if b <= a:
            continue
        if a - at > 0.05:
            yield at, a, False
        else:
            a = at
        yield a, b, True
        at = b
    if t1 - at > 1e-9:
        yield at, t1, False


def _findings(
    recording: Recording, presses: Sequence[Press]
) -> Iterator[tuple[float, Any]]:  # fmt: skip
    """When each finding's card comes: at its time, but not in the midst of a press."""
    for finding in recording.findings:
        t = min(max(time_s(finding, recording.duration_s), 0.0), recording.duration_s)
        for press in presses:
            if press.contact <= t < settled(press):
                t = settled(press)
        yield t, finding


def _when(recording: Recording, presses: Sequence[Press], question: Any) -> tuple[float, float]:
    """When to ask and when to tell, s of the run: not before what the question asks is seen."""
    stop = stop_of(recording, question.before)
    tell = max(stop.tell, stop.ask)
    for press in presses:
        going = press.contact <= stop.ask < settled(press)
        # A question at a time is put while something is under way: the next press answers it.
        soon = stop.tell == stop.ask < press.contact < stop.ask + 3.0
        if going or soon or press.contact <= tell < settled(press):
            tell = max(tell, settled(press))
            break
    return stop.ask, min(tell, recording.duration_s)


def _joined(runs: Sequence[Stretch], stills: Sequence[Stretch]) -> Iterator[Stretch]:
    """Runs cut where a card stands."""
    waiting = list(stills)
    for run in runs:
        while waiting and waiting[0].kind != "end" and waiting[0].t0 < run.t1 - 1e-9:
            still = waiting.pop(0)
            if still.t0 > run.t0 + 1e-9:
                share = (still.t0 - run.t0) / (run.t1 - run.t0)
                yield run._replace(t1=still.t0, lasts=run.lasts * share)
                run = run._replace(t0=still.t0, lasts=run.lasts * (1.0 - share))
            yield still
        yield run
    yield from waiting


def _opening(recording: Recording) -> str:
    facts = recording.scenario
    return " ".join(str(facts.get(key, "")) for key in ("title", "story", "watch_for"))


def _reading(text: str, least: float) -> float:
    return max(least, min(len(text.split()) / WORDS_PER_S, MOST_S))
