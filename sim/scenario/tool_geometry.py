"""A tool's body: its stack from the spindle face (z = 0) down, as it really is now."""

from __future__ import annotations

import math

from drytouch.sim.scenario.angles import turned_by
from drytouch.sim.scenario.tool import Inserts, Segment, Tool
from drytouch.sim.scene import Body, Box, Cone, Cylinder, Placed, Shape, Sphere

# Leftovers of a worn segment thinner than this are dropped: no grinder leaves such a disc.
_THINNEST_MM = 1e-9


def tool_body(tool: Tool, angle_deg: float = 0.0, link: str = "head") -> Body:
    """The tool in the spindle; its lowest point is at z = -true_length_mm.

    Features: ``holder``, ``shank``, ``cutting``, ``tip`` (the lowest cutting segment), ``edge 1``
    and so on for separate inserts, at the spindle's angle.
    """
    spans = _spans(tool)
    parts = []
    for index, (segment, top, bottom) in enumerate(spans):
        lowest = index == len(spans) - 1 and tool.inserts is None
        feature = "tip" if lowest and segment.part == "cutting" else segment.part
        parts.append(_placed(segment, top, bottom, feature))
    if tool.inserts:
        parts += _edges(tool.inserts, spans[-1][2], tool.worn_mm, angle_deg)
    return Body("tool", link, tuple(parts), kind="tool")


def _spans(tool: Tool) -> list[tuple[Segment, float, float]]:
    """Each segment with its top and bottom z, after slipping and wear."""
    # What slips is what the holder grips: the first segment that is not the holder itself.
    gripped = next((i for i, s in enumerate(tool.stack) if s.part != "holder"), 0)
    spans = []
    z = 0.0
    for index, segment in enumerate(tool.stack):
        top, bottom = z, z - segment.height_mm
        if index == gripped:
            bottom -= tool.pulled_out_mm
            # Pushed in, it starts inside the holder; pulled out, more of its shank shows.
            top = z if segment.shape == "cylinder" and bottom < z else z - tool.pulled_out_mm
            if top < z:
                # A point or ball that is pulled out shows the shank that it is ground on.
                shank = Segment(
                    diameter_mm=segment.diameter_mm, length_mm=z - top, part=segment.part
                )
                spans.append((shank, z, top))
        spans.append((segment, top, bottom))
        z = bottom
    return spans if tool.inserts else _worn(spans, tool.worn_mm)


def _worn(
    spans: list[tuple[Segment, float, float]], worn_mm: float
) -> list[tuple[Segment, float, float]]:
    """The stack cut off at the tip by ``worn_mm``."""
    end = spans[-1][2] + worn_mm
    kept = [span for span in spans if span[1] - end > _THINNEST_MM]
    segment, top, bottom = kept[-1]
    return [*kept[:-1], (segment, top, end if end > bottom else bottom)]


def _placed(segment: Segment, top: float, bottom: float, feature: str) -> Placed:
    if segment.shape == "ball":
        # The sphere's lower half shows; wear lifts it into the shank above.
        radius = segment.diameter_mm / 2
        return Placed(Sphere(radius), (0.0, 0.0, bottom + radius), feature=feature)
    height = top - bottom
    # An unworn segment keeps the file's own figure, so that a point stays a point.
    if abs(height - segment.height_mm) < _THINNEST_MM:
        height = segment.height_mm
    radius = segment.diameter_mm / 2
    shape: Shape = Cylinder(radius, height)
    if segment.shape == "cone":
        # A worn point ends in a flat where it was cut off.
        end = (segment.end_diameter_mm or 0.0) / 2
        share = min(1.0, height / segment.height_mm)
        shape = Cone(radius + (end - radius) * share, radius, height)
    return Placed(shape, (0.0, 0.0, (top + bottom) / 2), feature=feature)


def _edges(inserts: Inserts, body_bottom: float, worn_mm: float, angle_deg: float) -> list[Placed]:
    outer = inserts.circle_diameter_mm / 2
    half_thickness = inserts.edge_thickness_mm / 2
    # The circle goes through the outer corners, not through the middle of the outer sides.
    middle = math.sqrt(outer**2 - half_thickness**2) - inserts.edge_width_mm / 2
    errors = inserts.axial_errors_um or (0.0,) * inserts.count
    placed = []
    for index, error_um in enumerate(errors):
        angle = angle_deg + index * 360.0 / inserts.count
        height = inserts.depth_mm - worn_mm + error_um * 1e-3
        x, y = turned_by((middle, 0.0), angle)
        shape = Box(inserts.edge_width_mm, inserts.edge_thickness_mm, height)
        at = (x, y, body_bottom - height / 2)
        placed.append(Placed(shape, at, (0.0, 0.0, angle), f"edge {index + 1}"))
    return placed
