"""Positions, speeds and pad depths from a recording, against closed forms."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drytouch.sim.motion.pieces import Piece
from drytouch.sim.recording import LineEntry, Recorder, Recording
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Box, Cylinder, Placed

LINKS = {"head": (0.0, 0.0, 1.0), "table": (-1.0, -1.0, 0.0), "base": (0.0, 0.0, 0.0)}


def steady(t0: float, t1: float, v: float, s0: float = 0.0) -> Piece:
    return Piece(t0, t1, s0, v, 0.0, 0.0, s0 + v * (t1 - t0))


def entry(**changes: object) -> LineEntry:
    base = LineEntry(
        id=1,
        kind="touch",
        t0=1.0,
        t1=3.0,
        start=(10.0, 20.0, 100.0),
        direction=(0.0, 0.0, -1.0),
        arc=None,
        command_start=(10.0, 20.0, 100.0),
        dead_mm=0.0,
        delay_s=0.0,
        pieces=(steady(1.0, 3.0, 2.0),),
        block_mm=None,
        source=(3, "part.ngc", 12, None),
    )
    return base._replace(**changes)  # type: ignore[arg-type]


def of(*entries: LineEntry) -> Recording:
    recorder = Recorder()
    recorder.begin({}, LINKS, 7, start=(1.0, 2.0, 3.0))
    for line in entries:
        recorder.line(line)
    return Recording.from_recorder(recorder)


def test_before_the_first_line_the_axes_stand_where_it_starts() -> None:
    assert of(entry()).position_at(0.5) == (10.0, 20.0, 100.0)
    assert of().position_at(0.5) == (1.0, 2.0, 3.0)


def test_steady_line() -> None:
    recording = of(entry())
    assert recording.position_at(2.0) == (10.0, 20.0, 98.0)
    assert recording.speed_at(2.0) == 2.0
    assert recording.position_at(99.0) == (10.0, 20.0, 96.0)
    assert recording.speed_at(99.0) == 0.0
    assert recording.duration_s == 3.0


def test_delay_makes_the_axis_follow_its_command() -> None:
    recording = of(entry(delay_s=0.25, t1=3.25))
    assert recording.command_at(2.0) == (10.0, 20.0, 98.0)
    assert recording.position_at(2.0) == (10.0, 20.0, 98.5)
    assert recording.position_at(1.2) == (10.0, 20.0, 100.0)
    assert recording.position_at(3.25) == recording.command_at(3.25) == (10.0, 20.0, 96.0)


def test_lost_motion_is_taken_up_first() -> None:
    recording = of(entry(dead_mm=0.5, command_start=(10.0, 20.0, 99.5)))
    assert recording.position_at(1.2) == (10.0, 20.0, 100.0)
    assert recording.speed_at(1.2) == 0.0
    assert recording.position_at(2.0) == (10.0, 20.0, 98.5)
    assert recording.command_at(2.0) == (10.0, 20.0, 97.5)


def test_a_block_holds_the_axis_while_the_command_runs_on() -> None:
    recording = of(entry(block_mm=1.5))
    assert recording.position_at(1.5) == (10.0, 20.0, 99.0)
    assert recording.position_at(2.5) == (10.0, 20.0, 98.5)
    assert recording.speed_at(2.5) == 0.0
    assert recording.command_at(2.5) == (10.0, 20.0, 97.0)


def test_cubic_piece() -> None:
    # s = j t^3 / 6, v = j t^2 / 2 from rest.
    piece = Piece(0.0, 2.0, 0.0, 0.0, 0.0, 6.0, 8.0)
    recording = of(entry(t0=0.0, t1=2.0, pieces=(piece,)))
    assert recording.position_at(1.5)[2] == pytest.approx(100.0 - 1.5**3, abs=1e-12)
    assert recording.speed_at(1.5) == pytest.approx(3.0 * 1.5**2, abs=1e-12)


@pytest.mark.parametrize(("plane", "first", "second"), [("xy", 0, 1), ("zx", 2, 0), ("yz", 1, 2)])
def test_quarter_circle(plane: str, first: int, second: int) -> None:
    # From angle 0 counter-clockwise by a quarter: the far end is one radius back, one radius over.
    start = [0.0, 0.0, 0.0]
    start[first] = 10.0
    direction = [0.0, 0.0, 0.0]
    direction[second] = 1.0
    length = 10.0 * math.pi / 2
    arc = ((0.0, 0.0, 0.0), 10.0, 0.0, math.pi / 2, plane)
    line = entry(
        start=tuple(start),
        command_start=tuple(start),
        direction=tuple(direction),
        arc=arc,
        pieces=(steady(1.0, 3.0, length / 2),),
    )
    expected = [0.0, 0.0, 0.0]
    expected[second] = 10.0
    assert of(line).position_at(3.0) == pytest.approx(expected, abs=1e-12)
    middle = of(line).position_at(2.0)
    assert middle[first] == pytest.approx(10 * math.sqrt(0.5), abs=1e-12)
    assert middle[second] == pytest.approx(10 * math.sqrt(0.5), abs=1e-12)


@given(
    st.floats(-0.9, 0.9),
    st.floats(1.0, 50.0),
    st.sampled_from([-1.0, 1.0]),
    st.floats(0.0, 2.0),
    st.floats(-3.0, 3.0),
)
def test_helix_keeps_path_speed_and_radius(
    rise: float, radius: float, way: float, t: float, angle: float
) -> None:
    flat = math.sqrt(1 - rise * rise)
    start = (radius * math.cos(angle), radius * math.sin(angle), 0.0)
    direction = (-way * flat * math.sin(angle), way * flat * math.cos(angle), rise)
    line = entry(
        t0=0.0,
        t1=2.0,
        start=start,
        command_start=start,
        direction=direction,
        arc=((0.0, 0.0, 0.0), radius, angle, way * 3.0, "xy"),
        pieces=(steady(0.0, 2.0, 4.0),),
    )
    x, y, z = of(line).position_at(t)
    assert math.hypot(x, y) == pytest.approx(radius, rel=1e-12)
    assert z == pytest.approx(rise * 4.0 * t, abs=1e-12)
    turned = way * math.remainder(math.atan2(y, x) - angle - way * 4 * t * flat / radius, math.tau)
    assert turned == pytest.approx(0.0, abs=1e-9)


def test_pad_depth_follows_the_line_and_stays_at_its_end() -> None:
    recorder = Recorder()
    recorder.begin({}, LINKS, 7)
    recorder.line(entry())
    recorder.line(entry(id=2, t0=4.0, t1=5.0, direction=(0.0, 0.0, 1.0), start=(10.0, 20.0, 96.0)))
    recorder.pad("main", 2.0, 1, 2.0, 0.0, 1.0, 1.5)
    recorder.pad("main", 4.0, 2, 0.0, 1.5, -1.0, 1.5)
    recording = Recording.from_recorder(recorder)
    assert recording.pad_depth_at("main", 1.9) == 0.0
    assert recording.pad_depth_at("main", 2.5) == 1.0
    assert recording.pad_depth_at("main", 3.0) == 1.5
    assert recording.pad_depth_at("main", 3.9) == 1.5
    assert recording.pad_depth_at("other", 2.5) == 0.0
    assert recording.setters == ("main",)
    # The second line's plan began at t = 1: at t0 = 4 it is already at its end.
    assert recording.pad_depth_at("main", 4.5) == 0.0


def test_bodies_come_move_change_and_go() -> None:
    tool = Body("tool", "head", (Placed(Cylinder(5.0, 60.0), (0.0, 0.0, -30.0)),), kind="tool")
    longer = Body("tool", "head", (Placed(Cylinder(5.0, 80.0), (0.0, 0.0, -40.0)),), kind="tool")
    vise = Body("vise", "table", (Placed(Box(90.0, 60.0, 40.0)),), offset=(100.0, 50.0, 0.0))
    recorder = Recorder()
    recorder.begin({}, LINKS, 7)
    recorder.body(vise)
    recorder.body(vise)
    recorder.scene(0.0, "place", "tool", tool)
    recorder.scene(2.0, "move", "vise", (101.0, 50.0, 0.0, 2.0))
    recorder.scene(2.5, "place", "tool", longer)
    recorder.scene(2.75, "remove", "tool")
    recorder.line(entry())
    recording = Recording.from_recorder(recorder)

    early = {item.id: item for item in recording.bodies_at(1.0)}
    assert early["vise"].position == (90.0, 30.0, 0.0)
    assert early["vise"].body == vise
    assert early["tool"].position == (0.0, 0.0, 100.0)
    assert early["tool"].body == tool
    late = {item.id: item for item in recording.bodies_at(2.5)}
    assert late["vise"].position == (91.0, 30.0, 0.0)
    assert late["vise"].turn_deg == 2.0
    assert late["tool"].body == longer
    assert [item.id for item in recording.bodies_at(2.8)] == ["vise"]
    assert len(recording.data["geometry"]) == 3


def test_signals_events_beliefs_and_spindle() -> None:
    recorder = Recorder()
    recorder.begin({"name": "x"}, LINKS, 7)
    recorder.edge("main.contact", 1.0, 1)
    recorder.edge("main.contact", 1.0, 0)
    recorder.edge("input 1.seen", 1.5, 1)
    recorder.event(1.0, "contact", ("pad", 0.1))
    recorder.event(0.5, "step", {"index": 0})
    recorder.belief(0.0, "row 3 length", 80.0)
    recorder.belief(2.0, "row 3 length", 81.5)
    recorder.spindle(1.0, 0.5, 60.0)
    recorder.end(4.0, {"verdict": "right", "findings": []})
    recording = Recording.from_recorder(recorder)
    assert recording.signal_at("main.contact", 0.9) is None
    assert recording.signal_at("main.contact", 1.0) == 0
    assert recording.edges_of("main.contact") == ((1.0, 1), (1.0, 0))
    assert recording.signals == ("main.contact", "input 1.seen")
    assert [event.kind for event in recording.events] == ["step", "contact"]
    assert recording.events_between(1.0, 1.0)[0].data == ["pad", 0.1]
    assert recording.events_between(0.5, 1.0, "step")[0].data == {"index": 0}
    assert recording.events_between(1.1, 9.0) == ()
    assert recording.beliefs_at(1.9) == {"row 3 length": 80.0}
    assert recording.beliefs_at(2.0) == {"row 3 length": 81.5}
    assert recording.spindle_at(0.5) == (0.0, 0.0)
    assert recording.spindle_at(1.25) == (pytest.approx(0.5 + math.pi / 2), 60.0)
    assert recording.duration_s == 4.0
    assert recording.verdict == "right"
    assert recording.findings == ()


@given(st.lists(st.floats(0.01, 5.0), min_size=1, max_size=8), st.floats(0.0, 3.0))
def test_position_never_jumps(lengths: list[float], delay: float) -> None:
    t, z, lines = 0.0, 100.0, []
    for index, length in enumerate(lengths):
        lines.append(
            entry(
                id=index,
                t0=t,
                t1=t + 1.0 + delay,
                start=(0.0, 0.0, z),
                delay_s=delay,
                pieces=(steady(t, t + 1.0, length),),
            )
        )
        z, t = z - length, t + 1.0 + delay
    recording = of(*lines)
    assert recording.position_at(t)[2] == pytest.approx(z, abs=1e-9)
    times = [k * t / 200 for k in range(201)]
    heights = [recording.position_at(time)[2] for time in times]
    for before, after in pairwise(heights):
        assert -1e-12 <= before - after <= max(lengths) * t / 200 * (1 + 1e-9) + 1e-9
