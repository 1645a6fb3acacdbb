"""What a set of trials is, and doing some of them: the same rows wherever and whenever it is done.

A plan is sent to a worker once; after that, only numbers of trials go out and rows come back.
"""

from __future__ import annotations

import json
import pickle
import platform
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from threading import Lock
from typing import Any

import numpy

from drytouch.sim.errors import StepError
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.vary import Variation, Vary
from drytouch.sim.twin.stage import Stage
from drytouch.sim.twin.twin import VERSION, Twin

# Chunks are finished parts on disk: small enough to lose, large enough to cost nothing to send.
MOST_IN_CHUNK, LEAST_IN_CHUNK = 250, 10
CHUNKS_WANTED = 32
# Verdict of a trial in which a step could not be done at all.
UNDONE = "undone"


@dataclass(frozen=True)
class Plan:
    """A scenario, what varies in it, how many trials, and the seed of the first.

    Trial ``i`` has seed ``seed + i``: ``drytouch run SCENARIO --seed`` shows the same chance again.
    """

    scenario: Scenario
    varies: tuple[Vary, ...]
    count: int
    seed: int

    @property
    def chunk(self) -> int:
        """Trials in one part; it depends on the plan alone, never on who does it."""
        return max(LEAST_IN_CHUNK, min(MOST_IN_CHUNK, self.count // CHUNKS_WANTED))

    @property
    def parts(self) -> int:
        """How many parts there are."""
        return -(-self.count // self.chunk)

    def part(self, number: int) -> tuple[int, int]:
        """First trial of a part, and how many it has."""
        first = number * self.chunk
        return first, min(self.chunk, self.count - first)

    @cached_property
    def identity(self) -> str:
        """A digest of everything that the results depend on."""
        said = {
            "scenario": self.scenario.model_dump(mode="json"),
            "files": [sha256(Path(name).read_bytes()).hexdigest() for name in self._files()],
            "varies": [[v.key.name, v.key.factor, v.kind, v.values] for v in self.varies],
            "count": self.count,
            "seed": self.seed,
            "versions": [VERSION, numpy.__version__, platform.python_version()],
        }
        return sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()

    def _files(self) -> list[str]:
        """Files that the scenario reads while it runs."""
        named = [str(getattr(step, "file", None) or "") for step in self.scenario.steps]
        solids = [part for stock in self.scenario.stock.values() for part in stock.parts]
        named += [part.file or "" for part in (*solids, *self.scenario.machine.bodies)]
        return [name for name in named if name and Path(name).is_file()]

    def packed(self) -> bytes:
        """The plan as bytes for a worker."""
        return pickle.dumps(self)


class Performer:
    """One worker's twin-maker: the stage is built once where no varied value moves a body."""

    def __init__(self, plan: Plan) -> None:
        from drytouch.sim.faults import with_faults

        self.plan = plan
        scenario = with_faults(plan.scenario)
        self._variation = Variation(scenario, plan.varies)
        self._stage = Stage(scenario)

    def twin(self, index: int) -> tuple[Twin, tuple[Any, ...], int]:
        """The twin of one trial, ready to run; the values in it; how many draws were refused."""
        seed = self.plan.seed + index
        scenario, values, again = self._variation.at(index, seed)
        if not values:
            stage = self._stage
        elif self._variation.moves_bodies:
            stage = Stage(scenario)
        else:
            stage = self._stage.with_figures(scenario)
        return Twin(scenario, seed, stage), values, again

    def row(self, index: int) -> list[Any]:
        """One trial as plain data, in the order that ``rows_of`` reads."""
        twin, values, again = self.twin(index)
        try:
            outcome = twin.run_steps()
        except StepError as error:
            return [index, UNDONE, "", "", 0.0, again, error.message, list(values), {}]
        finally:
            _take_apart(twin)
        return [
            index,
            outcome.verdict,
            ";".join(outcome.codes),
            ";".join(alarm.code for _, alarm in outcome.alarms),
            outcome.time_s,
            again,
            outcome.error,
            list(values),
            {
                number.name: (number.error, abs(number.error) <= number.tolerance)
                for number in outcome.numbers.values()
            },
        ]

    def part(self, first: int, count: int) -> bytes:
        """The rows of some trials, as the part's file holds them."""
        rows = [self.row(index) for index in range(first, first + count)]
        return json.dumps(rows, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"


def _take_apart(twin: Twin) -> None:
    """Undo the circles between a twin's rooms, so that it goes at once.

    The collector would find them too, and took a twentieth of the time of short trials.
    """
    twin.env.agenda._handlers.clear()
    for room in (twin.controller, twin.judge, twin.kernel, twin.env, twin):
        room.__dict__.clear()


# ---- on a worker -----------------------------------------------------------------------------

_KEPT = 4  # plans that a worker remembers; a cluster may serve several studies
_performers: dict[bytes, Performer] = {}
_lock = Lock()
_mine: list[bytes] = []


def begin_worker(packed: bytes, in_process: bool = True) -> None:
    """Give a worker its plan; ``in_process``: it is a process of its own, and ends with ours."""
    if in_process:
        _outlive_nobody()
    _mine[:] = [packed]
    _performer(packed)


def do_mine(first: int, count: int) -> bytes:
    """Some trials of the plan that this worker began with."""
    return _performer(_mine[0]).part(first, count)


def do_part(packed: bytes, first: int, count: int) -> bytes:
    """Some trials of a plan that comes along; what was built for it is kept."""
    return _performer(packed).part(first, count)


def _performer(packed: bytes) -> Performer:
    with _lock:
        found = _performers.get(packed)
        if found is None:
            while len(_performers) >= _KEPT:
                del _performers[next(iter(_performers))]
            found = _performers[packed] = Performer(pickle.loads(packed))
        return found


def _outlive_nobody() -> None:
    """Leave Ctrl-C to the parent, and end when the parent has gone, however it went."""
    import os
    import signal
    from multiprocessing import parent_process
    from multiprocessing.connection import wait
    from threading import Thread

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is None:
        return

    def watch() -> None:
        wait([parent.sentinel])
        os._exit(1)

    Thread(target=watch, daemon=True).start()
