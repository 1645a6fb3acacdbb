"""One routine against every fault of the catalogue: caught, missed, harm, or no effect.

First it runs without a fault; a routine that does not come out right there says nothing about
faults, and the matrix ends with that news.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from itertools import combinations
from multiprocessing import get_context
from typing import Any

from drytouch.sim.errors import InputError, StepError
from drytouch.sim.faults import FAULTS, fault_named
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.case import WORST_FIRST, Case, Result, Trace, run_case
from drytouch.sim.study.job import Job

SCORE_RULE = (
    "each fault that had an effect and that a routine could notice counts +1 when caught, 0 when "
    "missed and -1 when it came to harm; their mean times 100, never below 0, times the share of "
    "runs without a fault that ended right"
)
RUNS_WITHOUT = 5
# A second process costs about this much to start (measured: imports, and the scenario's way over).
POOL_WORTH_S = 3.0
WORKERS = 2
_CHUNK = 8
Done = Callable[[Case], None]


@dataclass(slots=True)
class Matrix:
    """What came of one routine on one scenario.

    ``without``: the runs without a fault, first the scenario's own seed, then the next ones.
    ``finished`` is False where it was interrupted.
    """

    job: Job
    scenario: str
    seed: int
    without: list[Case] = field(default_factory=list)
    cases: list[Case] = field(default_factory=list)
    pairs: list[Case] = field(default_factory=list)
    finished: bool = True

    @property
    def sound(self) -> bool:
        """Whether it came out right without a fault, so that the rest says anything."""
        return bool(self.without) and self.without[0].verdict == "right" and not self.broken

    @property
    def broken(self) -> str:
        """Why the run without a fault broke off, if it did."""
        return self.without[0].alarm if self.without else ""

    @property
    def false_stops(self) -> int:
        """Runs without a fault that stopped all the same."""
        return sum(case.verdict != "right" or bool(case.alarm) for case in self.without)

    @property
    def score(self) -> float | None:
        """Safety score, 0 to 100 by ``SCORE_RULE``; None where nothing can be said."""
        counted = [case.result for case in self.cases if case.counts]
        if not self.sound or not counted:
            return None
        points = counted.count("caught") - counted.count("harm")
        share = 1.0 - self.false_stops / len(self.without)
        return 100.0 * max(points, 0) / len(counted) * share

    def count(self, result: Result) -> int:
        """How many faults ended this way."""
        return sum(case.result == result for case in self.cases)

    @property
    def worse_together(self) -> list[Case]:
        """Pairs that end worse than either fault alone: one hides the other."""
        alone = {case.faults[0]: WORST_FIRST.index(case.result) for case in self.cases}
        return [
            pair
            for pair in self.pairs
            if WORST_FIRST.index(pair.result) < min(alone[name] for name in pair.faults)
        ]

    def to_dict(self) -> dict[str, Any]:
        """Plain data for a report."""
        return {
            "routine": self.job.name,
            "arguments": dict(self.job.arguments),
            "scenario": self.scenario,
            "seed": self.seed,
            "finished": self.finished,
            "right_without_fault": self.sound,
            "runs_without_fault": [case.to_dict() for case in self.without],
            "false_stops": self.false_stops,
            "score": self.score,
            "score_rule": SCORE_RULE,
            "counts": {
                "caught": self.count("caught"),
                "missed": self.count("missed"),
                "harm": self.count("harm"),
                "no-effect": self.count("no effect"),
            },
            "faults": [case.to_dict() for case in self.cases],
            "pairs": [case.to_dict() for case in self.pairs],
            "worse_together": [list(case.faults) for case in self.worse_together],
        }


def run_matrix(
    job: Job,
    scenario: Scenario,
    *,
    pairs: bool = False,
    only: Sequence[str] = (),
    seed: int | None = None,
    done: Done | None = None,
    workers: int | None = None,
) -> Matrix:
    """Run a job without a fault, then under every fault (or ``only`` these), then under pairs.

    ``done`` is told each case as it ends. ``workers`` above 1 always uses a pool, 1 never; absent:
    where the work is long enough to be worth it. Ctrl-C ends it early, with what is done.

    Raises:
        InputError: an unknown fault, or the job can't be run at all.
    """
    names = _names(only)
    start = scenario.seed if seed is None else seed
    matrix = Matrix(job, scenario.name, start)
    tell = done or _nobody
    try:
        seconds = _without(matrix, scenario, tell)
        if matrix.sound:
            usual = matrix.without[0].trace
            single = [(name,) for name in names]
            for case in _all(job, scenario, single, usual, start, seconds, workers):
                matrix.cases.append(case)
                tell(case)
            if pairs:
                acting = [case.faults[0] for case in matrix.cases if not case.impossible]
                double = list(combinations(acting, 2))
                for case in _all(job, scenario, double, usual, start, seconds, workers):
                    matrix.pairs.append(case)
                    tell(case)
    except KeyboardInterrupt:
        matrix.finished = False
    return matrix


def _names(only: Iterable[str]) -> list[str]:
    try:
        return [fault_named(name).name for name in only] or list(FAULTS)
    except StepError as error:
        raise InputError(error.message, fix=error.fix) from None


def _nobody(_: Case) -> None:
    """Nobody listens."""


def _without(matrix: Matrix, scenario: Scenario, tell: Done) -> float:
    """The runs without a fault; how long one took, s."""
    started = time.perf_counter()
    for index in range(RUNS_WITHOUT if scenario.chance else 1):
        case = run_case(matrix.job, scenario, (), None, matrix.seed + index)
        matrix.without.append(case)
        tell(case)
        if not matrix.sound:
            break
    return (time.perf_counter() - started) / len(matrix.without)


def _all(
    job: Job,
    scenario: Scenario,
    combined: Sequence[tuple[str, ...]],
    usual: Trace,
    seed: int,
    seconds: float,
    workers: int | None,
) -> Iterator[Case]:
    """All cases in the order asked for, from this process or from several."""
    count = workers if workers is not None else min(WORKERS, os.cpu_count() or 1)
    if count < 2 or (workers is None and seconds * len(combined) < POOL_WORTH_S):
        for faults in combined:
            yield run_case(job, scenario, faults, usual, seed)
        return
    # A fresh interpreter, not a copy of this one: a copy may hold locks of threads that it lacks.
    pool = ProcessPoolExecutor(count, get_context("spawn"), _take, (job, scenario, usual, seed))
    try:
        yield from pool.map(_do, combined, chunksize=_CHUNK)
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


# What a worker process works on; it never changes there.
_WORK: list[Any] = []


def _take(*work: Any) -> None:
    # Ctrl-C reaches every process of a terminal; the first one ends the others.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _WORK[:] = work


def _do(faults: tuple[str, ...]) -> Case:
    job, scenario, usual, seed = _WORK
    return run_case(job, scenario, faults, usual, seed)
