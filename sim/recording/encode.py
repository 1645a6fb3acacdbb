"""From what a recorder holds to the plain data of the recording format."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import InputError
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Placed

if TYPE_CHECKING:
    from drytouch.sim.recording.recorder import LineEntry, Recorder

FORMAT = "drytouch-recording"
VERSION = 1


def encode(recorder: Recorder) -> dict[str, Any]:
    """The recording as a dictionary of JSON values; see docs/recording-format.md."""
    duration = _duration(recorder)
    geometry, scene = _scene(recorder)
    return {
        "format": FORMAT,
        "version": VERSION,
        "seed": int(recorder.seed),
        "scenario": plain(recorder.facts() if callable(recorder.facts) else recorder.facts),
        "links": {name: [float(f) for f in factors] for name, factors in recorder.links.items()},
        "duration_s": duration,
        "start": [float(number) for number in recorder.start],
        "geometry": geometry,
        "scene": scene,
        "lines": [_line(entry, duration) for entry in sorted(recorder.lines, key=_start)],
        "pads": [_pad(entry) for entry in sorted(recorder.pads, key=lambda entry: entry[1])],
        "edges": [[t, signal, int(level)] for t, signal, level in sorted(recorder.edges, key=_t)],
        "events": [[t, kind, plain(data)] for t, kind, data in sorted(recorder.events, key=_t)],
        "beliefs": [[t, key, plain(value)] for t, key, value in sorted(recorder.beliefs, key=_t)],
        "spindle": [list(entry) for entry in sorted(recorder.turns, key=_t)],
        "outcome": None if recorder.outcome is None else plain(recorder.outcome),
    }


def plain(value: Any) -> Any:
    """``value`` with tuples as lists and library numbers as Python's; InputError if JSON can't."""
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        if not math.isfinite(value):
            raise InputError(f"a recording can't hold {value}; expected a finite number")
        return float(value)
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, dict) or hasattr(value, "items"):
        return {str(key): plain(item) for key, item in value.items()}
    if hasattr(value, "item"):
        return plain(value.item())
    if isinstance(value, set | frozenset):
        return sorted(plain(item) for item in value)
    raise InputError(
        f"a recording can't hold a {type(value).__name__}; expected numbers, text, lists or tables"
    )


def _t(entry: tuple[Any, ...]) -> float:
    return float(entry[0])


def _start(entry: LineEntry) -> float:
    return entry.t0


def _duration(recorder: Recorder) -> float:
    if recorder.ended_s is not None:
        return float(recorder.ended_s)
    times = [entry.t1 for entry in recorder.lines if math.isfinite(entry.t1)]
    for rows in (recorder.edges, recorder.events, recorder.beliefs, recorder.turns):
        times += [row[0] for row in rows]
    return float(max(times, default=0.0))


def _line(entry: LineEntry, duration: float) -> dict[str, Any]:
    # A line still running when the recording ended, and the rest piece of a plan, have no end.
    end = entry.t1 if math.isfinite(entry.t1) else duration
    arc = entry.arc
    return {
        "id": entry.id,
        "kind": entry.kind,
        "t": [entry.t0, end],
        "start": list(entry.start),
        "direction": list(entry.direction),
        "arc": None if arc is None else [list(arc[0]), *arc[1:]],
        "command_start": list(entry.command_start),
        "dead_mm": entry.dead_mm,
        "delay_s": entry.delay_s,
        "block_mm": entry.block_mm,
        "source": list(entry.source),
        "pieces": [
            [piece[0], piece[1] if math.isfinite(piece[1]) else max(end, piece[0]), *piece[2:]]
            for piece in entry.pieces
        ],
    }


def _pad(entry: tuple[str, float, int, float, float, float, float]) -> list[Any]:
    return [*entry[:6], entry[6] if math.isfinite(entry[6]) else None]


def _scene(recorder: Recorder) -> tuple[list[dict[str, Any]], list[list[Any]]]:
    """Distinct geometries, and scene rows that point into them."""
    geometry: list[dict[str, Any]] = []
    known: dict[tuple[Any, ...], int] = {}
    latest: dict[str, Body] = {}
    first: dict[str, Body] = {}
    rows: list[list[Any]] = []
    acted: dict[str, str] = {}

    def version(body: Body) -> int:
        key = (body.id, body.parts, body.soft, body.kind, body.cast)
        if key not in known:
            known[key] = len(geometry)
            geometry.append(_geometry(body))
        return known[key]

    for t, action, body_id, data in recorder.scenes:
        if isinstance(data, Body):
            latest[body_id] = data
            first.setdefault(body_id, data)
        if action == "body":
            continue
        acted.setdefault(body_id, action)
        if action == "remove":
            rows.append([t, "remove", body_id, None])
            continue
        if body_id not in latest:
            raise InputError(f"a scene change of unknown body {body_id!r}; register it first")
        body = latest[body_id]
        offset, turn = list(body.offset), 0.0
        if data is not None and not isinstance(data, Body):
            offset = [float(number) for number in data[:3]]
            turn = float(data[3]) if len(data) > 3 else 0.0
        rows.append(
            [
                t,
                action,
                body_id,
                {"geometry": version(body), "link": body.link, "offset": offset, "turn_deg": turn},
            ]
        )
    at_start = [
        [
            0.0,
            "place",
            body.id,
            {
                "geometry": version(body),
                "link": body.link,
                "offset": list(body.offset),
                "turn_deg": 0.0,
            },
        ]
        for body in first.values()
        if acted.get(body.id) != "place"
    ]
    return geometry, at_start + sorted(rows, key=_row_time)


def _row_time(row: list[Any]) -> float:
    return float(row[0])


def _geometry(body: Body) -> dict[str, Any]:
    return {
        "id": body.id,
        "kind": body.kind,
        "cast": body.cast,
        "soft": body.soft,
        "parts": [_part(part) for part in body.parts],
    }


def _part(part: Placed) -> dict[str, Any]:
    size = asdict(part.shape)
    size.pop("digest", None)
    return {
        "shape": type(part.shape).__name__.lower(),
        "size": plain(size),
        "at": list(part.at),
        "turn_deg": list(part.turn_deg),
        "feature": part.feature,
    }
