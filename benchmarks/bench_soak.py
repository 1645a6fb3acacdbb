"""Memory of bench sessions over hours of work without a pause, as fast as the machine goes.

    python benchmarks/bench_soak.py                        one session, an hour
    python benchmarks/bench_soak.py --sessions 30 --hours 2
    python benchmarks/bench_soak.py --unpacked             the same with nothing packed
    python benchmarks/bench_soak.py --trace                Python's own count as well; slow

Each session has a hand of its own that holds keys, turns the wheel, feels, touches, types lines,
runs routines; a page looks on at each tick. Every ten simulated minutes: resident memory of this
process, and how much of the rows is in the sessions' temporary files.
"""

from __future__ import annotations

import argparse
import gc
import re
import tempfile
import time
import tracemalloc
from pathlib import Path

from soak_hand import Hand, scenario

from drytouch.sim.bench import Session
from drytouch.sim.bench.records import Records
from drytouch.sim.recording.rows import Rows

STEP_S = 600.0


def resident_mb(key: str = "VmRSS") -> float:
    """Resident memory of this process; ``VmHWM`` is the most there ever was."""
    status = Path("/proc/self/status")
    text = status.read_text() if status.exists() else ""
    found = re.search(rf"{key}:\s+(\d+)", text)
    return int(found.group(1)) / 1024 if found else float("nan")


def report(hands: list[Hand], now: float, wall: float) -> None:
    recorders = [hand.session.live.twin.recorder for hand in hands]
    traced = (
        f"{tracemalloc.get_traced_memory()[0] / 1e6:8.2f} MB" if tracemalloc.is_tracing() else ""
    )
    print(
        f"{now / 60:5.0f} min {resident_mb():8.1f} MB {traced}"
        f"{sum(hand.session.live.spool.size_bytes for hand in hands) / 1e6:9.2f} MB in files"
        f"{sum(len(r.lines) for r in recorders):9d} lines"
        f"{sum(len(hand.session.live.log) for hand in hands):8d} actions"
        f"{wall:8.1f} s",
        flush=True,
    )


def soak(sessions: int, hours: float, pages: bool) -> list[Hand]:
    hands = [Hand(Session.open(scenario(seed)), seed, pages) for seed in range(1, sessions + 1)]
    began = time.perf_counter()
    now = 0.0
    memory = []
    while now < hours * 3600.0:
        now += STEP_S
        # By turns, a minute each: at a real bench they all go on at once.
        for until in range(60, int(STEP_S) + 1, 60):
            for hand in hands:
                hand.work(until_s=now - STEP_S + until)
        gc.collect()
        memory.append(resident_mb())
        report(hands, now, time.perf_counter() - began)
    half = len(memory) // 2
    if half:
        grown = (memory[-1] - memory[half - 1]) / (now - half * STEP_S) * 3600.0
        print(f"second half: {grown:+.2f} MB an hour in all, {grown / sessions:+.3f} a session")
    return hands


def keep(hand: Hand) -> None:
    """Judge and save one session, and say what that took."""
    before, began = resident_mb("VmHWM"), time.perf_counter()
    hand.session.finish()
    judged = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        Records(Path(folder)).save(hand.session)
        size = sum(file.stat().st_size for file in Path(folder).iterdir()) / 1e6
    print(
        f"judged in {judged - began:.2f} s, saved in {time.perf_counter() - judged:.2f} s: "
        f"{size:.1f} MB on disk; most resident memory ever {before:.1f} MB before, "
        f"{resident_mb('VmHWM'):.1f} MB after"
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sessions", type=int, default=1)
    options.add_argument("--hours", type=float, default=1.0)
    options.add_argument("--unpacked", action="store_true", help="nothing is packed")
    options.add_argument("--trace", action="store_true", help="count with tracemalloc as well")
    options.add_argument("--no-page", action="store_true", help="nobody looks on")
    given = options.parse_args()
    if given.unpacked:
        Rows.pack = lambda self: None  # type: ignore[method-assign]
    if given.trace:
        tracemalloc.start(1)
    keep(soak(given.sessions, given.hours, not given.no_page)[0])


if __name__ == "__main__":
    main()
