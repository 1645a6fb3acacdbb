"""From text to ``Line``: blanks and comments go, the grammar reads the rest."""

from __future__ import annotations

import re
from functools import lru_cache
from importlib.resources import files
from typing import Any

from lark import Lark, Token, Transformer, UnexpectedInput, v_args

from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.line import (
    LINE_LENGTH_LIMIT,
    Bracket,
    Flow,
    Function,
    Line,
    Number,
    Parameter,
    Setting,
    Signed,
    Value,
    Word,
)
from drytouch.sim.program.squeeze import column_of, squeeze

# Letters that only carry an argument of a call (G65); the standard gives them no meaning.
CALL_LETTERS = frozenset("EUVW")
M_WORDS_LIMIT = 4


def _value(item: Any) -> Value:
    return Number(float(item)) if isinstance(item, Token) else item


class _Builder(Transformer[Token, Any]):
    """Turns what the grammar finds into the line model, while it is found."""

    @v_args(inline=True)
    def plain_word(self, token: Token) -> Word:
        return Word(token[0], Number(float(token[1:])), token.start_pos or 0)

    @v_args(inline=True)
    def word(self, letter: Token, value: Any) -> Word:
        return Word(str(letter), _value(value), letter.start_pos or 0)

    @v_args(inline=True)
    def setting(self, mark: Token, index: Any, value: Any) -> Setting:
        return Setting(_value(index), _value(value), mark.start_pos or 0)

    def flow(self, items: list[Any]) -> Flow:
        kind = items[0]
        condition = items[1] if len(items) > 2 else None
        return Flow(str(kind), _value(items[-1]), condition, kind.start_pos or 0)

    @v_args(inline=True)
    def signed(self, sign: Token, value: Any) -> Signed:
        return Signed(str(sign), _value(value))

    @v_args(inline=True)
    def parameter(self, _: Token, index: Any) -> Parameter:
        return Parameter(_value(index))

    def bracket(self, items: list[Any]) -> Bracket:
        rest = tuple((str(items[k]), _value(items[k + 1])) for k in range(1, len(items), 2))
        return Bracket(_value(items[0]), rest)

    def function(self, items: list[Any]) -> Function:
        return Function(str(items[0]), items[1], items[3] if len(items) > 2 else None)

    def start(self, items: list[Any]) -> Line:
        words: list[Word] = []
        settings: list[Setting] = []
        known: dict[str, Any] = {}
        for item in items:
            if isinstance(item, Word):
                words.append(item)
            elif isinstance(item, Setting):
                settings.append(item)
            elif isinstance(item, Flow):
                known["flow"] = item
            elif item.type == "SLASH":
                known["block_delete"] = True
            elif item.type == "LINE_NUMBER":
                known["number"] = _label(item)
            elif item.type == "PROGRAM":
                known["program"] = int(item[1:])
        return Line(tuple(words), tuple(settings), (), **known)


def _label(token: Token) -> int:
    if len(token) > 6:
        raise ProgramError(
            "E-LINE", "N takes one to five digits", column=(token.start_pos or 0) + 1
        )
    return int(token[1:])


_parser = Lark(
    files("drytouch.sim.program").joinpath("grammar.lark").read_text("utf-8"),
    parser="lalr",
    lexer="contextual",
    transformer=_Builder(),
)


def _explain(squeezed: str, error: UnexpectedInput) -> tuple[str, str, int]:
    """Return code, message and place for what the grammar could not read."""
    at = getattr(error, "pos_in_stream", None)
    token = getattr(error, "token", None)
    if at is None or (token is not None and token.type == "$END"):
        at = len(squeezed)
    expected = set(getattr(error, "expected", None) or getattr(error, "allowed", None) or ())
    found = squeezed[at : at + 1]
    shown = repr(found) if found else "the end of the line"
    # Only a value may begin with the name of a function.
    wants_value = "FUNCTION" in expected
    if squeezed.count("[", 0, at) > squeezed.count("]", 0, at):
        if found == ".":
            return "E-NUM", f"a number is due before {shown}", at
        return "E-EXPR", f"{shown} can't stand here inside brackets", at
    if squeezed.startswith("#", at - 1) and at and wants_value:
        return "E-PARAM", f"a parameter number is due before {shown}", at
    head = squeezed.lstrip("/")
    if found == "N" or (head.startswith("N") and head[1:at].isdigit() and found in ".+-"):
        return "E-LINE", "N stands first, with one to five digits", at
    for keyword in ("GOTO", "IF", "WHILE", "DO", "END"):
        if squeezed.startswith(keyword, at) or squeezed.startswith(keyword, max(at - 1, 0)):
            brackets = " with its condition in brackets" if keyword in ("IF", "WHILE") else ""
            return "E-FLOW", f"{keyword} must stand alone on its line{brackets}", at
    if wants_value:
        if found in ("", ".", "+", "-"):
            return "E-NUM", f"a number is due before {shown}", at
        return "E-EXPR", f"{shown} begins no value", at
    if found == "." or found.isdigit():
        return "E-NUM", f"{shown} is one too many for a number", at
    if any(squeezed.lstrip("/N0123456789").startswith(k) for k in ("GOTO", "IF[", "WHILE", "END")):
        return "E-FLOW", f"{shown} can't stand on the line of a flow word", at
    if found and found in "+-*/" and at > 0:
        # The commonest slip: a sum that is not in brackets of its own.
        return "E-CHAR", f"{shown} can't be read here: a sum stands in brackets, as in [#1/2]", at
    return "E-CHAR", f"{shown} can't be read here", at


