"""What a run came to, on the screen or as data, and the exit code that follows."""

from __future__ import annotations

import sys
from pathlib import Path

from drytouch.sim.commands.expectation import compare
from drytouch.sim.commands.main import EXIT_AS_EXPECTED, EXIT_DIFFERS
from drytouch.sim.commands.results import as_json
from drytouch.sim.commands.screen import screen
from drytouch.sim.commands.summary import show, show_caution, show_files
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.twin.outcome import Outcome


def report(
    scenario: Scenario, outcome: Outcome, written: list[Path], no_picture: str, as_data: bool
) -> int:
    """Show the outcome and the files written; ``as_data``: one JSON object and nothing else.

    ``no_picture`` says why there is none, where there is none.
    """
    comparison = compare(scenario, outcome)
    if as_data:
        sys.stdout.write(as_json(outcome.to_dict()))
        if no_picture:
            screen(to_errors=True).print(f"no picture: {no_picture}", soft_wrap=True)
    else:
        console = screen()
        show(console, scenario, outcome, comparison)
        show_files(console, written, no_picture)
        show_caution(console)
    return EXIT_AS_EXPECTED if comparison.as_expected else EXIT_DIFFERS
