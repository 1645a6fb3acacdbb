"""Scenario files for the tests of the commands, and a way to call them."""

from pathlib import Path
from typing import NamedTuple

import pytest

from drytouch.sim.commands.main import main

# Placed, plugged and still: 14 lines, so that what a case adds begins at line 15.
BASE = """\
title = "One tool [6 mm] on a bolted setter"
machine = "bed-mill"
setter = "bolted-nc"
tools = ["end-mill-6"]
stock = "aluminium-block"
spindle_tool = "end-mill-6"

[placements.setter]
x_mm = -100
y_mm = -175
[placements.stock]
x_mm = -350
y_mm = -175

"""
DOWN = '[[steps]]\ndo = "jog"\naxis = "z"\nby_mm = -20\nnote = "down a little"\n'
# A hand in while the drives are on: the shortest way to harm.
HAND_IN = '[[steps]]\ndo = "hand"\ninside = true\n'


class Called(NamedTuple):
    """What a command came to."""

    code: int
    out: str
    err: str


def call(capsys: pytest.CaptureFixture[str], *arguments: str) -> Called:
    """Run one command line in this process."""
    capsys.readouterr()
    code = main(arguments)
    out, err = capsys.readouterr()
    return Called(code, out, err)


def saved(folder: Path, added: str, name: str = "case.toml") -> str:
    """Write ``BASE`` and more as a scenario file; gives back its path."""
    path = folder / name
    path.write_text(BASE + added, encoding="utf-8")
    return str(path)


def below(folder: Path) -> list[str]:
    """Every file and folder, relative, sorted: to see what a command wrote."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))
