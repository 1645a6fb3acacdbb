"""Every error has a code, points at its place, and survives being rebuilt."""

from __future__ import annotations

import pickle

import pytest
from program_cases import WRONG_LINES, bench, drain, run, typed

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program import CODES, ProgramError, ProgramErrors, parse_line, read_program
from drytouch.sim.program.machine import TouchConditions

TRAVEL = ((-500.0, -500.0, -500.0), (500.0, 500.0, 500.0))


@pytest.mark.parametrize(("code", "text"), WRONG_LINES, ids=[text for _, text in WRONG_LINES])
def test_wrong_line(code: str, text: str) -> None:
    interpreter = bench(travel=TRAVEL)
    before = dict(interpreter.state.parameters.common)
    with pytest.raises(ProgramError) as caught:
        typed(interpreter, text)
    error = caught.value
    assert (error.code, error.line, error.text) == (code, 1, text)
    assert 0 <= error.column <= len(text) + 1
    assert interpreter.state.parameters.common == before


def test_every_code_has_a_wrong_line() -> None:
    # Frame errors need a file; its tests are with the flow.
    assert {code for code, _ in WRONG_LINES} == CODES.keys() - {"E-FILE"}


def test_message_shows_place_and_caret() -> None:
    with pytest.raises(ProgramError) as caught:
        parse_line("G1\tX1 y", "setter.ngc", 12)
    assert str(caught.value) == (
        "setter.ngc:12:8: E-NUM a number is due before the end of the line\nG1 X1 y\n       ^"
    )


def test_message_without_column_has_no_caret() -> None:
    error = ProgramError("E-FEED", "no feed", "a.ngc", 3, 0, "X1")
    assert str(error) == "a.ngc:3:0: E-FEED no feed\nX1"
    assert str(ProgramError("E-FEED", "no feed")) == "line:0:0: E-FEED no feed"


def test_errors_survive_rebuilding() -> None:
    error = ProgramError("E-NUM", "bad", "a.ngc", 3, 4, "G1 X")
    for copy in (type(error)(*error.args), pickle.loads(pickle.dumps(error))):
        assert (copy.args, str(copy)) == (error.args, str(error))
    several = ProgramErrors((error, error))
    assert str(pickle.loads(pickle.dumps(several))) == f"{error}\n{error}"


def test_all_errors_of_a_file_are_collected_in_order() -> None:
    file = read_program("G1 X\nG0 X1\nG1 Y..1\n#1=[\nM30\n", "many.ngc")
    assert [(e.line, e.column, e.code) for e in file.errors] == [
        (1, 5, "E-NUM"),
        (3, 5, "E-NUM"),
        (4, 5, "E-EXPR"),
    ]
    with pytest.raises(ProgramErrors) as caught:
        _ = file.main
    assert caught.value.errors == tuple(file.errors)


def test_column_counts_blanks_tabs_and_comments() -> None:
    for text, column in [("g1 (one) x 1 (two) y", 21), ("  x1  x2", 7), ("/ n 5 x1 ; y", 10)]:
        with pytest.raises(ProgramError) as caught:
            parse_line(text)
        assert caught.value.column == column


def test_foreign_letters_are_no_words() -> None:
    # Upper-casing would turn the long s into S, and the sharp s into SS.
    for text in ("ſ5", "ß5", "x１"):
        with pytest.raises(ProgramError) as caught:
            parse_line(text)
        assert caught.value.code in ("E-CHAR", "E-EXPR")


def test_running_error_names_the_line_of_the_file() -> None:
    with pytest.raises(ProgramError) as caught:
        run(bench(), "%\n\nG0 X1\n  G1 X[1/#7]\n%\n", file="part.ngc")
    assert str(caught.value) == ("part.ngc:4:6: E-DOMAIN 1 / 0: by zero\n  G1 X[1/#7]\n     ^")


def test_read_error_leaves_everything_as_it_was() -> None:
    interpreter = bench()
    state = interpreter.state
    before = (state.modal, state.feed_mm_per_min, state.selected_tool)
    with pytest.raises(ProgramError):
        typed(interpreter, "G20 F5 T3 #7=1 M3 S50 I5 X1")
    assert (state.modal, state.feed_mm_per_min, state.selected_tool) == before
    assert state.parameters.read(7) == 0


def test_execution_error_keeps_earlier_steps_but_no_table() -> None:
    interpreter = bench(position=(0.0, 0.0, 20.0))
    kept = interpreter.machine.work_origins_mm()
    with pytest.raises(ProgramError) as caught:
        typed(interpreter, "#5222=7 #101=3 S800 G90 G38.2 Z0")
    assert caught.value.code == "E-MISS"
    state = interpreter.state
    assert state.speed_rpm == 800
    assert state.modal.motion == 382
    assert state.parameters.read(101) == 3
    assert state.parameters.read(5222) == 0
    assert interpreter.machine.work_origins_mm() == kept


def test_alarm_stops_the_program_and_nothing_runs_after_it() -> None:
    interpreter = bench()
    with pytest.raises(ControllerAlarm) as caught:
        run(interpreter, "X1\n#7=1 X2 (alarm , tool 3 is short)\nX3\nM30\n")
    assert (caught.value.code, caught.value.message) == ("program", "tool 3 is short")
    assert interpreter.machine.position_mm == (1, 0, 0)


@pytest.mark.parametrize(
    ("conditions", "code"),
    [
        (TouchConditions(fitted=False), "E-STATE"),
        (TouchConditions(feed_limits_mm_per_min=(1, 50)), "E-FEED"),
        (TouchConditions(feed_limits_mm_per_min=(150, 500)), "E-FEED"),
    ],
)
def test_touch_start_conditions(conditions: TouchConditions, code: str) -> None:
    interpreter = bench(conditions=conditions)
    with pytest.raises(ProgramError) as caught:
        drain(interpreter.execute_line("G31 Z-5"))
    assert caught.value.code == code


def test_turning_touch_where_the_setter_permits_it() -> None:
    interpreter = bench(conditions=TouchConditions(turning_allowed=True))
    typed(interpreter, "M4 S30", "G31 Z-5")
    assert interpreter.machine.position_mm == (0, 0, -5)
