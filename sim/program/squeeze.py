"""A line without its blanks and comments, and the way back to the columns of its text."""

from __future__ import annotations

from drytouch.sim.program.errors import ProgramError

# Only ASCII letters: str.upper would turn some foreign letters into words.
_SQUEEZE = str.maketrans(
    {" ": None, "\t": None, **{chr(low): chr(low - 32) for low in range(ord("a"), ord("z") + 1)}}
)


def squeeze(text: str) -> tuple[str, tuple[str, ...]]:
    """Return the line without blanks, in upper case, comments as ``()``; and the comments."""
    if "(" not in text and ")" not in text:
        return text.translate(_SQUEEZE), ()
    parts: list[str] = []
    comments: list[str] = []
    rest, place = text, 0
    while rest:
        before, opened, after = rest.partition("(")
        if ")" in before:
            raise ProgramError(
                "E-COMMENT",
                "a comment ends here that never began",
                column=place + before.find(")") + 1,
            )
        parts.append(before.translate(_SQUEEZE))
        if not opened:
            break
        comment, closed, rest = after.partition(")")
        here = place + len(before) + 1
        if "(" in comment:
            raise ProgramError(
                "E-COMMENT", "comments don't nest", column=here + comment.find("(") + 1
            )
        if not closed:
            raise ProgramError("E-COMMENT", "the comment must close on its line", column=here)
        parts.append("()")
        comments.append(comment)
        place = here + len(comment) + 1
    return "".join(parts), tuple(comments)


def column_of(text: str, at: int) -> int:
    """Return the 1-based column in ``text`` of place ``at`` in its squeezed form."""
    seen = 0
    column = 1
    while column <= len(text):
        char = text[column - 1]
        if char in " \t":
            column += 1
            continue
        if seen >= at:
            return column
        if char == "(":
            closing = text.find(")", column)
            column = (closing + 2) if closing >= 0 else len(text) + 1
            seen += 2
            continue
        column += 1
        seen += 1
    return len(text) + 1


def placed(error: ProgramError, file: str, line: int, text: str) -> ProgramError:
    """Return the error with its place; its column was counted in the squeezed line."""
    if error.line:
        return error
    column = column_of(text, error.column - 1) if error.column else 0
    return ProgramError(error.code, error.message, file, line, column, text)
