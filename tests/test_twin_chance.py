"""Chance: each source's distribution, one stream for each, and the scatter that it makes."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from math import erf, exp, sqrt
from typing import Any

import pytest
from twin_cases import CONTACT_Z, events, twin_of

from drytouch.sim.twin.chance import SOURCES, Chance
from drytouch.sim.twin.twin import Twin


def farthest(samples: list[float], below: Callable[[float], float]) -> float:
    """Kolmogorov and Smirnov's distance between samples and a distribution, times sqrt(n)."""
    ordered, n = sorted(samples), len(samples)
    gaps = [max(abs(below(x) - i / n), abs(below(x) - (i + 1) / n)) for i, x in enumerate(ordered)]
    return max(gaps) * sqrt(n)


# Passed by 999 of 1000 sound generators; the seeds are fixed, so these runs always pass.
MOST = 1.95
COUNT = 2000


def test_each_kind_of_draw_has_its_distribution() -> None:
    chance = Chance(11)
    normal = [chance.normal("pre-travel", 0.5) for _ in range(COUNT)]
    assert farthest(normal, lambda x: 0.5 * (1.0 + erf(x / 0.5 / sqrt(2.0)))) < MOST
    uniform = [chance.uniform("scan", 0.004) for _ in range(COUNT)]
    assert farthest(uniform, lambda x: x / 0.004) < MOST
    assert min(uniform) >= 0.0
    assert max(uniform) < 0.004
    waits = [chance.exponential("noise", 0.2) for _ in range(COUNT)]
    assert farthest(waits, lambda x: 1.0 - exp(-x / 0.2)) < MOST
    counts = [chance.poisson("bounce", 2.0) for _ in range(COUNT)]
    for k in range(5):
        share = exp(-2.0) * 2.0**k / (1, 1, 2, 6, 24)[k]
        error = sqrt(share * (1.0 - share) / COUNT)
        assert counts.count(k) / COUNT == pytest.approx(share, abs=3.3 * error)


def test_no_source_shifts_another() -> None:
    alone = {source: [Chance(3).uniform(source, 1.0)] for source in SOURCES}
    for source, draws in alone.items():
        chance = Chance(3)
        draws += [chance.uniform(source, 1.0) for _ in range(3)]
    mixed = Chance(3)
    found: dict[str, list[float]] = {source: [] for source in SOURCES}
    for i in range(3):
        for source in SOURCES if i % 2 else reversed(SOURCES):
            found[source].append(mixed.uniform(source, 1.0))
            if source == "bounce":
                mixed.normal("feel", 1.0)  # another reader changes no one else
    for source in SOURCES:
        if source != "feel":
            assert found[source] == alone[source][1:]
            assert alone[source][0] == alone[source][1]
    assert len({draws[0] for draws in alone.values()}) == len(SOURCES)
    assert Chance(4).uniform("scan", 1.0) != Chance(3).uniform("scan", 1.0)


def test_with_chance_off_every_draw_is_its_mean_or_start_and_nothing_is_drawn() -> None:
    chance = Chance(3, on=False)
    assert chance.normal("feel", 1.0) == 0.0
    assert chance.uniform("scan", 1.0) == 0.0
    assert chance.exponential("noise", 0.7) == 0.7
    assert chance.poisson("bounce", 3.0) == 0
    on = Chance(3)
    assert on.normal("feel", 0.0) == 0.0
    assert on.uniform("feel", 0.0) == 0.0
    assert on.normal("feel", 1.0) == Chance(3).normal("feel", 1.0)


def test_an_unknown_source_is_an_error() -> None:
    with pytest.raises(KeyError):
        Chance(1).uniform("weather", 1.0)


# ---- on a twin ------------------------------------------------------------------------------

# Nothing scatters but what a test asks for.
STILL: dict[str, Any] = {"pre_travel_sigma_mm": 0.0, "bounce_pairs": 0}


def heights(
    feed: float, count: int, setter: dict[str, Any], machine: dict[str, Any], seed: int = 1
) -> list[float]:
    """One touch after the other, in one twin."""
    twin = twin_of(seed, chance=True, setter={"main": {**STILL, **setter}}, machine=machine)

    def routine(controller: Any) -> Any:
        found = []
        for _ in range(count):
            touch = yield from controller.touch(z=CONTACT_Z - 20.0, feed_mm_per_min=feed)
            found.append(touch.z)
            yield from controller.feed(z=CONTACT_Z + 2.0, feed_mm_per_min=6000.0, frame="machine")
        return found

    result: list[float] = twin.run(routine).result
    return result


def deviation(values: list[float]) -> float:
    mean = sum(values) / len(values)
    return sqrt(sum((v - mean) ** 2 for v in values) / (len(values) - 1))


@pytest.mark.parametrize(("feed", "scan_s"), [(600.0, 0.004), (120.0, 0.010)])
def test_scan_scatter_of_a_difference_is_v_t_over_root_six(feed: float, scan_s: float) -> None:
    z = heights(
        feed, 800, {}, {"sockets": {"setter": {"scan_s": scan_s}}, "habits": {"latch": "scan"}}
    )
    v = feed / 60.0
    assert farthest([CONTACT_Z - 0.1 - x for x in z], lambda late: late / (v * scan_s)) < MOST
    differences = [b - a for a, b in list(pairwise(z))[::2]]
    # A deviation from 400 samples of a triangle is good to about 3 %.
    assert deviation(differences) == pytest.approx(v * scan_s / sqrt(6.0), rel=0.1)
    assert sum(z) / len(z) == pytest.approx(
        CONTACT_Z - 0.1 - v * scan_s / 2.0, abs=0.05 * v * scan_s
    )


