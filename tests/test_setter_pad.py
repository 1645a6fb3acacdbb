"""The pad: depths, force, solid stop, tilt, bolt and hollow cutters, dirt, turning tools."""

from __future__ import annotations

from math import cos, pi, radians, sin, tan
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from twin_cases import CLOSE_Z, CONTACT_Z, X, Y, down, kinds, truth_z, twin_of, when

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.setter import Pad, bounce_edges, pad_normal
from drytouch.sim.twin.twin import Twin

UM = 1e-3
BODY: dict[str, Any] = {
    "base_diameter_mm": 60.0, "base_height_mm": 50.0, "pad_diameter_mm": 30.0,
    "pad_height_mm": 60.0, "pre_travel_mm": 0.1, "hysteresis_mm": 0.03, "overtravel_mm": 5.0,
    "preload_N": 1.5, "rate_N_per_mm": 0.5,
}  # fmt: skip


@given(
    depth0=st.floats(0.0, 3.0), rate=st.sampled_from([1.0, -1.0, 0.5, -0.7]),
    s_from=st.floats(0.0, 100.0), ahead=st.floats(0.0, 10.0),
)  # fmt: skip
def test_depth_along_a_line_is_linear_and_never_negative(
    depth0: float, rate: float, s_from: float, ahead: float
) -> None:
    pad = Pad("main", Setter(**BODY))
    pad.follow(s_from, depth0, rate)
    assert pad.depth_at(s_from + ahead) == pytest.approx(max(0.0, depth0 + rate * ahead), abs=1e-9)
    s = pad.s_at(1.0)
    assert s is not None
    assert pad.depth_at(s) == pytest.approx(1.0, abs=1e-9)


def test_levels_follow_the_trip_that_this_touch_has() -> None:
    pad = Pad("main", Setter(**BODY))
    pad.trip = 0.105
    assert pad.release == pytest.approx(0.075)
    assert pad.solid == pytest.approx(5.105)
    pad.follow(3.0, 1.0, 0.0)
    assert pad.s_at(2.0) is None


def test_force_is_preload_plus_rate_times_travel() -> None:
    pad = Pad("main", Setter(**BODY))
    assert pad.force(0.0) == 0.0
    assert pad.force(0.1) == pytest.approx(1.55)
    assert pad.force(5.1) == pytest.approx(1.5 + 2.55)


def test_bounce_is_an_even_number_of_edges_that_end_as_they_began() -> None:
    edges = bounce_edges(1.0, [1.001, 1.002, 1.003, 1.004], True)
    assert edges == [(1.0, True), (1.001, False), (1.002, True), (1.003, False), (1.004, True)]


@given(tilt=st.floats(-5.0, 5.0), axis=st.floats(-360.0, 360.0), turn=st.floats(-180.0, 180.0))
def test_the_normal_of_a_tilted_pad(tilt: float, axis: float, turn: float) -> None:
    normal = pad_normal(Setter(tilt_deg=tilt, tilt_axis_deg=axis, **BODY), turn)
    a, t = radians(axis + turn), radians(tilt)
    assert normal == pytest.approx((sin(t) * sin(a), -sin(t) * cos(a), cos(t)), abs=1e-12)
    assert sum(n * n for n in normal) == pytest.approx(1.0)
    # Square to the axis that it tilts about.
    assert normal[0] * cos(a) + normal[1] * sin(a) == pytest.approx(0.0, abs=1e-12)


# ---- travel ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("pre_travel", "budget"), [(0.05, 2.0), (0.1, 6.0), (0.5, 0.8)])
def test_past_its_budget_counted_from_the_trip_the_pad_is_solid(
    pre_travel: float, budget: float
) -> None:
    twin = twin_of(setter={"main": {"pre_travel_mm": pre_travel, "overtravel_mm": budget}})
    twin.hand.feed(z=CONTACT_Z - 10.0, feed_mm_per_min=300.0, frame="machine")
    assert kinds(twin) == ["contact", "close", "blocked"]
    assert truth_z(twin) == pytest.approx(CONTACT_Z - pre_travel - budget, abs=1e-9)
    v = 5.0
    assert when(twin, "close") - when(twin, "contact") == pytest.approx(pre_travel / v)
    assert when(twin, "blocked") - when(twin, "close") == pytest.approx(budget / v)
    # And pressed once more it stays where it is; then it comes back all the way.
    twin.hand.feed(z=CONTACT_Z - 12.0, feed_mm_per_min=300.0, frame="machine")
    assert truth_z(twin) == pytest.approx(CONTACT_Z - pre_travel - budget, abs=1e-9)
    twin.hand.feed(z=CONTACT_Z + 1.0, feed_mm_per_min=300.0, frame="machine")
    assert kinds(twin)[-2:] == ["open", "leave"]
    assert truth_z(twin) == pytest.approx(CONTACT_Z + 1.0, abs=1e-9)
    assert twin.kernel.pads["main"].depth == 0.0


