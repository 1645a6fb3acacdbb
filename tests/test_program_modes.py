"""What the codes do, in which order, and what the settings of the language change."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from program_cases import bench, drain, events, run, typed

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program import IdealMachine, Interpreter, LanguageSettings, Machine, ProgramError
from drytouch.sim.program.arcs import arc_by_centre, arc_by_radius, arc_extent
from drytouch.sim.program.ideal import Box, floor_at
from drytouch.sim.program.machine import Motion, SetterRecord, ToolRow, Vector
from drytouch.sim.program.machine_values import FIRST, LAST, MACHINE_VALUES, describe
from drytouch.sim.program.settings import POINTS, SETTING_NAMES


def test_ideal_machine_fits_the_face() -> None:
    assert isinstance(IdealMachine(), Machine)


def test_order_of_execution_in_one_line() -> None:
    interpreter = bench(position=(0.0, 0.0, 100.0), tool_rows={2: ToolRow(30.0, 0.5)})
    typed(
        interpreter,
        "M0 X5 G4 P2 M8 M3 M6 T2 S500 F200 (MSG, now) G43 H2 G91",
    )
    assert events(interpreter) == [
        ("message", "now"),
        ("tool", 2),
        ("spindle", 1, 500.0),
        ("dwell", 2.0),
        ("feed", (5, 0, 100), 200.0),
        ("pause", False, "M0"),
    ]
    state = interpreter.state
    assert (state.tool_length_mm, state.tool_row, state.modal.flood) == (30.5, 2, True)


def test_overrides_may_be_taken_away_and_come_back_at_the_end() -> None:
    interpreter = bench()
    typed(interpreter, "M49")
    assert interpreter.machine.overrides is False  # type: ignore[attr-defined]
    run(interpreter, "X1\nM2\n")
    assert interpreter.machine.overrides is True  # type: ignore[attr-defined]


def test_tool_change_stops_the_spindle_and_keeps_the_length() -> None:
    interpreter = bench(tool_rows={1: ToolRow(10.0)})
    typed(interpreter, "G43 H1", "M3 S100", "T2 M6")
    assert events(interpreter) == [("spindle", 1, 100), ("spindle", 0, 0), ("tool", 2)]
    assert interpreter.state.tool_length_mm == 10


def test_speed_changes_while_turning_and_orientation() -> None:
    interpreter = bench()
    typed(interpreter, "S100", "M4", "S200", "M19 R90", "S50")
    assert events(interpreter) == [("spindle", -1, 100), ("spindle", -1, 200), ("orient", 90)]


def test_end_of_program_resets_what_the_standard_says() -> None:
    interpreter = bench(tool_rows={1: ToolRow(10.0)})
    run(interpreter, "G20 G55 G18 G91 G93 G43 H1 M3 S9 M8 M49\nG92 X5\nG90 X1 F2 M30\n")
    state = interpreter.state
    assert state.modal.report() == "G1 G17 G90 G94 G20 G40 G43 G98 G54 G61 M5 M9 M48"
    assert state.shift_mm == (0, 0, 0)
    assert state.tool_length_mm == 10
    assert state.parameters.read(5211) == pytest.approx(-5)
    assert state.parameters.read(5220) == 1
    assert events(interpreter)[-1] == ("spindle", 0, 0)


def test_length_at_end_may_be_cancelled() -> None:
    machine = IdealMachine(tool_rows={1: ToolRow(10.0)})
    interpreter = Interpreter(machine, LanguageSettings(tool_length_at_end="cancelled"))
    run(interpreter, "G43 H1\nM2\n")
    assert interpreter.state.tool_length_mm == 0
    assert machine.active is not None
    assert machine.active.tool_length_mm == 0


HOMES = ((100.0, 200.0, 300.0), (1.0, 2.0, 3.0))


@pytest.mark.parametrize(
    ("choice", "text", "path"),
    [
        ("named", "G28 Z50", [(0, 0, 50), (0, 0, 300)]),
        ("all", "G28 Z50", [(0, 0, 50), (100, 200, 300)]),
        ("named", "G28", [(100, 200, 300)]),
        ("all", "G30", [(1, 2, 3)]),
        ("named", "G91 G30 X5 Y6", [(5, 6, 0), (1, 2, 0)]),
    ],
)
def test_homes(choice: str, text: str, path: list[tuple[float, float, float]]) -> None:
    machine = IdealMachine(homes=HOMES)
    interpreter = Interpreter(machine, LanguageSettings(home_axes=choice))  # type: ignore[arg-type]
    typed(interpreter, text)
    assert events(interpreter) == [("rapid", point) for point in path]
    assert interpreter.state.modal.motion == 800


def test_homes_are_parameters() -> None:
    interpreter = bench()
    typed(interpreter, "#5163=42", "G28 Z0")
    assert interpreter.machine.position_mm == (0, 0, 42)


def test_inverse_time_feed() -> None:
    interpreter = bench()
    typed(interpreter, "G93 X30 F2", "G2 X40 I5 F4")
    # 30 mm in half a minute, and a half circle in a quarter of one.
    assert events(interpreter)[0] == ("feed", (30, 0, 0), 60.0)
    assert events(interpreter)[1][2] == pytest.approx(4 * 5 * math.pi)


def test_feed_on_a_line_that_changes_units() -> None:
    for choice, feed in (("new-units", 254.0), ("old-units", 10.0)):
        interpreter = Interpreter(
            IdealMachine(),
            LanguageSettings(feed_with_unit_change=choice),  # type: ignore[arg-type]
        )
        typed(interpreter, "G20 F10 G1 X1")
        assert events(interpreter) == [("feed", (25.4, 0, 0), feed)]


def test_offsets_on_unit_change() -> None:
    for choice, x in (("stay-put", 10.0), ("keep-numbers", 254.0)):
        interpreter = Interpreter(
            IdealMachine(),
            LanguageSettings(offsets_on_unit_change=choice),  # type: ignore[arg-type]
        )
        typed(interpreter, "G10 L2 P1 X10", "G20")
        assert interpreter.state.origin_mm[0] == pytest.approx(x)
        assert interpreter.state.parameters.read(5221) == 10


def test_tables_are_written_whole_in_mm() -> None:
    interpreter = bench(tool_rows={3: ToolRow(80.0, -0.1)})
    typed(interpreter, "G20", "G10 L1 P3 R4", "G10 L1 P3 Q0", "G10 L2 P2 X1")
    log = events(interpreter)
    assert log[0] == ("tool row", 3, pytest.approx(101.6), -0.1)
    assert log[1] == ("tool row", 3, pytest.approx(101.6), 0)
    assert log[2][0] == "origins"
    assert log[2][1][1] == pytest.approx((25.4, 0, 0))


def test_line_that_is_stopped_after_its_tables_were_written_keeps_them() -> None:
    class Interrupted(IdealMachine):
        def pause(self, optional: bool, text: str) -> Motion:
            raise KeyboardInterrupt

    interpreter = Interpreter(Interrupted())
    with pytest.raises(KeyboardInterrupt):
        typed(interpreter, "G10 L2 P1 X5 M0")
    assert interpreter.machine.work_origins_mm()[0] == (5, 0, 0)
    assert interpreter.state.parameters.read(5221) == 5


def test_table_that_the_machine_refuses_is_as_before() -> None:
    class Refusing(IdealMachine):
        def write_work_origins(self, origins_mm: tuple[Vector, ...], line: int) -> None:
            raise ControllerAlarm("wrong-state", "the table is locked")

    interpreter = Interpreter(Refusing())
    for text in ("G10 L2 P2 X5", "#5241=5 G4 P1"):
        with pytest.raises(ControllerAlarm):
            typed(interpreter, text)
        assert interpreter.state.parameters.read(5241) == 0


def test_setting_on_a_line_that_calls_reaches_the_table() -> None:
    interpreter = bench()
    run(interpreter, "%\n#5241=5 G65 P110\nO110\nM99\n%\n")
    assert interpreter.machine.work_origins_mm()[1] == (5, 0, 0)


def test_move_to_where_the_axes_are_is_no_move() -> None:
    interpreter = bench(position=(1.0, 2.0, 3.0))
    typed(interpreter, "G0 X1", "G1 Y2", "G31 Z3", "G28 G91 X0", "G90 G10 L2 P1 X1 Y2 Z3", "G1 X-1")
    assert [e for e in events(interpreter) if e[0] != "origins"] == [("rapid", (0, 2, 3))]


def test_assigned_origin_acts_at_the_next_selection() -> None:
    interpreter = bench()
    typed(interpreter, "#5221=10")
    assert interpreter.state.program_position == (0, 0, 0)
    assert interpreter.machine.work_origins_mm()[0] == (10, 0, 0)
    typed(interpreter, "G54")
    assert interpreter.state.program_position == (-10, 0, 0)


def test_origin_set_at_the_machine_is_taken_over() -> None:
    interpreter = bench()
    machine = interpreter.machine
    assert isinstance(machine, IdealMachine)
    machine.origins = ((5.0, 0.0, 0.0), *machine.origins[1:])
    typed(interpreter, "G0 X1")
    assert machine.position_mm == (6, 0, 0)
    assert interpreter.state.parameters.read(5221) == 5


def test_jog_between_lines_is_taken_over() -> None:
    interpreter = bench()
    typed(interpreter, "G91")
    interpreter.machine.position = (7.0, 0.0, 0.0)  # type: ignore[attr-defined]
    typed(interpreter, "X1")
    assert interpreter.machine.position_mm == (8, 0, 0)


def test_touch_rest_overshoot_and_retract() -> None:
    def touched(**choices: object) -> IdealMachine:
        machine = IdealMachine(position=(0.0, 0.0, 10.0), boxes=(floor_at(2.0),))
        interpreter = Interpreter(machine, LanguageSettings(**choices))  # type: ignore[arg-type]
        typed(interpreter, "F60 G38.2 Z2.5")
        return machine

    with pytest.raises(ProgramError, match="E-MISS"):
        touched()
    assert touched(touch_overshoot_mm=1.0).position == (0, 0, 2)
    assert touched(touch_overshoot_mm=1.0, touch_retract_mm=0.5).position == (0, 0, 2.5)


class _Coasting(IdealMachine):
    """Runs on past the trip point, as a real machine does."""

    def touch(self, target_mm, feed_mm_per_min, error_if_no_contact, line):  # type: ignore[no-untyped-def]
        result = yield from super().touch(target_mm, feed_mm_per_min, error_if_no_contact, line)
        x, y, z = self.position
        self.position = (x, y, z - 0.3)
        return result


def test_rest_after_a_touch_that_ran_on() -> None:
    for choice, z in (("trip-point", 2.0), ("where-stopped", 1.7)):
        machine = _Coasting(position=(0.0, 0.0, 10.0), boxes=(floor_at(2.0),))
        interpreter = Interpreter(machine, LanguageSettings(rest_after_touch=choice))  # type: ignore[arg-type]
        typed(interpreter, "F60 G31 Z-5")
        assert machine.position[2] == pytest.approx(z)
        assert interpreter.state.position_mm == machine.position
        assert interpreter.state.parameters.read(5063) == 2


def test_touch_that_is_tripped_already() -> None:
    machine = IdealMachine(position=(0.0, 0.0, 1.0), boxes=(floor_at(2.0),))
    typed(interpreter := Interpreter(machine), "F60 G31 Z-5")
    assert events(interpreter) == [("already tripped", False)]
    assert interpreter.state.parameters.read(5063) == 1
    strict = Interpreter(machine, LanguageSettings(g31_already_tripped="error"))
    with pytest.raises(ProgramError, match="E-PROBE"):
        typed(strict, "F60 G31 Z-5")


def test_touch_result_in_either_coordinates_and_units() -> None:
    for choice, z in (("work", (2 - 1 - 5) / 25.4), ("machine", 2 / 25.4)):
        machine = IdealMachine(
            position=(0.0, 0.0, 10.0), boxes=(floor_at(2.0),), tool_rows={1: ToolRow(5.0)}
        )
        interpreter = Interpreter(machine, LanguageSettings(touch_result=choice))  # type: ignore[arg-type]
        typed(interpreter, "G10 L2 P1 Z1", "G43 H1", "G20 F5", "G31 Z-1")
        assert interpreter.state.parameters.read(5063) == pytest.approx(z)
        assert [interpreter.state.parameters.read(k) for k in (5064, 5065, 5066)] == [0, 0, 0]


def test_reading_the_machine() -> None:
    machine = IdealMachine(
        position=(25.4, 0.0, 50.8),
        tool=7,
        tool_rows={2: ToolRow(127.0, 2.54)},
        setter=SetterRecord(reference_z_mm=-254.0, height_mm=25.4, reference_valid=True),
        boxes=(Box((-1e3, -1e3, 0), (1e3, 1e3, 60)),),
    )
    interpreter = Interpreter(machine)
    typed(interpreter, "G20")
    read = interpreter.read
    assert [read(k) for k in (5602, 5702, 5801)] == pytest.approx([5, 0.1, 7])
    assert [read(k) for k in (5811, 5812, 5813)] == pytest.approx([1, 0, 2])
    assert [read(k) for k in (5830, 5831)] == [1, 1]
    assert [read(k) for k in (5841, 5845, 5846)] == pytest.approx([-10, 1, 1])
    # Nothing is stored here, so these are vacant.
    assert [read(k) for k in (5603, 5703, 5821, 5824, 5832, 5842, 5844, 5847)] == [None] * 8
    machine.setter = None
    assert [read(k) for k in (5841, 5846, 5847)] == [None] * 3


def test_reading_the_machine_after_a_touch() -> None:
    interpreter = bench(position=(0.0, 0.0, 10.0), boxes=(floor_at(2.0),))
    typed(interpreter, "G10 L2 P1 Z5", "G31 Z-20", "#101=#5823 #102=#5824")
    assert [interpreter.state.parameters.read(k) for k in (101, 102)] == [2, 1]


def test_machine_values_do_not_overlap_and_are_described() -> None:
    numbers = [n for entry in MACHINE_VALUES for n in range(entry.first, entry.last + 1)]
    assert len(numbers) == len(set(numbers))
    assert FIRST <= min(numbers) <= max(numbers) <= LAST
    assert len(describe().splitlines()) == len(MACHINE_VALUES)
    assert "#5601-#5699   tool geometry, rows 1 to 99 (length)" in describe()


def test_reading_ahead_sees_old_values() -> None:
    text = (
        "G90 F60\n#101=#5813\nG1 Z5\n#102=#5813\nG31 Z-5\n#103=#5063\n#104=#5063\n#105=#5063\nM2\n"
    )

    def read(lines: int) -> list[float | None]:
        machine = IdealMachine(boxes=(floor_at(2.0),), position=(0.0, 0.0, 9.0))
        interpreter = Interpreter(machine, LanguageSettings(read_ahead_lines=lines))
        run(interpreter, text)
        return [interpreter.state.parameters.read(k) for k in range(101, 106)]

    assert read(0) == [9, 5, 2, 2, 2]
    assert read(1) == [9, 9, 0, 2, 2]
    assert read(2) == [9, 9, 0, 0, 2]


def test_a_stop_ends_the_reading_ahead() -> None:
    machine = IdealMachine(position=(0.0, 0.0, 9.0))
    interpreter = Interpreter(machine, LanguageSettings(read_ahead_lines=5))
    run(interpreter, "G0 Z5\nM0\n#101=#5813\nM2\n")
    assert interpreter.state.parameters.read(101) == 5


def test_every_point_of_difference_is_a_setting() -> None:
    assert set(POINTS) <= set(SETTING_NAMES)
    assert len(POINTS) == 12
    default = LanguageSettings()
    assert all(not c or getattr(default, name) == c[0] for name, (_, c) in POINTS.items())


def test_travel_of_arcs_is_checked_at_their_bulge() -> None:
    interpreter = bench(travel=((-1.0, -4.9, -1.0), (11.0, 20.0, 1.0)))
    with pytest.raises(ProgramError, match="E-TRAVEL"):
        typed(interpreter, "G3 X10 I5")
    typed(interpreter, "G2 X10 I5")
    assert interpreter.machine.position_mm == (10, 0, 0)


@pytest.mark.parametrize(
    ("text", "end", "turn", "axes"),
    [
        ("G17 G3 X0 Y0 I5", (0, 0, 0), 2 * math.pi, (0, 1, 2)),
        ("G18 G2 X0 Z10 K5", (0, 0, 10), -math.pi, (2, 0, 1)),
        ("G19 G3 Y10 Z0 J5 X3", (3, 10, 0), math.pi, (1, 2, 0)),
        ("G91 G3 X10 I5 Z2", (10, 0, 2), math.pi, (0, 1, 2)),
    ],
)
def test_arcs_in_all_planes(
    text: str, end: tuple[float, float, float], turn: float, axes: tuple[int, int, int]
) -> None:
    interpreter = bench()
    typed(interpreter, text)
    _, arc, feed = events(interpreter)[-1]
    assert arc.end_mm == pytest.approx(end)
    assert (arc.turn_rad, arc.axes, feed) == (pytest.approx(turn), axes, 100)
    rise = end[axes[2]]
    assert arc.length_mm == pytest.approx(math.hypot(turn * 5, rise))


points = st.floats(-100, 100)


@given(points, points, points, points, st.booleans())
def test_both_ways_to_write_an_arc_agree(
    x: float, y: float, i: float, j: float, counterclockwise: bool
) -> None:
    radius = math.hypot(i, j)
    start, centre = (0.0, 0.0, 0.0), (i, j)
    angle = math.atan2(y - j, x - i)
    end = (i + radius * math.cos(angle), j + radius * math.sin(angle), 0.0)
    if radius < 1 or math.dist(start, end) < 0.1:
        return
    by_centre = arc_by_centre(start, end, (0, 1, 2), centre, counterclockwise, 0.002)
    if abs(abs(by_centre.turn_rad) - math.pi) < 0.01:
        return
    signed = radius if abs(by_centre.turn_rad) < math.pi else -radius
    by_radius = arc_by_radius(start, end, (0, 1, 2), signed, counterclockwise, 0.002)
    assert by_radius.centre_mm == pytest.approx(by_centre.centre_mm, abs=1e-5 * radius**2)
    assert by_radius.turn_rad == pytest.approx(by_centre.turn_rad, abs=1e-5 * radius)
    low, high = arc_extent(start, by_centre)
    begin = math.atan2(-j, -i)
    for k in range(50):
        angle = begin + by_centre.turn_rad * k / 49
        point = (i + radius * math.cos(angle), j + radius * math.sin(angle))
        for axis in range(2):
            assert low[axis] - 1e-9 <= point[axis] <= high[axis] + 1e-9


@given(st.lists(st.sampled_from(["G20", "G21", "G54", "G92.1", "G92.2", "G43 H1", "G49", "G90"])))
def test_modes_never_move_the_machine(lines: list[str]) -> None:
    interpreter = bench(position=(1.0, 2.0, 3.0), tool_rows={1: ToolRow(8.0)})
    typed(interpreter, "G92 X5", *lines)
    assert interpreter.machine.position_mm == (1, 2, 3)
    assert events(interpreter) == []
    state = interpreter.state
    back = [
        p * state.modal.unit_mm + o
        for p, o in zip(state.program_position, state.offset_mm, strict=True)
    ]
    assert back == pytest.approx([1, 2, 3])


def test_typed_lines_share_a_state() -> None:
    from drytouch.sim.program import execute, execute_line, read_program, start_state

    machine = IdealMachine()
    state = start_state(machine)
    drain(execute_line("G0 X1", state, machine))
    drain(execute(read_program("X2\nM2\n").main, machine, state=state))
    assert machine.position == (2, 0, 0)
