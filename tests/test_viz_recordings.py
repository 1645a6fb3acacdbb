"""Recordings made by hand, which the picture tests share, and what they must be like."""

from __future__ import annotations

import math
from typing import Any

import pytest

from drytouch.sim.recording import LineEntry, Recorder, Recording
from drytouch.sim.scenario.angles import turned_by
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Box, Cylinder, Placed, Ring

LINKS = {"head": (0.0, 0.0, 1.0), "table": (-1.0, -1.0, 0.0), "base": (0.0, 0.0, 0.0)}
CENTRE = (-350.0, -175.0)
TABLE_Z = -470.0


def machine(lugs: bool) -> list[Body]:
    table = Placed(Box(900.0, 240.0, 60.0), (0.0, 0.0, -30.0), feature="table")
    parts = [
        Placed(Ring(35.0, 15.9, 2.0), (0.0, 0.0, 1.0), feature="face"),
        Placed(Ring(35.0, 15.9, 88.0), (0.0, 0.0, 46.0), feature="nose"),
        Placed(Box(220.0, 220.0, 350.0), (0.0, 0.0, 265.0), feature="head"),
    ]
    for angle in (20.0, 200.0) if lugs else ():
        x, y = turned_by((26.0, 0.0), angle)
        lug = Box(16.0, 12.0, 8.0)
        parts.append(Placed(lug, (x, y, -4.0), (0.0, 0.0, angle), "lug"))
    column = Placed(Box(320.0, 250.0, 1100.0), (0.0, 450.0, -90.0), feature="column")
    return [
        Body("table", "table", (table,), offset=(*CENTRE, TABLE_Z), kind="table"),
        Body("column", "base", (column,), kind="machine"),
        Body("spindle", "head", tuple(parts), kind="spindle"),
    ]


def setter(x: float = CENTRE[0], y: float = CENTRE[1], foot: float = TABLE_Z) -> list[Body]:
    body = Placed(Cylinder(32.5, 50.0), (0.0, 0.0, 25.0), feature="body")
    pad = Placed(Cylinder(20.0, 10.0), (0.0, 0.0, 55.0), feature="pad")
    return [
        Body("main", "table", (body,), offset=(x, y, foot), kind="setter"),
        Body("main.pad", "table", (pad,), soft=True, offset=(x, y, foot), kind="pad"),
    ]


def end_mill(diameter: float) -> Body:
    sizes = ((40.0, 50.0, "holder"), (28.0, 15.0, "holder"), (diameter, 17.0, "shank"))
    parts, z = [], 0.0
    for wide, high, feature in (*sizes, (diameter, 13.0, "tip")):
        parts.append(Placed(Cylinder(wide / 2, high), (0.0, 0.0, z - high / 2), feature=feature))
        z -= high
    return Body("tool", "head", tuple(parts), kind="tool")


def stock() -> Body:
    block = Placed(Box(120.0, 80.0, 40.0), (0.0, 0.0, 20.0), feature="block")
    return Body("block", "table", (block,), offset=(-500.0, -175.0, TABLE_Z), kind="stock")


def descend(
    bodies: list[Body],
    at: tuple[float, float],
    z_touch: float,
    depth: float,
    title: str,
    outcome: dict[str, Any],
    cap: float = 2.1,
) -> Recording:
    """Down at 5 mm/s, from 20 mm above ``z_touch`` to ``depth`` below it; with a pad if deep."""
    recorder = Recorder()
    recorder.begin({"name": "made", "title": title}, LINKS, 1)
    for body in bodies:
        recorder.scene(0.0, "place", body.id, body)
    start = (at[0], at[1], z_touch + 20.0)
    way = 20.0 + depth
    end = way / 5.0
    pieces = ((0.0, end, 0.0, 5.0, 0.0, 0.0, way),)
    down = (0.0, 0.0, -1.0)
    recorder.line(LineEntry(1, "touch", 0.0, end, start, down, None, start, 0, 0, pieces, None))
    if depth > 0:
        recorder.pad("main", 4.0, 1, 20.0, 0.0, 1.0, cap)
        recorder.event(4.0, "contact", "main")
        recorder.event(4.02, "latch", [4.02, *at, z_touch - 0.1])
    recorder.end(end + 0.5, outcome)
    return Recording.from_recorder(recorder)


