"""Programs and typed lines on a running twin: what they move, store, record and refuse."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from program_twins import alarm_of, run_file
from twin_cases import CLOSE_Z, CONTACT_Z, X, Y, events, twin_of

from drytouch.sim.controller.program_face import settings_of
from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program import LanguageSettings, Machine, Options, ProgramError, ProgramErrors
from drytouch.sim.program.machine_values import MACHINE_VALUES
from drytouch.sim.scenario.load import load_part, scenario_from_dict
from drytouch.sim.twin.twin import Twin

NO_TOOL_LIMIT = {"tools": {"pin": {"stack": [{"diameter_mm": 10.0, "length_mm": 100.0}]}}}


def saved(folder: Path, *lines: str, name: str = "case.ngc") -> Path:
    path = folder / name
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def read(twin: Twin, number: int) -> float | None:
    return twin.controller.programs.interpreter.read(number)


def typed(twin: Twin, *lines: str) -> None:
    for line in lines:
        twin.hand.mdi(line)


# ---- typed lines ---------------------------------------------------------------------------


def test_a_typed_line_moves_the_machine() -> None:
    twin = twin_of()
    typed(twin, "G0 G53 Z-100", "G91 G1 X-10 Y5 F600", "G90")
    assert twin.controller.position == (X - 10.0, Y + 5.0, -100.0)
    assert twin.outcome().verdict == "right"


def test_a_typed_line_with_a_mistake_changes_nothing() -> None:
    twin = twin_of()
    before, tables = twin.controller.position, repr(twin.tables)
    for text, code in (
        ("G0 X1 X2", "E-REPEAT"),
        ("G1 Z-400 (no feed yet)", "E-FEED"),
        ("#5601=80", "E-PARAM"),
        ("GOTO 5", "E-FLOW"),
    ):
        with pytest.raises(ProgramError) as caught:
            twin.hand.mdi(text)
        assert caught.value.code == code
        assert caught.value.file == "typed"
    assert (twin.controller.position, repr(twin.tables)) == (before, tables)
    assert not twin.judge.alarms


def test_the_face_is_the_machine_that_the_interpreter_asks_for() -> None:
    assert isinstance(twin_of().controller.programs.face, Machine)


def test_modes_live_on_between_lines_programs_and_hands(tmp_path: Path) -> None:
    twin = twin_of()
    typed(twin, "G91")
    run_file(twin, saved(tmp_path, "%", "G0 X-5", "%"))
    twin.hand.rapid(z=-300.0, frame="machine")  # by hand, behind the interpreter's back
    typed(twin, "G0 Z10")
    assert twin.controller.position == (X - 5.0, Y, -290.0)


# ---- where it was ---------------------------------------------------------------------------


def test_lines_findings_and_alarms_name_file_and_line(tmp_path: Path) -> None:
    twin = twin_of(controller={"proved": []})
    path = saved(tmp_path, "(two touches)", "G21 G90", "G91 G38.2 Z-20 F60", "G0 Z2", "M30")
    outcome = twin.run_program(path)
    assert outcome.codes == ("unproved-input",)
    source = outcome.findings[0].source
    assert (source.file, source.program_line, source.call) == ("case.ngc", 3, "program")
    lines = [line for line in twin.recorder.lines if line.kind in ("touch", "rapid")]
    assert [line.source[1:3] for line in lines] == [("case.ngc", 3), ("case.ngc", 4)]
    told = [data for _, _, data in events(twin, "program-line")]
    assert [data[:2] for data in told] == [["case.ngc", n] for n in (1, 2, 3, 4, 5)]
    assert told[2][2] == "G91 G38.2 Z-20 F60"
    # Afterwards nobody's line is blamed any more.
    assert twin.controller.source.program_line is None


def test_a_line_that_cant_run_is_an_alarm_with_its_place(tmp_path: Path) -> None:
    twin = twin_of()
    alarm = alarm_of(twin, saved(tmp_path, "G21", "G0 G53 Z-300", "G4 P[1/[#5813+300]]", "M2"))
    assert alarm.code == "program"
    assert alarm.message.startswith("case.ngc:3:4: E-DOMAIN ")
    assert dict(alarm.data) == {"file": "case.ngc", "line": 3, "column": 4}
    assert str(tmp_path) not in str(twin.outcome().to_dict())


def test_a_program_is_checked_whole_before_anything_moves(tmp_path: Path) -> None:
    twin = twin_of()
    before = twin.controller.position
    path = saved(tmp_path, "G0 G53 Z-300", "G1 X. Y5 F100", "G0 X1 X2", "M2")
    with pytest.raises(ProgramErrors) as caught:
        twin.hand.run_program(path)
    assert twin.controller.position == before
    assert not events(twin, "program-line")
    assert [(e.code, e.line, e.column) for e in caught.value.errors] == [
        ("E-NUM", 2, 5),
        ("E-REPEAT", 3, 7),
    ]
    first = str(caught.value).splitlines()[0]
    assert first.startswith(f"{path}:2:5: E-NUM ")


def test_calls_find_programs_in_the_file_and_beside_it(tmp_path: Path) -> None:
    twin = twin_of()
    saved(tmp_path, "O210", "G91 G0 Z#26", "G90", "M99", name="o210.ngc")
    path = saved(tmp_path, "G65 P200", "G65 P210 Z7", "M2", "O200", "G91 G0 X-3", "G90", "M99")
    run_file(twin, path)
    assert twin.controller.position == (X - 3.0, Y, CONTACT_Z + 17.0)
    files = [data[0] for _, _, data in events(twin, "program-line")]
    assert files.count("o210.ngc") == 4
    assert read(twin, 1) == 0.0


# ---- switches ---------------------------------------------------------------------------------


def test_block_delete_optional_stop_single_block(tmp_path: Path) -> None:
    path = saved(tmp_path, "G91", "/G0 X-1", "M1", "G0 X-10", "M0", "M2")
    for delete, stop, single, x, pauses in (
        (False, False, False, -11.0, ["M0"]),
        (True, False, False, -10.0, ["M0"]),
        (True, True, False, -10.0, ["M1", "M0"]),
    ):
        twin = twin_of()
        run_file(twin, path, Options(block_delete=delete, optional_stop=stop, single_block=single))
        assert twin.controller.position[0] == X + x
        assert [data for _, _, data in events(twin, "pause")] == pauses
    twin = twin_of()
    run_file(twin, path, Options(single_block=True))
    blocks = [data for _, _, data in events(twin, "pause") if "single" in data]
    assert [text.split()[1] for text in blocks] == ["1", "2", "3", "4", "5"]


def test_a_pause_waits_where_somebody_is_there_to_start(tmp_path: Path) -> None:
    twin = twin_of()
    asked = []

    def at_the_key(text: str) -> Any:
        asked.append(text)
        return twin.env.timeout(42.0)

    twin.controller.programs.face.wait_for_start = at_the_key
    run_file(twin, saved(tmp_path, "M0", "M2"))
    assert asked == ["M0"]
    assert twin.controller.time == pytest.approx(42.0)


def test_start_from_a_line_tells_the_state_first(tmp_path: Path) -> None:
    path = saved(
        tmp_path, "G21 G90 G54", "#101=3", "G0 G53 X-500", "S300", "G91", "F250",
        "G1 Y[0-#101]", "M2",
    )  # fmt: skip
    twin = twin_of()
    run_file(twin, path, Options(start_line=7))
    assert twin.controller.position == (X, Y - 3.0, CONTACT_Z + 10.0)
    kinds = [(kind, data) for _, kind, data in events(twin, "message", "pause", "program-line")]
    assert [kind for kind, _ in kinds[:3]] == ["message", "pause", "program-line"]
    assert "at line 7: " in kinds[0][1]
    assert "G91" in kinds[0][1]
    assert "F250" in kinds[0][1]
    assert kinds[2][1][1] == 7
    twin = twin_of()
    alarm = alarm_of(twin, path, Options(start_line=70))
    assert "line 70 is not in the program" in alarm.message


# ---- tables -----------------------------------------------------------------------------------


def test_what_a_program_writes_is_what_the_controller_has() -> None:
    twin = twin_of()
    typed(
        twin,
        "G10 L2 P2 X-100 Y-50 Z-400",
        "G55",
        "G92 Z0",
        "G10 L1 P3 R80.5 Q-0.25",
        "G43 H3",
        "#5841=-480.25 #5842=-381 #5843=-201 #5844=-440 #5845=59.9",
    )
    tables, record = twin.tables, twin.tables.records["main"]
    assert tables.systems["G55"] == (-100.0, -50.0, -400.0)
    assert tables.system == "G55"
    assert tables.shift == (0.0, 0.0, CONTACT_Z + 10.0 + 400.0)
    assert (tables.rows[3].length_mm, tables.rows[3].wear_mm) == (80.5, -0.25)
    assert tables.length_row == 3
    assert (record.reference_z_mm, record.reference_valid) == (-480.25, True)
    assert (record.x_mm, record.y_mm) == (-381.0, -201.0)
    assert (record.clearance_z_mm, record.height_mm) == (-440.0, 59.9)
    assert record.reference_by == "face"
    origin = twin.controller.origin
    assert origin == pytest.approx((-100.0, -50.0, -400.0 + tables.shift[2] + 80.25))
    typed(twin, "G92.1", "G49", "G54", "#5841=#0")
    assert (tables.shift, tables.length_row, tables.system) == ((0.0, 0.0, 0.0), 0, "G54")
    assert (record.reference_z_mm, record.reference_valid) == (None, False)


def test_inch_numbers_are_stored_in_mm() -> None:
    twin = twin_of()
    typed(twin, "G20", "G10 L2 P1 Z-10", "G10 L1 P1 R2.5", "#5845=2", "#5848=4")
    assert twin.tables.systems["G54"][2] == pytest.approx(-254.0)
    assert twin.tables.rows[1].length_mm == pytest.approx(63.5)
    record = twin.tables.records["main"]
    assert record.height_mm == pytest.approx(50.8)
    assert record.master_length_mm == pytest.approx(101.6)
    assert read(twin, 5849) == pytest.approx(record.fast_mm_per_min / 25.4)


def test_another_unit_moves_no_origin_that_is_not_named() -> None:
    twin = twin_of()
    typed(twin, "G10 L2 P1 X-300 Y-200 Z-500", "G10 L2 P2 X-10")
    typed(twin, "G20", "G10 L2 P2 Y-2", "G10 L2 P1 Z-10")
    systems = twin.tables.systems
    assert systems["G55"] == (-10.0, pytest.approx(-50.8), 0.0)
    assert systems["G54"] == (-300.0, -200.0, pytest.approx(-254.0))
    assert twin.controller.origin == pytest.approx(systems["G54"])


def test_a_system_that_is_selected_in_other_units_means_what_its_numbers_say_there() -> None:
    twin = twin_of()
    typed(twin, "G10 L2 P2 X-10", "G20", "G55")
    assert twin.tables.systems["G55"][0] == pytest.approx(-254.0)
    assert twin.controller.origin[0] == pytest.approx(-254.0)
    typed(twin, "G21 G54", "G55")
    assert twin.controller.origin[0] == pytest.approx(-10.0)


def test_every_machine_value_reads_what_the_controller_has() -> None:
    rows = {"2": {"length_mm": 81.5, "wear_mm": 0.25}}
    start = {"rows": rows, "records": {"main": {"x_mm": X, "reference_z_mm": -480.0}}}
    twin = twin_of(controller=start)
    record = twin.tables.records["main"]
    wanted = {
        5602: 81.5, 5702: 0.25, 5601: None, 5801: 1.0,
        5811: X, 5812: Y, 5813: CONTACT_Z + 10.0, 5821: None, 5824: None,
        5830: 0.0, 5831: 0.0, 5832: 0.0, 5833: None,
        5841: -480.0, 5842: X, 5843: None, 5844: None, 5845: None, 5846: 0.0, 5847: 1.0,
        5848: None, 5849: record.fast_mm_per_min, 5850: record.slow_mm_per_min,
        5851: record.back_off_mm, 5852: record.search_mm, 5853: record.agree_mm, 5854: 0.0,
        5855: 1.0, 5861: 0.0, 5862: 0.0, 5863: 0.0, 5864: -760.0, 5865: -400.0, 5866: -500.0,
    }  # fmt: skip
    assert {number: read(twin, number) for number in wanted} == wanted
    covered = {e.first for e in MACHINE_VALUES if any(e.first <= n <= e.last for n in wanted)}
    assert covered == {entry.first for entry in MACHINE_VALUES}
    typed(twin, "G91 G38.2 Z-20 F60")
    assert read(twin, 5823) == pytest.approx(CLOSE_Z, abs=2e-6)
    assert (read(twin, 5824), read(twin, 5830)) == (1.0, 1.0)


@pytest.mark.parametrize(
    ("convention", "record", "base"),
    [
        ("face", {}, 0.0),
        ("difference", {"master_length_mm": 125.0}, -125.0),
        ("difference", {}, None),
        ("table", {"reference_z_mm": -480.0, "height_mm": 60.0}, -540.0),
        ("table", {"reference_z_mm": -480.0}, None),
    ],
)
def test_what_lengths_count_from(
    convention: str, record: dict[str, float], base: float | None
) -> None:
    twin = twin_of(
        machine={"habits": {"length_convention": convention}},
        controller={"records": {"main": record}},
    )
    assert read(twin, 5854) == base


def test_an_alarm_leaves_the_tables_as_before_the_failed_line(tmp_path: Path) -> None:
    twin = twin_of()
    lines = [
        "G10 L1 P4 R77",
        "#5221=-111 #5841=-400 #5845=1 G91 G38.2 X1 F60 (meets nothing)",
        "G10 L1 P5 R88",
        "M2",
    ]
    assert alarm_of(twin, saved(tmp_path, *lines)).code == "no-contact"
    assert twin.tables.rows[4].length_mm == 77.0
    assert 5 not in twin.tables.rows
    assert twin.tables.systems["G54"] == (0.0, 0.0, 0.0)
    assert twin.tables.records["main"].reference_z_mm is None
    assert twin.tables.records["main"].height_mm is None
    assert read(twin, 5221) == 0.0


def test_what_is_selected_at_the_keys_is_in_force_for_the_next_line() -> None:
    rows = {"1": {"tool": "pin", "length_mm": 100.0, "wear_mm": -1.0}}
    systems = {"G56": [-390.0, -210.0, -450.0]}
    twin = twin_of(controller={"rows": rows, "systems": systems})
    typed(twin, "G90")
    twin.hand.select_system("G56")
    twin.hand.select_length(1)
    twin.hand.set_shift((0.0, 0.0, 2.0))
    typed(twin, "G0 Z100")
    assert twin.controller.position == (X, Y, -450.0 + 2.0 + 99.0 + 100.0)
    assert (twin.tables.system, twin.tables.length_row) == ("G56", 1)
    assert (read(twin, 5220), read(twin, 5213)) == (3.0, 2.0)
    twin.hand.select_length(0)
    typed(twin, "G0 Z150")
    assert twin.controller.position[2] == -450.0 + 2.0 + 150.0


def test_a_failed_line_leaves_the_work_system_that_was_active() -> None:
    systems = {"G54": [-1.0, -2.0, -3.0], "G55": [-10.0, -20.0, -30.0]}
    twin = twin_of(controller={"systems": systems})
    origin = twin.controller.origin
    with pytest.raises(ControllerAlarm, match="soft-limit"):
        twin.hand.mdi("G55 G0 X999")
    state = twin.controller.programs.interpreter.state
    assert (twin.tables.system, state.modal.system, read(twin, 5220)) == ("G54", 540, 1.0)
    assert twin.controller.origin == origin == state.offset_mm


def test_the_controllers_start_is_the_programs_start() -> None:
    rows = {"1": {"length_mm": 100.0, "wear_mm": 0.5}}
    start = {
        "rows": rows, "length_offset_row": 1, "shift_mm": [1.0, 2.0, 3.0], "system": "G56",
        "systems": {"G56": [-300.0, -200.0, -500.0]}, "distance": "incremental", "units": "inch",
        "parameters": {"101": 7.0},
    }  # fmt: skip
    twin = twin_of(controller=start)
    state = twin.controller.programs.interpreter.state
    assert (state.modal.distance, state.modal.units, state.modal.system) == (910, 200, 560)
    assert (state.modal.length, state.tool_row, state.tool_length_mm) == (430, 1, 100.5)
    assert state.shift_mm == pytest.approx((1.0, 2.0, 3.0))
    assert read(twin, 101) == 7.0
    assert state.offset_mm == pytest.approx(twin.controller.origin)
    assert twin.tables.length_row == 1
    assert twin.tables.shift == pytest.approx((1.0, 2.0, 3.0))


# ---- touches ----------------------------------------------------------------------------------


@pytest.mark.parametrize("habit", ["return", "stay"])
def test_a_touch_rests_as_the_machine_does_and_goes_back_once(habit: str) -> None:
    twin = twin_of(machine={"habits": {"after_touch": habit}})
    typed(twin, "G91 G31 Z-20 F200")
    ran = [line.kind for line in twin.recorder.lines]
    assert ran == (["touch", "return"] if habit == "return" else ["touch"])
    trip = read(twin, 5823)
    assert trip is not None
    if habit == "return":
        assert twin.controller.position[2] == trip
    else:
        assert twin.controller.position[2] < trip - 0.001
    assert read(twin, 5063) == trip


def test_a_skip_that_meets_nothing_ends_in_silence() -> None:
    twin = twin_of()
    typed(twin, "G91 G31 X5 F600")
    assert (read(twin, 5824), read(twin, 5061)) == (0.0, X + 5.0)
    assert twin.outcome().verdict == "right"


def test_a_tripped_input_is_passed_in_silence_but_not_unseen() -> None:
    twin = twin_of()
    typed(twin, "G91 G31 Z-20 F200")
    here = twin.controller.position
    typed(twin, "G31 Z-20")
    assert twin.controller.position == here
    assert twin.outcome().codes == ("already-tripped",)
    twin = twin_of(machine={"habits": {"skip_when_tripped": "error"}})
    typed(twin, "G91 G31 Z-20 F200")
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.mdi("G31 Z-20")
    assert caught.value.code == "already-tripped"


@pytest.mark.parametrize("allowed", [True, False])
def test_a_turning_touch_only_where_the_setter_permits_it(allowed: bool, tmp_path: Path) -> None:
    twin = twin_of(setter={"main": {"turning_allowed": allowed}})
    path = saved(tmp_path, "M4 S600", "G91 G38.2 Z-20 F3", "M5", "M2")
    if allowed:
        run_file(twin, path)
        assert twin.kernel.rpm == 0.0
        assert read(twin, 5824) == 1.0
    else:
        assert "E-STATE" in alarm_of(twin, path).message


# ---- everything else that it moves ------------------------------------------------------------


def test_arcs_go_through_the_controller() -> None:
    twin = twin_of()
    typed(twin, "G0 G53 Z-100", "G91 F3000", "G3 X-20 Y20 I-20", "G2 Z5 X40 I20")
    kinds = [(line.kind, line.arc is not None) for line in twin.recorder.lines]
    assert kinds == [("rapid", False), ("feed", True), ("feed", True)]
    assert twin.controller.position == pytest.approx((X + 20.0, Y + 20.0, -95.0))


@pytest.mark.parametrize("plane", ["G17", "G18", "G19"])
def test_an_arc_ends_where_it_says_in_every_plane(plane: str) -> None:
    twin = twin_of()
    typed(twin, "G0 G53 Z-100", f"G91 {plane} F3000")
    text = {"G17": "X-10 Y10 I-10", "G18": "Z-10 X10 K-10", "G19": "Y-10 Z10 J-10"}[plane]
    way = {"G17": (-10.0, 10.0, 0.0), "G18": (10.0, 0.0, -10.0), "G19": (0.0, -10.0, 10.0)}[plane]
    typed(twin, f"G3 {text}")
    x, y, z = way
    assert twin.controller.position == pytest.approx((X + x, Y + y, -100.0 + z), abs=1e-9)


def test_an_arc_that_bulges_out_of_the_travel_is_refused() -> None:
    twin = twin_of()
    typed(twin, "G0 G53 Z-5", "G91 F3000 G18")
    before = twin.controller.position
    with pytest.raises(ControllerAlarm) as caught:
        twin.hand.mdi("G2 X-40 I-20 (its top is at Z+15)")
    assert caught.value.code == "soft-limit"
    assert twin.controller.position == before


def two_tools(**more: Any) -> Twin:
    pin = {"stack": [{"diameter_mm": 10.0, "length_mm": 100.0}], "force_limit_N": 1e6}
    short = {"stack": [{"diameter_mm": 10.0, "length_mm": 60.0}]}
    rows = {"1": {"tool": "pin"}, "2": {"tool": "short"}, "3": {"length_mm": 50.0}}
    return twin_of(tools={"pin": pin, "short": short}, controller={"rows": rows, **more})


def test_a_tool_change_by_arm_goes_to_its_height_first() -> None:
    twin = two_tools()
    typed(twin, "T2 M6")
    assert twin.controller.position == (X, Y, 0.0)
    assert (twin.tables.slot, twin.stage.tool_name) == (2, "short")
    assert read(twin, 5801) == 2.0
    typed(twin, "G91 G0 Z-7", "T2 M6")  # it is in already
    assert twin.controller.position[2] == -7.0
    typed(twin, "T0 M6")
    assert (twin.tables.slot, twin.stage.tool_name) == (0, None)
    with pytest.raises(ControllerAlarm, match="no tool belongs to row 3"):
        twin.hand.mdi("T3 M6")


def test_a_tool_change_by_hand_happens_where_the_axis_stands() -> None:
    pin = {"stack": [{"diameter_mm": 10.0, "length_mm": 100.0}]}
    twin = twin_of(
        machine={"tool_change": {"by": "hand", "time_s": 30.0}},
        tools={"pin": pin, "other": pin},
        controller={"rows": {"1": {"tool": "pin"}, "2": {"tool": "other"}}},
    )
    typed(twin, "T2 M6")
    assert twin.controller.position == (X, Y, CONTACT_Z + 10.0)
    assert (twin.controller.time, twin.stage.tool_name) == (30.0, "other")


def test_the_tool_in_the_spindle_stays_as_worn_as_it_is() -> None:
    pin = {"stack": [{"diameter_mm": 10.0, "length_mm": 100.0}], "worn_mm": 0.3}
    twin = twin_of(tools={"pin": pin}, controller={"rows": {"1": {"tool": "pin"}}})
    body = twin.stage.tool
    typed(twin, "T1 M6")
    assert twin.stage.tool is body


def test_spindle_words() -> None:
    twin = twin_of()
    typed(twin, "M3 S1200")
    assert twin.kernel.rpm == 1200.0
    typed(twin, "M4")
    assert twin.kernel.rpm == -1200.0
    typed(twin, "M19 R90")
    assert (twin.kernel.rpm, twin.stage.angle_deg) == (0.0, 90.0)
    with pytest.raises(ControllerAlarm, match="turns up to"):
        twin.hand.mdi("M3 S99999")


def test_a_spindle_that_was_started_or_stopped_at_the_keys_is_known(tmp_path: Path) -> None:
    twin = twin_of(setter={"main": {"turning_allowed": False}})
    touch = saved(tmp_path, "G91 G38.2 Z-20 F60", "G0 Z5", "M2")
    twin.hand.spin(300.0)
    assert "the spindle turns" in alarm_of(twin, touch).message
    twin.hand.reset()
    typed(twin, "M3 S300")
    twin.hand.spin(0.0)
    run_file(twin, touch)
    assert read(twin, 5824) == 1.0


def test_a_spindle_without_a_mark_cant_be_turned_to_an_angle() -> None:
    twin = twin_of(machine={"spindle": {"orient_deg": "none"}})
    with pytest.raises(ControllerAlarm, match="turn it by hand"):
        twin.hand.mdi("M19 R0")


def test_a_program_can_put_the_feed_knob_out_of_work() -> None:
    twin = twin_of(controller={"feed_override": 0.5})
    typed(twin, "M49")
    assert twin.kernel.feed_override == 1.0
    twin.controller.turn_knobs(0.25, 0.7)
    assert (twin.kernel.rapid_override, twin.kernel.feed_override) == (0.25, 1.0)
    typed(twin, "M48")
    assert twin.kernel.feed_override == 0.7


def test_homes() -> None:
    twin = twin_of(machine={"tool_change": {"by": "arm", "z_mm": -25.0, "time_s": 5.0}})
    typed(twin, "G91 G28 Z0")
    assert twin.controller.position == (X, Y, 0.0)
    typed(twin, "G30")
    assert twin.controller.position == (0.0, 0.0, -25.0)


def test_a_move_out_of_the_travel_is_a_soft_limit_alarm_with_its_finding(tmp_path: Path) -> None:
    twin = twin_of()
    assert alarm_of(twin, saved(tmp_path, "G0 G53 Z1", "M2")).code == "soft-limit"
    outcome = twin.outcome()
    assert (outcome.verdict, outcome.codes) == ("stopped", ("limit",))
    assert outcome.findings[0].source.program_line == 1


def test_messages_and_alarms_of_the_program(tmp_path: Path) -> None:
    twin = twin_of()
    alarm = alarm_of(
        twin, saved(tmp_path, "(MSG, look here)", "(ALARM, no further)", "G0 X1", "M2")
    )
    assert (alarm.code, alarm.message) == ("program", "no further")
    assert [data for _, _, data in events(twin, "message")] == ["look here"]
    with pytest.raises(ControllerAlarm):  # until reset
        twin.hand.mdi("G91 G0 X-1")
    twin.hand.reset()
    typed(twin, "G0 X-1")
    assert twin.controller.position[0] == X - 1.0


def test_a_move_with_another_tools_length_is_seen() -> None:
    rows = {"1": {"tool": "pin", "length_mm": 100.0}, "2": {"tool": "short", "length_mm": 60.0}}
    twin = two_tools(rows=rows, systems={"G54": [X, Y, -600.0]})
    typed(twin, "G43 H2", "G0 Z400")
    assert "wrong-slot" in twin.outcome().codes


def test_a_shift_behind_a_work_move_is_seen_and_a_machine_move_has_none() -> None:
    twin = twin_of(controller={"shift_mm": [0.0, 0.0, 2.0]})
    typed(twin, "G53 G0 Z-100", "G91 G0 Z-1")
    assert twin.outcome().codes == ()
    twin = twin_of(controller={"shift_mm": [0.0, 0.0, 2.0]})
    typed(twin, "G90 G0 Z-102")
    assert twin.outcome().codes == ("leftover-shift",)


# ---- settings and steps -----------------------------------------------------------------------


def test_the_machines_habits_are_the_languages_settings() -> None:
    machine = load_part("machine", "machining-centre")
    assert settings_of(machine) == LanguageSettings()
    other = {
        "home_axes": "all", "fix_rounds": "to-zero", "after_touch": "stay",
        "feed_on_unit_line": "old", "offsets_on_unit_change": "numbers",
        "skip_when_tripped": "error", "compare": "within", "length_after_end": "cancelled",
        "touch_result": "machine", "read_ahead": 3, "logic_binds": "looser",
    }  # fmt: skip
    twin = twin_of(machine={"habits": other, "rapids": "each-axis"})
    changed = twin.controller.programs.settings
    for name in LanguageSettings.__dataclass_fields__:
        if not name.startswith("touch_o") and not name.startswith("touch_re"):
            assert getattr(changed, name) != getattr(LanguageSettings(), name), name
    assert changed.touch_result == "machine"
    assert changed.read_ahead_lines == 3


def steps_of(*steps: dict[str, Any], folder: Path = Path()) -> Twin:
    data = twin_of().scenario.model_dump(by_alias=True)
    return Twin(scenario_from_dict({**data, "steps": list(steps)}, folder))


def test_lines_and_programs_as_steps(tmp_path: Path) -> None:
    saved(tmp_path, "G91", "/G0 X-9", "G0 X-1", "M30", name="part.ngc")
    twin = steps_of(
        {"do": "mdi", "line": "G53 G0 Z-100"},
        {"do": "program", "file": "part.ngc", "block_delete": True},
        {"do": "program", "file": "part.ngc", "from_line": 3, "single_block": True},
        folder=tmp_path,
    )
    outcome = twin.run_steps()
    assert outcome.verdict == "right"
    assert twin.controller.position == (X - 2.0, Y, -100.0)
    assert [finished.by for finished in outcome.result[1:]] == ["M30", "M30"]


def test_after_a_programs_alarm_only_a_reset_goes_on(tmp_path: Path) -> None:
    saved(tmp_path, "(ALARM, stop)", "M2", name="stops.ngc")
    twin = steps_of(
        {"do": "program", "file": "stops.ngc"},
        {"do": "mdi", "line": "G53 G0 Z-100"},
        {"do": "reset"},
        {"do": "mdi", "line": "G53 G0 Z-200"},
        folder=tmp_path,
    )
    outcome = twin.run_steps()
    assert outcome.verdict == "stopped"
    assert twin.controller.position[2] == -200.0
    assert len(events(twin, "skipped")) == 1


def test_an_emergency_stop_ends_the_program(tmp_path: Path) -> None:
    saved(tmp_path, "G53 G0 Z-100", "G53 G0 X-700", "G10 L1 P7 R1", "M2", name="part.ngc")
    twin = steps_of({"do": "program", "file": "part.ngc"}, folder=tmp_path)
    later = {"after": "rapid", "nth": 2, "delay_s": 0.2, "step": {"do": "e-stop"}}
    data = twin.scenario.model_dump(by_alias=True) | {"meanwhile": [later]}
    twin = Twin(scenario_from_dict(data))
    outcome = twin.run_steps()
    assert {alarm.code for _, alarm in outcome.alarms} == {"e-stop"}
    assert 7 not in twin.tables.rows
    assert -700.0 < twin.controller.position[0] < X
