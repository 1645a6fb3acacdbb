"""What the controller takes to be so, as outlines beside what is so."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from drytouch.sim.recording import Recording
from drytouch.viz.meshes import Solid
from drytouch.viz.moment import Moment
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
    """Tip and pads whose believed places differ visibly, and still lie in the picture."""
    least, most = SHOWS_PIXELS / pixels_per_mm, 0.9 * half_height_mm
    found: list[Believed] = []
    code = (moment.finding or {}).get("code")
    if number is not None and code == "wrong-number":
        shift = number.truth - number.belief
        tools = [solid for solid in solids if solid.kind == "tool"]
        if tools and number.name.lower().endswith("length") and least < abs(shift) < most:
            lowest = min(tools, key=lambda solid: solid.bounds[4])
            found.append(Believed(lowest.moved((0.0, 0.0, shift)), "believed tip"))
    beliefs = recording.beliefs_at(moment.t)
    first = {item.id: item.body.offset for item in recording.bodies_at(0.0)}
    now = {item.id: item.body.offset for item in recording.bodies_at(moment.t)}
    for pad in (solid for solid in solids if solid.kind == "pad"):
        setter = pad.body_id.removesuffix(".pad")
        is_at = now[pad.body_id]
        thought = _place(beliefs, setter) or first.get(pad.body_id, is_at)[:2]
        dx, dy = thought[0] - is_at[0], thought[1] - is_at[1]
        if least < math.hypot(dx, dy) < 2.0 * most:
            found.append(Believed(pad.moved((dx, dy, 0.0)), "where it is taken to be"))
    return found


def _place(beliefs: Mapping[str, Any], setter: str) -> tuple[float, float] | None:
    """Where the controller has the setter's centre, machine X and Y in mm, once it was located."""
    x, y = (beliefs.get(f"setter {setter} {axis}_mm") for axis in "xy")
    if isinstance(x, int | float) and isinstance(y, int | float):
        return float(x), float(y)
    return None
