"""A touch against closed forms: what is latched, where it stops, what cancels and what doesn't."""

from __future__ import annotations

from itertools import product
from math import ceil
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from twin_cases import (
    CLOSE_Z,
    CONTACT_Z,
    PRE_TRAVEL,
    down,
    events,
    kinds,
    socket,
    truth_z,
    twin_of,
    when,
)

from drytouch.sim.motion import Limits, stop_distance

UM = 1e-3
KV, ACCELERATION, JERK = 40.0, 3000.0, 30000.0


def tick_after(t: float, period: float) -> float:
    return t if period == 0.0 else ceil(t / period - 1e-9) * period


def habits(**values: Any) -> dict[str, Any]:
    return {"habits": values}


def machine(
    latch: str, source: str, feed_forward: float, filter_s: float, scan_s: float, tick_s: float
) -> dict[str, Any]:
    return {
        **socket(filter_s=filter_s, scan_s=scan_s),
        **habits(latch=latch, latch_source=source),
        "servo": {"feed_forward": feed_forward, "tick_s": tick_s},
    }


CASES = [
    (latch, source, kff, filter_s, scan_s, tick_s, feed)
    for (latch, source), (kff, filter_s, scan_s, tick_s, feed) in product(
        product(("edge", "filter", "scan"), ("encoder", "command")),
        (
            (0.0, 0.0, 0.001, 0.001, 200.0),
            (0.5, 0.003, 0.002, 0.001, 25.0),
            (0.9, 0.010, 0.0, 0.00025, 600.0),
            (1.0, 0.0, 0.007, 0.004, 1000.0),
        ),
    )
]


@pytest.mark.parametrize("case", CASES)
def test_latched_height_and_final_depth_match_the_closed_form(case: Any) -> None:
    latch, source, kff, filter_s, scan_s, tick_s, feed = case
    twin = twin_of(machine=machine(latch, source, kff, filter_s, scan_s, tick_s))
    found = down(twin, feed)
    v, delay = feed / 60.0, (1.0 - kff) / KV
    close = when(twin, "close")
    passed = close + filter_s
    seen = tick_after(passed, scan_s)
    latched = {"edge": close, "filter": passed, "scan": seen}[latch]
    late = v * (latched - close) + (v * delay if source == "command" else 0.0)
    # 0.01 um: rounding of a millionth in the encoder, and of 1e-9 in the tick guard.
    assert found.z == pytest.approx(CLOSE_Z - late, abs=0.01 * UM)
    stop_at = tick_after(seen, tick_s)
    end = CLOSE_Z - v * (stop_at - close) - v * delay
    end -= stop_distance(v, Limits(v, ACCELERATION, JERK))
    assert truth_z(twin) == pytest.approx(end, abs=0.01 * UM)
    # Contact and close, at steady speed, one pre-travel apart.
    assert close - when(twin, "contact") == pytest.approx(PRE_TRAVEL / v, rel=1e-9)
    assert when(twin, "latch") == pytest.approx(seen, abs=1e-12)


@pytest.mark.parametrize("step", [0.0001, 0.001, 0.01])
def test_the_latch_is_in_whole_counts_of_the_encoder(step: float) -> None:
    twin = twin_of(
        machine={**habits(latch="scan"), "axes": {"z": {"encoder_step_mm": step}}},
    )
    z = down(twin, 333.0).z
    assert z / step == pytest.approx(round(z / step), abs=1e-6)
    fine = twin_of(machine=habits(latch="scan"))
    assert abs(z - down(fine, 333.0).z) <= step / 2 + 1e-6


@pytest.mark.parametrize("delay_s", [0.002, 0.010, 0.020])
def test_a_radio_link_is_late_by_its_delay(delay_s: float) -> None:
    twin = twin_of(
        setter={"main": {"link": {"kind": "radio", "delay_s": delay_s}}},
        machine=habits(latch="edge"),
    )
    assert down(twin, 300.0).z == pytest.approx(CLOSE_Z - 5.0 * delay_s, abs=0.01 * UM)


