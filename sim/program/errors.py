"""What can be wrong with a program, where it is, and how it is shown."""

from __future__ import annotations

from drytouch.sim.errors import DrytouchError

CODES = {
    "E-CHAR": "something on the line can't be read",
    "E-NUM": "a number is malformed or missing",
    "E-EXPR": "an expression is malformed",
    "E-DOMAIN": "a calculation has no real result",
    "E-PARAM": "a parameter number is not allowed here",
    "E-COMMENT": "a comment is not closed, not opened, or nested",
    "E-LINE": "the line is too long, or its N number is not allowed",
    "E-REPEAT": "a word is on the line too often",
    "E-MODAL": "two codes on the line exclude each other",
    "E-UNKNOWN": "the standard has no such code",
    "E-UNSUPPORTED": "the code exists, but not on this machine",
    "E-MISSING": "a word that the code needs is missing",
    "E-STRAY": "a word has nothing on the line that uses it",
    "E-RANGE": "a value is outside what is allowed",
    "E-ARC": "the arc can't be drawn",
    "E-STATE": "the line can't run in the present state",
    "E-FEED": "there is no usable feed",
    "E-PROBE": "the touch can't start",
    "E-MISS": "the touch reached its end without contact",
    "E-FILE": "the file's frame is wrong: percent, end, or a data file",
    "E-FLOW": "a jump, a loop or a call is wrong",
    "E-TRAVEL": "the end point is outside the machine's travel",
}


class ProgramError(DrytouchError):
    """One thing that is wrong with a program.

    Arguments: ``code`` (a key of ``CODES``), ``message``, ``file``, ``line`` (1-based; 0 unknown),
    ``column`` (1-based; 0 unknown) and ``text`` (the source line).
    """

    def __init__(
        self,
        code: str,
        message: str,
        file: str = "",
        line: int = 0,
        column: int = 0,
        text: str = "",
    ) -> None:
        super().__init__(code, message, file, line, column, text)
        self.code = code
        self.message = message
        self.file = file
        self.line = line
        self.column = column
        self.text = text

    def located(
        self, file: str = "", line: int = 0, column: int = 0, text: str = ""
    ) -> ProgramError:
        """Return the same error with the places filled in that are still unknown."""
        return ProgramError(
            self.code,
            self.message,
            self.file or file,
            self.line or line,
            self.column or column,
            self.text or text,
        )

    def __str__(self) -> str:
        head = f"{self.file or 'line'}:{self.line}:{self.column}: {self.code} {self.message}"
        if not self.text:
            return head
        # A tab would move the caret away from what it points at.
        shown = self.text.replace("\t", " ")
        caret = "\n" + " " * (self.column - 1) + "^" if self.column else ""
        return f"{head}\n{shown}{caret}"


class ProgramErrors(DrytouchError):
    """Several errors of one program; argument: ``errors``, a tuple of ``ProgramError``."""

    def __init__(self, errors: tuple[ProgramError, ...]) -> None:
        super().__init__(errors)
        self.errors = errors

    def __str__(self) -> str:
        return "\n".join(str(error) for error in self.errors)
