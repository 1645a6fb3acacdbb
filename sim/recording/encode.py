"""From what a recorder holds to the plain data of the recording format."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import asdict
from itertools import chain, islice
from operator import attrgetter, itemgetter
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import InputError
from drytouch.sim.recording.rows import TOGETHER, in_order
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Placed

if TYPE_CHECKING:
    from drytouch.sim.recording.recorder import LineEntry, Recorder

FORMAT = "drytouch-recording"
VERSION = 1


def encode(recorder: Recorder) -> dict[str, Any]:
    """The recording as a dictionary of JSON values; see docs/recording-format.md."""
    return {
        key: list(value) if isinstance(value, Iterator) else value
        for key, value in _sections(recorder)
    }


def encode_json(recorder: Recorder) -> Iterator[str]:
    """The same as JSON text in pieces, as the file has it; InputError if JSON can't hold it."""
    write = json.JSONEncoder(separators=(",", ":"), allow_nan=False).encode
    before = "{"
    for key, value in _sections(recorder):
        yield f"{before}{write(key)}:"
        before = ","
        if not isinstance(value, Iterator):
            yield write(value)
            continue
        opening = "["
        while batch := list(islice(value, TOGETHER)):
            yield opening + write(batch)[1:-1]
            opening = ","
        yield "[]" if opening == "[" else "]"
    yield "}"


def _sections(recorder: Recorder) -> Iterator[tuple[str, Any]]:
    """Keys and values of the file in its order; what may be long is an iterator of rows."""
    duration = _duration(recorder)
    geometry, scene = _scene(recorder)
    facts = recorder.facts() if callable(recorder.facts) else recorder.facts
    lines = in_order(recorder.lines, attrgetter("t0"))
    yield "format", FORMAT
    yield "version", VERSION
    yield "seed", int(recorder.seed)
    yield "scenario", plain(facts)
    yield (
        "links",
        {name: [float(f) for f in factors] for name, factors in recorder.links.items()},
    )
    yield "duration_s", duration
    yield "start", [float(number) for number in recorder.start]
    yield "geometry", geometry
    yield "scene", scene
    yield "lines", (_line(entry, duration) for entry in lines)
    yield "pads", (_pad(entry) for entry in in_order(recorder.pads, itemgetter(1)))
    yield "edges", ([t, signal, int(on)] for t, signal, on in in_order(recorder.edges, _t))
    yield "events", ([t, kind, plain(data)] for t, kind, data in in_order(recorder.events, _t))
    yield "beliefs", ([t, key, plain(value)] for t, key, value in in_order(recorder.beliefs, _t))
    yield "spindle", (list(entry) for entry in in_order(recorder.turns, _t))
    yield "outcome", None if recorder.outcome is None else plain(recorder.outcome)


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


def _duration(recorder: Recorder) -> float:
    if recorder.ended_s is not None:
        return float(recorder.ended_s)
    ends = (entry.t1 for entry in recorder.lines if math.isfinite(entry.t1))
    others = (recorder.edges, recorder.events, recorder.beliefs, recorder.turns)
    times = (row[0] for rows in others for row in rows)
    return float(max(chain(ends, times), default=0.0))


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
