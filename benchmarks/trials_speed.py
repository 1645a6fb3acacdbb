"""How many trials a second, and whether memory stays flat: ``python benchmarks/trials_speed.py``.

Goal: 1,500 trials a second of a measured length on two cores. On a machine that does other work as
well, processor time per trial is the figure to go by: 1.33 ms is that goal.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

from drytouch.sim.commands.trials import merge
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.study.trials import Parts, do_trials
from drytouch.sim.study.trials_hands import PoolHands
from drytouch.sim.study.trials_plan import Plan
from drytouch.sim.study.vary import parse_varies

SCENARIO = "length-done-right"
WORKERS = 2
CASES = {
    "plain": (),
    "two figures vary": (
        "setter.setter.pre_travel_um=uniform:98,102",
        "machine.axes.z.backlash_um=normal:1,0.1",
    ),
    "a body varies": ("tools.end-mill-10.worn_um=uniform:0,20",),
}


def processor_s() -> float:
    """Processor time of this process and of those that have ended, s."""
    own = resource.getrusage(resource.RUSAGE_SELF)
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime + ended.ru_utime + ended.ru_stime


def peak_mb() -> tuple[float, float]:
    """Largest memory of this process, and of the largest that has ended, MB."""
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def measure(name: str, varied: tuple[str, ...], count: int) -> None:
    """Run, merge, and print one line."""
    scenario = load_scenario(SCENARIO)
    plan = Plan(scenario, parse_varies(scenario, varied), count, 1)
    with tempfile.TemporaryDirectory() as folder:
        parts = Parts(Path(folder) / "parts", plan)
        parts.open(resume=False)
        used, begun = processor_s(), time.perf_counter()
        do_trials(parts, PoolHands(plan, WORKERS))
        done = time.perf_counter()
        merge(parts, Path(folder) / "table.csv")
        ended = time.perf_counter()
    own, worker = peak_mb()
    print(
        f"{name:18} {count:7d} trials  {count / (done - begun):6.0f} a second  "
        f"{(processor_s() - used) / count * 1e3:.2f} ms of processor each, all included  "
        f"merged in {ended - done:.2f} s  peak {own:.0f} MB here, {worker:.0f} MB a worker"
    )


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 8000
    for case, texts in CASES.items():
        measure(case, texts, wanted)
    measure("plain, four times", (), 4 * wanted)
