"""What a check of a program finds: errors and warnings, once each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.flow import Program
from drytouch.sim.program.settings import POINTS, LanguageSettings
from drytouch.sim.program.squeeze import column_of

WARNINGS = {
    "unreachable": "no way through the program leads here",
    "unchecked-touch": "nothing reads the input before this touch; stuck on, it would not stop it",
    "length-at-reference": "the touch ran with a tool length in force, which is in its result",
    "units-unset": "the program moves before it says whether it is in mm or inch",
    "pause-for-alarm": "cycle start carries on past a pause; (ALARM, text) stops for good",
    "turning-touch": "the spindle turns at this touch; not every setter permits that",
    "dry-run": "the program stopped here on the ideal machine",
    "setting": "controls differ on",
}
"""The warnings, and what each says."""


@dataclass(frozen=True, slots=True)
class Warned:
    """Something that is legal but deserves a second look. ``setting`` names a language setting."""

    code: str
    message: str
    file: str
    line: int
    text: str
    setting: str = ""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.code}: {self.message}\n{self.text}"


# What a check reports while it goes over lines.
NOTHING, ERRORS, ALL = 0, 1, 2


@dataclass(slots=True)
class Findings:
    """The check of one program."""

    program: Program
    library: dict[int, Program]
    settings: LanguageSettings
    slots: int
    reports: int = ALL
    errors: dict[tuple[int, str, int], ProgramError] = field(default_factory=dict)
    warnings: dict[tuple[int, str, str], Warned] = field(default_factory=dict)

    def error(self, index: int, error: ProgramError) -> None:
        """Note an error once per line, code and column."""
        if self.reports < ERRORS:
            return
        if not error.line:
            text = self.program.texts[index]
            column = column_of(text, error.column - 1) if error.column else 0
            error = ProgramError(error.code, error.message, column=column)
            error = self.program.locate(error, index)
        self.errors.setdefault((error.line, error.code, error.column), error)

    def warn(self, index: int, code: str, more: str = "", setting: str = "") -> None:
        """Note a warning once per line."""
        if self.reports < ALL:
            return
        line = self.program.line_number(index)
        message = WARNINGS[code] + more
        self.warnings.setdefault(
            (line, code, setting),
            Warned(code, message, self.program.file, line, self.program.texts[index], setting),
        )

    def settle(self, index: int, found: Iterator[tuple[str, str]]) -> None:
        """Warn of points on which controls differ."""
        for setting, advice in found:
            self.warn(index, "setting", f" {POINTS[setting][0]}; {advice}", setting)
