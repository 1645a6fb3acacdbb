"""Safe feeds against closed forms, and against the twin at, below and above them."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from command_cases import below, call
from hypothesis import given
from hypothesis import strategies as st

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.feeds import InputChain, chains_of
from drytouch.sim.study.feeds_proof import Proof
from drytouch.sim.study.feeds_report import report_on
from drytouch.sim.twin.twin import Twin

LENGTH = "length-done-right"
# One with bounce and scan, one with a filter, one with a radio link, one that is a stepper's.
CASES = ("length-done-right", "bed-mill-done-right", "commissioning-by-master",
         "gantry-router-done-right")  # fmt: skip


@cache
def scenario_of(name: str) -> Scenario:
    return load_scenario(name)


def chain_of(name: str, **changes: Any) -> InputChain:
    chain = chains_of(scenario_of(name), None, None)[0]
    return replace(chain, **changes) if changes else chain


def test_overtravel_by_hand() -> None:
    """v * (bounce + filter + scan + link + tick) + v * (1 - k) / Kv + v * T / 2."""
    chain = chain_of("bed-mill-done-right")
    machine, setter = chain.machine, chain.setter
    z, servo = machine.axes.z, machine.servo
    v = 30.0
    times = setter.bounce_s + chain.socket.filter_s + chain.socket.scan_s + servo.tick_s
    lag = 0.0 if servo.drive == "stepper" else (1 - servo.feed_forward) / servo.position_gain_per_s
    a, j = z.acceleration_mm_per_s2, z.jerk_mm_per_s3
    stop_s = v / a + a / j if v >= a * a / j else 2 * math.sqrt(v / j)
    assert chain.overtravel(v) == pytest.approx(v * (times + lag) + v * stop_s / 2, rel=1e-12)


def test_the_link_counts_with_all_its_jitter() -> None:
    chain = chain_of("commissioning-by-master")
    link = chain.setter.link
    assert link.kind == "radio"
    assert chain.causes_s(True)["link"] == link.delay_s + link.jitter_s
    assert chain.causes_s(False)["link"] == link.delay_s + link.jitter_s / 2


@pytest.mark.parametrize("name", CASES)
def test_the_worst_case_is_worse_cause_by_cause(name: str) -> None:
    chain = chain_of(name)
    worst, expected = chain.causes_s(True), chain.causes_s(False)
    assert all(0.0 <= expected[cause] <= worst[cause] for cause in worst)


@given(st.floats(0.01, 20.0), st.booleans())
def test_the_root_uses_just_what_is_allowed(allowed: float, worst: bool) -> None:
    chain = chain_of(LENGTH)
    speed = chain.root(allowed, worst)
    assert chain.overtravel(speed, worst) <= allowed
    assert chain.overtravel(speed * (1 + 1e-9), worst) > allowed
    assert chain.overtravel(speed, worst) == pytest.approx(allowed, rel=1e-9)


@given(st.floats(0.0, 0.9), st.floats(0.0, 0.9))
def test_more_margin_is_never_faster(one: float, other: float) -> None:
    chain = chain_of(LENGTH)
    low, high = sorted((one, other))
    for worst in (True, False):
        assert chain.fast(worst, high)[0] <= chain.fast(worst, low)[0]
        assert chain.slow(worst, high)[0] <= chain.fast(worst, high)[0]


def test_the_tool_may_bear_less_than_the_pad() -> None:
    chain = chain_of(LENGTH)
    assert chain.tool is not None
    setter = chain.setter
    weak = chain.tool.model_copy(update={"force_limit_N": setter.preload_N + 1.0})
    room, what = chain_of(LENGTH, tool=weak).budget
    # Preload plus rate times (pre-travel plus overtravel) is the limit.
    assert room == pytest.approx(1.0 / setter.rate_N_per_mm - setter.pre_travel_mm, rel=1e-12)
    assert what == "what the tool bears"
    weaker = chain.tool.model_copy(update={"force_limit_N": setter.preload_N / 2})
    assert chain_of(LENGTH, tool=weaker).budget[0] == 0.0
    assert chain_of(LENGTH, tool=weaker).fast(True, 0.0)[0] == 0.0


def test_the_slow_feed_by_hand() -> None:
    """Worst case: the spread of the latch, a count, and three deviations of a difference."""
    chain = chain_of(LENGTH)
    room = (
        chain.record.agree_mm
        - chain.machine.axes.z.encoder_step_mm
        - 3 * math.sqrt(2) * chain.setter.pre_travel_sigma_mm
    )
    slow, why = chain.slow(True, 0.2)
    assert slow == pytest.approx(60 * room / chain.setter.bounce_s, rel=1e-12)
    assert why == "two touches that agree"


@pytest.mark.parametrize("name", CASES)
def test_the_twin_at_below_and_above(name: str) -> None:
    """Worst luck on the twin: the formula to a tenth of a micrometre, and harm just past it."""
    scenario = scenario_of(name)
    chain = chain_of(name)
    proof = Proof(scenario, chain)
    room = chain.budget[0]
    limit = min(chain.root(room) * 60.0, chain.machine.axes.z.feed_max_mm_per_min)
    for share in (0.1, 0.5, 0.999):
        seen = proof.worst(limit * share)
        assert seen.problem == ""
        assert not seen.too_much
        formula = chain.overtravel(limit * share / 60.0)
        assert seen.overtravel_mm == pytest.approx(formula, abs=1e-4)
        assert seen.overtravel_mm <= formula + 1e-9
        for plain in proof.plain(limit * share, range(12)):
            assert not plain.too_much
            assert plain.overtravel_mm <= formula + 1e-9
    if limit == chain.root(room) * 60.0:
        above = proof.worst(limit * 1.001)
        assert above.too_much
        assert above.overtravel_mm == pytest.approx(room, abs=1e-9)


def test_the_expected_overtravel_is_the_mean_of_many() -> None:
    chain = chain_of("commissioning-by-master")
    proof = Proof(scenario_of("commissioning-by-master"), chain)
    feed = 600.0
    seen = [entry.overtravel_mm for entry in proof.plain(feed, range(400))]
    mean = sum(seen) / len(seen)
    spread = math.sqrt(sum((v - mean) ** 2 for v in seen) / len(seen))
    assert mean == pytest.approx(chain.overtravel(feed / 60, False), abs=4 * spread / 20)


def test_the_back_off_is_enough_and_less_is_not() -> None:
    """From the far end of the overtravel, so far up: the input is off again."""
    scenario = scenario_of(LENGTH)
    chain = chain_of(LENGTH)
    needed = chain.back_off(500.0, 25.0)
    assert sum(needed.values()) == pytest.approx(
        chain.overtravel(500.0 / 60.0)
        + chain.setter.hysteresis_mm
        + chain.stop_mm(25.0 / 60.0)
        + 25.0 / 60.0 * chain.lag_s
    )
    ready = Proof(scenario, chain)._scenario

    def lifted(by: float) -> bool:
        def calls(controller: Any) -> Any:
            yield from controller.rapid(z=controller.top, frame="machine")
            yield from controller.rapid(x=-600.0, y=-200.0, frame="machine")
            yield from controller.rapid(z=-350.0, frame="machine")
            yield from controller.touch(z=-364.0, feed_mm_per_min=500.0)
            yield from controller.feed(
                z=controller.position[2] + by, feed_mm_per_min=500.0, frame="machine"
            )
            yield from controller.dwell(0.1)
            return controller.input_on()

        outcome = Twin(ready, 3).run(calls)
        assert not outcome.alarms
        return not outcome.result

    assert lifted(sum(needed.values()))
    assert not lifted(needed["overtravel"] / 2)


def test_names_that_are_not_there() -> None:
    scenario = scenario_of(LENGTH)
    with pytest.raises(InputError, match="no tool 'end-mill-11'"):
        chains_of(scenario, None, "end-mill-11")
    with pytest.raises(InputError, match="no setter 'sitter'"):
        chains_of(scenario, "sitter", None)
    with pytest.raises(InputError, match="no setter"):
        chains_of(scenario.model_copy(update={"setter": {}}), None, None)
    record = scenario.controller.records["setter"].model_copy(update={"input": 9})
    deaf = scenario.controller.model_copy(update={"plugs": {}, "records": {"setter": record}})
    with pytest.raises(InputError, match="no socket leads to input 9"):
        chains_of(scenario.model_copy(update={"controller": deaf}), None, None)


def test_a_record_that_is_too_fast_is_not_safe() -> None:
    scenario = scenario_of(LENGTH)
    chain = chain_of(LENGTH)
    assert report_on(scenario, chain, 0.2).record_is_safe
    fast = chain.record.model_copy(update={"fast_mm_per_min": 6000.0})
    assert not report_on(scenario, chain_of(LENGTH, record=fast), 0.2).record_is_safe
    near = chain.record.model_copy(update={"back_off_mm": 0.05})
    assert not report_on(scenario, chain_of(LENGTH, record=near), 0.2).record_is_safe


# ---- the command -----------------------------------------------------------------------------


def test_the_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    called = call(capsys, "feeds", LENGTH, "--out", str(tmp_path / "out"))
    assert called.code == 0, called.err
    assert "back-off must exceed" in called.out
    assert called.out.count("as said") == 5
    assert "DIFFERS" not in called.out
    assert below(tmp_path / "out") == [f"{LENGTH}.feeds.html", f"{LENGTH}.feeds.json"]
    page = (tmp_path / "out" / f"{LENGTH}.feeds.html").read_text(encoding="utf-8")
    assert page.count("<polyline") == 5


def test_the_command_as_data(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    called = call(capsys, "feeds", LENGTH, "--json", "--margin", "0.5", "--out", str(tmp_path))
    data = json.loads(called.out)
    assert data == json.loads((tmp_path / f"{LENGTH}.feeds.json").read_text(encoding="utf-8"))
    entry = data["setters"][0]
    assert entry["margin"] == 0.5
    assert all(row["agrees"] for row in entry["twin"])
    assert {row["too_much"] for row in entry["twin"]} == {True, False}


def test_no_feed_is_safe_for_a_tool_too_weak(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    called = call(capsys, "feeds", "tiny-tool-on-a-stiff-pad", "--out", str(tmp_path))
    assert called.code == 1
    assert "no feed is safe" in called.out


@pytest.mark.parametrize("margin", ["1", "-0.1", "nan"])
def test_a_margin_that_is_none(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, margin: str
) -> None:
    called = call(capsys, "feeds", LENGTH, "--margin", margin, "--out", str(tmp_path))
    assert called.code == 2
    assert "--margin" in called.err
