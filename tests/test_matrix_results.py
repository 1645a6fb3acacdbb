"""A matrix: what counts as caught, missed, harm and no effect, its score, its pairs, its limits."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from fault_cases import centre
from matrix_cases import OWN

from drytouch.sim.errors import InputError
from drytouch.sim.faults import FAULTS, faulty
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.case import RESULTS, WORST_FIRST, Case, case_of
from drytouch.sim.study.job import Job, job_beside, job_named, run_job
from drytouch.sim.study.limits import broken, limit_from
from drytouch.sim.study.matrix import RUNS_WITHOUT, Matrix, run_matrix

SCENARIO = centre(chance=True)


@pytest.fixture(scope="module")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("own") / "own.py"
    file.write_text(OWN, encoding="utf-8")
    return file


def job(own: Path, name: str) -> Job:
    return job_named(f"{own}:{name}", SCENARIO, {"row": 1})


@pytest.fixture(scope="module")
def built_in() -> Matrix:
    return run_matrix(job_named("measure-length", SCENARIO), SCENARIO)


def result(matrix: Matrix, fault: str) -> Case:
    return next(case for case in matrix.cases if case.faults == (fault,))


def test_every_fault_is_run_once_and_sorted(built_in: Matrix) -> None:
    assert [case.faults for case in built_in.cases] == [(name,) for name in FAULTS]
    assert {case.result for case in built_in.cases} == set(RESULTS)
    for case in built_in.cases:
        severities = {finding["severity"] for finding in case.findings}
        if case.result == "harm":
            assert case.verdict == "harm"
        elif case.result == "missed":
            assert case.verdict in ("wrong", "risky")
        elif case.result == "caught":
            assert case.verdict in ("stopped", "right")
            assert severities <= {"stopped"}
        else:
            assert case.impossible or case.verdict == "right"
            assert not case.findings
        assert case.why.endswith(".")


@pytest.mark.parametrize(
    ("fault", "expected", "said"),
    [
        ("unplugged", "caught", "input 1 was not seen off-on-off"),
        ("line-noisy", "caught", "two slow touches lie"),
        ("wire-shorted", "harm", "fed on past the pad"),
        ("chip-on-pad", "missed", "Row 1 length"),
        ("setter-knocked", "missed", "It finished without noticing, by luck: "),
        ("tool-slipped", "no effect", "It did what it does without the fault"),
        ("radio-blocked", "no effect", "Can't happen here: main has no radio link."),
    ],
)
def test_what_the_built_in_routine_makes_of_it(
    built_in: Matrix, fault: str, expected: str, said: str
) -> None:
    case = result(built_in, fault)
    assert case.result == expected
    assert said in case.why
    assert bool(case.to_dict()["to_catch_it"]) is (expected in ("missed", "harm"))


def test_the_score_is_what_its_rule_says(built_in: Matrix) -> None:
    counted = [c for c in built_in.cases if c.result != "no effect"]
    outside = [c for c in counted if FAULTS[c.faults[0]].unseen]
    assert {c.faults[0] for c in outside} >= {"hand-put-in", "tool-fragile"}
    inside = [c.result for c in counted if c not in outside]
    points = sum({"caught": 1, "missed": 0, "harm": -1}[entry] for entry in inside)
    assert built_in.false_stops == 0
    assert built_in.score == pytest.approx(100.0 * points / len(inside))
    assert 0.0 < built_in.score < 100.0


def test_a_routine_that_never_checks_scores_far_worse(own: Path, built_in: Matrix) -> None:
    hurried = run_matrix(job(own, "hurried"), SCENARIO)
    assert hurried.sound
    assert hurried.score is not None
    assert built_in.score is not None
    assert hurried.score < built_in.score / 2.0
    for fault in ("reference-lost", "contact-worn"):
        assert result(hurried, fault).result == "missed"
        assert result(built_in, fault).result == "caught"


def test_nothing_but_the_look_at_the_input_makes_a_visible_difference(own: Path) -> None:
    text = f"{own}:stepwise"
    # A normally open contact reads as free whatever is wrong with its wire.
    record = {"reference_z_mm": -490.15, "input": 2}
    opens = centre(
        chance=True,
        setter={"main": "magnetic-no"},
        record=record,
        controller={"plugs": {"main": "spindle-probe"}},
    )
    looking, blind = (
        run_matrix(job_named(text, opens, {"row": 1, "looks": looks}), opens)
        for looks in (True, False)
    )
    assert looking.score is not None
    assert blind.score is not None
    assert blind.score < looking.score - 8.0
    worse = {
        one.faults[0]
        for one, other in zip(blind.cases, looking.cases, strict=True)
        if WORST_FIRST.index(one.result) < WORST_FIRST.index(other.result)
    }
    assert {"other-socket", "unplugged"} <= worse
    assert all(FAULTS[name].group in ("wiring", "setter") for name in worse)


@pytest.mark.parametrize(
    ("routine", "scenario"),
    [
        ("set-work-z", "work-z-done-right"),
        ("measure-setter-height", "setter-height-done-right"),
        ("measure-length", "commissioning-by-face"),
    ],
)
def test_the_steps_before_a_routine_prepare_for_it(routine: str, scenario: str) -> None:
    loaded = load_scenario(scenario)
    prepared = job_named(routine, loaded)
    named = [getattr(step, "name", "") for step in loaded.steps]
    assert prepared.prepared_by == named.index(routine) > 0
    assert run_matrix(prepared, loaded, only=["unplugged"]).sound
    assert job_named(routine, loaded, after_step=2).prepared_by == 2
    with pytest.raises(InputError, match="there is no step 99"):
        job_named(routine, loaded, after_step=99)
    assert job_beside(routine, loaded, prepared) == prepared


def test_a_routine_that_always_stops_gets_no_score(own: Path) -> None:
    matrix = run_matrix(job(own, "fearful"), SCENARIO)
    assert not matrix.sound
    assert matrix.score is None
    assert matrix.false_stops == 1
    assert matrix.cases == []
    assert matrix.without[0].alarm == "program"


@pytest.mark.parametrize(
    ("name", "said"), [("endless", "It would never have ended"), ("mistaken", "a slip of the pen")]
)
def test_a_routine_that_does_not_end_well_says_nothing_about_faults(
    own: Path, name: str, said: str
) -> None:
    matrix = run_matrix(job(own, name), SCENARIO)
    assert not matrix.sound
    assert said in matrix.without[0].why
    assert matrix.cases == []


def test_a_false_stop_lowers_the_score() -> None:
    # Two touches agree within 0.6 um about every other time, with this setter's scatter.
    strict = centre(chance=True, record={"agree_mm": 0.0006})
    measured = job_named("measure-length", strict)
    for seed in range(20):
        matrix = run_matrix(measured, strict, only=["unplugged"], seed=seed)
        if matrix.sound and matrix.false_stops:
            break
    assert len(matrix.without) == RUNS_WITHOUT
    stops = sum(case.verdict == "stopped" for case in matrix.without)
    assert 0 < stops == matrix.false_stops < RUNS_WITHOUT
    assert matrix.score == pytest.approx(100.0 * (1.0 - stops / RUNS_WITHOUT))


def test_noticing_and_putting_right_counts_as_caught(own: Path) -> None:
    patient = job(own, "patient")
    usual = case_of((), run_job(patient, SCENARIO), None).trace
    noisy = faulty(SCENARIO, "line-noisy", spikes_per_s=0.1)
    cases = [case_of(("line-noisy",), run_job(patient, noisy, seed), usual) for seed in range(12)]
    repeated = [case for case in cases if case.result == "caught" and case.verdict == "risky"]
    assert repeated
    for case in repeated:
        assert case.codes == ("false-trigger",)
        assert case.trace[0].count("touch") > usual[0].count("touch")
        assert all(abs(entry["error"]) <= entry["tolerance"] for entry in case.numbers)
        assert case.why == "It did not believe the signal, touched again, and came out right."
    quiet = [case for case in cases if not case.findings]
    assert {case.result for case in quiet} == {"no effect"}


def test_pairs_hold_every_two_that_can_happen_and_tell_which_are_worse() -> None:
    only = ["pad-sticks-down", "scan-slow", "chip-on-pad", "radio-blocked"]
    measured = job_named("measure-length", SCENARIO)
    matrix = run_matrix(measured, SCENARIO, only=only, pairs=True)
    assert len(matrix.pairs) == 3  # of the three that can happen
    alone = {case.faults[0]: WORST_FIRST.index(case.result) for case in matrix.cases}
    worse = [
        pair
        for pair in matrix.pairs
        if WORST_FIRST.index(pair.result) < min(alone[name] for name in pair.faults)
    ]
    assert matrix.worse_together == worse
    # The pad hangs before its slow look: nothing tells that it was met.
    assert [pair.faults for pair in worse] == [("pad-sticks-down", "scan-slow")]


def _plain(matrix: Matrix) -> str:
    return json.dumps(matrix.to_dict(), sort_keys=True)


def test_two_processes_come_to_the_same(own: Path) -> None:
    only = ["wire-shorted", "line-noisy", "contact-worn", "radio-late", "tool-too-long"]
    hurried = job(own, "hurried")
    alone = run_matrix(hurried, SCENARIO, only=only, pairs=True, workers=1)
    pooled = run_matrix(hurried, SCENARIO, only=only, pairs=True, workers=2)
    assert _plain(pooled) == _plain(alone)


def test_an_interrupt_keeps_what_is_done() -> None:
    seen: list[Case] = []

    def done(case: Case) -> None:
        seen.append(case)
        if len(seen) == RUNS_WITHOUT + 3:
            raise KeyboardInterrupt

    matrix = run_matrix(job_named("measure-length", SCENARIO), SCENARIO, done=done)
    assert not matrix.finished
    assert len(matrix.without) + len(matrix.cases) == len(seen)
    assert matrix.score is not None


def test_a_steps_matrix_runs_the_scenarios_own_steps() -> None:
    matrix = run_matrix(job_named("steps", SCENARIO), SCENARIO, only=["unplugged", "tool-slipped"])
    assert [case.result for case in matrix.cases] == ["caught", "no effect"]


def test_a_scenarios_own_fault_is_there_in_every_run() -> None:
    slipped = centre(faults=[{"name": "chip-on-pad"}])
    matrix = run_matrix(job_named("measure-length", slipped), slipped, only=["unplugged"])
    assert matrix.without[0].verdict == "wrong"
    assert not matrix.sound


@pytest.mark.parametrize(
    ("text", "arguments", "said"),
    [
        ("mesure-length", {}, "did you mean 'measure-length'"),
        ("measure-length", {"rwo": 1}, "did you mean 'row'"),
        ("{own}:hurry", {}, "it holds: hurried, patient"),
        ("{own}", {}, "which function of it?"),
        ("{folder}/none.py:f", {}, "there is no such Python file"),
        ("{folder}/bad.py:f", {}, "not Python"),
        ("{folder}/fails.py:f", {}, "ZeroDivisionError"),
        ("{folder}/none.ngc", {}, "there is no such program"),
        ("steps", {}, "the scenario has no steps"),
    ],
)
def test_a_job_that_cannot_be_is_told(
    own: Path, text: str, arguments: dict[str, int], said: str
) -> None:
    (own.parent / "bad.py").write_text("x = 1\ndef f(:\n", encoding="utf-8")
    (own.parent / "fails.py").write_text("1 / 0\n", encoding="utf-8")
    scenario: Scenario = centre(steps=[])
    with pytest.raises(InputError) as caught:
        job_named(text.format(own=own, folder=own.parent), scenario, arguments)
    assert said in str(caught.value)
    if "bad.py" in text:
        assert caught.value.line == 2


def test_a_second_routine_gets_the_arguments_that_it_takes(own: Path) -> None:
    first = job_named("measure-length", SCENARIO)
    assert dict(first.arguments) == {"row": 1, "expected_length_mm": 120.0}
    assert dict(job_beside(f"{own}:hurried", SCENARIO, first).arguments) == {"row": 1}
    assert job_beside("measure-length", SCENARIO, first) == first


@pytest.mark.parametrize("text", ["harm", "harm==0", "harm=none", "harms=0", ""])
def test_a_limit_that_is_none_is_told(text: str) -> None:
    with pytest.raises(InputError):
        limit_from(text)


def test_limits(built_in: Matrix, own: Path) -> None:
    harm = built_in.count("harm")
    assert broken(limit_from(f"harm<={harm}"), built_in) == ""
    assert broken(limit_from(f" harm < {harm}"), built_in) == f"harm<{harm}: it is {harm}"
    assert broken(limit_from("score>=99.5"), built_in).startswith("score>=99.5: it is ")
    assert broken(limit_from("false-stops=0"), built_in) == ""
    assert broken(limit_from("no-effect>1"), built_in) == ""
    assert broken(limit_from("worse-together=0"), built_in) == ""
    unsound = run_matrix(job(own, "fearful"), SCENARIO)
    assert broken(limit_from("score>=0"), unsound) == "score>=0: there is no score"


def test_an_unknown_fault_is_told() -> None:
    with pytest.raises(InputError, match="did you mean 'unplugged'"):
        run_matrix(job_named("measure-length", SCENARIO), SCENARIO, only=["unpluged"])
