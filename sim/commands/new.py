"""``drytouch new``: a commented file to start from, which runs as it is."""

from __future__ import annotations

import re
from pathlib import Path

from drytouch.sim.commands.main import EXIT_AS_EXPECTED
from drytouch.sim.commands.screen import screen
from drytouch.sim.errors import InputError
from drytouch.sim.scenario.files import write_atomically

KINDS = ("demonstration", "scenario")

_HEAD = """\
# {what}
# Try it:     drytouch run {name}.toml
# Look at it: drytouch replay out/{name}.recording.json --page {name}.html
# Teach it:   drytouch gallery {name}.toml
# Check it:   drytouch check {name}.toml       See what there is: drytouch list

title = "{title}"
kind = "{kind}"
"""

_STORY = '''
# One paragraph for the reader: who, what machine, what goes on.
story = """
A fresh 10 mm end mill is in the spindle. The setter is bolted down, wired and proved. \\
Its length goes into row 1."""
# One sentence: what to keep an eye on.
watch_for = "The axis goes right up before it moves across."
'''

_BODY = """
# Units on screens and handouts: "mm" or "inch". Keys say their own unit: x_mm, or x_in for inch.
display = "mm"
# Number that all chance comes from: the same number gives the same run.
seed = 1

# Parts by name from the library, or a path to a file of your own.
machine = "machining-centre"
setter.setter = "bolted-nc"
tools = ["end-mill-10", "end-mill-6"]
stock = ["aluminium-block"]
# What is REALLY in the spindle; what the controller thinks is in [controller].
spindle_tool = "end-mill-10"

# Where things stand: machine X and Y.
[placements]
setter = { x_mm = -600.0, y_mm = -200.0 }
aluminium-block = { x_mm = -300.0, y_mm = -200.0 }

# What the controller believes at the start. Make it differ from the truth to show what follows.
[controller]
slot = 1
proved = ["setter"]           # its input was seen off-on-off; take it out to skip that proof
plugs = { setter = "setter" } # plug -> socket

[controller.rows.1]
tool = "end-mill-10"

[controller.rows.2]
tool = "end-mill-6"

[controller.records.setter]
x_mm = -600.0
y_mm = -200.0
clearance_z_mm = -440.0
height_mm = 59.9
reference_z_mm = -480.1
reference_valid = true

# What is done, in order. Single steps: "move", "touch", "jog", "load-tool" ... or a routine.
[[steps]]
do = "routine"
name = "measure-length"
with = { row = 1, expected_length_mm = 120.0 }
note = "a fast touch, then two slow ones that must agree"

# [[steps]]
# do = "move"
# z_mm = 0.0
"""

_QUESTION = """
# The replay stops before this and asks; give a finding's code, or a time.
[[questions]]
before = "8 s"
ask = "The fast touch has found the pad. Why two more, slowly?"
choices = ["To warm the pad", "A slow touch repeats better, and two that agree are evidence"]
answer = 2
because = "At a quarter of the feed, the same delay is a quarter of the path."
"""

_EXPECT = """
# What the run is meant to show: right, stopped, risky, wrong or harm; and exactly these findings.
[expect]
verdict = "right"
findings = []
"""


def new(kind: str, name: str, folder: Path) -> int:
    """Write ``folder/name.toml``; gives back the exit code.

    Raises:
        InputError: unknown kind, a name no file can have, or the file is there already.
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
    write_atomically(path, text_of(kind, name))
    console = screen()
    console.print(f"written: {path}", soft_wrap=True)
    console.print(f"run it: drytouch run {path}", soft_wrap=True)
    return EXIT_AS_EXPECTED


def text_of(kind: str, name: str) -> str:
    """The file's text."""
    title = name.replace("-", " ").replace("_", " ")
    title = title[:1].upper() + title[1:]
    what = (
        "A demonstration: a run to teach from, with what to watch for and what to ask."
        if kind == "demonstration"
        else "A scenario: a machine, what stands on it, what its controller believes, what is done."
    )
    head = _HEAD.format(what=what, name=name, title=title, kind=kind)
    teach = kind == "demonstration"
    return head + _STORY * teach + _BODY + _QUESTION * teach + _EXPECT
