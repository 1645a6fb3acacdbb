"""The benchmark scripts run and agree on the physics. How fast they are is not asked here."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

BENCHMARKS = Path(__file__).parents[1] / "benchmarks"


@pytest.fixture(scope="module")
def stepping() -> ModuleType:
    pytest.importorskip("mujoco")
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(BENCHMARKS))
        import touch_off_against_stepping

        return touch_off_against_stepping


@pytest.fixture(scope="module")
def figures(stepping: ModuleType) -> dict[str, Any]:
    return stepping.compare(1)


def test_the_twin_triggers_at_the_closed_form(figures: dict[str, Any]) -> None:
    twin = figures["twin"]
    assert twin.fast_error_um == pytest.approx(0.0, abs=0.01)
    assert twin.slow_error_um == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("way", ["stepped", "in_batches"])
def test_stepping_is_late_by_less_than_two_steps(
    figures: dict[str, Any], stepping: ModuleType, way: str
) -> None:
    found = figures[way]
    for feed, error in (
        (stepping.FAST_MM_PER_MIN, found.fast_error_um),
        (stepping.SLOW_MM_PER_MIN, found.slow_error_um),
    ):
        # It sees the trigger at a later step, never before; the contact costs up to one more.
        assert -2.0 * feed / 60.0 * stepping.STEP_S * 1e3 < error < 0.0


def test_both_take_the_same_simulated_time(figures: dict[str, Any]) -> None:
    twin, stepped = figures["twin"], figures["stepped"]
    # Four steps of reserve and one of sampling for each of six lines.
    assert stepped.simulated_s == pytest.approx(twin.simulated_s, abs=0.03)


def test_batches_and_single_steps_are_the_same_run(figures: dict[str, Any]) -> None:
    single, batches = figures["stepped"], figures["in_batches"]
    for name in ("simulated_s", "fast_error_um", "slow_error_um"):
        assert getattr(batches, name) == pytest.approx(getattr(single, name), abs=1e-6)


def test_exit_status_follows_position_and_ratio_alone(
    stepping: ModuleType,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ways = stepping.Ways
    twin = ways([1.0], 6.0, 0.001, -0.002)
    stepped = ways([30.0], 6.0, -3.0, -0.4)

    def made(_: int) -> dict[str, Any]:
        return {"twin": twin, "stepped": stepped, "in_batches": stepped, "build_ms": 0.1}

    monkeypatch.setattr(stepping, "compare", made)
    assert stepping.main(["--runs", "1"]) == 0
    assert capsys.readouterr().out.count("meets: ") == 3
    twin.simulated_s = 5.9
    assert stepping.main(["--runs", "1"]) == 0
    assert "MISSES: at least 6000 times real time" in capsys.readouterr().out
    stepped.wall_ms = [29.9]
    assert stepping.main(["--runs", "1"]) == 1
    assert "MISSES: at least 30 times" in capsys.readouterr().out
    stepped.wall_ms = [30.0]
    twin.slow_error_um = -0.011
    assert stepping.main(["--runs", "1", "--json"]) == 1
    read = json.loads(capsys.readouterr().out)
    assert list(read["goals"].values()) == [False, True, False]
    with pytest.raises(SystemExit):
        stepping.main(["--runs", "0"])


@pytest.mark.parametrize("name", sorted(path.name for path in BENCHMARKS.glob("test_touch*.py")))
def test_every_benchmark_states_its_goal(name: str) -> None:
    tree = ast.parse((BENCHMARKS / name).read_text(encoding="utf-8"))
    found = [n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name.startswith("test_")]
    assert len(found) > 5
    assert not [n.name for n in found if ":" not in (ast.get_docstring(n) or "")]


def test_every_benchmark_of_the_touch_off_runs(pytester_run: tuple[int, str]) -> None:
    code, text = pytester_run
    assert code == 0, text
    assert " passed" in text


@pytest.fixture(scope="module")
def pytester_run() -> tuple[int, str]:
    """The benchmarks once each, untimed."""
    run = subprocess.run(
        [sys.executable, "-m", "pytest", str(BENCHMARKS / "test_touch_off_speed.py"),
         "--benchmark-disable", "-o", "addopts=-q", "-p", "no:cacheprovider"],
        capture_output=True, text=True, cwd=BENCHMARKS.parent,
    )  # fmt: skip
    return run.returncode, run.stdout + run.stderr
