"""What faults do to a measured length: closed forms, and faults that begin while it runs."""

from __future__ import annotations

from typing import Any

import pytest
from fault_cases import LENGTH_MM, centre, varied
from hypothesis import given, settings
from hypothesis import strategies as st

from drytouch.sim.faults import FAULTS, NotHere, begins, faulty
from drytouch.sim.routines.lengths import measure_length
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import Wait
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

COUNT_MM = 1e-4  # one count of the encoder of Z


def run(scenario: Scenario) -> Outcome:
    return Twin(scenario).run_steps()


def length_error(scenario: Scenario) -> float:
    return run(scenario).numbers["row 1 length"].error


BASE_ERROR = length_error(centre())


@pytest.mark.parametrize(
    ("fault", "figures", "error_mm"),
    [
        # What lies between tip and pad, or under the setter, is taken for length.
        ("chip-on-pad", {"dirt_um": 50.0}, 0.050),
        ("setter-on-chip", {"lift_mm": 0.3}, 0.3),
        ("setter-swapped", {"taller_mm": 4.0}, 4.0),
        ("knee-moved", {"by_mm": 1.5}, 1.5),
        # The face is higher than the readout says by the error: the length comes out shorter.
        ("zero-moved", {"by_mm": 0.25}, -0.25),
        ("homed-a-turn-off", {"turns": 1}, -12.0),
        # Length = trip minus reference.
        ("reference-wrong", {"by_mm": 0.6}, -0.6),
        # It trips deeper, at a face that is lower by as much.
        ("pre-travel-grown", {"by_mm": 0.04}, -0.04),
        # The true length has changed as well: a measurement is right about it.
        ("tool-slipped", {"by_mm": 0.7}, 0.0),
        ("tool-pushed-in", {"by_mm": 0.7}, 0.0),
        ("tip-broken", {"by_mm": 2.0}, 0.0),
        ("tool-worn", {"by_mm": 0.1}, 0.0),
        # Half of the lost motion on either side of the middle; 1 um was in the reference already.
        ("axis-slack", {"backlash_mm": 0.081}, -0.040),
    ],
)
def test_the_error_of_a_length_is_what_the_fault_makes_it(
    fault: str, figures: dict[str, Any], error_mm: float
) -> None:
    changed = faulty(centre(), fault, **figures)
    assert length_error(changed) - BASE_ERROR == pytest.approx(error_mm, abs=1.01 * COUNT_MM)


def test_warmth_is_in_a_length_that_rests_on_a_cold_reference() -> None:
    error = length_error(faulty(centre(), "spindle-grown", growth_mm=0.03))
    # It cools with its time constant of 1200 s; the touch comes within the first half minute.
    assert 0.03 * 0.975 < error - BASE_ERROR < 0.03


def test_a_shorter_cutter_is_measured_as_what_it_is() -> None:
    outcome = run(faulty(centre(), "tip-broken", by_mm=3.0))
    assert outcome.numbers["row 1 length"].belief == pytest.approx(LENGTH_MM - 3.0, abs=0.002)


@pytest.mark.parametrize(
    ("fault", "verdict", "alarm"),
    [
        ("other-socket", "stopped", "unproved-input"),
        ("unplugged", "stopped", "unproved-input"),
        ("wire-broken", "stopped", "already-tripped"),  # normally closed shows it
        ("wire-shorted", "harm", "no-contact"),
        ("contact-stuck-open", "stopped", "already-tripped"),
        ("setter-missing", "stopped", "no-contact"),
        ("no-tool", "stopped", "no-contact"),
        ("reference-lost", "stopped", "stale-reference"),
        ("wrong-slot", "stopped", "wrong-state"),
        ("e-stop-mid-touch", "stopped", "e-stop"),
        ("back-off-short", "stopped", "already-tripped"),
    ],
)
def test_what_a_careful_routine_makes_of_it(fault: str, verdict: str, alarm: str) -> None:
    outcome = run(faulty(centre(), fault))
    assert outcome.verdict == verdict
    assert [alarm.code for _, alarm in outcome.alarms] == [alarm]


@pytest.mark.parametrize(
    ("fault", "finding"),
    [
        ("hollow-centre", "missed-edge"),
        ("hand-put-in", "hand-in-reach"),
        ("spring-stiff", "tool-overloaded"),
        ("tool-too-long", "crash"),
        ("setter-shifted", "crash"),
        ("plug-pulled-mid-touch", "runaway"),
        ("setter-knocked", "setter-moved"),
        ("rows-swapped", "wrong-slot"),
    ],
)
def test_what_shows_when_nobody_notices(fault: str, finding: str) -> None:
    assert finding in run(faulty(centre(), fault)).codes


def test_a_held_touch_reads_what_an_unheld_one_does() -> None:
    assert length_error(faulty(centre(), "hold-mid-touch")) == pytest.approx(
        BASE_ERROR, abs=COUNT_MM
    )


