"""What a setter file says: body and pad, travel, contact, how it is held and linked."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, PositiveFloat, model_validator

from drytouch.sim.scenario.units import Part


class Link(Part):
    """What carries the contact to the socket."""

    kind: Literal["cable", "radio"] = "cable"
    delay_s: float = Field(0.0, ge=0, description="radio: fixed delay; 2-20 ms is usual")
    jitter_s: float = Field(0.0, ge=0, description="radio: further delay, uniform from 0 to this")
    battery: bool = Field(True, description="radio: False is a flat battery, nothing is sent")
    blocked: bool = Field(False, description="radio: the path is blocked, nothing arrives")


class Setter(Part):
    """A tool setter: a pad on a spring above a switch, or a conductive plate."""

    name: str = ""
    title: str = ""
    source: str = ""
    kind: Literal["switch", "plate"] = "switch"
    contact: Literal["NO", "NC"] = Field("NC", description="normally open or normally closed")
    base_diameter_mm: PositiveFloat
    base_height_mm: PositiveFloat = Field(description="from its foot to under the pad")
    pad_diameter_mm: PositiveFloat
    pad_height_mm: PositiveFloat = Field(description="from its foot to the free pad's top")
    pre_travel_mm: float = Field(ge=0, description="mean pad travel from touch to trip")
    pre_travel_sigma_mm: float = Field(0.0, ge=0, description="one standard deviation")
    hysteresis_mm: float = Field(
        0.0, ge=0, description="it reopens this much nearer its free height"
    )
    overtravel_mm: PositiveFloat = Field(description="pad travel left after the trip, then solid")
    preload_N: float = Field(0.0, ge=0)
    rate_N_per_mm: float = Field(0.0, ge=0)
    bounce_s: float = Field(0.0, ge=0, description="extra edges fall within this time")
    bounce_pairs: int = Field(0, ge=0, le=20, description="mean number of open-close pairs")
    tilt_deg: float = Field(0.0, ge=-5, le=5, description="pad tilt about tilt_axis_deg")
    tilt_axis_deg: float = Field(0.0, description="direction of the tilt axis in the table plane")
    centre_bolt_diameter_mm: float = Field(
        0.0, ge=0, description="a counterbored screw hole in the middle of the pad; 0: none"
    )
    side_touch: bool = False
    turning_allowed: bool = Field(False, description="a tool may turn slowly against the cut")
    # Above about 100 m/min carbide cuts hardened steel (hard turning and milling begin there), so
    # edges that rub faster than that wear, and wear the pad, whichever way they turn.
    worst_edge_m_per_min: PositiveFloat = Field(
        100.0, description="fastest that edges may rub on the pad where turning is allowed"
    )
    hold: Literal["bolted", "magnetic", "loose"] = "bolted"
    mass_kg: PositiveFloat = 1.0
    holding_force_N: float = Field(0.0, ge=0, description="magnet pull on top of its weight")
    friction_static: float = Field(0.2, gt=0, description="ground steel on steel, oily: 0.1-0.25")
    friction_kinetic: float = Field(0.15, gt=0)
    link: Link = Link()
    worst_feed_mm_per_min: PositiveFloat = Field(1000.0, description="its maker's highest feed")

    @model_validator(mode="after")
    def _ordered(self) -> Setter:
        if (
            self.kind == "switch"
            and not self.hysteresis_mm < self.pre_travel_mm < self.overtravel_mm
        ):
            raise ValueError(
                "expected hysteresis_mm < pre_travel_mm < overtravel_mm, not "
                f"{self.hysteresis_mm:g}, {self.pre_travel_mm:g}, {self.overtravel_mm:g}"
            )
        if not self.base_height_mm < self.pad_height_mm:
            raise ValueError("pad_height_mm must exceed base_height_mm")
        room = self.pad_height_mm - self.base_height_mm
        if self.kind == "switch" and self.pre_travel_mm + self.overtravel_mm > room + 1e-9:
            raise ValueError(
                f"pre_travel_mm and overtravel_mm together exceed the {room:g} mm that the pad "
                "stands above its base"
            )
        if self.friction_kinetic > self.friction_static:
            raise ValueError("friction_kinetic can't exceed friction_static")
        if self.centre_bolt_diameter_mm >= self.pad_diameter_mm:
            raise ValueError("centre_bolt_diameter_mm must be below pad_diameter_mm")
        return self
