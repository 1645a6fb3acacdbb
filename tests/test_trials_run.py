"""The same seeds give the same bytes: whoever does them, in whatever order, stopped or not."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from trial_cases import LENGTH, VARIES, bytes_of, plan_of

from drytouch.sim.errors import InputError
from drytouch.sim.study.trials import Parts, do_trials
from drytouch.sim.study.trials_hands import ClusterHands, ExecutorHands, OwnHands, PoolHands
from drytouch.sim.study.trials_plan import Performer, Plan
from drytouch.sim.twin.twin import Twin

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


class Backwards(Executor):
    """Does what it was given last, first, and only when somebody waits for it."""

    def __init__(self) -> None:
        self._waiting: list[tuple[Future[Any], Any]] = []

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        self._waiting.append((future, partial(fn, *args, **kwargs)))
        if len(self._waiting) == 1:
            threading.Timer(0.02, self._work).start()
        return future

    def _work(self) -> None:
        waiting, self._waiting = self._waiting, []
        for future, call in reversed(waiting):
            future.set_result(call())


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return bytes_of(tmp_path_factory.mktemp("own") / "parts", plan_of(60))


def test_a_trial_is_the_run_with_its_seed() -> None:
    plan = plan_of(5, (), seed=40)
    rows = json.loads(Performer(plan).part(0, 5))
    for row in rows:
        outcome = Twin(plan.scenario, 40 + row[0]).run_steps()
        assert row[1] == outcome.verdict
        assert row[4] == outcome.time_s
        errors = {number.name: number.error for number in outcome.numbers.values()}
        assert {name: entry[0] for name, entry in row[8].items()} == errors


def test_a_shared_stage_changes_nothing() -> None:
    plan = plan_of(6)
    performer = Performer(plan)
    for index in range(6):
        twin, _, _ = performer.twin(index)
        anew = Twin(twin.scenario, plan.seed + index)
        assert twin.run_steps().to_dict() == anew.run_steps().to_dict()


def test_processes_give_the_same_bytes(tmp_path: Path, reference: bytes) -> None:
    assert bytes_of(tmp_path / "parts", plan_of(60), lambda plan: PoolHands(plan, 2)) == reference


def test_threads_give_the_same_bytes(tmp_path: Path, reference: bytes) -> None:
    with ThreadPoolExecutor(2) as threads:
        got = bytes_of(tmp_path / "parts", plan_of(60), lambda p: ExecutorHands(p, threads, 2))
    assert got == reference


def test_the_order_of_parts_does_not_matter(tmp_path: Path, reference: bytes) -> None:
    backwards = Backwards()
    got = bytes_of(tmp_path / "parts", plan_of(60), lambda p: ExecutorHands(p, backwards, 4))
    assert got == reference


def test_only_missing_parts_are_done_again(tmp_path: Path, reference: bytes) -> None:
    plan = plan_of(60)
    assert bytes_of(tmp_path / "parts", plan) == reference
    parts = Parts(tmp_path / "parts", plan)
    kept = parts.path(3).stat().st_mtime_ns
    parts.path(1).unlink()
    parts.path(4).unlink()
    done: list[int] = []
    parts.open(resume=True)
    assert parts.done_trials() == 40
    do_trials(parts, OwnHands(plan), done.append)
    assert done == [10, 10]
    assert parts.path(3).stat().st_mtime_ns == kept
    assert bytes_of(tmp_path / "parts", plan, resume=True) == reference


def test_an_unfinished_study_is_not_overwritten(tmp_path: Path) -> None:
    Parts(tmp_path / "parts", plan_of(60)).open(resume=False)
    with pytest.raises(InputError, match="0 of 60 done"):
        Parts(tmp_path / "parts", plan_of(60)).open(resume=False)
    for other in (plan_of(61), plan_of(60, seed=2), plan_of(60, VARIES[:1])):
        with pytest.raises(InputError, match="another study"):
            Parts(tmp_path / "parts", other).open(resume=True)
        with pytest.raises(InputError, match="another study"):
            Parts(tmp_path / "parts", other).open(resume=False)


@pytest.mark.parametrize("content", [b"", b"[", b"[[3]]", b"{}"])
def test_a_damaged_part_is_named(tmp_path: Path, content: bytes) -> None:
    plan = plan_of(20)
    bytes_of(tmp_path / "parts", plan)
    parts = Parts(tmp_path / "parts", plan)
    parts.path(1).write_bytes(content)
    with pytest.raises(InputError, match="damaged") as caught:
        list(parts.read())
    assert caught.value.file == str(parts.path(1))


@POSIX
def test_a_killed_process_loses_nothing(tmp_path: Path, reference: bytes) -> None:
    plan = plan_of(60)
    parts = Parts(tmp_path / "parts", plan)
    parts.open(resume=False)
    hands = PoolHands(plan, 2)
    killed: list[int] = []

    def kill_one(count: int) -> None:
        if len(killed) < 2:
            process = next(iter(hands._pool._processes.values()))
            assert process.pid is not None
            os.kill(process.pid, signal.SIGKILL)
            killed.append(process.pid)

    do_trials(parts, hands, kill_one)
    assert len(killed) == 2
    assert b"".join(parts.path(n).read_bytes() for n in range(plan.parts)) == reference


class Breaking(Executor):
    """Loses its workers whenever it is asked."""

    asked = 0

    def __init__(self, error: Exception) -> None:
        self._error = error

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        Breaking.asked += 1
        future: Future[Any] = Future()
        future.set_exception(self._error)
        return future


def test_what_is_lost_for_ever_ends_with_a_message(tmp_path: Path) -> None:
    plan = plan_of(10)
    for error, said in ((BrokenExecutor(), "has lost its workers"), (OSError("gone"), "3 times")):
        parts = Parts(tmp_path / type(error).__name__, plan)
        parts.open(resume=False)
        with pytest.raises(InputError, match=said):
            do_trials(parts, ExecutorHands(plan, Breaking(error)))
        assert parts.missing() == [0]


def test_a_mistake_in_the_code_is_not_hidden(tmp_path: Path) -> None:
    parts = Parts(tmp_path / "parts", plan_of(10))
    parts.open(resume=False)
    with pytest.raises(ZeroDivisionError):
        do_trials(parts, ExecutorHands(parts.plan, Breaking(ZeroDivisionError())))


def command(*more: str) -> list[str]:
    varied = [word for text in VARIES for word in ("--vary", text)]
    start = [sys.executable, "-c", "from drytouch.sim.commands.main import main; exit(main())"]
    return [*start, "trials", LENGTH, *varied, "--workers", "2", *more]


def stopped(folder: Path, how: int, count: str) -> int:
    """Begin trials, stop them when some parts are there; the number of parts that were left."""
    begun = subprocess.Popen(
        command("--count", count, "--out", str(folder)),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    parts = folder / f"{LENGTH}.trials.parts"
    end = time.monotonic() + 60
    while len(list(parts.glob("part-*.json"))) < 2 and time.monotonic() < end:
        assert begun.poll() is None, begun.stderr and begun.stderr.read()
        time.sleep(0.005)
    begun.send_signal(how)
    begun.communicate(timeout=60)
    assert begun.returncode == (130 if how == signal.SIGINT else -how)
    assert not (folder / f"{LENGTH}.trials.csv").exists()
    return len(list(parts.glob("part-*.json")))


@POSIX
def test_stopped_and_resumed_ends_with_the_same_file(tmp_path: Path) -> None:
    count = "700"
    subprocess.run(
        command("--count", count, "--out", str(tmp_path / "whole")),
        check=False,
        capture_output=True,
    )
    whole = (tmp_path / "whole" / f"{LENGTH}.trials.csv").read_bytes()
    assert whole.count(b"\n") == 701
    for how in (signal.SIGINT, signal.SIGKILL):
        folder = tmp_path / how.name
        left = stopped(folder, how, count)
        assert 2 <= left < 34
        ended = subprocess.run(
            command("--count", count, "--out", str(folder), "--resume"),
            check=False, capture_output=True, text=True,
        )  # fmt: skip
        assert ended.returncode in (0, 1), ended.stderr
        for ending in ("csv", "json", "html"):
            name = f"{LENGTH}.trials.{ending}"
            assert (folder / name).read_bytes() == (tmp_path / "whole" / name).read_bytes()
        assert sorted(path.name for path in folder.iterdir()) == sorted(
            f"{LENGTH}.trials.{ending}" for ending in ("csv", "json", "html")
        )


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_a_cluster_gives_the_same_bytes_and_survives_a_loss(
    tmp_path: Path, reference: bytes
) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=60
    ) as cluster:
        plan = plan_of(60)
        address = cluster.scheduler_address
        got = bytes_of(tmp_path / "calm", plan, lambda plan: ClusterHands(plan, address))
        assert got == reference
        # The same again with a worker killed in the middle.
        parts = Parts(tmp_path / "lossy", plan)
        parts.open(resume=False)
        hands = ClusterHands(plan, address)
        pids = list(hands._client.run(os.getpid).values())
        assert len(pids) == 2
        killed: list[int] = []

        def kill_one(count: int) -> None:
            if not killed:
                killed.append(pids[0])
                os.kill(pids[0], signal.SIGTERM if sys.platform == "win32" else signal.SIGKILL)

        do_trials(parts, hands, kill_one)
        assert killed
        assert b"".join(parts.path(n).read_bytes() for n in range(plan.parts)) == reference


def test_a_cluster_that_is_not_there_is_named() -> None:
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="no cluster answers at nonsense"):
        ClusterHands(plan_of(10), "nonsense://127.0.0.1:1")


def test_a_plan_knows_what_it_depends_on() -> None:
    plan = plan_of(1000)
    assert plan.identity == plan_of(1000).identity
    others = (plan_of(999), plan_of(1000, seed=2), plan_of(1000, VARIES[1:]))
    changed = plan.scenario.model_copy(update={"time_limit_s": 10.0})
    assert plan.identity not in {other.identity for other in others}
    assert plan.identity != Plan(changed, plan.varies, 1000, 1).identity


@pytest.mark.parametrize("count", [1, 9, 10, 11, 319, 320, 8000, 123456])
def test_parts_cover_every_trial_once(count: int) -> None:
    plan = plan_of(count, ())
    covered = 0
    for number in range(plan.parts):
        first, length = plan.part(number)
        assert first == covered
        assert 1 <= length <= 250
        covered += length
    assert covered == count
