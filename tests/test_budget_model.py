"""The budget against hand calculations, and against trials of the twin."""

from __future__ import annotations

import json
import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from command_cases import call

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.machine import Socket
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.budget import Budget, Line, budget_of
from drytouch.sim.study.budget_check import Against
from drytouch.sim.study.budget_lateness import lateness
from drytouch.sim.study.trials_plan import Performer, Plan
from drytouch.sim.study.trials_spread import Spread
from drytouch.sim.study.vary import parse_varies

LENGTH = "length-done-right"
CHAIN = "commissioning-by-face"


@cache
def scenario_of(name: str) -> Scenario:
    return load_scenario(name)


@cache
def budget_for(name: str) -> Budget:
    return budget_of(scenario_of(name))


def line_of(budget: Budget, name: str) -> Line:
    return next(line for line in budget.lines if line.name == name)


def deviation(line: Line, cause: str) -> float:
    return next((term.deviation for term in line.terms if term.cause == cause), 0.0)


def bias(line: Line, cause: str) -> float:
    return next((term.bias for term in line.terms if term.cause == cause), 0.0)


def trials_of(scenario: Scenario, count: int, first: int = 1, **extra: Any) -> dict[str, Spread]:
    """Errors of every number over some trials."""
    varies = parse_varies(scenario, extra.get("vary", ()))
    performer = Performer(Plan(scenario, varies, count, first))
    columns: dict[str, list[float]] = {}
    for index in range(count):
        for name, (error, _) in performer.row(index)[8].items():
            columns.setdefault(name, []).append(error)
    spreads = {name: Spread() for name in columns}
    for name, column in columns.items():
        spreads[name].add(column)
    return spreads


# ---- lateness --------------------------------------------------------------------------------


def socket(filter_s: float = 0.0, scan_s: float = 0.0) -> Socket:
    return Socket(input=1, filter_s=filter_s, scan_s=scan_s)


def test_without_bounce_lateness_is_filter_and_scan() -> None:
    still = scenario_of(LENGTH).setter["setter"].model_copy(update={"bounce_pairs": 0})
    got = lateness(still, socket(0.002, 0.004), draws=50_000)
    assert not got.edge.any()
    assert got.filtered == pytest.approx(0.002)
    # Rectangular: half a scan late on average, scan / sqrt(12) of deviation.
    assert got.seen.mean() == pytest.approx(0.004, rel=0.01)
    assert got.seen.std() == pytest.approx(0.004 / math.sqrt(12), rel=0.01)
    assert got.seen.min() >= 0.002
    assert got.seen.max() <= 0.006 + 1e-12


def test_with_neither_filter_nor_scan_the_first_edge_counts() -> None:
    setter = scenario_of(LENGTH).setter["setter"]
    got = lateness(setter, socket(), draws=2000)
    assert not got.edge.any()
    assert not got.seen.any()


def test_a_filter_longer_than_the_bounce_waits_for_its_last_edge() -> None:
    setter = scenario_of(LENGTH).setter["setter"]
    got = lateness(setter, socket(filter_s=0.01), draws=50_000)
    # Largest of 2n uniform times, n Poisson: its mean is bounce * (1 - E[1 / (2n + 1)]).
    mean_pairs = float(setter.bounce_pairs)
    expected, term = 0.0, math.exp(-mean_pairs)
    for pairs in range(60):
        expected += term * 2 * pairs / (2 * pairs + 1)
        term *= mean_pairs / (pairs + 1)
    assert got.edge.mean() == pytest.approx(setter.bounce_s * expected, rel=0.01)
    assert got.filtered == pytest.approx(got.edge + 0.01)


def test_a_quiet_gap_longer_than_the_filter_passes_it() -> None:
    setter = scenario_of(LENGTH).setter["setter"].model_copy(update={"bounce_s": 1.0})
    got = lateness(setter, socket(filter_s=1e-6), draws=2000)
    # Nearly every first gap is longer than a microsecond.
    assert np.mean(got.edge == 0.0) > 0.99


# ---- terms -----------------------------------------------------------------------------------


