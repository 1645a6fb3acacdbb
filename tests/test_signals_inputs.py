"""Inputs: scan ticks, the filter against a plain reference, proof, and edges on their way."""

from __future__ import annotations

from math import ceil, floor
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from twin_cases import CONTACT_Z, events, twin_of

from drytouch.sim.signals import Input, next_tick
from drytouch.sim.twin.twin import Twin

PERIODS = st.sampled_from([0.001, 0.002, 0.004, 0.007, 1 / 3000])


@given(t=st.floats(0.0, 5000.0), period=PERIODS, share=st.floats(0.0, 0.999))
def test_the_next_tick_is_the_first_at_or_after(t: float, period: float, share: float) -> None:
    phase = share * period
    tick = next_tick(t, period, phase)
    assert t <= tick < t + period * (1.0 + 1e-6)
    count = (tick - phase) / period
    assert abs(count - round(count)) < 1e-6


@given(count=st.integers(0, 10**6), period=PERIODS, share=st.floats(0.0, 0.999))
def test_a_tick_itself_counts_and_never_comes_one_late(
    count: int, period: float, share: float
) -> None:
    phase = share * period
    tick = phase + count * period
    # Division alone comes one late in about 1 of 100 of these; the guard of 1e-9 cures it.
    assert next_tick(tick, period, phase) == pytest.approx(tick, abs=1e-9 * period + 1e-12)


def test_division_alone_would_come_one_late() -> None:
    period = 0.001
    naive = [ceil(k * period / period) - k for k in range(200_000)]
    shifted = [ceil((k * period + 0.0003 - 0.0003) / period) - k for k in range(200_000)]
    assert any(late == 1 for late in naive + shifted)
    assert all(
        next_tick(k * period + 0.0003, period, 0.0003) - (k * period + 0.0003) < 1e-11
        for k in range(0, 200_000, 7)
    )


def test_without_a_period_it_is_seen_at_once() -> None:
    assert next_tick(1.2345, 0.0, 0.0) == 1.2345


# ---- proof ----------------------------------------------------------------------------------


def test_proof_is_off_on_off() -> None:
    entry = Input(1, "setter", 0.0, 0.001)
    entry.forget_proof()
    assert entry.proof == 1
    for on, proof in ((True, 2), (True, 2), (False, 3), (True, 3), (False, 3)):
        entry.see(on)
        assert entry.proof == proof
    entry.see(True)
    entry.forget_proof()
    assert entry.proof == 0  # on to start with proves nothing yet
    for on, proof in ((True, 0), (False, 1), (True, 2), (False, 3)):
        entry.see(on)
        assert entry.proof == proof


def test_edges_that_are_queued_supersede_later_ones() -> None:
    entry = Input(1, "setter", 0.0, 0.001)
    entry.push([(1.0, True), (2.0, False), (3.0, True)])
    entry.push([(2.5, False)])
    assert entry.edges == [(1.0, True), (2.0, False), (2.5, False)]


def test_a_spike_leaves_what_is_on_its_way() -> None:
    entry = Input(1, "setter", 0.0, 0.001)
    entry.push([(1.0, True), (2.0, False)])
    entry.spike(0.5, 0.1)
    assert entry.edges == [(0.5, True), (0.6, False), (1.0, True), (2.0, False)]
    entry.edges.clear()
    entry.push([(1.0, True)])
    entry.spike(0.95, 0.1)
    assert entry.edges[-1] == (1.05, True)  # the contact came during it: on it stays


def press(twin: Twin, hold_s: float) -> None:
    kernel = twin.kernel
    kernel.press_by_hand("main", True)
    twin.advance(twin.env.now + hold_s)
    kernel.press_by_hand("main", False)
    twin.advance(twin.env.now + 0.5)


def test_pressing_by_hand_proves_the_input_and_a_plug_forgets_it() -> None:
    twin = twin_of(controller={"proved": []})
    assert not twin.controller.input_proved()
    press(twin, 0.5)
    assert twin.controller.input_proved()
    for forget in (
        lambda: twin.kernel.plug("main", "setter"),
        lambda: twin.kernel.settle_inputs(twin.env.now),
        lambda: twin.controller.store_record("main", input=1),
    ):
        forget()
        assert not twin.controller.input_proved()
        press(twin, 0.5)
        assert twin.controller.input_proved()


def test_a_press_shorter_than_the_filter_proves_nothing() -> None:
    twin = twin_of(controller={"proved": []}, machine={"sockets": {"setter": {"filter_s": 0.05}}})
    press(twin, 0.049)
    assert not twin.controller.input_proved()
    press(twin, 0.052)
    assert twin.controller.input_proved()


