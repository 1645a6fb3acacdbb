"""Programs and typed lines as steps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import StepError

if TYPE_CHECKING:
    from collections.abc import Generator

    from drytouch.sim.twin.twin import Twin

    Calls = Generator[Any, Any, Any]


def run_line(twin: Twin, text: str) -> Calls:
    """One typed line."""
    raise StepError("typed lines of program can't be run yet", "use the step 'move' or a routine")
    yield


def run_file(twin: Twin, file: str, block_delete: bool, optional_stop: bool) -> Calls:
    """A program file."""
    raise StepError("programs can't be run yet", "use a routine")
    yield
