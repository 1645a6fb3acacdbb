"""The library of parts and scenarios that comes with drytouch, by kind and name."""

from __future__ import annotations

import difflib
from functools import cache
from importlib.resources import files
from pathlib import Path

from drytouch.sim.errors import InputError

# Kind -> the folders that hold it. Fixtures stand where stock does, so both answer to "stock".
FOLDERS: dict[str, tuple[str, ...]] = {
    "machine": ("machines",),
    "setter": ("setters",),
    "tool": ("tools",),
    "stock": ("stock", "fixtures"),
    "block": ("blocks",),
    "scenario": ("demonstrations", "exercises"),
    "demonstration": ("demonstrations",),
    "exercise": ("exercises",),
    "program": ("programs", "programs/flawed"),
}
SUFFIXES = {"program": ".ngc"}


def root() -> Path:
    """The folder that holds the library, in a checkout and in an installed wheel alike."""
    return Path(str(files("drytouch.scenarios")))


@cache
def _found(kind: str) -> dict[str, Path]:
    if kind not in FOLDERS:
        raise InputError(
            f"unknown kind of part '{kind}'", fix=f"use one of: {', '.join(sorted(FOLDERS))}"
        )
    suffix = SUFFIXES.get(kind, ".toml")
    return {
        file.stem: file
        for folder in FOLDERS[kind]
        for file in sorted((root() / folder).glob(f"*{suffix}"))
    }


def names(kind: str) -> tuple[str, ...]:
    """Names of all parts of a kind, sorted."""
    return tuple(sorted(_found(kind)))


def path(kind: str, name: str) -> Path:
    """The file of one part.

    Raises:
        InputError: no part of that kind has that name; the fix names the nearest.
    """
    found = _found(kind)
    if name not in found:
        raise InputError(f"the library has no {kind} '{name}'", fix=nearest(name, names(kind)))
    return found[name]


def nearest(wrong: str, choices: tuple[str, ...] | list[str]) -> str:
    """A sentence for the fix: the closest choice, or all of them."""
    close = difflib.get_close_matches(wrong, choices, n=1, cutoff=0.6)
    if close:
        return f"did you mean '{close[0]}'?"
    if not choices:
        return "there are none to choose from"
    shown = ", ".join(choices[:30])
    return f"use one of: {shown}{', ...' if len(choices) > 30 else ''}"
