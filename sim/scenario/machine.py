"""What a machine file says: axes, servo, stops, spindle nose, table, inputs, controller habits.

Every default states its reason. Positions are machine coordinates: where the centre of the spindle
face is. Height 0 is the axis zero; the table top is the machine Z at which the bare face would
rest on it.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field, PositiveFloat, PositiveInt, model_validator

from drytouch.sim.scenario.shapes import SolidPart
from drytouch.sim.scenario.units import Part

AxisName = Literal["x", "y", "z"]
NonNegative = float


class Axis(Part):
    """One linear axis with its drive."""

    min_mm: float
    max_mm: float
    hard_margin_mm: float = Field(
        5.0, ge=0, description="limit switches sit this far beyond the soft limits (usual: 3-10)"
    )
    rapid_mm_per_min: PositiveFloat
    feed_max_mm_per_min: PositiveFloat
    acceleration_mm_per_s2: PositiveFloat
    jerk_mm_per_s3: PositiveFloat
    home_mm: float = Field(description="where homing leaves the axis")
    homing_mm_per_min: PositiveFloat = Field(1000.0, description="slow enough to stop on a switch")
    screw_lead_mm: PositiveFloat = Field(10.0, description="common ball screw lead")
    moving_mass_kg: PositiveFloat
    rotor_inertia_kg_m2: float = Field(0.0, ge=0, description="motor rotor, screw and coupling")
    thrust_limit_N: PositiveFloat
    stiffness_N_per_mm: PositiveFloat = Field(description="drive, screw and guide in series")
    following_error_limit_mm: PositiveFloat
    encoder_step_mm: PositiveFloat = Field(0.001, description="one count of the position readout")
    backlash_mm: float = Field(0.0, ge=0, description="lost motion on reversal")

    @model_validator(mode="after")
    def _ordered(self) -> Axis:
        if not self.min_mm < self.max_mm:
            raise ValueError(f"min_mm ({self.min_mm:g}) must be below max_mm ({self.max_mm:g})")
        if (
            not self.min_mm - self.hard_margin_mm
            <= self.home_mm
            <= self.max_mm + self.hard_margin_mm
        ):
            raise ValueError(f"home_mm ({self.home_mm:g}) lies outside the axis' travel")
        return self


class Axes(Part):
    """The three linear axes."""

    x: Axis
    y: Axis
    z: Axis


class Servo(Part):
    """How the axes follow their command. One gain, so that straight stays straight."""

    drive: Literal["servo", "stepper"] = "servo"
    position_gain_per_s: PositiveFloat = Field(30.0, description="Kv; 20-50 1/s is usual")
    feed_forward: float = Field(0.0, ge=0, le=1, description="velocity feed-forward share")
    tick_s: PositiveFloat = Field(0.001, description="position loop period")


class EmergencyStop(Part):
    """Stop category per IEC 60204-1: 0 removes power at once, 1 stops under control first."""

    category: Literal[0, 1] = 1
    reaction_s: float = Field(0.02, ge=0, description="button, relay and drive together")
    coast_deceleration_mm_per_s2: PositiveFloat = Field(
        2000.0, description="friction and short-circuited motors; about 0.2 g"
    )
    sag_mm: float = Field(0.0, ge=0, description="Z drops this far before its brake holds")
    sag_time_s: PositiveFloat = Field(0.08, description="brake delay; 50-150 ms is usual")
    keeps_reference: bool = Field(True, description="setter references stay valid over an E-stop")


class DriveLug(Part):
    """One drive lug that stands proud of the spindle face."""

    angle_deg: float
    height_mm: PositiveFloat = Field(description="how far it stands proud of the face")
    width_mm: PositiveFloat
    inner_radius_mm: PositiveFloat
    outer_radius_mm: PositiveFloat

    @model_validator(mode="after")
    def _ordered(self) -> DriveLug:
        if not self.inner_radius_mm < self.outer_radius_mm:
            raise ValueError("inner_radius_mm must be below outer_radius_mm")
        return self


class Spindle(Part):
    """The nose: a face ring round an open bore, lugs, and how far it grows when it warms."""

    face_diameter_mm: PositiveFloat
    bore_diameter_mm: PositiveFloat
    nose_length_mm: PositiveFloat = 120.0
    head_width_mm: PositiveFloat = Field(260.0, description="square head casting above the nose")
    head_height_mm: PositiveFloat = 400.0
    lugs: tuple[DriveLug, ...] = ()
    orient_deg: float | None = Field(0.0, description="angle that M19 turns to; absent: can't")
    max_rpm: PositiveFloat = 8000.0
    growth_mm: float = Field(0.0, ge=0, description="settled growth at full speed; 10-60 um usual")
    growth_time_constant_s: PositiveFloat = Field(1200.0, description="about 20 minutes")

    @model_validator(mode="after")
    def _bore_inside(self) -> Spindle:
        if not self.bore_diameter_mm < self.face_diameter_mm:
            raise ValueError("bore_diameter_mm must be below face_diameter_mm")
        return self


class Table(Part):
    """A flat table; its centre in machine coordinates and its top as a machine Z."""

    centre_x_mm: float
    centre_y_mm: float
    top_z_mm: float = Field(description="machine Z at which the bare face would rest on it")
    size_x_mm: PositiveFloat
    size_y_mm: PositiveFloat
    thickness_mm: PositiveFloat = 60.0


class Socket(Part):
    """One socket on the machine and the input behind it."""

    input: PositiveInt
    active_high: bool = Field(True, description="closed contact reads as on")
    filter_s: float = Field(0.0, ge=0, description="the level must hold this long")
    scan_s: float = Field(0.001, ge=0, description="the controller looks this often; 0: at once")


class Habits(Part):
    """Where controllers differ (each is a setting of the machine)."""

    latch: Literal["edge", "filter", "scan"] = Field("scan", description="when it notes position")
    latch_source: Literal["encoder", "command"] = "encoder"
    touch_obeys_override: bool = False
    touch_obeys_feed_hold: bool = True
    length_convention: Literal["face", "difference", "table", "work"] = "face"
    watches: Literal["selected", "fixed"] = Field(
        "selected", description="a touch watches the setter's own input, or always one input"
    )
    fixed_input: PositiveInt = 1
    rows: PositiveInt = Field(30, description="rows of the tool table")
    after_touch: Literal["return", "stay"] = "return"
    reference_lost_at_power_cycle: bool = True
    home_axes: Literal["named", "all"] = "named"
    fix_rounds: Literal["down", "to-zero"] = "down"
    feed_on_unit_line: Literal["new", "old"] = "new"
    offsets_on_unit_change: Literal["physical", "numbers"] = "physical"
    skip_when_tripped: Literal["record", "error"] = "record"
    compare: Literal["exact", "within"] = "exact"
    length_after_end: Literal["stays", "cancelled"] = "stays"
    touch_result: Literal["work", "machine"] = "work"
    read_ahead: int = Field(0, ge=0, description="lines evaluated early; 0 waits")
    logic_binds: Literal["tighter", "looser"] = "tighter"


class ToolChange(Part):
    """How a tool gets into the spindle."""

    by: Literal["hand", "arm"] = "hand"
    z_mm: float | None = Field(None, description="an arm changes here; absent: at the top of Z")
    time_s: PositiveFloat = Field(6.0, description="chip to chip is 3-10 s on small machines")


class Machine(Part):
    """A three-axis mill or router."""

    name: str = ""
    title: str = ""
    source: str = Field("", description="where the values come from")
    links: dict[str, dict[AxisName, Literal[-1, 1]]] = Field(
        description="what each link does when an axis counts up"
    )
    table_link: str = "table"
    head_link: str = "head"
    axes: Axes
    servo: Servo = Servo()
    emergency_stop: EmergencyStop = EmergencyStop()
    absolute_encoders: bool = True
    rapids: Literal["straight", "each-axis"] = "straight"
    spindle: Spindle
    table: Table
    bodies: tuple[SolidPart, ...] = ()
    sockets: dict[str, Socket]
    habits: Habits = Habits()
    tool_change: ToolChange = ToolChange()
    contact_stiffness_N_per_mm: PositiveFloat = Field(
        30000.0, description="tool, holder and spindle in series against a hard body"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Machine:
        for link in (self.table_link, self.head_link):
            if link not in self.links:
                raise ValueError(f"links has no '{link}'; it names {', '.join(self.links)}")
        for part in self.bodies:
            if part.link not in self.links and part.link != "base":
                raise ValueError(
                    f"body '{part.name}' is on link '{part.link}'; links names "
                    f"{', '.join(self.links)}"
                )
        for axis in ("x", "y", "z"):
            moved = self.links[self.head_link].get(axis, 0) - self.links[self.table_link].get(
                axis, 0
            )
            if moved != 1:
                raise ValueError(
                    f"axis {axis}: head minus table must move by +1 per mm, not {moved:+d}"
                )
            limits: Axis = getattr(self.axes, axis)
            lag = limits.rapid_mm_per_min / 60 / self.servo.position_gain_per_s
            if self.servo.drive == "servo" and limits.following_error_limit_mm <= lag:
                raise ValueError(
                    f"axes.{axis}.following_error_limit_mm ({limits.following_error_limit_mm:g})"
                    f" must exceed rapid / position gain ({lag:.3g} mm), or every rapid faults"
                )
        return self
