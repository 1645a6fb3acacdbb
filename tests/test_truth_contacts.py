"""Findings from contact: each provoked, and each figure against a calculation by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest
from truth_cases import MEASURE, OVER, UP, data, down, jog, merged, only, run, touch

from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.truth.catalogue import PROVE_FIRST
from drytouch.sim.twin.twin import Twin

# Z of the machining centre: 350 kg, 4.5e-3 kg m^2 on a screw of 12 mm lead, 10 kN, 110 kN/mm.
EFFECTIVE_KG = 350.0 + 4.5e-3 * (2.0 * math.pi / 0.012) ** 2
CONTACT_N_PER_M = 30000.0 * 1000.0
JERK = 30000.0
ACCELERATION = 3000.0


def stopping(v: float) -> float:
    """Distance to stop from a steady ``v``: v T / 2, T = 2 sqrt(v / j) below a^2 / j."""
    full = ACCELERATION**2 / JERK
    time = v / ACCELERATION + ACCELERATION / JERK if v >= full else 2.0 * math.sqrt(v / JERK)
    return v * time / 2.0


def test_a_rapid_onto_the_pad_is_a_crash_with_its_energy_and_force() -> None:
    # Rapid to 20 mm below the pad: met in full flight.
    outcome = run([UP, OVER, {"do": "move", "z_mm": -380.0}])
    crash = only(outcome, "crash")
    v = crash.figures["impact_speed_mm_per_s"]
    assert 100.0 < v <= 20000.0 / 60.0
    assert crash.figures["effective_mass_kg"] == pytest.approx(EFFECTIVE_KG, rel=1e-12)
    energy = 0.5 * EFFECTIVE_KG * (v / 1000.0) ** 2
    assert crash.figures["effective_energy_J"] == pytest.approx(energy, rel=1e-12)
    force = v / 1000.0 * math.sqrt(CONTACT_N_PER_M * EFFECTIVE_KG) + 10000.0
    assert crash.figures["peak_force_N"] == pytest.approx(force, rel=1e-12)
    assert crash.what == f"The tip met the pad at {v:.1f} mm/s during a rapid."
    assert outcome.verdict == "harm"


def test_a_crash_in_steady_motion_has_the_speed_of_the_jog() -> None:
    # 600 mm/min is 10 mm/s; the stock's top is at -500, the tip 120 mm below the face.
    outcome = run(
        [UP, {"do": "move", "x_mm": -300.0, "y_mm": -200.0}, {"do": "move", "z_mm": -375.0},
         jog(-10.0, 600.0)]
    )  # fmt: skip
    crash = only(outcome, "crash")
    assert crash.figures["impact_speed_mm_per_s"] == pytest.approx(10.0, abs=1e-9)
    assert crash.figures["effective_energy_J"] == pytest.approx(0.5 * EFFECTIVE_KG * 1e-4)
    assert crash.place_mm == pytest.approx((-300.0, -200.0, -380.0), abs=1.1e-3)


def test_a_pad_pressed_through_its_budget_is_crushed_and_a_signal_that_never_came_ran_away() -> (
    None
):
    wire = {"truth": {"noise": {"contact": "stuck-closed"}}}
    outcome = run([*down(-355.0), touch(-390.0, 200.0, store="length", row=1)], **wire)
    crushed, ran = only(outcome, "setter-crushed"), only(outcome, "runaway")
    # Steady 200 mm/min when 6 mm past the trip are used up: the pad is down by 0.1 + 6 mm.
    assert crushed.figures["impact_speed_mm_per_s"] == pytest.approx(200.0 / 60.0, abs=1e-9)
    assert crushed.figures["travel_mm"] == pytest.approx(6.1, abs=1e-9)
    assert (crushed.figures["over_mm"], crushed.figures["left_mm"]) == (6.0, 0.0)
    assert ran.time_s == crushed.time_s
    assert crushed.place_mm[2] == pytest.approx(-480.0 + 120.0 - 6.1, abs=1e-6)
    assert "stuck-closed" in ran.why
    # The drive gives up 18 mm behind, pushing with all it has.
    fault = only(outcome, "drive-fault")
    assert fault.figures["error_mm"] == pytest.approx(18.0, abs=1e-6)
    assert fault.figures["thrust_N"] == 10000.0
    # Nothing is met through a pad that is solid already, and nothing was stored.
    assert outcome.codes == ("drive-fault", "runaway", "setter-crushed")
    assert not outcome.numbers


def test_a_short_search_ends_before_harm_and_says_what_happened() -> None:
    wire = {"truth": {"noise": {"contact": "stuck-closed"}}}
    outcome = run([*down(-355.0), touch(-362.0, 200.0)], **wire)
    assert outcome.codes == ("no-contact",)
    assert outcome.verdict == "stopped"
    finding = only(outcome, "no-contact")
    assert finding.figures["path_mm"] == pytest.approx(7.0)
    assert finding.why == "The pad was pressed, but nothing arrived at the input."


def test_the_feed_decides_whether_the_budget_holds() -> None:
    def over(feed: float) -> float:
        # Pre-travel is constant; the switch is seen up to 1 ms later, the stop starts on a tick
        # of 1 ms, the axis is (1 - 0.5) / 40 s behind and then stops.
        v = feed / 60.0
        return v * (0.001 + 0.001 + 0.5 / 40.0) + stopping(v)

    fast = {"setter": {"setter": {"worst_feed_mm_per_min": 20000.0, "bounce_pairs": 0}}}
    assert over(5000.0) < 6.0 < over(9000.0) - 9000.0 / 60.0 * 0.002
    gentle = run([*down(-200.0), touch(-370.0, 5000.0)], **fast)
    assert gentle.codes == ()
    assert gentle.verdict == "right"
    hard = run([*down(-200.0), touch(-370.0, 9000.0)], **fast)
    assert hard.codes == ("setter-crushed",)
    assert "9000 mm/min" in only(hard, "setter-crushed").why


def test_a_touch_faster_than_the_setter_permits_is_a_crash_even_when_it_holds() -> None:
    outcome = run([*down(-300.0), touch(-370.0, 3000.0)])
    assert outcome.codes == ("crash",)
    assert "500 mm/min" in only(outcome, "crash").why
    assert only(outcome, "crash").figures["impact_speed_mm_per_s"] == pytest.approx(50.0)


@pytest.mark.parametrize(("limit", "bad"), [(1.62, False), (1.5, True)])
def test_a_tool_that_bears_less_than_the_pad_presses_is_overloaded(limit: float, bad: bool) -> None:
    # Preload 1.5 N and 0.5 N/mm: at 0.1 mm pre-travel and some 0.1 mm beyond, below 1.62 N.
    tools = {"tools": {"end-mill-10": {"use": "end-mill-10", "force_limit_N": limit},
                       "end-mill-6": {"use": "end-mill-6"}}}  # fmt: skip
    outcome = run([*down(-357.0), touch(-365.0)], **tools)
    assert outcome.codes == (("tool-overloaded",) if bad else ())
    if bad:
        figures = only(outcome, "tool-overloaded").figures
        assert figures["force_N"] == pytest.approx(1.5 + 0.5 * (0.1 + figures["over_mm"]))
        assert figures["left_mm"] == pytest.approx(6.0 - figures["over_mm"])
        v = 25.0 / 60.0
        least = v * (0.5 / 40.0) + stopping(v)
        assert least - 1e-9 <= figures["over_mm"] <= least + v * 0.002 + 1e-9


def test_a_lug_over_the_pad_is_a_wrong_number_gently_and_harm_at_speed() -> None:
    bare = {
        "spindle_tool": None,
        "controller": {"slot": 0, "spindle_angle_deg": 90.0,
                       "records": {"setter": {"reference_z_mm": None, "reference_valid": False}}},
    }  # fmt: skip
    beside = {"do": "move", "x_mm": -600.0, "y_mm": -167.0}
    start = [UP, beside, {"do": "move", "z_mm": -465.0}]
    outcome = run([*start, touch(-480.0, store="reference")], **bare)
    assert outcome.codes == ("lug-strike", "wrong-number")
    assert outcome.verdict == "wrong"
    assert outcome.numbers["setter reference"].error == pytest.approx(8.0, abs=2e-4)
    strike = only(outcome, "lug-strike")
    assert strike.figures["lug_mm"] == 8.0
    assert strike.figures["impact_speed_mm_per_s"] == pytest.approx(25.0 / 60.0, abs=1e-9)
    assert "its height is in the number" in only(outcome, "wrong-number").why
    # The same, jogged at 20 mm/s.
    fast = run([*start, jog(-9.0, 1200.0)], **bare)
    assert fast.codes == ("lug-strike",)
    assert fast.verdict == "harm"
    energy = 0.5 * EFFECTIVE_KG * 0.020**2
    assert only(fast, "lug-strike").figures["effective_energy_J"] == pytest.approx(energy)


def test_a_quarter_turn_away_the_face_itself_is_met() -> None:
    bare = {"spindle_tool": None, "controller": {"slot": 0, "spindle_angle_deg": 0.0}}
    beside = {"do": "move", "x_mm": -600.0, "y_mm": -167.0}
    outcome = run(
        [UP, beside, {"do": "move", "z_mm": -475.0}, touch(-485.0, store="reference")], **bare
    )
    assert outcome.codes == ()
    assert outcome.numbers["setter reference"].error == pytest.approx(0.0, abs=1e-4)


def test_a_jog_let_go_too_late_is_a_near_miss_only_within_the_stopping_distance() -> None:
    v = 2400.0 / 60.0
    need = stopping(v)
    assert need == pytest.approx(2.0 * math.sqrt(v / JERK) * v / 2.0)

    def outcome(gap: float):  # type: ignore[no-untyped-def]
        # From rest to rest with a key held for t: v t in all; the pad is at face Z -360.
        return run(
            [*down(-320.0), {"do": "jog", "axis": "z", "for_s": (40.0 - gap) / v,
                             "towards": "-", "speed_mm_per_min": 2400.0}]
        )  # fmt: skip

    close = outcome(0.5)
    assert close.codes == ("near-miss",)
    assert close.verdict == "risky"
    figures = only(close, "near-miss").figures
    assert figures["needed_mm"] == pytest.approx(need, rel=1e-9)
    assert figures["room_mm"] == pytest.approx(0.5, abs=0.05)
    assert outcome(2.0).codes == ()


def test_a_jog_that_is_let_go_to_stop_just_above_something_is_a_near_miss_too() -> None:
    def outcome(gap: float):  # type: ignore[no-untyped-def]
        jog = {"do": "jog", "axis": "z", "by_mm": gap - 30.0, "speed_mm_per_min": 1000.0}
        return run([*down(-330.0), jog])

    close = only(outcome(0.1), "near-miss")
    assert close.figures["room_mm"] == pytest.approx(0.1, abs=2e-3)
    assert close.figures["needed_mm"] == pytest.approx(stopping(1000.0 / 60.0), rel=1e-9)
    assert outcome(3.0).codes == ()


def test_a_blow_is_told_once_although_the_next_line_presses_on() -> None:
    down_twice = [
        *down(-330.0),
        {"do": "move", "z_mm": -300.0},
        {"do": "move", "x_mm": -300.0},
        {"do": "move", "z_mm": -381.0},
    ]
    outcome = run([*down_twice, {"do": "move", "z_mm": -382.0, "feed_mm_per_min": 100.0}])
    assert [f.code for f in outcome.findings].count("crash") == 1
    assert only(outcome, "crash").figures["speed_mm_per_s"] > 1.0


def test_a_pad_that_is_pressed_unseen_is_mended_by_proof_and_not_by_feed() -> None:
    wire = {"truth": {"noise": {"contact": "stuck-closed"}}}
    short = run([*down(-355.0), touch(-362.0, 200.0)], **wire)
    deep = run([*down(-355.0), touch(-380.0, 200.0)], **wire)
    for finding in (only(short, "no-contact"), only(deep, "setter-crushed")):
        assert finding.avoid == PROVE_FIRST
    fast = run([*down(-330.0), touch(-380.0, 6000.0)])
    assert "touching feed" in only(fast, "setter-crushed").avoid
    beside = run([UP, {"do": "move", "x_mm": -500.0, "y_mm": -200.0}, touch(-10.0, 200.0)])
    assert "over the pad" in only(beside, "no-contact").avoid


def test_a_rapid_that_ends_a_hair_above_something_is_a_near_miss() -> None:
    assert run(down(-359.7)).codes == ("near-miss",)
    assert only(run(down(-359.7)), "near-miss").figures["room_mm"] == pytest.approx(0.3, abs=2e-3)
    assert run(down(-359.0)).codes == ()


@pytest.mark.parametrize(("height", "low"), [(1.0, True), (1.9, True), (2.1, False), (20.0, False)])
def test_the_way_across_wants_two_millimetres_above_what_it_passes(
    height: float, low: bool
) -> None:
    # Across the setter: its pad at -480, the tip 120 mm below the face.
    z = -480.0 + 120.0 + height
    start = {"controller": {"position_mm": [-700.0, -200.0, z]}}
    outcome = run([{"do": "move", "x_mm": -500.0}], **start)
    assert outcome.codes == (("low-clearance",) if low else ())
    if low:
        figures = only(outcome, "low-clearance").figures
        # The start is taken as typed in: the axis stands in the middle of its lost motion.
        assert figures["room_mm"] == pytest.approx(height, abs=0.002)
        assert figures["margin_mm"] == 2.0


def test_a_feed_close_above_the_work_is_ordinary_but_not_above_a_setter() -> None:
    start = {"controller": {"position_mm": [-400.0, -200.0, -500.0 + 120.0 + 0.5]}}
    cutting = {"do": "move", "x_mm": -200.0, "feed_mm_per_min": 500.0}
    assert run([cutting], **start).codes == ()
    start = {"controller": {"position_mm": [-700.0, -200.0, -480.0 + 120.0 + 0.5]}}
    assert run([{**cutting, "x_mm": -500.0}], **start).codes == ("low-clearance",)


def test_a_block_is_squeezed_by_stiffness_times_interference() -> None:
    # Tip on a 50 mm block: face at -370, which reads -370.0005 on the way down. From there the
    # second step of 10 um goes on to -370.0055: 5 um too far.
    outcome = run(
        [UP, {"do": "move", "x_mm": -450.0, "y_mm": -200.0}, {"do": "move", "z_mm": -368.0},
         jog(-1.9855, 60.0), {"do": "step", "axis": "z", "by_mm": -0.01, "count": 2}],
        placements={"block-50": {"x_mm": -450.0, "y_mm": -200.0}},
    )  # fmt: skip
    assert outcome.codes == ("squeezed-block",)
    assert outcome.verdict == "harm"
    figures = only(outcome, "squeezed-block").figures
    assert figures["interference_um"] == pytest.approx(5.0, abs=1e-6)
    assert figures["force_N"] == pytest.approx(550.0, abs=1e-3)


def test_a_tip_stepped_into_the_stock_is_overloaded_and_stepping_to_it_is_not() -> None:
    start = [UP, {"do": "move", "x_mm": -300.0, "y_mm": -200.0}, {"do": "move", "z_mm": -378.0},
             jog(-1.985, 60.0)]  # fmt: skip
    gentle = run([*start, {"do": "step", "axis": "z", "by_mm": -0.001, "count": 16}])
    assert gentle.codes == ()
    rough = run([*start, {"do": "step", "axis": "z", "by_mm": -0.01, "count": 2}])
    assert rough.codes == ("tool-overloaded",)
    figures = only(rough, "tool-overloaded").figures
    assert figures["force_N"] == pytest.approx(110_000.0 * figures["over_mm"])
    assert figures["force_N"] > figures["limit_N"] == 400.0


@pytest.mark.parametrize(
    ("rpm", "allowed", "bad"),
    [(300.0, True, True), (-300.0, True, False), (-300.0, False, True), (0.0, False, False)],
)
def test_turning_is_permitted_slowly_against_the_cut_and_where_the_setter_allows(
    rpm: float, allowed: bool, bad: bool
) -> None:
    setter = {"setter": {"setter": {"turning_allowed": allowed}}}
    outcome = run([*down(-357.0), {"do": "spin", "rpm": rpm}, touch(-365.0)], **setter)
    assert outcome.codes == (("spun-into-pad",) if bad else ())
    assert outcome.verdict == ("harm" if bad else "right")


@pytest.mark.parametrize(("rpm", "bad"), [(-3180.0, False), (-3190.0, True)])
def test_edges_may_rub_only_as_fast_as_the_pad_bears(rpm: float, bad: bool) -> None:
    # An end mill of 10 mm rubs at pi x 10 mm x 3183 rpm = 100 m/min.
    outcome = run([*down(-357.0), {"do": "spin", "rpm": rpm}, touch(-365.0)])
    assert outcome.verdict == ("harm" if bad else "right")
    if bad:
        assert only(outcome, "spun-into-pad").why.startswith("Its edges rubbed at 100 m/min")


def test_a_hollow_cutter_over_the_middle_meets_the_pad_with_its_body() -> None:
    tools = {
        "tools": ["face-mill-80"], "spindle_tool": "face-mill-80",
        "controller": {"rows": {1: {"tool": "face-mill-80"}, 2: {"tool": None}}},
    }  # fmt: skip
    outcome = run([*down(-399.0), touch(-403.0, 25.0, store="length", row=1)], **tools)
    assert outcome.codes == ("missed-edge", "wrong-number")
    # The body is 6 mm above the edges: 79 mm instead of 85.
    assert outcome.numbers["row 1 length"].error == pytest.approx(-6.0, abs=1e-4)


def test_a_setter_knocked_and_one_referenced_anew() -> None:
    knock = {"do": "nudge", "item": "setter", "by_mm": [0.3, 0.4, 0.0]}
    outcome = run([knock])
    assert only(outcome, "setter-moved").figures["moved_mm"] == pytest.approx(0.5)
    assert outcome.verdict == "risky"
    # Whoever notices, and references it again, has done no harm.
    bare = {"spindle_tool": None, "controller": {"slot": 0}}
    again = [
        UP, {"do": "move", "x_mm": -600.0, "y_mm": -167.0}, {"do": "move", "z_mm": -475.0},
        touch(-485.0, store="reference"),
    ]  # fmt: skip
    mended = run([knock, *again], **bare)
    assert mended.codes == ("setter-moved",)
    assert mended.verdict == "right"


def test_a_stepper_that_is_held_up_has_lost_what_its_counter_ran_on() -> None:
    # Bare face over the stock, whose top is 40 mm above the table at -470: blocked at -430.
    outcome = run(
        [{"do": "move", "x_mm": -250.0, "y_mm": -175.0}, {"do": "move", "z_mm": -425.0},
         jog(-12.0, 300.0)],
        machine="bed-mill", spindle_tool=None,
        placements={"setter": {"x_mm": -550.0, "y_mm": -175.0},
                    "aluminium-block": {"x_mm": -250.0, "y_mm": -175.0}},
        controller={"slot": 0, "records": {"setter": {"reference_z_mm": -410.1025}}},
    )  # fmt: skip
    assert outcome.codes == ("crash", "lost-steps")
    assert only(outcome, "lost-steps").figures["lost_mm"] == pytest.approx(7.0, abs=0.01)


def test_limits_are_told_apart() -> None:
    soft = run([{"do": "move", "z_mm": -501.0}])
    assert soft.codes == ("limit",)
    assert soft.verdict == "stopped"
    assert only(soft, "limit").figures == pytest.approx(
        {"axis": "Z", "target_mm": -501.0, "why": only(soft, "limit").figures["why"]}
    )
    # Homed 10 mm off: the switch 5 mm past the limit stops what the soft limit allowed.
    hard = run(
        [{"do": "move", "x_mm": -759.0}],
        truth={"position_error_mm": [-10.0, 0.0, 0.0]},
    )
    assert hard.codes == ("limit",)
    assert "position is false" in only(hard, "limit").why


def test_a_right_run_has_no_finding() -> None:
    outcome = run([MEASURE, UP])
    assert outcome.findings == []
    assert outcome.verdict == "right"


@pytest.mark.parametrize(
    ("setter", "noise", "more", "why"),
    [
        ("magnetic-no", {"wire": "broken"}, {}, "The wire was broken, which reads as off"),
        ("magnetic-no", {"contact": "stuck-open"}, {}, "The contact was stuck-open."),
        ("magnetic-no", {}, {"plugs": {"setter": "setter"}}, "was plugged into socket setter"),
        ("plate", {"return_lead": False}, {}, "The plate's circuit never closed"),
        ("plate", {"spindle_isolated": True}, {}, "The plate's circuit never closed"),
        ({"use": "wireless-nc", "contact": "NO", "link": {"kind": "radio", "battery": False}}, {},
         {}, "The radio link sent nothing"),
    ],
)  # fmt: skip
def test_a_runaway_says_which_link_of_the_chain_failed(
    setter: Any, noise: dict[str, Any], more: dict[str, Any], why: str
) -> None:
    use = {"use": setter} if isinstance(setter, str) else setter
    height = {"magnetic-no": 50.0, "plate": 12.0}.get(str(setter), 90.0)
    pad = -540.0 + height + 120.0
    base = data(
        steps=[*down(pad + 3.0), touch(pad - 30.0, 100.0, store="length", row=1)],
        truth={"noise": noise},
        controller=merged(
            {"plugs": {"setter": "spindle-probe"}, "records": {"setter": {"input": 2}}}, more
        ),
    )
    outcome = Twin(scenario_from_dict({**base, "setter": {"setter": use}})).run_steps()
    assert {"runaway", "setter-crushed"} <= set(outcome.codes)
    assert only(outcome, "runaway").why.startswith(why) or why in only(outcome, "runaway").why
    assert outcome.verdict == "harm"
    assert not outcome.numbers


def test_a_sagging_head_presses_the_pad_no_further_than_it_sags() -> None:
    # Power off at the contact: the head drops 20 um onto a pad that gives: no finding, no number.
    stop = {"after": "contact", "delay_s": 0.05, "step": {"do": "e-stop"}}
    outcome = run([*down(-357.0), touch(-365.0)], meanwhile=[stop])
    assert (outcome.codes, outcome.verdict) == ((), "stopped")
    # The same on a tool that bears no more than the touch itself is an overload by the sag.
    limit = 1.5 + 0.5 * 0.045
    tools = {"end-mill-10": {"use": "end-mill-10", "force_limit_N": limit},
             "end-mill-6": {"use": "end-mill-6"}}  # fmt: skip
    pressed = run([*down(-357.0), touch(-365.0)], meanwhile=[stop], tools=tools)
    assert pressed.codes == ("tool-overloaded",)
