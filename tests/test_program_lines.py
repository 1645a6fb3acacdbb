"""Lines: what prints reads back the same, by the grammar and by the quick way alike."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from program_cases import bench, typed

from drytouch.sim.errors import InputError
from drytouch.sim.program import LanguageSettings, Line, parse_line, print_line
from drytouch.sim.program.line import (
    Bracket,
    Flow,
    Function,
    Number,
    Parameter,
    Setting,
    Signed,
    Value,
    Word,
)
from drytouch.sim.program.reader import grammar_line, plain_line
from drytouch.sim.program.squeeze import column_of, squeeze
from drytouch.sim.program.values import LEVELS, evaluate

numbers = st.builds(
    Number,
    st.one_of(
        st.integers(-(10**6), 10**6).map(float),
        st.floats(-1e6, 1e6, allow_subnormal=False).map(lambda v: round(v, 6)),
    ),
)
operators = st.sampled_from(sorted({name for level in LEVELS["tighter"] for name in level}))
functions = st.sampled_from(
    "ABS ACOS ASIN COS EXP FIX FUP LN ROUND SIN SQRT TAN".split()  # noqa: SIM905
)


def _compound(inner: st.SearchStrategy[Value]) -> st.SearchStrategy[Value]:
    brackets = st.builds(
        Bracket, inner, st.lists(st.tuples(operators, inner), max_size=2).map(tuple)
    )
    unsigned = st.one_of(
        st.builds(Parameter, inner),
        brackets,
        st.builds(Function, functions, brackets),
        st.builds(Function, st.just("ATAN"), brackets, brackets),
    )
    return st.one_of(unsigned, st.builds(Signed, st.sampled_from("+-"), unsigned))


values: st.SearchStrategy[Value] = st.recursive(numbers, _compound, max_leaves=5)
brackets = st.builds(Bracket, values, st.just(()))
comments = st.lists(
    st.text(st.characters(blacklist_characters="()\r\n", codec="utf-8"), max_size=10), max_size=2
).map(tuple)
words = st.lists(
    st.builds(Word, st.sampled_from("DFGHIJKLMPQRSTXYZ"), values), max_size=4,
    unique_by=lambda word: word.letter,
).map(tuple)  # fmt: skip
flows = st.one_of(
    st.builds(Flow, st.sampled_from(["GOTO", "END"]), values),
    st.builds(Flow, st.sampled_from(["IF", "WHILE"]), values, brackets),
)
labels = st.none() | st.integers(0, 99999)
lines = st.one_of(
    st.builds(
        Line, words, st.lists(st.builds(Setting, values, values), max_size=2).map(tuple),
        comments, labels, st.booleans(),
    ),
    st.builds(
        Line, st.just(()), st.just(()), comments, labels, st.booleans(), flows
    ),
    st.builds(Line, program=st.integers(1, 99999), comments=comments),
).filter(lambda line: len("".join(print_line(line).split())) <= 250)  # fmt: skip


@given(lines)
@settings(max_examples=400, deadline=None)
def test_printed_line_reads_back_the_same(line: Line) -> None:
    text = print_line(line)
    if len(text) > 256:
        return
    again = parse_line(text)
    assert again == line
    assert print_line(again) == text


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("IFIX[2]", "IFIX[2]"),
        ("D#1GTAN[1]LEXP[2]", "D#1 GTAN[1] LEXP[2]"),
        ("X#1GEXP[0]LTAN[0]", "X#1 GEXP[0] LTAN[0]"),
        ("X[ABS[1]/2GT3]", "X[ABS[1] / 2 GT 3]"),
        ("X[#1GTABS[2]LE#3]", "X[#1 GT ABS[2] LE #3]"),
        ("XATAN[1]/[2]Y[ATAN[1]/[2]/3]", "XATAN[1]/[2] Y[ATAN[1]/[2] / 3]"),
        ("AACOS[1]BASIN[1]", "AACOS[1] BASIN[1]"),
    ],
)
def test_letters_that_look_like_the_start_of_something_else(text: str, printed: str) -> None:
    assert print_line(parse_line(text)) == printed


plain_texts = st.builds(
    lambda delete, label, words: delete + label + "".join(words),
    st.sampled_from(["", "/"]),
    st.sampled_from(["", "N1", "N00010", "N99999"]),
    st.lists(
        st.from_regex(r"\A[A-MP-Z][+-]?([0-9]{1,4}(\.[0-9]{0,4})?|\.[0-9]{1,4})\Z"), max_size=6
    ),
)


@given(plain_texts)
@settings(max_examples=300, deadline=None)
def test_quick_way_reads_like_the_grammar(text: str) -> None:
    text = text.replace("\n", "")
    quick, full = plain_line(text), grammar_line(text)
    assert quick == full
    assert quick is not None
    assert [word.at for word in quick.words] == [word.at for word in full.words]


@given(st.text(st.sampled_from("gx1.5 \t-[]#()ab/"), max_size=30))
@settings(max_examples=300, deadline=None)
def test_column_points_at_the_squeezed_place(text: str) -> None:
    try:
        squeezed, _ = squeeze(text)
    except Exception:
        return
    columns = [column_of(text, at) for at in range(len(squeezed))]
    for at, column in enumerate(columns):
        if squeezed[at] not in "()":
            assert text[column - 1].upper() == squeezed[at]


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_numbers_print_exactly_and_without_exponent(value: float) -> None:
    text = print_line(Line(words=(Word("X", Number(value)),)))
    assert "E" not in text.upper()
    if len(text) <= 256:
        assert parse_line(text).words[0].value == Number(value)


def test_blanks_and_case_mean_nothing_outside_comments() -> None:
    line = parse_line("n 1 0 g 0 1 x # 1 y - s i n [ 3 0 ] ( MSG, Keep Me ) # 2 = 3")
    assert print_line(line) == "N10 #2=3 G1 X#1 Y-SIN[30] ( MSG, Keep Me )"


def test_only_the_last_comment_acts() -> None:
    interpreter = bench()
    typed(interpreter, "(MSG, one) X1 (m s g,two)", "(MSG, one) (plain)")
    assert [e for e in interpreter.machine.log if e[0] == "message"] == [  # type: ignore[attr-defined]
        ("message", "two")
    ]


def test_sign_of_other_values() -> None:
    interpreter = bench()
    typed(interpreter, "#1=4 #2=-[2+1] #3=-SQRT[16]", "#4=-#1 #5=+#1")
    assert [interpreter.state.parameters.read(k) for k in range(1, 6)] == [4, -3, -4, -4, 4]


def test_integers_are_taken_within_a_ten_thousandth() -> None:
    interpreter = bench()
    typed(interpreter, "G[2-1.000005] X#[5220.00009]", "G0.000009 X5")
    assert interpreter.state.modal.motion == 0


def _value(text: str, settings_: LanguageSettings | None = None) -> float | None:
    line = parse_line(f"#1={text}")
    return evaluate(line.settings[0].value, lambda n: None, settings_ or LanguageSettings())


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("[1 EQ 1 + 1]", 0), ("[2 GT 1 EQ 1]", 1), ("[2*3**2]", 18), ("[7 MOD -3]", 1),
        ("[-7 MOD -3]", 2), ("[0 XOR 3]", 1), ("[2 AND 0]", 0), ("[8/4/2]", 1),
        ("FUP[2.1]", 3), ("FIX[2.9]", 2), ("ROUND[2.5]", 3), ("ROUND[-2.4]", -2),
        ("ROUND[0.49999999999999994]", 0), ("COS[60]", 0.5), ("ATAN[1]/[-1]", 135),
        ("TAN[45]", 1), ("EXP[LN[5]]", 5), ("ABS[-3]", 3), ("ASIN[1]", 90), ("ACOS[0]", 90),
        ("[#0 EQ #0]", 1), ("[#0 EQ 0]", 0), ("[#0 NE 0]", 1), ("[#0 + 5]", 5), ("[#0 LT 1]", 1),
    ],
)  # fmt: skip
def test_value(text: str, value: float) -> None:
    assert _value(text) == pytest.approx(value, abs=1e-12)


def test_settings_of_values() -> None:
    assert _value("FIX[-2.3]", LanguageSettings(fix_of_negative="toward-zero")) == -2
    assert _value("[1 EQ 1.0000001]") == 0
    near = LanguageSettings(comparison="within-1e-6")
    assert _value("[1 EQ 1.0000001]", near) == 1
    assert _value("[1 NE 1.00001]", near) == 1
    looser = LanguageSettings(logic_beside_comparison="looser")
    assert _value("[1 EQ 2 OR 3 EQ 3]") == 0
    assert _value("[1 EQ 2 OR 3 EQ 3]", looser) == 1


@given(st.floats(-1e6, 1e6), st.floats(-1e3, 1e3).filter(lambda v: abs(v) > 1e-3))
def test_remainder_is_never_negative(left: float, right: float) -> None:
    text = f"[{print_line(Line((Word('X', Number(left)),)))[1:]} MOD " + (
        f"{print_line(Line((Word('X', Number(right)),)))[1:]}]"
    )
    if len(text) > 250:
        return
    result = _value(text)
    assert result is not None
    assert 0 <= result <= abs(right)
    whole = (left - result) / abs(right)
    assert math.isclose(whole, round(whole), abs_tol=1e-6)


def test_wrong_setting_is_refused() -> None:
    with pytest.raises(InputError, match="none of named, all"):
        LanguageSettings(home_axes="some")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="zero or more"):
        LanguageSettings(read_ahead_lines=-1)