def lug_on_pad() -> Recording:
    x, y = turned_by((26.0, 0.0), 20.0)
    bodies = [*machine(True), *setter()]
    outcome = {
        "verdict": "wrong",
        "findings": [
            {
                "code": "lug-strike",
                "severity": "wrong",
                "time_s": 4.02,
                "figures": {"lug_height_mm": 8.0, "reference_error_mm": 8.0},
                "sentences": [
                    "A drive lug came down on the pad, and the spindle face never touched it.",
                    "The spindle stood at 20°, which puts a lug over the pad's centre.",
                    "Turn the spindle by hand until both lugs clear the pad, then look again.",
                ],
            }
        ],
        "numbers": [
            {
                "name": "reference",
                "belief": -402.1,
                "truth": -410.1,
                "error": 8.0,
                "unit": "mm",
                "tolerance": 0.01,
            }
        ],
    }
    # The pad comes under the lug: the table has moved it beside the spindle's axis.
    at = (CENTRE[0] - x, CENTRE[1] - y)
    return descend(
        bodies, at, TABLE_Z + 60.0 + 8.0, 0.4, "Reference with a lug in the way", outcome
    )


def crushed_pad() -> Recording:
    bodies = [*machine(False), *setter(), end_mill(6.0)]
    outcome = {
        "verdict": "harm",
        "findings": [
            {
                "code": "setter-crushed",
                "severity": "harm",
                "time_s": 4.4,
                "figures": {"overtravel_mm": 2.31, "budget_mm": 2.0, "feed_mm_per_min": 300.0},
                "sentences": [
                    "The end mill pressed the pad to its end stop and 0.31 mm beyond.",
                    "At 300 mm/min the axis needs 2.4 mm to stop after the trip, and the setter "
                    "gives 2.0 mm.",
                    "Touch at 200 mm/min or less, or find the highest safe feed with the stopping "
                    "distance of your own machine.",
                ],
            }
        ],
        "numbers": [],
    }
    recording = descend(
        bodies,
        CENTRE,
        TABLE_Z + 60.0 + 95.0,
        2.41,
        "Touching too fast for the setter",
        outcome,
        2.41,
    )
    return recording


def tool_over_stock() -> Recording:
    bodies = [*machine(False), *setter(), end_mill(10.0), stock()]
    outcome = {
        "verdict": "wrong",
        "findings": [
            {
                "code": "wrong-number",
                "severity": "wrong",
                "time_s": 4.0,
                "figures": {"error_mm": 0.12, "tolerance_mm": 0.01},
                "sentences": [
                    "The stored length in row 3 is 0.120 mm too long.",
                    "A chip lay between the holder and the spindle face when it was measured.",
                    "Wipe taper and face, and check the length a second way before cutting.",
                ],
            }
        ],
        "numbers": [
            {
                "name": "row 3 length",
                "belief": 95.12,
                "truth": 95.0,
                "error": 0.12,
                "unit": "mm",
                "tolerance": 0.01,
            }
        ],
    }
    at = (-500.0, -175.0)
    return descend(bodies, at, TABLE_Z + 40.0 + 95.0, -2.0, "Tool length off by a chip", outcome)


def right_touch() -> Recording:
    bodies = [*machine(True), *setter(), end_mill(10.0)]
    number = {
        "name": "row 3 length",
        "belief": 95.002,
        "truth": 95.0,
        "error": 0.002,
        "unit": "mm",
        "tolerance": 0.01,
    }
    outcome = {"verdict": "right", "findings": [], "numbers": [number]}
    return descend(bodies, CENTRE, TABLE_Z + 155.0, 0.3, "Two slow touches that agree", outcome)


MADE = {
    "lug": lug_on_pad,
    "crushed": crushed_pad,
    "stock": tool_over_stock,
    "right": right_touch,
}


@pytest.mark.parametrize("name", MADE)
def test_the_made_recordings_end_where_they_should(name: str) -> None:
    recording = MADE[name]()
    end = recording.position_at(recording.duration_s)
    assert math.isfinite(end[2])
    bodies = {item.id: item for item in recording.bodies_at(recording.duration_s)}
    tip = bodies["spindle"].position[2] - (95.0 if "tool" in bodies else 0.0)
    lug = 8.0 if name == "lug" else 0.0
    top = TABLE_Z + (40.0 if name == "stock" else 60.0)
    depth = recording.pad_depth_at("main", recording.duration_s)
    gap = 2.0 if name == "stock" else 0.0
    assert tip - lug == pytest.approx(top - depth + gap, abs=1e-9)
