"""Small twins that the tests of the running twin share: clean numbers, nothing by chance.

The pad's free top stands at machine Z -480 (world), the tool is 100 mm long: it meets the pad with
the face at Z -380, and with no backlash and a fine encoder every number has a closed form.
"""

from __future__ import annotations

from typing import Any

from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.twin.twin import Twin

X, Y = -380.0, -200.0
CONTACT_Z = -380.0
PRE_TRAVEL = 0.1
CLOSE_Z = CONTACT_Z - PRE_TRAVEL
TABLE_Z = -440.0  # the face's height when the tool's tip is on the table
AXES = ("x", "y", "z")
PIN = {"stack": [{"diameter_mm": 10.0, "length_mm": 100.0}], "force_limit_N": 1e6}


def merged(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """Tables merged deeply, ``over`` winning."""
    out = dict(base)
    for key, value in over.items():
        old = out.get(key)
        out[key] = (
            merged(old, value) if isinstance(old, dict) and isinstance(value, dict) else value
        )
    return out


BASE: dict[str, Any] = {
    "name": "case",
    "machine": {
        "use": "machining-centre",
        "axes": {axis: {"backlash_mm": 0.0, "encoder_step_mm": 1e-6} for axis in AXES},
        "spindle": {"growth_mm": 0.0},
        "habits": {"after_touch": "stay"},
    },
    "setter": {"main": {"use": "bolted-nc"}},
    "tools": {"pin": PIN},
    "spindle_tool": "pin",
    "placements": {"main": {"x_mm": X, "y_mm": Y}},
    "chance": False,
    "controller": {
        "plugs": {"main": "setter"},
        "proved": ["main"],
        "position_mm": [X, Y, CONTACT_Z + 10.0],
        "slot": 1,
    },
}


def case(**over: Any) -> dict[str, Any]:
    """The base scenario as plain data with these tables merged over it."""
    return merged(BASE, over)


def twin_of(seed: int | None = None, **over: Any) -> Twin:
    """A twin of the base scenario with changes."""
    return Twin(scenario_from_dict(case(**over)), seed)


def socket(**values: Any) -> dict[str, Any]:
    """Machine changes to the socket that the setter is plugged into."""
    return {"sockets": {"setter": values}}


def events(twin: Twin, *kinds: str) -> list[tuple[float, str, Any]]:
    """Recorded events of these kinds (all but findings when none are named)."""
    return [e for e in twin.recorder.events if (e[1] in kinds if kinds else e[1] != "finding")]


def kinds(twin: Twin) -> list[str]:
    """What happened, in order; findings have tests of their own."""
    return [e[1] for e in events(twin)]


def when(twin: Twin, kind: str) -> float:
    """Time of the first event of a kind."""
    return events(twin, kind)[0][0]


def truth_z(twin: Twin) -> float:
    """Where the face really is, mm."""
    twin.kernel.agenda.command()
    return float(twin.kernel.physical()[2])


def down(twin: Twin, feed: float, depth: float = 20.0, **more: Any) -> Any:
    """One touch straight down at a feed (mm/min)."""
    return twin.hand.touch(z=CONTACT_Z - depth, feed_mm_per_min=feed, **more)
