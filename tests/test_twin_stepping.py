"""Events as roots against a simulation that steps through time and knows nothing of roots.

The stepper shares only the plans with the twin (they have tests of their own); lag, lost motion,
pad, solid stop, filter, latch and stop are its own, found by sampling.
"""

from __future__ import annotations

import random
from math import ceil
from typing import Any, NamedTuple

import pytest
from twin_cases import CONTACT_Z, TABLE_Z, X, Y, twin_of

from drytouch.sim.motion import Limits, Piece, State, from_rest, stop, to_goal
from drytouch.sim.twin.twin import Twin

STEP = 50e-6
# Found up to one step late; a stop that starts a step late shifts what follows by as much again.
LATE = 3 * STEP
DELAY, FILTER, TICK, BACKLASH = 0.5 / 40.0, 0.002, 1e-5, 0.02
TRIP, HYSTERESIS, BUDGET = 0.1, 0.03, 1.0
ACCELERATION, JERK = 3000.0, 30000.0
KINDS = ("contact", "close", "open", "leave", "blocked", "latch")


class Move(NamedTuple):
    """One line of a script: a feed, a touch or a jog; ``acts`` are (time from its start, what)."""

    kind: str
    goal: float
    feed: float
    acts: tuple[tuple[float, str], ...]


class Stepper:
    """One vertical axis over a pad (or the bare table), in small steps of time."""

    def __init__(self, z: float, contact: float, floor: float, pad: bool) -> None:
        self.t = 0.0
        self.command = self.slide = z
        self.contact_z, self.floor, self.pad = contact, floor, pad
        self.touching = self.pressed = self.on = self.blocked = False
        self.since = 0.0  # the raw level has been as it is since then
        self.hold = False
        self.log: list[tuple[float, str]] = []
        self.latched = 0.0

    def line(self, move: Move) -> None:
        start, t0 = self.command, self.t
        sign = 1.0 if move.goal > start else -1.0
        length = abs(move.goal - start)
        limits = Limits(move.feed / 60.0, ACCELERATION, JERK)
        pieces = list(from_rest(length, limits, t0))
        acts = [(t0 + after, what) for after, what in move.acts]
        stopping, stop_at, n = False, None, 0
        self.blocked = False
        while True:
            n += 1
            t = t0 + n * STEP
            due = [(at, what) for at, what in acts if at <= t]
            acts = acts[len(due) :]
            if stop_at is not None and stop_at <= t:
                due.append((stop_at, "stop"))
                stop_at = None
            for at, what in due:
                if at >= pieces[-1].t1 and pieces[-1].s1 >= length - 1e-9:
                    self.hold = what == "hold" or (self.hold and what != "resume")
                    continue  # the command has arrived already
                if what in ("stop", "release"):
                    again, stopping = not (stopping or self.hold), True
                    if again:
                        cut(pieces, at, lambda state, at=at: stop(state, at, limits))
                elif what == "hold":
                    self.hold = True
                    if not stopping:
                        cut(pieces, at, lambda state, at=at: stop(state, at, limits))
                else:
                    self.hold = False
                    if not stopping:
                        cut(pieces, at, lambda state, at=at: to_goal(state, at, length, limits))
            end = pieces[-1].t1 + DELAY
            paused = self.hold and not stopping and pieces[-1].s1 < length - 1e-9
            over = not paused and t >= end
            t = end if over else t
            delayed = start + sign * sample(pieces, t - DELAY).s
            self.sense(t, delayed, sign)
            if not stopping and move.kind == "touch" and self.rise(t) and stop_at is None:
                self.log.append((t, "latch"))
                edge = t0 + ceil((self.since - t0) / STEP) * STEP
                self.latched = start + sign * sample(pieces, edge - DELAY).s
                stop_at = ceil(t / TICK - 1e-9) * TICK
            else:
                self.rise(t)
            if over:
                self.t, self.command = t, start + sign * pieces[-1].s1
                return

    def sense(self, t: float, delayed: float, sign: float) -> None:
        """Where the slide goes, and what that does to the pad."""
        play = min(max(self.slide, delayed - BACKLASH / 2), delayed + BACKLASH / 2)
        if play < self.floor and sign < 0.0 and not self.blocked:
            self.blocked = True
            self.log.append((t, "blocked"))
        self.slide = max(play, self.floor)
        if not self.pad:
            return
        depth = self.contact_z - self.slide
        if depth > 0.0 and not self.touching:
            self.touching = True
            self.log.append((t, "contact"))
        if depth >= TRIP and not self.pressed:
            self.pressed, self.since = True, t
            self.log.append((t, "close"))
        if depth <= TRIP - HYSTERESIS and self.pressed:
            self.pressed, self.since = False, t
            self.log.append((t, "open"))
        if depth <= 0.0 and self.touching:
            self.touching = False
            self.log.append((t, "leave"))

    def rise(self, t: float) -> bool:
        """Follow the filter; whether the input has just come on."""
        if self.pressed != self.on and t - self.since >= FILTER:
            self.on = self.pressed
            return self.on
        return False


