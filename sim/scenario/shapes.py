"""Plain solids of a file: boxes, cylinders, cones, spheres and meshes from STL."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, PositiveFloat, model_validator

from drytouch.sim.scenario.units import Part

Vector = tuple[float, float, float]


class SolidPart(Part):
    """One solid. ``at_mm`` is the middle of its bottom, relative to what it belongs to.

    It is turned about that point: about X, then Y, then Z. A mesh keeps the origin of its file.
    """

    name: str = ""
    shape: Literal["box", "cylinder", "cone", "sphere", "mesh"] = "box"
    size_mm: Vector | None = Field(None, description="box: size in X, Y and Z")
    diameter_mm: PositiveFloat | None = None
    top_diameter_mm: float | None = Field(None, ge=0, description="cone only")
    height_mm: PositiveFloat | None = None
    file: str | None = Field(None, description="mesh: an STL file, beside the scenario")
    file_unit: Literal["mm", "inch"] | None = Field(None, description="mesh: its unit, stated")
    at_mm: Vector = (0.0, 0.0, 0.0)
    turn_deg: Vector = (0.0, 0.0, 0.0)
    link: str = Field("base", description="machine bodies: which link carries it")

    @model_validator(mode="after")
    def _complete(self) -> SolidPart:
        need = {
            "box": ("size_mm",),
            "cylinder": ("diameter_mm", "height_mm"),
            "cone": ("diameter_mm", "top_diameter_mm", "height_mm"),
            "sphere": ("diameter_mm",),
            "mesh": ("file", "file_unit"),
        }[self.shape]
        for key in need:
            if getattr(self, key) is None:
                raise ValueError(f"a {self.shape} needs {key}")
        if self.size_mm is not None and min(self.size_mm) <= 0:
            raise ValueError(f"size_mm must be positive, not {list(self.size_mm)}")
        return self
