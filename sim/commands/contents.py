"""``drytouch list``: what the library holds."""

from __future__ import annotations

import sys
import tomllib
from importlib import import_module

from drytouch.sim.commands.main import EXIT_AS_EXPECTED
from drytouch.sim.commands.results import as_json
from drytouch.sim.commands.screen import screen
from drytouch.sim.scenario import library

KINDS = {
    "machines": "machine",
    "setters": "setter",
    "tools": "tool",
    "stock and fixtures": "stock",
    "gauge blocks": "block",
    "demonstrations": "demonstration",
    "exercises": "exercise",
    "programs": "program",
}


def list_library(as_data: bool) -> int:
    """Print every part by kind, name and title; gives back the exit code."""
    held = {head: _titles(kind) for head, kind in KINDS.items()}
    held["routines"] = _routines()
    held = {head: entries for head, entries in held.items() if entries}
    if as_data:
        sys.stdout.write(as_json(held))
        return EXIT_AS_EXPECTED
    console = screen()
    width = max(len(name) for entries in held.values() for name in entries)
    for head, entries in held.items():
        console.print(head, style="bold")
        for name, title in entries.items():
            console.print(f"  {name:{width}}  {title}".rstrip(), soft_wrap=True)
    console.print()
    console.print("run a demonstration or exercise by name: drytouch run NAME")
    return EXIT_AS_EXPECTED


def _titles(kind: str) -> dict[str, str]:
    """Names as the command line takes them: a program's has its ending."""
    ending = library.SUFFIXES.get(kind, "")
    return {f"{name}{ending}": _title(kind, name) for name in library.names(kind)}


def _title(kind: str, name: str) -> str:
    path = library.path(kind, name)
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".toml":
        # A program's first comment says what it is for.
        start, end = text.find("("), text.find(")")
        return text[start + 1 : end].strip() if 0 <= start < end else ""
    data = tomllib.loads(text)
    if "size_mm" in data or "size_in" in data:
        return f"{data['size_mm']:g} mm" if "size_mm" in data else f"{data['size_in']:g} in"
    return str(data.get("title", ""))


def _routines() -> dict[str, str]:
    entries = getattr(import_module("drytouch.sim.routines"), "ROUTINES", {})
    return {name: _first_sentence(entries[name]) for name in sorted(entries)}


def _first_sentence(routine: object) -> str:
    text = str(getattr(routine, "summary", "") or routine.__doc__ or "")
    return text.strip().splitlines()[0] if text.strip() else ""
