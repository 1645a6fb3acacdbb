"""How long reading, checking and running long programs takes.

The aim on one ordinary core: 100,000 lines read and checked in 10 s, within 300 MB.
"""

from __future__ import annotations

import random
import resource

import pytest

from drytouch.sim.program import IdealMachine, Interpreter, read_program
from drytouch.sim.program.check import check_program

LINES = 100_000


def long_program(lines: int) -> str:
    chance = random.Random(1)
    moves = (
        f"N{k % 99999} G1 X{chance.random() * 100:.3f} Y{chance.random() * 100:.3f} "
        f"Z{-chance.random():.3f} F{chance.randint(10, 999)}"
        for k in range(lines)
    )
    return "\n".join(["G21 G90 G17", *moves, "M30", ""])


def test_read_and_check(benchmark) -> None:  # type: ignore[no-untyped-def]
    text = long_program(LINES)
    seen: list[tuple[int, int]] = []
    checked = benchmark.pedantic(
        check_program, (text,), {"progress": lambda k, n: seen.append((k, n))}, rounds=1
    )
    assert checked.errors == ()
    assert checked.lines == LINES + 2
    assert len(seen) > 20
    assert seen[-1] == (LINES + 2, LINES + 2)
    # The whole process, libraries and the text itself included.
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024 < 300
    if benchmark.stats is not None:
        assert benchmark.stats.stats.max < 10


@pytest.mark.parametrize("body", ["G1 X1 Y2 F100", "#1=[#1+SIN[30]*2]", "G38.2 Z-5 F100"])
def test_run(benchmark, body: str) -> None:  # type: ignore[no-untyped-def]
    loop = f"WHILE [#2 LT 1000] DO 1\n#2=[#2+1]\nG0 Z9\n{body}\nEND 1"
    program = read_program(f"G21\n#2=0\n{loop}\nM2\n")

    def run() -> int:
        machine = IdealMachine(touch_anywhere=True, logging=False)
        lines = 0
        process = Interpreter(machine).execute(program.main)
        try:
            while True:
                next(process)
        except StopIteration as done:
            lines = done.value.lines
        return lines

    assert benchmark(run) == 5004