@settings(max_examples=40)
@given(
    feed=st.floats(5.0, 1500.0),
    filter_s=st.sampled_from([0.0, 0.001, 0.005]),
    scan_s=st.sampled_from([0.0, 0.001, 0.004]),
    tick_s=st.sampled_from([0.0005, 0.001, 0.004]),
    kff=st.sampled_from([0.0, 0.5, 1.0]),
    delay_s=st.sampled_from([0.0, 0.004]),
    seed=st.integers(0, 1000),
)
def test_overtravel_never_passes_the_worst_case_formula(
    feed: float,
    filter_s: float,
    scan_s: float,
    tick_s: float,
    kff: float,
    delay_s: float,
    seed: int,
) -> None:
    link = {"kind": "radio", "delay_s": delay_s} if delay_s else {"kind": "cable"}
    twin = twin_of(
        seed,
        chance=True,
        setter={"main": {"link": link, "overtravel_mm": 9.8, "pre_travel_sigma_mm": 0.0}},
        machine=machine("scan", "encoder", kff, filter_s, scan_s, tick_s),
    )
    down(twin, feed, depth=30.0)
    v = feed / 60.0
    running_on = v * (0.0015 + filter_s + scan_s + delay_s + tick_s) + v * (1.0 - kff) / KV
    worst = running_on + stop_distance(v, Limits(v, ACCELERATION, JERK))
    over = CLOSE_Z - truth_z(twin)
    assert 0.0 <= over <= worst + 1e-6
    # Without scatter it is at least what can't be avoided.
    least = v * (filter_s + delay_s) + v * (1.0 - kff) / KV
    assert over >= least + stop_distance(v, Limits(v, ACCELERATION, JERK)) - 1e-6


def height(feed: float, tool: str | None, **over: Any) -> float:
    """Where a master of 100 mm, or a tool of 130 mm, latches at a feed; both far above."""
    tools = {
        "pin": {"stack": [{"diameter_mm": 10.0, "length_mm": 100.0}]},
        "long": {"stack": [{"diameter_mm": 10.0, "length_mm": 130.0}]},
    }
    length = {"pin": 100.0, "long": 130.0}[tool or "pin"]
    start = [-380.0, -200.0, -480.0 + length + 10.0]
    twin = twin_of(
        tools=tools, spindle_tool=tool, controller={"position_mm": start},
        machine={**socket(filter_s=0.003, scan_s=0.0), **habits(latch="scan")}, **over,
    )  # fmt: skip
    return float(twin.hand.touch(z=-480.0 + length - 20.0, feed_mm_per_min=feed).z)


@pytest.mark.parametrize("feed", [25.0, 200.0, 800.0])
def test_at_the_same_feed_the_bias_cancels(feed: float) -> None:
    assert height(feed, "long") - height(feed, "pin") == pytest.approx(30.0, abs=0.01 * UM)


def test_at_different_feeds_the_bias_does_not_cancel() -> None:
    error = height(800.0, "long") - height(25.0, "pin") - 30.0
    assert error == pytest.approx(-(800.0 - 25.0) / 60.0 * 0.003, abs=0.01 * UM)


def test_a_two_stage_touch_is_told_in_this_order() -> None:
    twin = twin_of(machine=habits(after_touch="return"))
    twin.hand.touch(z=-400.0, feed_mm_per_min=200.0)
    twin.hand.feed(z=CONTACT_Z + 2.0, feed_mm_per_min=1000.0, frame="machine")
    twin.hand.touch(z=-400.0, feed_mm_per_min=25.0)
    twin.hand.rapid(z=-300.0, frame="machine")
    assert kinds(twin) == ["contact", "close", "latch", "open", "leave"] * 2
    opened, left = events(twin, "open")[0][0], events(twin, "leave")[0][0]
    assert opened < left


def test_the_pad_reopens_nearer_its_free_height_by_the_hysteresis() -> None:
    twin = twin_of()
    down(twin, 200.0)
    twin.hand.feed(z=CONTACT_Z + 1.0, feed_mm_per_min=60.0, frame="machine")
    opened, left = events(twin, "open")[0][0], events(twin, "leave")[0][0]
    # 0.1 - 0.03 mm of travel are left, at 1 mm/s.
    assert left - opened == pytest.approx(0.07, abs=1e-9)


def test_no_contact_and_already_tripped() -> None:
    twin = twin_of()
    found = twin.hand.touch(z=CONTACT_Z + 5.0, feed_mm_per_min=200.0, must_contact=False)
    assert found == (-380.0, -200.0, CONTACT_Z + 5.0, False)
    down(twin, 200.0)
    with pytest.raises(Exception, match="on before the touch") as caught:
        down(twin, 200.0)
    assert caught.value.code == "already-tripped"