def test_a_line_that_ends_between_touch_and_trip_goes_on_from_there() -> None:
    twin = twin_of()
    twin.hand.feed(z=CONTACT_Z - 0.04, feed_mm_per_min=60.0, frame="machine")
    assert kinds(twin) == ["contact"]
    assert twin.kernel.pads["main"].depth == pytest.approx(0.04, abs=1e-9)
    found = down(twin, 60.0)
    assert kinds(twin) == ["contact", "close", "latch"]
    assert found.z == pytest.approx(CLOSE_Z, abs=1e-5)


def test_a_tiny_tool_is_overloaded_by_the_pad() -> None:
    for limit, expected in ((1.4, True), (2.0, False)):
        twin = twin_of(tools={"pin": {"force_limit_N": limit}})
        down(twin, 60.0)
        assert ("tool-overloaded" in {f.code for f in twin.judge.findings}) is expected


@pytest.mark.parametrize("dirt_um", [5.0, 80.0])
def test_a_chip_between_tip_and_pad_trips_it_earlier(dirt_um: float) -> None:
    twin = twin_of(truth={"noise": {"dirt_um": dirt_um}})
    assert down(twin, 60.0).z == pytest.approx(CLOSE_Z + dirt_um * UM, abs=0.01 * UM)


# ---- tilt -----------------------------------------------------------------------------------


def trip_with(diameter: float, tilt: float, x: float = X, turn: float = 0.0) -> Twin:
    tool = {"stack": [{"diameter_mm": diameter, "length_mm": 100.0}], "force_limit_N": 1e6}
    twin = twin_of(
        tools={"pin": tool},
        setter={"main": {"tilt_deg": tilt, "tilt_axis_deg": 90.0}},
        placements={"main": {"turn_deg": turn}},
        controller={"position_mm": [x, Y, CONTACT_Z + 10.0]},
    )
    down(twin, 60.0)
    return twin


@pytest.mark.parametrize("tilt", [0.2, 1.0])
def test_a_pointed_tool_and_a_wide_face_read_a_tilted_pad_differently(tilt: float) -> None:
    t = radians(tilt)
    pointed, wide = trip_with(0.02, tilt), trip_with(60.0, tilt)
    assert truth_z(pointed) - truth_z(wide) == pytest.approx(-20.0 * sin(t), abs=3e-4)
    # Along its own axis the switch moves pre-travel; straight down that takes 1/cos of it.
    v = 1.0
    assert when(pointed, "close") - when(pointed, "contact") == pytest.approx(
        0.1 / (v * cos(t)), rel=1e-6
    )


def test_beside_its_middle_a_tilted_pad_is_higher_or_lower() -> None:
    t = radians(1.0)
    middle, right = trip_with(0.02, 1.0), trip_with(0.02, 1.0, x=X + 10.0)
    left = trip_with(0.02, 1.0, x=X - 10.0)
    # Tilted about Y by +1 degree the normal leans to +X: the pad falls off to +X.
    assert truth_z(right) - truth_z(middle) == pytest.approx(-10.0 * tan(t), abs=1e-3)
    assert truth_z(left) - truth_z(middle) == pytest.approx(10.0 * tan(t), abs=1e-3)


def test_a_turned_setter_takes_its_tilt_with_it() -> None:
    t = radians(1.0)
    twin = trip_with(0.02, 1.0, x=X + 10.0, turn=180.0)
    assert truth_z(twin) - truth_z(trip_with(0.02, 1.0)) == pytest.approx(10.0 * tan(t), abs=1e-3)
    assert twin.kernel.pads["main"].normal == pytest.approx((-sin(t), 0.0, cos(t)), abs=1e-12)


# ---- bolt, hollow cutters, turning ----------------------------------------------------------