def test_a_length_by_hand() -> None:
    """Two slow touches, each with repeatability and encoder count; the stored reference has none.

    c = 1/2 each: u = sigma / sqrt 2, and step / sqrt 12 / sqrt 2 (JCGM 100, 5.1.2 and 4.3.7).
    """
    scenario = scenario_of(LENGTH)
    line = line_of(budget_for(LENGTH), "row 1 length")
    assert line.sensitivities == [0.0, 0.5, 0.5]
    sigma = scenario.setter["setter"].pre_travel_sigma_mm
    step = scenario.machine.axes.z.encoder_step_mm
    assert deviation(line, "repeatability") == pytest.approx(sigma / math.sqrt(2), rel=1e-4)
    assert deviation(line, "encoder step") == pytest.approx(step / math.sqrt(24), rel=1e-4)
    # Latched at the edge: no scan; one half of the backlash shows in a typed reference.
    assert deviation(line, "scan") == 0.0
    assert bias(line, "lost motion") == pytest.approx(
        -scenario.machine.axes.z.backlash_mm / 2, abs=1e-9
    )
    socket_of = scenario.machine.sockets["setter"]
    late = lateness(scenario.setter["setter"], socket_of).edge
    feed = 25.0 / 60.0
    assert bias(line, "bounce and filter") == pytest.approx(-feed * late.mean(), rel=1e-4)
    assert deviation(line, "bounce and filter") == pytest.approx(
        feed * late.std() / math.sqrt(2), rel=1e-4
    )
    squares = sum(term.deviation**2 for term in line.terms)
    assert line.deviation == pytest.approx(math.sqrt(squares), rel=1e-12)
    assert sum(line.share(term) for term in line.terms) == pytest.approx(1.0)


def scanned(scan_s: float, reference_feed: float | None) -> Budget:
    """A reference and a length measured on a machine that latches at the scan."""
    scenario = scenario_of(CHAIN)
    machine = scenario.machine
    sockets = {
        name: entry.model_copy(update={"scan_s": scan_s}) for name, entry in machine.sockets.items()
    }
    habits = machine.habits.model_copy(update={"latch": "scan"})
    machine = machine.model_copy(update={"sockets": sockets, "habits": habits})
    setters = {
        name: setter.model_copy(update={"bounce_pairs": 0, "pre_travel_sigma_mm": 0.0})
        for name, setter in scenario.setter.items()
    }
    steps = scenario.steps[:12]
    start = scenario.controller
    record = start.records["setter"].model_copy(update={"agree_mm": 1.0})
    if reference_feed is not None:
        record = record.model_copy(update={"slow_mm_per_min": reference_feed})
    start = start.model_copy(update={"records": {"setter": record}})
    changed = scenario.model_copy(
        update={"machine": machine, "setter": setters, "steps": steps, "controller": start}
    )
    return budget_of(changed)


def test_the_scan_scatters_as_its_closed_form_and_its_bias_cancels() -> None:
    """One touch each would scatter by v * T / sqrt 6; the mean of two each by 1 / sqrt 2 of it."""
    scan, feed = 0.004, 25.0 / 60.0
    found = scanned(scan, None)
    line = line_of(found, "row 2 length")
    assert deviation(line, "scan") == pytest.approx(
        feed * scan / math.sqrt(6) / math.sqrt(2), rel=1e-3
    )
    assert bias(line, "scan") == pytest.approx(0.0, abs=1e-9)
    assert bias(line, "unlike feeds") == pytest.approx(0.0, abs=1e-9)
    reference = line_of(found, "setter reference")
    assert bias(reference, "scan") == pytest.approx(-feed * scan / 2, rel=1e-3)
    # Half of the length's variance is the reference's own: correlation -1/sqrt 2 between them.
    assert found.correlation(line, reference) == pytest.approx(-math.sqrt(0.5), rel=1e-3)


def test_unlike_feeds_leave_a_bias() -> None:
    """One touch at a feed of its own against a stored reference, and the twin says the same."""
    line = line_of(budget_for("two-feeds-two-biases"), "row 1 length")
    scenario = scenario_of("two-feeds-two-biases")
    scan = scenario.machine.sockets["setter"].scan_s
    v = 400.0 / 60.0
    assert bias(line, "scan") == pytest.approx(-v * scan / 2, rel=1e-3)
    assert deviation(line, "scan") == pytest.approx(v * scan / math.sqrt(12), rel=1e-3)


