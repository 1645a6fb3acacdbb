"""Programs and typed lines as steps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import StepError

if TYPE_CHECKING:
    from collections.abc import Generator

    from drytouch.sim.scenario import steps as model
    from drytouch.sim.twin.twin import Twin

    Calls = Generator[Any, Any, Any]


def run_line(twin: Twin, text: str) -> Calls:
    """One typed line.

    Raises:
        StepError: the line can't be read, or not run in the state that the machine is in.
    """
    # The language brings in a grammar, which a scenario without programs doesn't need.
    from drytouch.sim.program import ProgramError

    try:
        yield from twin.controller.mdi(text)
    except ProgramError as error:
        raise StepError(str(error), "correct the line") from None


def run_file(twin: Twin, step: model.Program) -> Calls:
    """A program file."""
    from drytouch.sim.program import Options

    options = Options(
        block_delete=step.block_delete,
        optional_stop=step.optional_stop,
        single_block=step.single_block,
        start_line=step.from_line or 0,
    )
    return (yield from twin.controller.run_program(step.file, options))
