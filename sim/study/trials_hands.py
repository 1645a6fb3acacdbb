"""Who does the trials: this process, a pool of processes, any executor, or a cluster."""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from importlib import import_module
from typing import Any, Protocol

from drytouch.sim.errors import InputError
from drytouch.sim.extras import install_hint
from drytouch.sim.study.trials_plan import Plan, begin_worker, do_mine, do_part

# So many parts wait for each worker: it never idles, and memory stays flat.
_AHEAD = 2


class Hands(Protocol):
    """Does parts of a plan. ``window``: how many may be under way at once."""

    window: int

    def submit(self, first: int, count: int) -> Future[bytes]:
        """Begin a part."""

    def renew(self) -> bool:
        """Replace lost workers; False where that can't be done from here."""

    def close(self, wait: bool) -> None:
        """Let go of the workers."""


class OwnHands:
    """This process does it, one part at a time."""

    window = 1

    def __init__(self, plan: Plan) -> None:
        self._packed = plan.packed()

    def submit(self, first: int, count: int) -> Future[bytes]:
        """Do a part at once."""
        future: Future[bytes] = Future()
        try:
            future.set_result(do_part(self._packed, first, count))
        except Exception as error:
            future.set_exception(error)
        return future

    def renew(self) -> bool:
        """There is nobody to replace."""
        return False

    def close(self, wait: bool) -> None:
        """There is nobody to let go."""


class PoolHands:
    """Processes of this machine. Each gets the plan once, when it starts."""

    def __init__(self, plan: Plan, workers: int) -> None:
        self._packed = plan.packed()
        self._workers = workers
        self.window = workers * (1 + _AHEAD)
        self._pool = self._new()

    def _new(self) -> ProcessPoolExecutor:
        # Forking is three times as quick to start, and safe only while no other thread runs.
        forks = sys.platform == "linux" and threading.active_count() == 1
        return ProcessPoolExecutor(
            self._workers,
            mp_context=multiprocessing.get_context("fork" if forks else "spawn"),
            initializer=begin_worker,
            initargs=(self._packed,),
        )

    def submit(self, first: int, count: int) -> Future[bytes]:
        """Begin a part."""
        return self._pool.submit(do_mine, first, count)

    def renew(self) -> bool:
        """New processes; the old pool is broken as a whole."""
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool = self._new()
        return True

    def close(self, wait: bool) -> None:
        """End the processes; without ``wait`` what is under way is given up."""
        if not wait:
            for process in list((self._pool._processes or {}).values()):
                process.terminate()
        self._pool.shutdown(wait=True, cancel_futures=True)


class ExecutorHands:
    """Any executor of ``concurrent.futures``; the plan goes with each part and is kept there."""

    def __init__(self, plan: Plan, executor: Executor, workers: int = 4) -> None:
        self._packed: Any = plan.packed()
        self._executor = executor
        self.window = workers * (1 + _AHEAD)

    def submit(self, first: int, count: int) -> Future[bytes]:
        """Begin a part."""
        return self._executor.submit(do_part, self._packed, first, count)

    def renew(self) -> bool:
        """A lost executor belongs to whoever made it."""
        return False

    def close(self, wait: bool) -> None:
        """The executor stays with whoever made it."""


class ClusterHands(ExecutorHands):
    """A Dask cluster. The plan is sent once to each worker; lost work is done by the others."""

    def __init__(self, plan: Plan, address: str) -> None:
        try:
            # It has no types: loaded by name, nothing is expected of it.
            library: Any = import_module("distributed")
        except ImportError:
            raise InputError(
                "a cluster needs the library 'distributed'",
                key="--cluster",
                fix=f"install it with: {install_hint('cluster')}",
            ) from None
        try:
            self._client = library.Client(address, timeout="10s", set_as_default=False)
        except (OSError, ValueError) as error:
            raise InputError(
                f"no cluster answers at {address}: {str(error).splitlines()[0]}",
                key="--cluster",
                fix="start one with 'dask scheduler' and 'dask worker', and give its address",
            ) from None
        threads = sum(self._client.nthreads().values())
        if threads == 0:
            self._client.close()
            raise InputError(
                f"the cluster at {address} has no workers",
                key="--cluster",
                fix=f"start some with: dask worker {address}",
            )
        # Not pure: a part that was lost with its worker must be done again, not looked up.
        super().__init__(plan, self._client.get_executor(pure=False), threads)
        self._packed = self._client.scatter(self._packed, broadcast=True, hash=False)

    def close(self, wait: bool) -> None:
        """Leave the cluster; it goes on without us."""
        self._client.close()


def workers_here() -> int:
    """How many processes this machine can keep busy for us."""
    if hasattr(os, "sched_getaffinity"):
        return max(1, len(os.sched_getaffinity(0)))
    return max(1, os.cpu_count() or 1)