@pytest.mark.parametrize("socket", [None, "setter", "spindle-probe"])
def test_pulling_the_plug_with_edges_on_their_way_is_harmless(socket: str | None) -> None:
    twin = twin_of(
        setter={"main": {"link": {"kind": "radio", "delay_s": 0.02}}},
        machine={"sockets": {"setter": {"filter_s": 0.003}}},
    )
    twin.kernel.press_by_hand("main", True)
    twin.advance(0.01)
    twin.kernel.plug("main", socket)
    twin.advance(1.0)
    # Pulled up, an empty socket reads as on; a plug that is back rests at its circuit's level.
    expected = {None: True, "setter": True, "spindle-probe": True}[socket]
    assert twin.kernel.inputs[1].seen is expected


# ---- filter and scan ------------------------------------------------------------------------


def edges(twin: Twin, stage: str) -> list[tuple[float, bool]]:
    name = f"input 1.{stage}"
    return [(t, bool(level)) for t, signal, level in twin.recorder.edges if signal == name]


def filtered(raw: list[tuple[float, bool]], hold_s: float) -> list[tuple[float, bool]]:
    """A level passes when it has held still for ``hold_s``: the plainest way to say it."""
    out, level = [], False
    for i, (t, on) in enumerate(raw):
        until = raw[i + 1][0] if i + 1 < len(raw) else float("inf")
        if until - t > hold_s and on != level:
            out.append((t + hold_s, on))
            level = on
    return out


def scanned(passed: list[tuple[float, bool]], period: float, phase: float) -> list[Any]:
    """What a look at each tick finds."""
    out, level = [], False
    ticks = sorted({ceil((t - phase) / period - 1e-9) for t, _ in passed})
    for k in ticks:
        tick = phase + k * period
        now = [on for t, on in passed if t <= tick + 1e-12][-1]
        if now != level:
            out.append((tick, now))
            level = now
    return out


@pytest.mark.parametrize("filter_s", [0.0, 0.0005, 0.002, 0.03])
@pytest.mark.parametrize("scan_s", [0.001, 0.004])
def test_bounce_goes_through_filter_and_scan_like_the_plain_reference(
    filter_s: float, scan_s: float
) -> None:
    several = 0
    for seed in range(25):
        twin = twin_of(
            seed,
            chance=True,
            setter={"main": {"bounce_s": 0.03, "bounce_pairs": 6}},
            machine={"sockets": {"setter": {"filter_s": filter_s, "scan_s": scan_s}}},
        )
        twin.hand.touch(z=CONTACT_Z - 5.0, feed_mm_per_min=600.0)
        twin.hand.feed(z=CONTACT_Z + 1.0, feed_mm_per_min=600.0, frame="machine")
        raw = edges(twin, "raw")
        wanted = filtered(raw, filter_s)
        found = edges(twin, "filtered")
        assert [on for _, on in found] == [on for _, on in wanted]
        assert [t for t, _ in found] == pytest.approx([t for t, _ in wanted], abs=1e-12)
        phase = twin.kernel.inputs[1].phase
        looked = scanned(wanted, scan_s, phase)
        seen = edges(twin, "seen")
        assert [on for _, on in seen] == [on for _, on in looked]
        assert [t for t, _ in seen] == pytest.approx([t for t, _ in looked], abs=1e-9)
        several += sum(on for _, on in seen) > 1
        # Latched once, whatever comes after.
        assert len(events(twin, "latch")) == 1
    # A quiet gap longer than the filter passes it, even inside the bounce; a long filter has none.
    assert (several > 0) == (filter_s < 0.03)


def test_an_edge_after_the_one_that_passed_is_not_what_is_latched() -> None:
    """Edge, passed by the filter, gone again before the scan looks: the first edge counts."""
    differed = 0
    for seed in range(60):
        twin = twin_of(
            seed,
            chance=True,
            setter={"main": {"bounce_s": 0.02, "bounce_pairs": 6, "pre_travel_sigma_mm": 0.0}},
            machine={
                "sockets": {"setter": {"filter_s": 0.001, "scan_s": 0.004}},
                "habits": {"latch": "edge"},
            },
        )
        twin.hand.touch(z=CONTACT_Z - 5.0, feed_mm_per_min=600.0)
        seen_at, (latched, *_) = events(twin, "latch")[0][0], events(twin, "latch")[0][2]
        passed = [(t, on) for t, on in edges(twin, "filtered") if t <= seen_at]
        assert passed[-1][1]
        assert latched == pytest.approx(passed[-1][0] - 0.001, abs=1e-12)
        last_edge = [t for t, _ in edges(twin, "raw") if t <= seen_at][-1]
        differed += last_edge != latched
    assert differed > 3


def test_ticks_fall_where_the_phase_puts_them() -> None:
    assert floor(next_tick(0.0101, 0.01, 0.003) * 1e6 + 0.5) == 13000
