"""The check of a whole program: all errors at once, and warnings that mean something."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from program_cases import WRONG_LINES

from drytouch.sim.program import LanguageSettings, read_program
from drytouch.sim.program.check import WARNINGS, Checked, check_program
from drytouch.sim.program.settings import POINTS

CLEAN = """%
O100 (touch the loaded tool off beside its stored length)
G21 G90 G94 G17 G49
IF [#5830 EQ 1] GOTO 900
IF [#5844 EQ #0] GOTO 910
G0 G53 Z#5844
G53 X#5842
G53 Y#5843
G31 G91 Z-200 F200
G0 G90 G53 Z#5844
M2
N900 (ALARM, the input is on before the touch)
N910 (ALARM, no clearance height is stored)
%
"""


def codes(checked: Checked) -> list[tuple[int, str]]:
    return [(w.line, w.setting or w.code) for w in checked.warnings]


def warned(body: str, **choices: object) -> set[str]:
    """Return the warnings for a program in mm."""
    text = f"%\nG21\n{body}\n%\n"
    checked = check_program(text, settings=LanguageSettings(**choices))  # type: ignore[arg-type]
    assert checked.errors == ()
    return {w.setting or w.code for w in checked.warnings}


def test_clean_program() -> None:
    checked = check_program(CLEAN)
    assert checked.errors == ()
    # Reading the input and the setter depends on nothing but whether the control waits.
    assert codes(checked) == [(4, "read_ahead_lines")]
    assert checked.lines == 12


def test_all_errors_are_reported_in_order() -> None:
    text = "%\nG21\nG1 X1\nG0 X..\nG2 X1 Y1\nGOTO 5\n#5999=1\nG1 Z5 Q1\nM0 M1\nWHILE [1] DO 1\n%\n"
    assert [(e.line, e.code) for e in check_program(text).errors] == [
        (3, "E-FEED"),
        (4, "E-NUM"),
        (5, "E-MISSING"),
        (6, "E-FLOW"),
        (7, "E-PARAM"),
        (8, "E-STRAY"),
        (9, "E-MODAL"),
        (10, "E-FLOW"),
    ]


# What only the machine's state or tables tell can't be seen in a line by itself.
RUN_TIME = {"E-PROBE", "E-MISS", "E-TRAVEL"}
TYPED_ONLY = {"M99", "O100", "G43 H100", "T100", "M4 S10 G38.2 Z-5"}


@pytest.mark.parametrize(
    ("code", "text"),
    [c for c in WRONG_LINES if c[0] not in RUN_TIME and c[1] not in TYPED_ONLY],
    ids=[c[1] for c in WRONG_LINES if c[0] not in RUN_TIME and c[1] not in TYPED_ONLY],
)
def test_wrong_line_is_found_without_running(code: str, text: str) -> None:
    checked = check_program(f"%\nG21 G1 X0 F100\n{text}\n%\n")
    found = {(e.line, e.code) for e in checked.errors}
    assert (3, code) in found or (code == "E-CHAR" and (3, "E-FILE") in found)


def test_wrong_line_in_unreachable_text_is_found() -> None:
    checked = check_program("%\nGOTO 9\n#1=[1/0]\nN9 M2\nN10 X1\nGOTO 10\n%\n")
    assert [(e.line, e.code) for e in checked.errors] == [(3, "E-DOMAIN")]
    assert codes(checked) == [(3, "unreachable"), (5, "unreachable")]


def test_table_limits_are_the_machines() -> None:
    assert [e.code for e in check_program("G43 H5\nT6\nM2\n", slots=4).errors] == [
        "E-RANGE",
        "E-RANGE",
    ]


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("G28 Z0", {"home_axes"}),
        ("G28 X0 Y0 Z0", {"rapid_path"}),
        ("#100=FIX[#101]", {"fix_of_negative"}),
        ("#100=FIX[2.5]", set()),
        ("#100=[#101 EQ 2]", {"comparison"}),
        ("#100=[#101 EQ #0]", set()),
        ("#100=[#101 GT 1 AND #102]", {"logic_beside_comparison"}),
        ("#100=[[#101 GT 1] AND #102]", set()),
        ("G0 X1 Y1", {"rapid_path"}),
        ("G0 X1", set()),
        ("G20 F5", {"feed_with_unit_change", "offsets_on_unit_change"}),
        ("#100=#5063", {"touch_result", "read_ahead_lines"}),
        ("#100=#5813", {"read_ahead_lines"}),
        ("G43 H1\nM2", {"tool_length_at_end"}),
        ("G43 H1\nG49\nM2", set()),
        ("G31 Z-5 F10", {"g31_already_tripped", "unchecked-touch"}),
        (
            "IF [#5830 EQ 1] GOTO 9\nG31 Z-5 F10\nN9 M2",
            {"read_ahead_lines"},
        ),
        (
            "IF [#5830] GOTO 9\nG38.2 Z-5 F10\nG91 G1 Z1\nN9 M2",
            {"read_ahead_lines", "rest_after_touch"},
        ),
        ("IF [#5830] GOTO 9\nG38.2 Z-5 F10\nG90 G1 Z1\nN9 M2", {"read_ahead_lines"}),
    ],
)
def test_lines_that_depend_on_a_setting(body: str, expected: set[str]) -> None:
    assert warned(body) == expected


def test_every_setting_can_be_warned_of() -> None:
    everything = (
        "G28 Z0\n#100=FIX[#101]\n#100=[#101 EQ 2]\n#100=[#101 GT 1 AND #102]\nG0 X1 Y1\nG20 F5\n"
        "#100=#5063\nG43 H1\nG31 Z-5 F10\nG91 G1 Z1\nM2"
    )
    assert POINTS.keys() <= warned(everything)


def test_one_check_serves_several_g38_touches_but_one_g31() -> None:
    start = "IF [#5830] GOTO 9\nF10 "
    end = "\nN9 M2"
    two = "G38.2 Z-5\nG1 Z5\nG38.2 Z-5"
    assert "unchecked-touch" not in warned(start + two + end)
    assert "unchecked-touch" in warned(start + two.replace("G38.2", "G31") + end)
    assert "unchecked-touch" in warned(start + "G38.2 Z-5\nG1 Z5\nM0\nG38.2 Z-5" + end)


def test_the_check_must_lie_on_every_way() -> None:
    text = "IF [#1] GOTO 5\nIF [#5830] GOTO 9\nN5 G38.2 Z-5 F10\nN9 M2"
    assert "unchecked-touch" in warned(text)


def test_length_in_force_at_a_reference() -> None:
    touch = "IF [#5830] GOTO 9\nG31 Z-5 F10\n"
    for keep in ("#500=#5063", "G10 L1 P1 R#5063", "G10 L1 P1 R[#5063-#501]"):
        text = f"G43 H1\n{touch}{keep}\nG49\nN9 M2"
        assert "length-at-reference" in warned(text)
        assert "length-at-reference" not in warned(text.replace("H1", "H0"))
        assert "length-at-reference" not in warned(text, touch_result="machine")


def test_pause_that_stands_for_an_alarm() -> None:
    assert "pause-for-alarm" in warned("IF [#1 GT 5] GOTO 9\nM2\nN9 (MSG, too long)\nM0\nM2")
    assert "pause-for-alarm" in warned("IF [#1 LT 5] GOTO 9\n(MSG, too long)\nM0\nN9 M2")
    assert "pause-for-alarm" not in warned("M0\nIF [#1 LT 5] GOTO 9\nX0 G0\nG0 X1\nN9 M2")


def test_units_are_asked_for_once() -> None:
    assert codes(check_program("G0 X1\nX2\nM2\n")) == [(1, "units-unset")]
    assert codes(check_program("G20 G0 X1\nM2\n")) == [(1, "offsets_on_unit_change")][:0]


def test_missing_end() -> None:
    assert [(e.line, e.code) for e in check_program("G21\nG0 X1\n").errors] == [(2, "E-FILE")]
    late = "G21\nIF [#1] GOTO 5\nM2\nN5 G0 X1\n"
    assert [(e.line, e.code) for e in check_program(late).errors] == [(4, "E-FILE")]


def test_modes_that_ways_disagree_on_are_let_pass() -> None:
    joined = "G21 G0 X1\nIF [1-#1] GOTO 5\nG80\nGOTO 6\nN5 G1 X1 F10\nN6 X5\nM2\n"
    assert check_program(joined).errors == ()
    always = "G21 G0 X1\nIF [#1] GOTO 5\nG80\nGOTO 6\nN5 G80\nN6 X5\nM2\n"
    assert [(e.line, e.code) for e in check_program(always).errors] == [(6, "E-STATE")]


def test_dry_run_finds_what_only_numbers_tell() -> None:
    checked = check_program("G21\n#1=3\nG2 X10 I#1 F10\nM2\n")
    assert [(e.line, e.code) for e in checked.errors] == [(3, "E-ARC")]
    # Past a touch the numbers are made up, so this is no more than a warning.
    touched = check_program("G21\nG38.2 Z-5 F10\n#1=[1/[#5063-#5063]]\nM2\n")
    assert touched.errors == ()
    assert (3, "dry-run") in codes(touched)


def test_dry_run_of_an_endless_program_is_cut() -> None:
    for body in ("G4 P1", "#1=[#1+1]"):
        checked = check_program(f"N1 {body}\nGOTO 1\nM2\n")
        assert checked.errors == ()
        assert "dry-run" in {w.code for w in checked.warnings}


def test_calls_into_other_files() -> None:
    library = read_program("O110\nG0 X#24\nM99\n", "other.ngc").library
    text = "G21\nG65 P110 X5\nM2\n"
    assert check_program(text, library=library).errors == ()
    assert [e.code for e in check_program(text).errors] == ["E-FLOW"]


def test_called_program_trusts_its_caller() -> None:
    checked = check_program("O110\nX#24\nG1 Z5\nG2 X1 I5\nM99\n")
    assert checked.errors == ()
    assert checked.warnings == ()


def test_progress_and_texts() -> None:
    seen: list[tuple[int, int]] = []
    checked = check_program("G0 X1\nM2\n", "p.ngc", progress=lambda k, n: seen.append((k, n)))
    assert seen == [(0, 2), (2, 2)]
    assert str(checked.warnings[0]) == (f"p.ngc:1: units-unset: {WARNINGS['units-unset']}\nG0 X1")


pieces = st.sampled_from(
    [
        "G0 X1", "G1 Y2", "G80", "X5", "GOTO 1", "GOTO 2", "IF [#1] GOTO 1", "IF [#2] GOTO 3",
        "WHILE [#1] DO 1", "END 1", "N1 G91", "N2 G90", "N3", "M2", "/M2", "/GOTO 2", "G20",
        "G43 H1", "G65 P100", "GOTO #1", "(ALARM, x)", "G31 Z1", "#500=#5063", "F10", "M0", "bad",
        "G#1 X1",
    ]
)  # fmt: skip


@given(st.lists(pieces, max_size=14))
@settings(max_examples=200, deadline=None)
def test_check_ends_whatever_the_flow(lines: list[str]) -> None:
    text = "%\n" + "\n".join(lines) + "\n%\n"
    first = check_program(text)
    assert str(first) == str(check_program(text))
    assert {e.line for e in first.errors} <= set(range(1, len(lines) + 3))
