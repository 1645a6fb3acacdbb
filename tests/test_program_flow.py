"""Jumps, loops, calls, and the frame of a program."""

from __future__ import annotations

import pytest
from program_cases import bench, events, run, typed

from drytouch.sim.program import (
    IdealMachine,
    Interpreter,
    Options,
    ProgramError,
    ProgramErrors,
    read_program,
)


def results(text: str, *numbers: int, options: Options | None = None) -> list[float | None]:
    interpreter = bench()
    run(interpreter, text, options)
    return [interpreter.state.parameters.read(number) for number in numbers]


def failing(text: str, options: Options | None = None) -> ProgramError:
    try:
        run(bench(), text, options)
    except ProgramErrors as several:
        return several.errors[0]
    except ProgramError as error:
        return error
    pytest.fail("nothing was wrong")


def test_jump_searches_forward_then_from_the_top() -> None:
    text = """
    GOTO 20
    N10 #101=[#101+1]
    IF [#101 GE 3] GOTO 30
    N20 #102=[#102+1]
    GOTO 10
    N10 #103=1
    N30 M30
    """
    # From line 6 the nearest N10 lies ahead, so the one above is never run.
    assert results(text, 101, 102, 103) == [0, 1, 1]
    assert results(
        text.replace("N10 #103=1", "#103=1").replace("GOTO 10", "GOTO 10"), 101, 102
    ) == [
        3,
        3,
    ]


def test_label_may_be_any_real_value() -> None:
    assert results("#1=2\nGOTO [#1*10+0.00004]\n#101=1\nN20 #102=1\nM2\n", 101, 102) == [0, 1]


def test_condition_needs_no_comparison() -> None:
    assert results("IF [2] GOTO 5\n#101=1\nN5 IF [#0] GOTO 7\n#102=1\nN7 M2\n", 101, 102) == [0, 1]


def test_nested_loops_count() -> None:
    text = """
    #1=0
    WHILE [#1 LT 3] DO 1
      #2=0
      WHILE [#2 LT 4] DO 2
        #2=[#2+1]
        IF [#2 EQ 2] GOTO 50
        #101=[#101+1]
      N50 END 2
      #1=[#1+1]
    END 1
    M30
    """
    assert results(text, 101, 1, 2) == [9, 3, 4]


def test_jumping_out_of_a_loop_is_legal_and_back_in_is_not() -> None:
    out = "WHILE [1] DO 1\nGOTO 9\nEND 1\nN9 #101=1\nM2\n"
    assert results(out, 101) == [1]
    into = "GOTO 9\nWHILE [1] DO 1\nN9 #101=1\nEND 1\nM2\n"
    assert failing(into).code == "E-FLOW"


@pytest.mark.parametrize(
    "text",
    [
        "WHILE [1] DO 4\nEND 4\nM2\n",
        "WHILE [1] DO 1\nM2\n",
        "END 1\nM2\n",
        "WHILE [0] DO 1\nWHILE [0] DO 2\nEND 1\nEND 2\nM2\n",
        "WHILE [0] DO 1\nWHILE [0] DO 1\nEND 1\nEND 1\nM2\n",
        "#1=2\nWHILE [1] DO #1\nEND 3\nM2\n",
        "#1=7\nWHILE [1] DO #1\nEND #1\nM2\n",
        "GOTO 1.5\nM2\n",
        "GOTO 7\nM2\n",
        "G65 P100\nM2\nO100\nG65 P100\nM99\n",
        "G65 P999\nM2\n",
        "M99\n",
        "O100\nM2\nO100\nM99\n",
    ],
)
def test_wrong_flow(text: str) -> None:
    assert failing(text).code == "E-FLOW"


def test_circle_without_time_is_stopped() -> None:
    options = Options(lines_without_time_limit=50)
    assert failing("N1 #1=[#1+1]\nGOTO 1\nM2\n", options).code == "E-FLOW"
    # The same circle with a dwell lets time pass and is cut only by its own condition.
    passing = "N1 #101=[#101+1] G4 P1\nIF [#101 LT 200] GOTO 1\nM2\n"
    assert results(passing, 101, options=options) == [200]