def test_pre_travel_scatters_by_its_sigma() -> None:
    sigma = 0.002
    z = heights(
        60.0, 800, {"pre_travel_sigma_mm": sigma},
        {"sockets": {"setter": {"scan_s": 0.0}}, "habits": {"latch": "edge"}},
    )  # fmt: skip
    late = [(CONTACT_Z - 0.1 - x) / sigma for x in z]
    assert farthest(late, lambda x: 0.5 * (1.0 + erf(x / sqrt(2.0)))) < MOST


def test_radio_jitter_is_uniform() -> None:
    link = {"kind": "radio", "delay_s": 0.01, "jitter_s": 0.004}
    z = heights(
        300.0, 400, {"link": link},
        {"sockets": {"setter": {"scan_s": 0.0}}, "habits": {"latch": "edge"}},
    )  # fmt: skip
    late = [(CONTACT_Z - 0.1 - x) / 5.0 - 0.01 for x in z]
    assert farthest(late, lambda t: t / 0.004) < MOST


def test_the_servo_tick_delays_the_stop_evenly() -> None:
    """Phase of the position loop: seen in how long a stop waits after the latch."""
    tick = 0.004
    waits = []
    for seed in range(300):
        twin = twin_of(
            seed, chance=True, setter={"main": STILL},
            machine={"servo": {"tick_s": tick}, "sockets": {"setter": {"scan_s": 0.0}}},
        )  # fmt: skip
        twin.hand.touch(z=CONTACT_Z - 20.0, feed_mm_per_min=600.0)
        latch = events(twin, "latch")[0][0]
        pieces = twin.recorder.lines[-1].pieces
        stop = next(piece[0] for piece in pieces if piece[0] >= latch - 1e-12)
        waits.append(stop - latch)
    assert farthest(waits, lambda t: min(max(t / tick, 0.0), 1.0)) < MOST


def bounces(seed: int) -> tuple[Twin, list[tuple[float, int]]]:
    twin = twin_of(
        seed, chance=True,
        setter={"main": {"pre_travel_sigma_mm": 0.0, "bounce_pairs": 3, "bounce_s": 0.004}},
    )  # fmt: skip
    twin.hand.touch(z=CONTACT_Z - 20.0, feed_mm_per_min=60.0)
    return twin, [(t, on) for t, name, on in twin.recorder.edges if name == "input 1.raw"]


def test_bounce_comes_in_pairs_within_its_time() -> None:
    pairs, times = [], []
    for seed in range(250):
        twin, edges = bounces(seed)
        close = events(twin, "close")[0][0]
        assert [bool(on) for _, on in edges] == [i % 2 == 0 for i in range(len(edges))]
        assert edges[0][0] == close
        pairs.append((len(edges) - 1) // 2)
        times += [t - close for t, _ in edges[1:]]
    assert min(times) > 0.0
    assert max(times) < 0.004
    assert farthest(times, lambda t: t / 0.004) < MOST
    assert sum(pairs) / 250 == pytest.approx(3.0, abs=3.3 * sqrt(3.0 / 250))


def test_spikes_come_as_a_poisson_process() -> None:
    twin = twin_of(2, chance=True, truth={"noise": {"spikes_per_s": 40.0, "spike_s": 1e-6}})
    twin.advance(50.0)
    rises = [t for t, name, on in twin.recorder.edges if name == "input 1.raw" and on]
    gaps = [b - a for a, b in pairwise(rises)]
    assert len(rises) == pytest.approx(2000, abs=3.3 * sqrt(2000))
    assert farthest(gaps, lambda t: 1.0 - exp(-t * 40.0)) < MOST


def test_an_intermittent_wire_breaks_and_heals_at_random() -> None:
    noise = {"wire": "intermittent", "gaps_per_s": 10.0, "gap_s": 0.02}
    twin = twin_of(2, chance=True, truth={"noise": noise})
    twin.advance(120.0)
    edges = [(t, on) for t, name, on in twin.recorder.edges if name == "input 1.raw"]
    broken = [b[0] - a[0] for a, b in pairwise(edges) if a[1]]
    sound = [b[0] - a[0] for a, b in pairwise(edges) if not a[1]]
    assert farthest(broken, lambda t: 1.0 - exp(-t / 0.02)) < MOST
    assert farthest(sound, lambda t: 1.0 - exp(-t * 10.0)) < MOST


def test_a_source_that_is_added_moves_no_other() -> None:
    """Bounce, jitter or noise switched on: the trips stay where they were, to the bit."""

    def trips(**over: Any) -> list[float]:
        twin = twin_of(9, chance=True, **over)
        twin.hand.touch(z=CONTACT_Z - 20.0, feed_mm_per_min=60.0)
        return [events(twin, "contact")[0][0], events(twin, "close")[0][0]]

    plain = trips(setter={"main": {"bounce_pairs": 0}})
    assert trips(setter={"main": {"bounce_pairs": 9, "bounce_s": 0.004}}) == plain
    link = {"kind": "radio", "delay_s": 0.001, "jitter_s": 0.004}
    assert trips(setter={"main": {"bounce_pairs": 0, "link": link}}) == plain
    noise = {"spikes_per_s": 3.0, "spike_s": 1e-7}
    filtered = {"sockets": {"setter": {"filter_s": 0.001}}}
    assert trips(truth={"noise": noise}, machine=filtered) == plain
