"""What a recording file must look like: names, types, finite numbers, and what refers to what."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Text = Annotated[str, Field(strict=True)]
Yes = Annotated[bool, Field(strict=True)]
Vector = tuple[Number, Number, Number]
Plane = Literal["xy", "zx", "yz"]


class Layout(BaseModel):
    """Base: no key beyond the ones described, and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class PartLayout(Layout):
    """One solid of a body."""

    shape: Literal["box", "cylinder", "cone", "sphere", "ring", "mesh"]
    size: dict[str, Any] = Field(description="the shape's own sizes in mm, by name")
    at: Vector = Field(description="mm in the body's frame, middle of the shape's bounding box")
    turn_deg: Vector
    feature: Text


class GeometryLayout(Layout):
    """A body's solids, in one version."""

    id: Text
    kind: Text
    cast: Text
    soft: Yes
    parts: tuple[PartLayout, ...] = Field(min_length=1)


class PoseLayout(Layout):
    """Where a body is from now on."""

    geometry: Whole = Field(ge=0, description="index into geometry")
    link: Text
    offset: Vector = Field(description="mm in the link's frame")
    turn_deg: Number = Field(description="about z")


class LineLayout(Layout):
    """One line or arc; docs/recording-format.md has the formula."""

    id: Whole
    kind: Text
    t: tuple[Number, Number]
    start: Vector
    direction: Vector
    arc: tuple[Vector, Number, Number, Number, Plane] | None
    command_start: Vector
    dead_mm: Number = Field(ge=0)
    delay_s: Number = Field(ge=0)
    block_mm: Number | None
    source: tuple[Whole | None, Text | None, Whole | None, Text | None]
    pieces: tuple[tuple[Number, Number, Number, Number, Number, Number, Number], ...]

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.t[1] < self.t[0]:
            raise ValueError(f"t ends ({self.t[1]}) before it starts ({self.t[0]})")
        for before, after in pairwise(self.pieces):
            if after[0] < before[0]:
                raise ValueError("pieces must follow each other in time")
        if self.arc is not None and self.arc[1] <= 0:
            raise ValueError(f"the arc's radius must be positive, not {self.arc[1]}")
        return self


class RecordingLayout(Layout):
    """A whole recording."""

    format: Literal["drytouch-recording"]
    version: Literal[1]
    seed: Whole
    scenario: dict[str, Any]
    links: dict[str, Vector]
    duration_s: Number = Field(ge=0)
    start: Vector
    geometry: tuple[GeometryLayout, ...]
    scene: tuple[tuple[Number, Literal["place", "remove", "move"], Text, PoseLayout | None], ...]
    lines: tuple[LineLayout, ...]
    pads: tuple[tuple[Text, Number, Whole, Number, Number, Number, Number | None], ...]
    edges: tuple[tuple[Number, Text, Annotated[int, Field(strict=True, ge=0, le=1)]], ...]
    events: tuple[tuple[Number, Text, Any], ...]
    beliefs: tuple[tuple[Number, Text, Any], ...]
    spindle: tuple[tuple[Number, Number, Number], ...]
    outcome: dict[str, Any] | None

    @model_validator(mode="after")
    def _refers(self) -> Self:
        for _, action, body, pose in self.scene:
            if (pose is None) != (action == "remove"):
                raise ValueError(f"scene: {action} of {body!r} with a wrong pose")
            if pose is None:
                continue
            if pose.geometry >= len(self.geometry):
                raise ValueError(f"scene: {body!r} uses missing geometry {pose.geometry}")
            if pose.link not in self.links:
                raise ValueError(f"scene: {body!r} is on unknown link {pose.link!r}")
        rows = {
            "scene": [row[0] for row in self.scene],
            "lines": [line.t[0] for line in self.lines],
            "pads": [row[1] for row in self.pads],
            "edges": [row[0] for row in self.edges],
            "events": [row[0] for row in self.events],
            "beliefs": [row[0] for row in self.beliefs],
            "spindle": [row[0] for row in self.spindle],
        }
        for name, times in rows.items():
            if any(after < before for before, after in pairwise(times)):
                raise ValueError(f"{name} must be in order of time")
        return self