def test_loop_limit() -> None:
    options = Options(loop_limit=10)
    assert failing("WHILE [1] DO 1\nG4 P1\nEND 1\nM2\n", options).code == "E-FLOW"
    # Each entry into the loop counts anew.
    text = (
        "#1=0\nN5 #2=0\nWHILE [#2 LT 8] DO 1\n#2=[#2+1]\nEND 1\n"
        "#1=[#1+1]\nIF [#1 LT 5] GOTO 5\nM2\n"
    )
    assert results(text, 1, options=options) == [5]


CALLS = """%
O100
#1=5
#500=0
G65 P110 L3 A1 M7 F9
#501=#1
M30
O110
#1=[#1+1]
#500=[#500+#1*10+#13+#9]
IF [#2 EQ #0] GOTO 5
#502=1
N5 G65 P120
M99
O120
IF [#1 EQ #0] GOTO 5
#503=1
N5 #1=77
M99
%
"""


def test_each_call_and_each_repeat_has_fresh_local_parameters() -> None:
    # Each round: #1 = 1 + 1, so 20 + 7 + 9 are added three times.
    assert results(CALLS, 500, 501, 502, 503) == [108, 5, 0, 0]


def test_call_depth() -> None:
    chain = "".join(f"O{n}\nG65 P{n + 1}\nM99\n" for n in range(100, 103))
    assert results(f"%\nG65 P100\nM2\n{chain}O103\n#101=1\nM99\n%", 101) == [1]
    chain += "O103\nG65 P104\nM99\nO104\nM99\n"
    assert failing(f"%\nG65 P100\nM2\n{chain}%").code == "E-FLOW"


def test_vacant_word_counts_as_absent() -> None:
    text = "%\nG65 P110 X4\nM2\nO110\nG0 X#24 Y#25 Z[#26]\nG1 X[#25+1]\nM99\n%\n"
    interpreter = bench(position=(0.0, 7.0, 9.0))
    run(interpreter, text)
    assert events(interpreter) == [("rapid", (4, 7, 9)), ("feed", (1, 7, 9), 100.0)]


def test_end_inside_a_call_ends_everything_and_frees_the_callers_parameters() -> None:
    interpreter = bench()
    finished = run(interpreter, "%\n#1=3\nG65 P110 A8\n#101=1\nO110\nM30\nM99\n%\n")
    assert finished.by == "M30"
    assert interpreter.state.parameters.read(1) == 3
    assert interpreter.state.parameters.read(101) == 0


def test_error_inside_a_call_frees_the_callers_parameters() -> None:
    interpreter = bench()
    with pytest.raises(ProgramError):
        run(interpreter, "%\n#1=3\nG65 P110 A8\nO110\n#2=[1/0]\nM99\n%\n")
    assert interpreter.state.parameters.read(1) == 3


def test_call_typed_by_hand() -> None:
    interpreter = bench()
    library = read_program("O110\n#101=[#101+#24]\nM99\n").library
    for _ in interpreter.execute_line("G65 P110 X4 L2", Options(library=library)):
        pass
    assert interpreter.state.parameters.read(101) == 8
    assert interpreter.state.parameters.frames == []


def test_flow_can_not_be_typed_by_hand() -> None:
    for text in ("GOTO 5", "END 1", "%", "O100"):
        with pytest.raises(ProgramError, match="E-FLOW"):
            typed(bench(), text)


