"""What the controller believes when a scenario starts: its tables, records and modes."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, PositiveFloat, PositiveInt

from drytouch.sim.scenario.shapes import Vector
from drytouch.sim.scenario.units import Part

SYSTEM_NAMES = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")
SystemName = Literal["G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"]


class Row(Part):
    """One row of the tool table. ``tool`` says which tool of the crib is meant to be in it."""

    length_mm: float | None = Field(None, description="geometry; absent: nothing measured yet")
    wear_mm: float = 0.0
    diameter_mm: float = 0.0
    tool: str | None = None
    place: Literal["centre", "here"] = Field(
        "centre", description="how it was measured: over the pad's centre, or where it stood"
    )


class SetterRecord(Part):
    """What the controller has stored about one setter."""

    input: PositiveInt = 1
    x_mm: float | None = None
    y_mm: float | None = None
    clearance_z_mm: float | None = Field(
        None, description="height of the tip in machine Z that clears everything, bare spindle"
    )
    height_mm: float | None = Field(None, description="pad height at the trip, above its foot")
    reference_z_mm: float | None = Field(
        None, description="machine Z at which a tool of length 0 trips it"
    )
    reference_valid: bool = False
    reference_by: Literal["face", "master"] = "face"
    master_length_mm: float | None = None
    fast_mm_per_min: PositiveFloat = Field(200.0, description="first touch")
    slow_mm_per_min: PositiveFloat = Field(25.0, description="second and further touches")
    back_off_mm: PositiveFloat = Field(2.0, description="up between touches")
    search_mm: PositiveFloat = Field(20.0, description="how far below the expected trip to feed")
    agree_mm: PositiveFloat = Field(0.003, description="two slow touches must agree within this")


class ControllerStart(Part):
    """The controller's state at time 0."""

    drives_on: bool = True
    homed: bool = True
    position_mm: Vector | None = Field(None, description="absent: at home")
    slot: int = Field(0, ge=0, description="the row it takes to be in the spindle; 0: none")
    length_offset_row: int = Field(0, ge=0, description="row whose length is active; 0: none")
    rows: dict[int, Row] = {}
    systems: dict[SystemName, Vector] = {}
    system: SystemName = "G54"
    shift_mm: Vector = Field((0.0, 0.0, 0.0), description="G92 offset")
    units: Literal["mm", "inch"] = "mm"
    distance: Literal["absolute", "incremental"] = "absolute"
    records: dict[str, SetterRecord] = {}
    plugs: dict[str, str] = Field({}, description="setter -> socket")
    proved: tuple[str, ...] = Field((), description="setters whose input was seen off-on-off")
    selected: str | None = Field(None, description="setter whose input a touch watches")
    rapid_override: float = Field(1.0, ge=0, le=1)
    feed_override: float = Field(1.0, ge=0, le=2)
    spindle_angle_deg: float = 0.0
    spindle_warmth: float = Field(0.0, ge=0, le=1, description="truth: share of its full growth")
    parameters: dict[int, float] = {}