# Nearly all lines of a long program are words with plain numbers. They are cut up here, five times
# faster than by the grammar; a test proves that both read them alike. No part backtracks.
_PLAIN_LINE = re.compile(
    r"(/?)(?:N([0-9]{1,5}+))?+((?:[A-MP-Z][+-]?(?:[0-9]++(?:\.[0-9]*+)?+|\.[0-9]++))*+)\Z"
)
_PLAIN_WORD = re.compile(r"([A-Z])([-+.0-9]+)")


def plain_line(squeezed: str) -> Line | None:
    """Return the line if it has nothing but words with plain numbers, else None."""
    match = _PLAIN_LINE.match(squeezed)
    if match is None:
        return None
    delete, number, _ = match.groups()
    words = tuple(
        [
            Word(found[1], _number(found[2]), found.start())
            for found in _PLAIN_WORD.finditer(squeezed, match.start(3))
        ]
    )
    return Line(words, number=None if number is None else int(number), block_delete=bool(delete))


@lru_cache(maxsize=8192)
def _number(text: str) -> Number:
    return Number(float(text))


def grammar_line(squeezed: str) -> Line:
    """Return the line as the grammar reads it; raises ``ProgramError`` with the squeezed place."""
    try:
        line: Line = _parser.parse(squeezed)  # type: ignore[assignment]
    except UnexpectedInput as error:
        code, message, at = _explain(squeezed, error)
        raise ProgramError(code, message, column=at + 1) from None
    return line


@lru_cache(maxsize=8192)
def _parse(squeezed: str) -> Line:
    line = plain_line(squeezed) or grammar_line(squeezed)
    _check_repeats(line)
    return line


def _check_repeats(line: Line) -> None:
    letters = [word.letter for word in line.words]
    if len(set(letters)) == len(letters) and CALL_LETTERS.isdisjoint(letters):
        return
    seen: set[str] = set()
    m_words = 0
    called = not line.words
    for word in line.words:
        letter = word.letter
        if letter == "G":
            value = word.value
            called = called or not isinstance(value, Number) or abs(value.value - 65) < 1e-4
        elif letter == "M":
            m_words += 1
            if m_words > M_WORDS_LIMIT:
                raise ProgramError("E-REPEAT", "four M words at most", column=word.at + 1)
        elif letter in seen:
            raise ProgramError("E-REPEAT", f"{letter} is on the line twice", column=word.at + 1)
        seen.add(letter)
    if not called and not CALL_LETTERS.isdisjoint(seen):
        stray = next(word for word in line.words if word.letter in CALL_LETTERS)
        raise ProgramError(
            "E-CHAR", f"{stray.letter} is a letter of G65 calls only", column=stray.at + 1
        )


def parse_line(text: str, file: str = "", line_number: int = 0) -> Line:
    """Read one line of text (without its line end).

    Raises ``ProgramError`` with the place of what can't be read.
    """
    if len(text) > LINE_LENGTH_LIMIT:
        raise ProgramError(
            "E-LINE",
            f"{len(text)} characters; a line has {LINE_LENGTH_LIMIT} at most",
            file,
            line_number,
            LINE_LENGTH_LIMIT + 1,
            text,
        )
    try:
        squeezed, comments = squeeze(text)
    except ProgramError as error:
        raise error.located(file, line_number, text=text) from None
    if squeezed == "%":
        return Line(percent=True)
    try:
        line = _parse(squeezed)
    except ProgramError as error:
        column = column_of(text, error.column - 1)
        raise ProgramError(error.code, error.message, file, line_number, column, text) from None
    if not comments:
        return line
    return Line(
        line.words,
        line.settings,
        comments,
        line.number,
        line.block_delete,
        line.flow,
        line.program,
    )