def test_deleted_lines_are_read_but_not_run() -> None:
    text = "/GOTO 5\n#101=1\n/#102=1\nN5 M2\n"
    assert results(text, 101, 102) == [0, 0]
    assert results(text, 101, 102, options=Options(block_delete=True)) == [1, 0]
    assert failing("/G1 X\nM2\n", Options(block_delete=True)).code == "E-NUM"
    assert failing("/G1 X[1/0]\nM2\n", Options(block_delete=True)).code == "E-DOMAIN"
    assert failing("/G1 F5\nM2\n", Options(block_delete=True)).code == "E-MISSING"


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("", ["E-FILE"]),
        ("\n \n", ["E-FILE"]),
        ("G0 X1\n", ["E-FILE"]),
        ("%\nG0 X1\n", ["E-FILE"]),
        ("G0 X1\n%\nM2\n", ["E-FILE"]),
        ("%\nG0 X1\n%\nnonsense\n", []),
        ("G0 X1\nM2\nnonsense\n", []),
        ("GOTO 5\nM2\nN5 X..1\nM2\n", ["E-NUM"]),
        ("\n%\n%\n", []),
        ("\r\nG0 X1\r\nM2\r\n", []),
        ("O110\nM99", []),
    ],
)
def test_frame(text: str, codes: list[str]) -> None:
    assert [error.code for error in read_program(text).errors] == codes


def test_running_past_the_last_line() -> None:
    assert failing("IF [1] GOTO 5\nM2\nN5 X1\n").code == "E-FLOW"


def test_switches_and_pauses() -> None:
    text = "M1\nX1\nM0\nX2 M60\n%"
    interpreter = bench()
    run(interpreter, "%\n" + text)
    assert [e[0] for e in events(interpreter)] == ["feed", "pause", "feed", "pause"]
    interpreter = bench()
    run(interpreter, "%\n" + text, Options(optional_stop=True))
    assert events(interpreter)[0] == ("pause", True, "M1")
    interpreter = bench()
    seen: list[int] = []
    run(
        interpreter,
        "%\nX1\n\nX2\n%",
        Options(single_block=True, on_line=lambda file, n, t: seen.append(n)),
    )
    assert [e[0] for e in events(interpreter)] == ["feed", "pause", "feed", "pause"]
    assert seen == [2, 3, 4]


def test_read_only_text_after_an_end_that_jumps_lead_past() -> None:
    assert results("GOTO 5\nN3 M2\nN5 #101=1\nGOTO 3\nM2\nrest\n", 101) == [1]


START = "G20 G90\nT3 M6\nS800 M3\nG55\nF4 G1 X1\n#7=4\nX[#7]\nM30\n"


def test_start_in_the_middle_rebuilds_reports_and_waits() -> None:
    origins = ((0.0, 0.0, 0.0), (10.0, 0.0, 0.0), *((0.0, 0.0, 0.0),) * 7)
    interpreter = Interpreter(IdealMachine(tool=3, origins=origins))
    run(interpreter, START, Options(start_line=7))
    # The origin was stored in mm; its number means inch in this program, as the standard has it.
    assert events(interpreter) == [
        (
            "message",
            "at line 7: G1 G17 G90 G94 G20 G40 G49 G98 G55 G61 M3 M9 M48, F4 inch/min, S800, T3, "
            "no tool length, G55",
        ),
        ("pause", False, "start from line 7"),
        ("spindle", 1, 800.0),
        ("feed", (pytest.approx(14 * 25.4), 0, 0), pytest.approx(4 * 25.4)),
        ("spindle", 0, 0.0),
    ]


@pytest.mark.parametrize(
    ("text", "line", "code"),
    [
        (START, 3, "E-STATE"),
        (START, 50, "E-FLOW"),
        ("GOTO 5\nG0 X1\nN5 M2\n", 2, "E-FLOW"),
        ("F10 G31 Z-5\n#1=#5063\nM2\n", 2, "E-STATE"),
    ],
)
def test_start_in_the_middle_is_refused(text: str, line: int, code: str) -> None:
    interpreter = bench()
    with pytest.raises(ProgramError) as caught:
        run(interpreter, text, Options(start_line=line))
    assert caught.value.code == code
    assert events(interpreter) == []
