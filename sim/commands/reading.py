"""A bar while a long program is read, for a person at a terminal only."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from drytouch.sim.commands.screen import screen

if TYPE_CHECKING:
    from drytouch.sim.controller.programs import Progress


@contextmanager
def reading_bar() -> Iterator[Progress | None]:
    """What to call with lines read and lines in all; None where nobody watches."""
    console = screen(to_errors=True)
    if not console.is_terminal:
        yield None
        return
    from rich.progress import Progress as Bar

    with Bar(console=console, transient=True) as bar:
        task = bar.add_task("reading", total=None)
        yield lambda done, of: bar.update(task, completed=done, total=of)
