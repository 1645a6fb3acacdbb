"""The replay page: one HTML file with everything inside, which opens by a double click."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.files import write_atomically
from drytouch.viz import look, words
from drytouch.viz.page_data import entry_of, looks, questions_of, zero_of
from drytouch.viz.stops import asked_in

if TYPE_CHECKING:
    from drytouch.sim.recording import Recording
    from drytouch.sim.scenario.scenario import Question, Scenario


def build_page(
    recording: Recording,
    path: str | Path,
    questions: Sequence[Question] | None = None,
    beside: Recording | None = None,
    *,
    scenario: Scenario | None = None,
    beside_scenario: Scenario | None = None,
    line_up: str = "",
) -> Path:
    """Write the page that replays ``recording``; gives back its path.

    ``questions``: pause-and-predict questions; None takes those that were recorded. ``beside``: a
    second recording, shown next to the first and lined up with it where both have ``line_up``: an
    event ("contact", "latch" ...) or a finding's code; empty means the first contact, or the
    start where one of them has none. ``scenario``: what was run, for what a recording doesn't
    carry (sockets, the setter's spring, the tables at the start).

    Raises InputError for a path that can't be written, or nothing to line up at.
    """
    if questions is None:
        questions = asked_in(recording, scenario)
    entries = [entry_of(recording, scenario)]
    zeros, label = [0.0], "the start"
    if beside is not None:
        entries.append(entry_of(beside, beside_scenario))
        zeros, label = _zeros(recording, beside, line_up)
    data = {
        "entries": entries,
        "zero_s": zeros,
        "zero_label": label,
        "questions": questions_of(recording, questions),
        "display": "inch" if recording.scenario.get("display") == "inch" else "mm",
        "caution": look.CAUTION,
        "look": looks(),
    }
    title = words.title(recording)
    if beside is not None:
        title += " beside " + words.title(beside)
    target = Path(path)
    write_atomically(target, page_text(title, data))
    return target


def _zeros(recording: Recording, beside: Recording, line_up: str) -> tuple[list[float], str]:
    if line_up:
        label = line_up.replace("-", " ")
        return [zero_of(recording, line_up), zero_of(beside, line_up)], label
    try:
        return [zero_of(recording, "contact"), zero_of(beside, "contact")], "first contact"
    except InputError:
        return [0.0, 0.0], "the start"


def page_text(title: str, data: Any) -> str:
    """The whole page: policy, styles, data and script; nothing in it points outside."""
    script, style = bundle()
    # "<" as an escape: no text in a recording can end the element that carries it.
    values = json.dumps(data, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
    policy = (
        f"default-src 'none'; script-src 'sha256-{_digest(script)}'; "
        f"style-src 'sha256-{_digest(style)}'; img-src data:; base-uri 'none'; form-action 'none'"
    )
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{html.escape(title)}</title>
<link rel="icon" href="data:,">
<style>{style}</style>
</head>
<body>
<!--
{notices()}-->
<div id="page"></div>
<noscript>This page replays a recording with a script; allow scripts to see it.</noscript>
<script id="data" type="application/json">{values}</script>
<script>{script}</script>
</body>
</html>
"""


@lru_cache(maxsize=1)
def bundle() -> tuple[str, str]:
    """Script and styles, safe to stand inside an HTML element."""
    script = _shipped("built/page.js")
    script = re.sub(r"</(script)", r"<\\/\1", script, flags=re.IGNORECASE)
    script = script.replace("<!--", "<\\!--")
    style = re.sub(r"</(style)", r"<\\/\1", _shipped("built/page.css"), flags=re.IGNORECASE)
    return script, style


@lru_cache(maxsize=1)
def notices() -> str:
    """The licences of what the script contains."""
    return _shipped("notices.txt")


def _shipped(name: str) -> str:
    try:
        source = resources.files("drytouch.viz").joinpath("web", *name.split("/"))
        return source.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"the page's {name} is missing from this installation",
            fix="install drytouch again; in a source tree run `npm ci && npm run build` in viz/web",
        ) from error


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
