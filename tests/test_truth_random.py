"""Random mishaps: what the recording shows by itself must be in the verdict, and nothing more."""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from truth_cases import OVER, UP, data, down, jog, merged, routine, touch

from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

CHOICES: dict[str, st.SearchStrategy[Any]] = {
    "setter_x": st.floats(-45.0, 45.0),
    "setter_lift": st.sampled_from([0.0, 0.004, 0.05, 2.0]),
    "pulled_out": st.sampled_from([0.0, 0.3, 25.0, 60.0]),
    "reference": st.sampled_from([0.0, 0.005, -0.02, 1.0]),
    "dirt_um": st.sampled_from([0.0, 4.0, 80.0]),
    "contact": st.sampled_from(["stuck-closed", "stuck-open"]),
    "wire": st.sampled_from(["broken", "shorted", "reversed"]),
    "proved": st.just(False),
    "unplugged": st.just(True),
    "rpm": st.sampled_from([-200.0, 200.0]),
    "wear": st.sampled_from([0.0, -0.2]),
    "feed": st.sampled_from([10.0, 100.0, 450.0, 2000.0, 9000.0]),
    "by_hand": st.booleans(),
    "jog": st.floats(-30.0, -1.0),
    "e_stop": st.floats(0.1, 15.0),
    "slot": st.sampled_from([1, 2]),
    "seed": st.integers(0, 50),
}


# One thing wrong shows most; three at once find what hides behind each other.
mishaps = st.sets(st.sampled_from(sorted(CHOICES)), max_size=3).flatmap(
    lambda names: st.fixed_dictionaries({name: CHOICES[name] for name in sorted(names)})
)


def case(m: dict[str, Any]) -> dict[str, Any]:
    row = m.get("slot", 1)
    feed = m.get("feed", 25.0)
    measure = [routine("measure-length", row=row, expected_length_mm=120.0, any_row=True)]
    if m.get("by_hand"):
        measure = [*down(-355.0), touch(-375.0, feed, store="length", row=row, keep_wear=True)]
    steps = [{"do": "spin", "rpm": m["rpm"]}] if "rpm" in m else []
    if "unplugged" in m:
        steps.append({"do": "plug-in", "setter": "setter"})
    steps += measure
    if "jog" in m:
        steps += [UP, OVER, {"do": "move", "z_mm": -340.0}, jog(m["jog"], 1200.0)]
    changes: dict[str, Any] = {
        "chance": True,
        "seed": m.get("seed", 1),
        "steps": steps,
        "tools": {
            "end-mill-10": {"use": "end-mill-10", "pulled_out_mm": m.get("pulled_out", 0.0)},
            "end-mill-6": {"use": "end-mill-6"},
        },
        "placements": {
            "setter": {
                "x_mm": -600.0 + m.get("setter_x", 0.0),
                "lift_mm": m.get("setter_lift", 0.0),
            }
        },
        "truth": {"noise": {k: m[k] for k in ("dirt_um", "contact", "wire") if k in m}},
        "controller": {
            "proved": ["setter"] if m.get("proved", True) else [],
            "rows": {row: {"wear_mm": m.get("wear", 0.0)}},
            "records": {"setter": {"reference_z_mm": -480.1005 + m.get("reference", 0.0)}},
        },
    }
    if "e_stop" in m:
        changes["meanwhile"] = [{"at_s": m["e_stop"], "step": {"do": "e-stop"}}]
    return merged(data(), changes)


def events(outcome: Outcome, kind: str) -> list[tuple[float, Any]]:
    assert outcome.recorder is not None
    return [(t, value) for t, name, value in outcome.recorder.events if name == kind]


def kind_at(outcome: Outcome, t: float) -> str:
    """The kind of the line that was running at ``t``; of two, the earlier."""
    assert outcome.recorder is not None
    return next(line.kind for line in outcome.recorder.lines if line.t0 <= t <= line.t1)


@settings(max_examples=250, deadline=None, suppress_health_check=list(HealthCheck))
@given(mishaps)
def test_what_the_recording_shows_is_in_the_verdict(m: dict[str, Any]) -> None:
    outcome = Twin(scenario_from_dict(case(m))).run_steps()
    codes, verdict = set(outcome.codes), outcome.verdict
    event(verdict)
    # Something stood still because a body stopped it: harm, and told as one of four.
    if events(outcome, "blocked"):
        assert verdict == "harm"
        assert codes & {"crash", "lug-strike", "setter-crushed", "runaway"}
    # A pad met by anything but a touch, or what follows an emergency stop.
    for t, _ in events(outcome, "contact"):
        if kind_at(outcome, t) not in ("touch", "coast", "sag"):
            assert "crash" in codes
            assert verdict == "harm"
        if "rpm" in m:
            assert ("spun-into-pad" in codes) == (m["rpm"] > 0.0)
    # Nothing met at all: no finding may say that something was.
    if not events(outcome, "contact") and not events(outcome, "blocked"):
        assert not codes & {
            "crash", "lug-strike", "setter-crushed", "runaway", "spun-into-pad", "missed-edge",
            "tool-overloaded", "squeezed-block", "drive-fault",
        }  # fmt: skip
    # A false number is never right; a right run has neither findings nor alarms.
    if any(abs(n.error) > n.tolerance for n in outcome.numbers.values()):
        assert verdict in ("wrong", "harm")
        assert "wrong-number" in codes
    else:
        assert "wrong-number" not in codes
    if verdict == "right":
        assert not codes
        assert not outcome.alarms
    if outcome.alarms:
        assert verdict != "right"
    # Each latch that no closed pad stands behind is false, and no other.
    closed = [t for t, _ in events(outcome, "close")]
    for t, (when, *_) in events(outcome, "latch"):
        if not any(c <= t for c in closed):
            assert "false-trigger" in codes, when
    assert ("unproved-input" in codes) <= ("proved" in m or "unplugged" in m)


def test_the_same_case_twice_is_the_same() -> None:
    m = {"pulled_out": 25.0, "seed": 3, "setter_x": 12.5, "jog": -22.0}
    first, second = (Twin(scenario_from_dict(case(m))).run_steps().to_dict() for _ in range(2))
    assert first == second