def test_a_shared_reference_cancels_where_it_is_used_twice() -> None:
    found = budget_for(CHAIN)
    tip = line_of(found, "tip at work zero, G54, row 1")
    work = line_of(found, "G54 z")
    length = line_of(found, "row 1 length")
    reference = line_of(found, "setter reference")
    touches = [number for number, c in enumerate(reference.sensitivities) if c]
    assert all(length.sensitivities[number] == -0.5 for number in touches)
    assert all(work.sensitivities[number] == 0.5 for number in touches)
    assert all(tip.sensitivities[number] == 0.0 for number in touches)
    assert tip.deviation < work.deviation


def test_coarse_counts_are_drawn_not_spread_evenly() -> None:
    found = budget_for("bed-mill-done-right")
    line = line_of(found, "row 1 length")
    rounding = next(term for term in line.terms if term.cause == "encoder step")
    assert rounding.shape == "drawn"
    step = scenario_of("bed-mill-done-right").machine.axes.z.encoder_step_mm
    assert rounding.deviation > 1.2 * step / math.sqrt(12)
    assert line.deviation == pytest.approx(line.drawn_deviation, rel=0.02)


def test_varied_parameters_are_terms_of_their_own() -> None:
    scenario = scenario_of(LENGTH)
    varies = parse_varies(scenario, ["setter.setter.pre_travel_um=normal:100,2"])
    line = line_of(budget_of(scenario, varies), "row 1 length")
    assert deviation(line, "varied setter.setter.pre_travel_um") == pytest.approx(0.002, rel=1e-3)
    assert line.drawn_deviation == pytest.approx(line.deviation, rel=0.02)


def test_nothing_touched_is_an_error() -> None:
    with pytest.raises(InputError, match="no number that depends on a touch"):
        budget_of(scenario_of(LENGTH).model_copy(update={"steps": ()}))


# ---- against the twin ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "count"),
    [(LENGTH, 1800), ("two-feeds-two-biases", 1800), ("bed-mill-done-right", 700)],
)
def test_trials_of_the_twin_agree(name: str, count: int) -> None:
    """Standard deviations within 5 %, means within 3 standard errors and 5 %: fixed seeds.

    With 1800 trials the deviation itself is known to 1.7 %, with 700 to 2.7 %.
    """
    found = budget_for(name)
    spreads = trials_of(scenario_of(name), count)
    assert found.lines
    for line in found.lines:
        entry = Against(line, spreads[line.name])
        assert entry.ratio == pytest.approx(1.0, abs=0.05), line.name
        assert line.drawn_deviation == pytest.approx(spreads[line.name].deviation, rel=0.05)
        assert abs(entry.difference) <= entry.open_difference + 0.05 * entry.trials.deviation
        assert entry.agree


def test_disagreement_is_seen() -> None:
    found = budget_for(LENGTH)
    line = found.lines[0]
    rough = scenario_of(LENGTH).setter["setter"].model_copy(update={"pre_travel_sigma_mm": 0.0007})
    other = scenario_of(LENGTH).model_copy(update={"setter": {"setter": rough}})
    assert not Against(line, trials_of(other, 800)[line.name]).agree


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    called = call(capsys, "budget", LENGTH, "--trials", "300", "--workers", "1")
    assert called.code == 0, called.err
    assert "repeatability" in called.out
    assert "300 trials" in called.out
    assert "agree" in called.out
    data = json.loads(
        call(capsys, "budget", LENGTH, "--trials", "300", "--workers", "1", "--json").out
    )
    number = data["numbers"][0]
    assert number["number"] == "row 1 length"
    assert sum(term["share"] for term in number["terms"]) == pytest.approx(1.0)
    assert number["sensitivities"] == {"2": 0.5, "3": 0.5}
    assert data["agree"] is True


def test_the_command_refuses_what_stores_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    called = call(capsys, "budget", "locate-and-clearance-done-right", "--trials", "30")
    assert called.code == 2
    assert "no number that depends on a touch" in called.err