# Chance in time, growth that goes on, or a reference whose place is taken from the first record:
# these can't come to the very same.
_BEGINS_OTHERWISE = ("line-noisy", "wire-intermittent", "spindle-grown", "place-wrong")


def _account(outcome: Outcome) -> tuple[Any, ...]:
    numbers = {name: round(number.error, 6) for name, number in outcome.numbers.items()}
    alarms = [alarm.code for _, alarm in outcome.alarms]
    return outcome.verdict, outcome.codes, alarms, numbers, outcome.error


@pytest.mark.parametrize("where", ["plain", "radio", "typed", "bare"])
def test_a_fault_that_begins_at_rest_does_what_it_does_from_the_start(where: str) -> None:
    scenario = varied()[where]
    steps = (Wait(do="wait", for_s=1.0), *scenario.steps)
    scenario = scenario.model_copy(update={"steps": steps, "chance": False})
    compared = 0
    for name in FAULTS:
        if name in _BEGINS_OTHERWISE:
            continue
        try:
            from_start = faulty(scenario, name)
        except NotHere:
            continue
        later = begins(scenario, name, at_s=0.5)
        assert _account(run(later)) == _account(run(from_start)), name
        compared += 1
    assert compared > 30


def test_a_tool_that_slips_between_two_touches_makes_them_disagree() -> None:
    slips = begins(centre(), "tool-slipped", after="close", nth=2, by_mm=0.05)
    outcome = run(slips)
    assert [alarm.code for _, alarm in outcome.alarms] == ["not-agreeing"]
    data = dict(outcome.alarms[0][1].data)
    assert float(data["second_z_mm"]) - float(data["first_z_mm"]) == pytest.approx(
        0.05, abs=2 * COUNT_MM
    )
    assert outcome.verdict == "stopped"


@given(
    st.sampled_from(sorted(FAULTS)),
    st.sampled_from(["contact", "close", "touch", "rapid", "alarm", None]),
    st.integers(1, 4),
    st.floats(0.0, 3.0),
    st.sampled_from(["plain", "radio", "typed", "bare"]),
)
@settings(max_examples=80)
def test_a_fault_may_begin_at_any_moment(
    name: str, after: str | None, nth: int, delay_s: float, where: str
) -> None:
    when = {"at_s": 4.0 * nth} if after is None else {"after": after, "nth": nth}
    scenario = begins(varied()[where], name, delay_s=delay_s, **when)  # type: ignore[arg-type]
    first, second = run(scenario), run(scenario)
    assert _account(first) == _account(second)
    assert first.time_s == second.time_s
    assert first.error == "" or "has no effect here" in first.error


def test_what_moves_waits_for_rest_and_what_is_read_does_not() -> None:
    """The zero moves in mid-rapid: that rapid still ends where it was sent, by the readout."""
    twin = Twin(begins(centre(), "zero-moved", after="rapid", delay_s=0.1, by_mm=0.25))
    outcome = twin.run_steps()
    began = next(t for t, kind, _ in twin.recorder.events if kind == "fault")
    rapid = next(line for line in twin.recorder.lines if line.kind == "rapid")
    assert rapid.t0 < began < rapid.t1
    assert twin.kernel.shift == (0.0, 0.0, 0.25)
    error = outcome.numbers["row 1 length"].error
    assert error - BASE_ERROR == pytest.approx(-0.25, abs=1.01 * COUNT_MM)
    noisy = Twin(begins(centre(), "contact-stuck-open", after="touch", delay_s=0.1))
    stopped = noisy.run_steps()
    touch = next(line for line in noisy.recorder.lines if line.kind == "touch")
    # A normally closed contact that opens by itself is latched at once, in the middle of the way.
    assert touch.t1 - touch.t0 < 0.3
    assert "false-trigger" in stopped.codes


def test_what_happens_beside_happens_beside_a_routine_too() -> None:
    scenario = faulty(centre(), "e-stop-mid-touch")
    twin = Twin(scenario)
    outcome = twin.run(measure_length, row=1, expected_length_mm=LENGTH_MM)
    assert [alarm.code for _, alarm in outcome.alarms] == ["e-stop"]
    assert _account(outcome) == _account(run(scenario))


def test_a_fault_that_has_no_effect_when_it_begins_says_so() -> None:
    outcome = run(begins(centre(), "radio-blocked", after="touch"))
    assert "has no effect here: main has no radio link" in outcome.error


def test_a_fault_may_be_a_step() -> None:
    scenario = centre()
    fault = {"do": "fault", "name": "zero-moved", "with": {"by_mm": 0.25}}
    data = centre(steps=[fault, *[step.model_dump(by_alias=True) for step in scenario.steps]])
    assert length_error(data) - BASE_ERROR == pytest.approx(-0.25, abs=1.01 * COUNT_MM)
