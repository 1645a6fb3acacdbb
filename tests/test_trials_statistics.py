"""Statistics of trials against NumPy and tables; the table of trials; the command."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_cases import below, call, saved
from hypothesis import given
from hypothesis import strategies as st
from trial_cases import LENGTH, VARIES, plan_of

from drytouch.sim.commands.trials import merge
from drytouch.sim.study.trials import Parts, do_trials
from drytouch.sim.study.trials_hands import OwnHands
from drytouch.sim.study.trials_plots import Frame, ticks
from drytouch.sim.study.trials_spread import Spread, Thinned, wilson
from drytouch.sim.study.trials_summary import Summary

FLOATS = st.floats(-1e3, 1e3, allow_nan=False)


# ---- spreads and rates -----------------------------------------------------------------------


def test_wilson_against_the_quadratic_that_defines_it() -> None:
    z = 1.959963984540054
    for hits, count in ((0, 10), (1, 10), (5, 10), (10, 10), (3, 2000), (1999, 2000)):
        for end in wilson(hits, count):
            # (p - p0)^2 = z^2 p0 (1 - p0) / n, or the end of the scale.
            gap = (hits / count - end) ** 2 - z * z * end * (1 - end) / count
            assert gap == pytest.approx(0.0, abs=1e-12) or end in (0.0, 1.0)
    # Newcombe, Statistics in Medicine 17 (1998) 857, table I: 81 of 263, 15 of 148, 0 of 20.
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    assert wilson(15, 148) == pytest.approx((0.0624, 0.1605), abs=5e-5)
    assert wilson(0, 20) == pytest.approx((0.0, 0.1611), abs=5e-5)
    assert wilson(0, 0) == (0.0, 1.0)


@given(st.lists(st.lists(FLOATS, max_size=30), min_size=1, max_size=8))
def test_mean_and_deviation_are_exact(parts: list[list[float]]) -> None:
    spread = Spread()
    for part in parts:
        spread.add(part)
    flat = [value for part in parts for value in part]
    assert spread.count == len(flat)
    if not flat:
        return
    scale = max(abs(value) for value in flat) + 1e-300
    assert spread.mean == pytest.approx(float(np.mean(flat)), abs=1e-13 * scale)
    assert (spread.low, spread.high) == (min(flat), max(flat))
    if len(flat) > 1:
        assert spread.deviation == pytest.approx(float(np.std(flat, ddof=1)), abs=1e-9 * scale)
    low, high, bars = spread.histogram(7)
    assert sum(bars) == len(flat)
    assert (low, high) == (min(flat), max(flat))


@given(st.lists(FLOATS, min_size=1, max_size=200), st.floats(0.001, 0.999))
def test_percentiles_are_within_a_thousandth_of_their_distance(
    values: list[float], share: float
) -> None:
    spread = Spread()
    spread.add(values)
    centre = float(np.median(values))
    exact = sorted(values)[max(1, math.ceil(share * len(values))) - 1]
    got = spread.quantile(share)
    assert abs(got - exact) <= 1.01e-3 * abs(exact - centre) + 1e-8
    low, high = spread.quantile_interval(share)
    assert low - 1e-9 <= got <= high + 1e-9
    inside = spread.within(share)
    bound = sorted(abs(value) for value in values)[max(1, math.ceil(share * len(values))) - 1]
    span = max(abs(value - centre) for value in values)
    assert abs(inside - bound) <= 1.01e-3 * span + 1e-8


def test_memory_does_not_grow_with_the_count() -> None:
    spread, thinned = Spread(), Thinned(100)
    chance = np.random.default_rng(1)
    sizes = []
    for part in range(400):
        spread.add(list(chance.normal(5.0, 0.001, 250)))
        for index in range(250):
            thinned.add(part * 250 + index, ())
        sizes.append(len(spread._buckets))
    # Buckets between the floor and the largest distance seen, either side, are all there can be.
    assert sizes[-1] <= 2 * math.log(0.01 / 1e-9) / math.log(1.002)
    assert sizes[-1] < 1.15 * sizes[199]
    assert len(thinned.rows) <= 100
    assert spread.deviation == pytest.approx(0.001, rel=0.01)
    assert spread.quantile(0.95) == pytest.approx(5.0 + 1.6449e-3, abs=2e-5)


def test_an_interval_of_a_percentile_covers_it() -> None:
    chance = np.random.default_rng(2)
    hits = 0
    for _ in range(200):
        spread = Spread()
        spread.add(list(chance.normal(0.0, 1.0, 300)))
        low, high = spread.quantile_interval(0.95)
        hits += low <= 1.6449 <= high
    assert hits >= 182  # 95 % of 200, less 4 sigma and the grain of ranks


@given(st.floats(-1e6, 1e6), st.floats(1e-9, 1e6))
def test_ticks_are_round_and_inside(low: float, width: float) -> None:
    high = low + width
    if not high > low:
        return
    found = ticks(low, high)
    assert len(found) <= 8
    assert all(low - 1e-6 * width <= tick <= high + 1e-6 * width for tick in found)


def test_a_picture_stands_where_it_should() -> None:
    frame = Frame((0.0, 10.0), (0.0, 2.0), "x & y", "<y>")
    assert frame.at(0.0, 0.0)[1] > frame.at(0.0, 2.0)[1]
    frame.bar(1.0, 2.0, 1.0)
    text = frame.svg("a <title>")
    assert "x &amp; y" in text
    assert "&lt;y&gt;" in text
    assert "<title>" not in text


# ---- the table -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Parts:
    parts = Parts(tmp_path_factory.mktemp("table") / "parts", plan_of(40))
    parts.open(resume=False)
    do_trials(parts, OwnHands(parts.plan))
    return parts


def test_a_table_reads_back_to_the_same_bits(done: Parts, tmp_path: Path) -> None:
    summary = merge(done, tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as stream:
        lines = list(csv.DictReader(stream))
    rows = [row for part in done.read() for row in part]
    assert [int(line["trial"]) for line in lines] == list(range(40))
    for line, row in zip(lines, rows, strict=True):
        assert int(line["seed"]) == 1 + row[0]
        assert line["verdict"] == row[1]
        assert [float(line[text.partition("=")[0]]) for text in VARIES] == row[7]
        error = row[8].get("row 1 length")
        assert line["row 1 length, error mm"] == ("" if error is None else repr(error[0]))
    errors = [row[8]["row 1 length"][0] for row in rows if row[8]]
    spread = summary.errors["row 1 length"]
    assert spread.mean == pytest.approx(float(np.mean(errors)), abs=1e-15)
    assert spread.deviation == pytest.approx(float(np.std(errors, ddof=1)), rel=1e-9)


def test_parquet_holds_what_csv_holds(done: Parts, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    merge(done, tmp_path / "t.csv")
    merge(done, tmp_path / "t.parquet")
    merge(done, tmp_path / "again.parquet")
    assert (tmp_path / "t.parquet").read_bytes() == (tmp_path / "again.parquet").read_bytes()
    table = parquet.read_table(tmp_path / "t.parquet").to_pydict()
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as stream:
        lines = list(csv.DictReader(stream))
    assert list(table) == list(lines[0])
    for name, column in table.items():
        said = [line[name] for line in lines]
        if isinstance(column[0], float):
            assert column == [float(value) if value else None for value in said], name
        else:
            assert [str(value) for value in column] == said, name


def test_rates_count_every_trial_once(done: Parts) -> None:
    summary = Summary(done.plan)
    for rows in done.read():
        summary.add(rows)
    assert sum(summary.verdicts.values()) == summary.count == 40
    data = summary.to_dict()
    assert data["as_expected"]["count"] == summary.verdicts["right"]
    low, high = wilson(summary.verdicts["right"], 40)
    assert (data["as_expected"]["low"], data["as_expected"]["high"]) == (low, high)
    json.dumps(data, allow_nan=False)


# ---- the command -----------------------------------------------------------------------------


def trials(capsys: Any, *more: str) -> Any:
    return call(capsys, "trials", LENGTH, "--count", "40", "--workers", "1", *more)


def test_the_command_says_what_came_of_it(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = str(tmp_path / "out")
    called = trials(capsys, "--out", out, "--vary", "setter.setter.pre_travel_um=uniform:98,102")
    assert called.code == 0, called.err
    assert "40 trials, seeds 1 to 40" in called.out
    assert "every trial right, as expected: yes" in called.out
    assert "Caution" in called.out
    assert below(tmp_path / "out") == [f"{LENGTH}.trials.{end}" for end in ("csv", "html", "json")]
    page = (tmp_path / "out" / f"{LENGTH}.trials.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 2
    assert "http" not in page.replace("http-equiv", "")
    assert "row 1 length against setter.setter.pre_travel_um" in page


def test_json_is_the_same_as_the_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    called = trials(capsys, "--out", str(tmp_path), "--json", "--seed", "7")
    data = json.loads(called.out)
    assert data == json.loads((tmp_path / f"{LENGTH}.trials.json").read_text(encoding="utf-8"))
    assert (data["trials"], data["first_seed"]) == (40, 7)
    assert data["verdicts"]["right"]["count"] == 40
    number = data["numbers"]["row 1 length"]
    assert number["inside_tolerance"]["rate"] == 1.0
    assert number["lowest"] <= number["percentiles"]["50"] <= number["highest"]


def test_trials_that_differ_exit_with_one(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    # The pad's repeatability is far beyond what two touches must agree within.
    wide = "setter.setter.pre_travel_sigma_um=list:5"
    called = trials(capsys, "--out", str(tmp_path), "--vary", wide)
    assert called.code == 1
    assert "alarm not-agreeing" in called.out
    assert "as expected: NO" in called.out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--vary", "nothing=normal:1,2"), "no value 'nothing'"),
        (("--format", "xls"), "no format of a table"),
        (("--cluster", "nonsense://127.0.0.1:1"), "no cluster answers"),
    ],
)
def test_bad_input_exits_with_two_and_leaves_nothing(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, more: tuple[str, ...], said: str
) -> None:
    if "--cluster" in more:
        pytest.importorskip("distributed")
    called = trials(capsys, "--out", str(tmp_path / "out"), *more)
    assert called.code == 2
    assert said in called.err
    left = [name for name in below(tmp_path) if not name.endswith(("plan.json", "parts"))]
    assert left in ([], ["out"])


def test_steps_that_can_never_be_done_are_bad_input(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = saved(tmp_path, '[[steps]]\ndo = "take-away"\nitem = "stock"\n'
                 '[[steps]]\ndo = "take-away"\nitem = "stock"\n')  # fmt: skip
    called = call(capsys, "trials", path, "--count", "10", "--workers", "1", "--out", str(tmp_path))
    assert called.code == 2
    assert "no trial could be done" in called.err
    assert "stands nowhere" in called.err


def test_help_names_every_option(capsys: pytest.CaptureFixture[str]) -> None:
    called = call(capsys, "trials", "--help")
    for option in ("--count", "--vary", "--seed", "--workers", "--cluster", "--resume", "--format"):
        assert option in called.out
