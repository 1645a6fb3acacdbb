"""The bodies of a session as plain data, in the shape that replay pages know."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drytouch.sim.bench import Session
    from drytouch.sim.scene.bodies import Body


def scene_of(session: Session) -> dict[str, Any]:
    """Version, links (mm of travel per mm of each axis) and bodies with their triangles' sources.

    Shapes go as figures (a cylinder's radius and height), which the page turns into triangles.
    """
    links = session.live.twin.recorder.links
    return {
        "version": session.scene_version,
        "links": {name: [float(f) for f in factors] for name, factors in links.items()},
        "bodies": [_body(body) for body in session.bodies()],
    }


def _body(body: Body) -> dict[str, Any]:
    return {
        "id": body.id,
        "link": body.link,
        "offset": [float(value) for value in body.offset],
        "geometry": {
            "id": body.id,
            "kind": body.kind,
            "cast": body.cast,
            "soft": body.soft,
            "parts": [_part(part) for part in body.parts],
        },
    }


def _part(part: Any) -> dict[str, Any]:
    size = asdict(part.shape)
    size.pop("digest", None)
    return {
        "shape": type(part.shape).__name__.lower(),
        "size": size,
        "at": list(part.at),
        "turn_deg": list(part.turn_deg),
        "feature": part.feature,
    }