def cut(pieces: list[Piece], t: float, plan: Any) -> None:
    """Replace what comes after ``t`` by a new plan from the state there."""
    state = sample(pieces, t)
    kept = [piece for piece in pieces if piece.t0 < t]
    if t < kept[-1].t1:
        kept[-1] = kept[-1]._replace(t1=t, s1=state.s)
    elif pieces[-1].s1 >= state.s and t >= pieces[-1].t1 and state.v == 0.0:
        kept.append(Piece(kept[-1].t1, t, state.s, 0.0, 0.0, 0.0, state.s))
    pieces[:] = kept + plan(state)


def sample(pieces: list[Piece], t: float) -> State:
    """Path state by the cubic's own formula."""
    if t >= pieces[-1].t1:
        return State(pieces[-1].s1, 0.0, 0.0)
    for piece in reversed(pieces):
        if piece.t0 <= t:
            x = t - piece.t0
            v = piece.v0 + piece.a0 * x + piece.jerk * x * x / 2
            s = piece.s0 + piece.v0 * x + piece.a0 * x * x / 2 + piece.jerk * x**3 / 6
            return State(s, max(v, 0.0), piece.a0 + piece.jerk * x)
    return State(pieces[0].s0, 0.0, 0.0)


def script(seed: int, contact: float) -> list[Move]:
    """Up and down around the contact, with holds and keys let go; goals keep off every level."""
    pick = random.Random(seed)
    z, moves = contact + 1.503, []
    for _ in range(8):
        goal = contact + pick.randrange(-34, 30) * 0.05 + 0.0133
        if abs(goal - z) < 0.01:
            continue
        kind = pick.choice(("feed", "touch", "touch", "jog"))
        if kind == "touch" and goal > z:
            kind = "feed"
        feed = pick.choice((300.0, 777.0, 1500.0))
        acts: tuple[tuple[float, str], ...] = ()
        length_s = abs(goal - z) / (feed / 60.0)
        if kind == "jog":
            acts = ((length_s * pick.uniform(0.1, 1.1), "release"),)
        elif pick.random() < 0.5:
            first = length_s * pick.uniform(0.0, 1.3)
            acts = ((first, "hold"), (first + pick.uniform(0.001, 0.1), "resume"))
        moves.append(Move(kind, goal, feed, acts))
        z = goal
    return moves