MILL: dict[str, Any] = {"tools": {"mill": {"use": "face-mill-80"}}, "spindle_tool": "mill"}


def mill(x: float, **over: Any) -> Twin:
    base = {**MILL, "controller": {"position_mm": [x, Y, -380.0]}}
    return twin_of(**{**base, **over})


def test_a_hollow_cutter_over_the_middle_meets_the_pad_with_its_body() -> None:
    twin = mill(X)
    found = twin.hand.touch(z=-420.0, feed_mm_per_min=60.0)
    assert found.z == pytest.approx(-480.0 + 79.0 - 0.1, abs=0.1 * UM)
    assert "missed-edge" in {f.code for f in twin.judge.findings}


def test_beside_the_middle_an_edge_meets_the_pad() -> None:
    twin = mill(X + 36.0)
    found = twin.hand.touch(z=-420.0, feed_mm_per_min=60.0)
    # The edge at 180 degrees is 2 um short of the highest.
    assert found.z == pytest.approx(-480.0 + 85.0 - 0.002 - 0.1, abs=0.1 * UM)
    assert "missed-edge" not in {f.code for f in twin.judge.findings}


def test_over_a_screw_in_the_middle_a_thin_tool_meets_the_screw() -> None:
    thin = {"stack": [{"diameter_mm": 6.0, "length_mm": 100.0}], "force_limit_N": 1e6}
    twin = twin_of(setter={"main": {"use": "bolted-ring-nc"}}, tools={"pin": thin})
    with pytest.raises(ControllerAlarm):
        down(twin, 60.0, depth=60.0)
    assert truth_z(twin) == pytest.approx(CONTACT_Z - 1.0, abs=1e-6)  # 1 mm below the pad
    assert "contact" not in kinds(twin)
    beside = twin_of(
        setter={"main": {"use": "bolted-ring-nc"}}, tools={"pin": thin},
        controller={"position_mm": [X + 20.0, Y, CONTACT_Z + 10.0]},
    )  # fmt: skip
    assert down(beside, 60.0).z == pytest.approx(CONTACT_Z - 0.12, abs=1e-5)


RPM, EDGES = 50.0, 6


def turning(filter_s: float, seed: int = 0, feed: float = 60.0, chance: bool = False) -> Any:
    twin = Twin(
        mill(
            X + 36.0,
            chance=chance,
            setter={"main": {"pre_travel_sigma_mm": 0.0, "bounce_pairs": 0}},
            machine={
                "sockets": {"setter": {"filter_s": filter_s, "scan_s": 0.0}},
                "habits": {"latch": "edge", "after_touch": "stay"},
            },
        ).scenario,
        seed,
    )
    twin.controller.spin(-RPM)
    return twin


def test_turned_slowly_against_the_cut_the_highest_edge_is_found() -> None:
    twin = turning(0.01)
    found = twin.hand.touch(z=-420.0, feed_mm_per_min=60.0)
    assert found.z == pytest.approx(-480.0 + 85.0 - 0.1, abs=0.1 * UM)
    assert "spun-into-pad" not in {f.code for f in twin.judge.findings}


def test_it_is_late_by_up_to_the_feed_of_one_edge() -> None:
    feed = 60.0
    most = feed / RPM / EDGES
    late = []
    for seed in range(60):
        found = turning(0.01, seed, feed, chance=True).hand.touch(z=-420.0, feed_mm_per_min=feed)
        late.append(-480.0 + 85.0 - 0.1 - found.z)
    assert min(late) >= -0.1 * UM
    assert max(late) <= most + 0.1 * UM
    # Uniform: mean most/2, deviation most/sqrt(12); within 4 standard errors of 60.
    assert sum(late) / 60 == pytest.approx(most / 2, abs=4 * most / (12 * 60) ** 0.5)
    assert max(late) - min(late) > 0.8 * most


def test_a_filter_longer_than_the_contact_of_an_edge_never_trips() -> None:
    contact_s = 40.0 / (pi * 80.0) * 60.0 / RPM
    shorter = turning(contact_s * 0.98)
    assert shorter.hand.touch(z=-397.0, feed_mm_per_min=60.0, must_contact=False).contact
    longer = turning(contact_s * 1.02)
    assert not longer.hand.touch(z=-397.0, feed_mm_per_min=60.0, must_contact=False).contact
    assert kinds(longer) == ["contact", "close"]


