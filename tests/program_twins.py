"""What tests of programs on the twin share: library programs with other settings, run."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program import Options
from drytouch.sim.scenario import library
from drytouch.sim.twin.twin import Twin


def with_settings(program: str, folder: Path, **settings: float) -> Path:
    """A copy of a library program with other values in its settings (``p101=120`` for #101)."""
    text = library.path("program", program).read_text("utf-8")
    for name, value in settings.items():
        text, count = re.subn(
            rf"^#{name[1:]}=\S+", f"#{name[1:]}={value:.9f}".rstrip("0"), text, count=1, flags=re.M
        )
        assert count == 1, name
    path = folder / f"{program}.ngc"
    path.write_text(text, "utf-8")
    return path


def run_file(twin: Twin, path: Path, options: Options | None = None) -> Any:
    """Run a program to its end; an alarm is raised here."""
    return twin.hand.run_program(path, options)


def alarm_of(twin: Twin, path: Path, options: Options | None = None) -> ControllerAlarm:
    """Run a program that must stop; returns the alarm."""
    try:
        run_file(twin, path, options)
    except ControllerAlarm as alarm:
        return alarm
    raise AssertionError("the program ran through")
