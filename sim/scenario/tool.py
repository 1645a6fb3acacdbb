"""What a tool file says: a stack of solids from the spindle face down, or a ring of inserts."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, PositiveFloat, PositiveInt, model_validator

from drytouch.sim.scenario.units import Part


class Segment(Part):
    """One solid of revolution in the stack, from the top down."""

    shape: Literal["cylinder", "cone", "ball"] = "cylinder"
    diameter_mm: PositiveFloat = Field(description="cone: at its upper end; ball: of the sphere")
    end_diameter_mm: float | None = Field(None, ge=0, description="cone: at its lower end")
    length_mm: PositiveFloat | None = Field(None, description="a ball needs none")
    part: Literal["holder", "shank", "cutting"] = "shank"

    @model_validator(mode="after")
    def _complete(self) -> Segment:
        if self.shape != "ball" and self.length_mm is None:
            raise ValueError(f"a {self.shape} needs length_mm")
        if self.shape == "cone" and self.end_diameter_mm is None:
            raise ValueError("a cone needs end_diameter_mm")
        return self

    @property
    def height_mm(self) -> float:
        """Length along the axis; a ball counts its lower half only."""
        return self.diameter_mm / 2 if self.shape == "ball" else float(self.length_mm or 0.0)


class Inserts(Part):
    """A ring of separate cutting edges below a body that is hollow in the middle."""

    count: PositiveInt
    circle_diameter_mm: PositiveFloat = Field(description="through the edges' outer corners")
    edge_width_mm: PositiveFloat = Field(4.0, description="radial width of an edge")
    edge_thickness_mm: PositiveFloat = Field(3.0, description="tangential width of an edge")
    depth_mm: PositiveFloat = Field(5.0, description="how far the edges stand below the body")
    axial_errors_um: tuple[float, ...] = Field(
        (), description="height of each edge against the highest: 0 or negative"
    )

    @model_validator(mode="after")
    def _complete(self) -> Inserts:
        if self.axial_errors_um and len(self.axial_errors_um) != self.count:
            raise ValueError(
                f"axial_errors_um needs {self.count} numbers, one an edge, not "
                f"{len(self.axial_errors_um)}"
            )
        if self.axial_errors_um and max(self.axial_errors_um) != 0:
            raise ValueError("the highest edge of axial_errors_um must be 0, the others below")
        if min(self.axial_errors_um, default=0.0) <= -self.depth_mm * 1e3:
            raise ValueError("'axial_errors_um' leave nothing of an edge: depth_mm is too small")
        if self.edge_thickness_mm >= self.circle_diameter_mm:
            raise ValueError("'edge_thickness_mm' must be below circle_diameter_mm")
        if self.edge_width_mm >= self.circle_diameter_mm:
            raise ValueError("'edge_width_mm' must be below circle_diameter_mm")
        return self


class Tool(Part):
    """A tool in its holder. Its length is what its stack adds up to, from face to tip."""

    name: str = ""
    title: str = ""
    source: str = ""
    stack: tuple[Segment, ...] = Field(min_length=1)
    inserts: Inserts | None = None
    cuts: Literal["right", "left"] = Field("right", description="right: cuts turning clockwise")
    force_limit_N: PositiveFloat = Field(500.0, description="axial force that does no harm")
    coated: bool = Field(False, description="does not conduct: a plate never sees it")
    master: bool = Field(False, description="a master tool of known length")
    certified_length_mm: PositiveFloat | None = Field(None, description="what its paper says")
    pulled_out_mm: float = Field(0.0, description="truth: slipped from the holder by this much")
    worn_mm: float = Field(0.0, ge=0, description="truth: tip shorter by this much")

    @model_validator(mode="after")
    def _something_left(self) -> Tool:
        below = self.inserts.depth_mm if self.inserts else self.nominal_length_mm
        if self.inserts and self.inserts.axial_errors_um:
            below += min(self.inserts.axial_errors_um) * 1e-3  # the lowest edge wears away first
        if self.worn_mm >= below:
            raise ValueError(f"'worn_mm' ({self.worn_mm:g}) must stay below {below:g} mm")
        if self.true_length_mm <= 0:
            raise ValueError(f"'pulled_out_mm' ({self.pulled_out_mm:g}) leaves nothing of the tool")
        if self.certified_length_mm is not None and not self.master:
            raise ValueError("'certified_length_mm' belongs to a master tool: add master = true")
        return self

    @property
    def cutting_diameter_mm(self) -> float:
        """Across the edges at their widest."""
        return self.inserts.circle_diameter_mm if self.inserts else self.stack[-1].diameter_mm

    @property
    def tip_diameter_mm(self) -> float:
        """Across the edges at the very tip; 0 where it ends in a point or a ball."""
        last = self.stack[-1]
        if self.inserts is not None or last.shape == "cylinder":
            return self.cutting_diameter_mm
        return (last.end_diameter_mm or 0.0) if last.shape == "cone" else 0.0

    @property
    def nominal_length_mm(self) -> float:
        """Face to tip as built, mm."""
        below = self.inserts.depth_mm if self.inserts else 0.0
        return sum(segment.height_mm for segment in self.stack) + below

    @property
    def true_length_mm(self) -> float:
        """Face to tip as it is now, mm."""
        return self.nominal_length_mm + self.pulled_out_mm - self.worn_mm