# ---- what springs back ----------------------------------------------------------------------


def pressed_by(depth: float) -> Twin:
    twin = twin_of()
    twin.hand.feed(z=CONTACT_Z - depth, feed_mm_per_min=60.0, frame="machine")
    twin.advance(twin.env.now + 0.1)
    assert twin.controller.input_on() is (depth >= 0.1)
    return twin


@pytest.mark.parametrize("depth", [0.05, 0.5])
def test_a_tool_that_slides_across_keeps_the_pad_down_until_it_is_off(depth: float) -> None:
    twin = pressed_by(depth)
    twin.hand.feed(x=X + 20.0, feed_mm_per_min=600.0, frame="machine")
    assert twin.kernel.pads["main"].depth == pytest.approx(depth, abs=1e-9)
    twin.hand.feed(x=X + 40.0, feed_mm_per_min=600.0, frame="machine")
    assert kinds(twin)[-1] == "leave"
    assert ("open" in kinds(twin)) is (depth >= 0.1)
    twin.advance(twin.env.now + 0.1)
    assert not twin.controller.input_on()
    assert twin.kernel.pads["main"].depth == 0.0


@pytest.mark.parametrize("start_x", [0.0, -12.0])
def test_it_springs_back_where_the_tool_comes_off_and_not_at_the_end_of_the_way(start_x) -> None:
    twin = twin_of()
    twin.hand.rapid(x=X + start_x, frame="machine")
    twin.hand.feed(z=CONTACT_Z - 0.5, feed_mm_per_min=60.0, frame="machine")
    began = twin.env.now
    twin.hand.feed(x=X + start_x + 100.0, feed_mm_per_min=600.0, frame="machine")
    events = [(t, kind) for t, kind, _ in twin.recorder.events if kind in ("open", "leave")]
    assert [kind for _, kind in events] == ["open", "leave"]
    # Pad and tool are round: it is off when their centres are both radii apart.
    setter, tool = twin.scenario.setter["main"], twin.stage.tool
    apart = setter.pad_diameter_mm / 2 + tool.tip_diameter_mm / 2
    seen = Recording.from_dict(twin.recorder.to_dict())
    off = events[1][0]
    assert seen.pad_depth_at("main", off - 1e-6) == pytest.approx(0.5, abs=1e-6)
    assert seen.pad_depth_at("main", off) == 0.0 == seen.pad_depth_at("main", twin.env.now)
    at = seen.position_at(off)[0]
    assert at == pytest.approx(X + apart, abs=2e-5)
    assert events[0][0] == events[1][0] < twin.env.now
    assert began < events[0][0]
    assert twin.kernel.pads["main"].depth == 0.0


def test_a_slant_that_only_brushes_the_rim_lets_the_pad_go_again() -> None:
    twin = twin_of()
    off = twin.scenario.setter["main"].pad_diameter_mm / 2 + twin.stage.tool.tip_diameter_mm / 2
    twin.hand.rapid(x=X + off - 1.0, frame="machine")
    twin.hand.feed(z=CONTACT_Z + 0.05, feed_mm_per_min=60.0, frame="machine")
    # Down by 1 in 10: it meets the pad after 0.5 mm, and is off it 0.5 mm later, 50 um deep.
    twin.hand.feed(x=X + off + 9.0, z=CONTACT_Z - 0.95, feed_mm_per_min=60.0, frame="machine")
    assert kinds(twin) == ["contact", "leave"]
    pad = twin.kernel.pads["main"]
    assert not pad.pressed
    assert not twin.controller.input_on()
    assert twin.recorder.lines[-1].block_mm is None


def test_a_pad_that_is_taken_away_or_whose_tool_is_changed_springs_back() -> None:
    away, changed = pressed_by(0.5), pressed_by(0.5)
    away.stage.take_away("main", away.recorder, away.env.now)
    changed.stage.load(None, changed.recorder, changed.env.now)
    for twin in (away, changed):
        twin.hand.feed(z=CONTACT_Z, feed_mm_per_min=60.0, frame="machine")
        seen = Recording.from_dict(twin.recorder.to_dict())
        assert seen.pad_depth_at("main", twin.env.now) == 0.0
        assert kinds(twin) == ["contact", "close", "open", "leave"]
        assert not twin.controller.input_on()
