"""The fuzz target over a seeded corpus: a result or a known error, never anything else."""

from __future__ import annotations

import pytest
from fuzz.fuzz_program import SEEDS, corpus, target

PER_SEED = 600


@pytest.mark.parametrize("seed", range(6))
def test_mutated_programs_end_in_a_result_or_a_known_error(seed: int) -> None:
    for number, data in enumerate(corpus(seed, PER_SEED)):
        try:
            target(data)
        except Exception as error:
            pytest.fail(f"seed {seed}, input {number}: {data!r}\n{error!r}")


@pytest.mark.parametrize("text", SEEDS)
def test_seeds_themselves_are_right(text: str) -> None:
    from drytouch.sim.program.check import check_program

    assert [e for e in check_program(text).errors if e.code not in ("E-ARC", "E-FEED")] == []


@pytest.mark.parametrize(
    "text",
    [
        "[" * 200, "#" * 250 + "1", "X" + "[" * 120 + "1" + "]" * 120, "(" * 100,
        "X" + "1" * 255, "N" + "0" * 200, "X1" + "\t" * 254, "#1=" + "-#" * 120 + "1",
        "X[1" + "**9" * 80 + "]", "X" + "SIN[" * 60 + "1" + "]" * 60, "\x00", "\u2028", "%%",
    ],
    ids=range(13),
)  # fmt: skip
def test_extremes(text: str) -> None:
    target(text.encode())
    target(f"%\n{text}\n%\n".encode())
