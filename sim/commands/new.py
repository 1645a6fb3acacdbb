"""``drytouch new``: a commented file to start from, which works as it is."""

from __future__ import annotations

import re
from pathlib import Path

from drytouch.sim.commands.beginnings import (
    BODY,
    EXERCISE,
    EXPECT,
    HEAD,
    PART,
    QUESTION,
    RECORD,
    STEPS,
    STORY,
)
from drytouch.sim.commands.main import EXIT_AS_EXPECTED
from drytouch.sim.commands.screen import screen
from drytouch.sim.errors import InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.files import write_atomically

RUN = ("demonstration", "scenario")
PARTS = {
    "machine": "machining-centre",
    "setter": "bolted-nc",
    "tool": "end-mill-10",
    "stock": "aluminium-block",
    "block": "block-50",
}
"""Kinds of parts, and the one of the library that a new one begins as."""
KINDS = (*RUN, "exercise", *PARTS)
_USES = {
    "machine": 'machine = "{name}.toml"',
    "setter": 'setter.setter = "{name}.toml"',
    "tool": 'tools = ["{name}.toml"]',
    "stock": 'stock = ["{name}.toml"]',
    "block": 'blocks = ["{name}.toml"]',
}


def new(kind: str, name: str, folder: Path, like: str | None = None) -> int:
    """Write ``folder/name.toml``; gives back the exit code.

    ``like``: the part of the library that a new part begins as.

    Raises:
        InputError: unknown kind or part, a name no file can have, or the file is there already.
    """
    if kind not in KINDS:
        raise InputError(f"can't make a new '{kind}'", fix=f"use one of: {', '.join(KINDS)}")
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]*", name):
        raise InputError(
            f"'{name}' is no name for a file",
            fix="use letters, digits and dashes, such as: my-first-touch",
        )
    path = folder / f"{name}.toml"
    if path.exists():
        raise InputError("is there already", str(path), fix="choose another name, or remove it")
    write_atomically(path, text_of(kind, name, like))
    console = screen()
    console.print(f"written: {path}", soft_wrap=True)
    verb = "run" if kind in RUN else "bench" if kind == "exercise" else "check"
    console.print(f"next: drytouch {verb} {path}", soft_wrap=True)
    return EXIT_AS_EXPECTED


def text_of(kind: str, name: str, like: str | None = None) -> str:
    """The file's text."""
    title = name.replace("-", " ").replace("_", " ")
    title = title[:1].upper() + title[1:]
    if kind in PARTS:
        return _part_text(kind, name, title, like or PARTS[kind])
    if like is not None:
        raise InputError("only a part can be like another", fix=f"one of: {', '.join(PARTS)}")
    if kind == "exercise":
        return EXERCISE.format(name=name, title=title, record=RECORD)
    what = (
        "A demonstration: a run to teach from, with what to watch for and what to ask."
        if kind == "demonstration"
        else "A scenario: a machine, what stands on it, what its controller believes, what is done."
    )
    head = HEAD.format(what=what, name=name, title=title, kind=kind)
    teach = kind == "demonstration"
    return head + STORY * teach + BODY + RECORD + STEPS + QUESTION * teach + EXPECT


def _part_text(kind: str, name: str, title: str, like: str) -> str:
    """The library's file, with its own title and what to do with it on top."""
    text = library.path(kind, like).read_text(encoding="utf-8")
    head = PART.format(kind=kind, like=like, use=_USES[kind].format(name=name), name=name)
    return head + re.sub(r'^title = ".*"$', f'title = "{title}"', text, count=1, flags=re.M)
