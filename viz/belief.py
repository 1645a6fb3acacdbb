"""What the controller takes to be so, as outlines beside what is so on a still picture."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from drytouch.sim.recording import Recording
from drytouch.viz.ghosts import ghosts_at
from drytouch.viz.meshes import Solid
from drytouch.viz.moment import Moment
from drytouch.viz.poses import setter_of
from drytouch.viz.words import NumberOff

SHOWS_PIXELS = 4.0
"""An outline nearer to the true one than this can't be told from it."""


class Believed(NamedTuple):
    """A part where it is taken to be, and what to call it."""

    solid: Solid
    label: str


def believed_parts(
    recording: Recording,
    moment: Moment,
    solids: Sequence[Solid],
    number: NumberOff | None,
    pixels_per_mm: float,
    half_height_mm: float,
) -> list[Believed]:
    """Parts whose believed places differ visibly, and still lie in the picture.

    Of a false number the picture shows the touch that it comes from, a moment before it is stored:
    there the tip is where the number will put it.
    """
    least, most = SHOWS_PIXELS / pixels_per_mm, 0.9 * half_height_mm
    found: list[Believed] = []
    tools = [solid for solid in solids if solid.kind == "tool"]
    code = (moment.finding or {}).get("code")
    if number is not None and code == "wrong-number" and number.name.lower().endswith("length"):
        shift = number.truth - number.belief
        if tools and least < abs(shift) < most:
            lowest = min(tools, key=lambda solid: solid.bounds[4])
            found.append(Believed(lowest.moved((0.0, 0.0, shift)), "tip taken to be here"))
    for ghost in ghosts_at(recording, moment.t, least):
        own = [solid for solid in solids if solid.body_id == ghost.pose.body.id]
        if not own or math.hypot(*ghost.by) > 2.0 * most or (found and own[0].kind == "tool"):
            continue
        telling = min(own, key=lambda s: s.bounds[4]) if own[0].kind == "tool" else own[0]
        found.append(Believed(telling.moved(ghost.by), ghost.label))
    if code == "setter-moved":
        found += _where_they_stood(recording, moment.t, solids, least, 2.0 * most)
    return found


def _where_they_stood(
    recording: Recording, t: float, solids: Sequence[Solid], least: float, most: float
) -> Iterator[Believed]:
    """Pads of setters whose places were never stored: nobody knows that they are elsewhere."""
    first, now = (
        {item.id: item.body.offset for item in recording.bodies_at(at)} for at in (0.0, t)
    )
    stored = recording.beliefs_at(t)
    for pad in (solid for solid in solids if solid.kind == "pad"):
        if stored.get(f"setter {setter_of(pad.body_id)} x_mm") is not None:
            continue
        was, is_at = first.get(pad.body_id, now[pad.body_id]), now[pad.body_id]
        by = (was[0] - is_at[0], was[1] - is_at[1], 0.0)
        if least < math.hypot(*by) < most:
            yield Believed(pad.moved(by), "where it stood")
