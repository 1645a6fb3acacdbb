"""``drytouch run``: one scenario, its outcome on the screen and on disk."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import Any

from drytouch.sim.commands.pictures import Pictures
from drytouch.sim.commands.report import report
from drytouch.sim.commands.results import files_for, keep, results_folder
from drytouch.sim.commands.scenarios import is_program, perform, ready
from drytouch.sim.commands.screen import screen


def run(
    text: str,
    seed: int | None,
    out: Path,
    picture: bool,
    as_data: bool,
    on: str | None = None,
    switches: tuple[Any, ...] = (),
) -> int:
    """Run one scenario, or a program ``on`` one, and report; gives back the exit code.

    Raises:
        InputError: scenario, step or folder can't be used; nothing is written then.
    """
    if is_program(text) or on is not None or any(switches):
        # A program brings in a grammar, which scenarios don't need.
        from drytouch.sim.commands.run_program import Switches, run_program

        chosen = Switches(*switches)
        return run_program(text, on, chosen, seed, out, picture, as_data)
    scenario, path = ready(text)
    errors = screen(to_errors=True)
    busy = errors.status("running") if errors.is_terminal else nullcontext()
    with results_folder(out), busy, Pictures(picture) as pictures:
        outcome = perform(scenario, path, seed)
        files = files_for(out, outcome.scenario)
        recording = keep(outcome, files)
        drawn = pictures.draw(recording, files.picture)
    written = [files.outcome, files.recording] + ([drawn] if drawn else [])
    return report(scenario, outcome, written, pictures.reason, as_data)