def build(seed: int, pad: bool) -> tuple[Twin, Stepper, list[Move]]:
    contact = CONTACT_Z if pad else TABLE_Z
    floor = contact - TRIP - BUDGET if pad else contact
    z, x = contact + 1.503, X if pad else X - 220.0
    twin = twin_of(
        machine={
            "servo": {"tick_s": TICK},
            "axes": {"z": {"backlash_mm": BACKLASH}},
            "sockets": {"setter": {"filter_s": FILTER, "scan_s": 0.0}},
        },
        setter={"main": {"pre_travel_mm": TRIP, "hysteresis_mm": HYSTERESIS,
                         "overtravel_mm": BUDGET}},
        controller={"position_mm": [x, Y, z]},
    )  # fmt: skip
    return twin, Stepper(z, contact, floor, pad), script(seed, contact)


def act(twin: Twin, what: str) -> None:
    if what == "release":
        twin.controller.release_jog()
    else:
        twin.kernel.set_hold(what == "hold")


def person(twin: Twin, move: Move) -> Any:
    start = twin.env.now
    for after, what in move.acts:
        yield twin.env.timeout(start + after - twin.env.now)
        act(twin, what)


def do(twin: Twin, move: Move) -> Any:
    """The move on the twin; a touch with the input on is a plain feed."""
    if move.acts:
        twin.env.process(person(twin, move))
    here = twin.controller.position[2]
    if move.kind == "jog":
        line = twin.kernel.start(
            "jog", (0.0, 0.0, 1.0 if move.goal > here else -1.0), abs(move.goal - here),
            move.feed / 60.0,
        )  # fmt: skip
        yield line.done
    elif move.kind == "touch":
        return (
            yield from twin.controller.touch(
                z=move.goal, feed_mm_per_min=move.feed, must_contact=False
            )
        )
    else:
        yield from twin.controller.feed(z=move.goal, feed_mm_per_min=move.feed, frame="machine")
    return None


@pytest.mark.parametrize("pad", [True, False])
def test_random_scripts_match_a_stepped_simulation(pad: bool) -> None:
    seen: dict[str, int] = dict.fromkeys(KINDS, 0)
    for seed in range(50 if pad else 8):
        twin, stepper, moves = build(seed, pad)
        for move in moves:
            if move.kind == "touch" and twin.controller.input_on():
                assert stepper.on
                move = move._replace(kind="feed")
            if abs(move.goal - twin.controller.position[2]) < 0.003:
                continue
            twin_t, step_t = twin.env.now, stepper.t
            twin_n, step_n = len(twin.recorder.events), len(stepper.log)
            pressed = stepper.slide <= stepper.floor + 1e-6
            # They start apart by what the lines before have left; slow ramps make more of it.
            apart = abs(stepper.command - twin.controller.position[2])
            late = LATE + 4.0 * apart / (move.feed / 60.0)
            found = twin.perform(do(twin, move))
            stepper.line(move)
            # A hold that comes after the end of its line is still taken back: wait for that.
            rest = max((after for after, _ in move.acts), default=0.0) + 1e-4
            if twin.env.now - twin_t < rest:
                twin.advance(twin_t + rest)
                stepper.t = max(stepper.t, step_t + rest)
                stepper.hold = False
                stepper.rise(stepper.t)
            where = f"seed {seed}, {move}"
            for kind in KINDS:
                if kind == "blocked" and pressed:
                    continue  # it stands against the body already
                roots = [t - twin_t for t, k, _ in twin.recorder.events[twin_n:] if k == kind]
                steps = [t - step_t for t, k in stepper.log[step_n:] if k == kind]
                assert steps == pytest.approx(roots, abs=late), f"{where}: {kind}"
                seen[kind] += len(roots)
            moving = move.feed / 60.0 * LATE + apart
            assert stepper.t - step_t == pytest.approx(twin.env.now - twin_t, abs=late), where
            assert stepper.slide == pytest.approx(twin.kernel.physical()[2], abs=moving), where
            assert stepper.command == pytest.approx(twin.controller.position[2], abs=moving), where
            if found is not None and found.contact:
                assert stepper.latched == pytest.approx(found.z, abs=moving), where
    assert all(seen[kind] > 5 for kind in (KINDS if pad else ("blocked",)))
