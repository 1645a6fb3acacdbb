"""Steps: what a person does, or has the controller do. One model a step, told apart by ``do``."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, PositiveFloat, PositiveInt, model_validator

from drytouch.sim.scenario.controller import SystemName
from drytouch.sim.scenario.units import Part

AxisName = Literal["x", "y", "z"]


class _Step(Part):
    note: str = Field("", description="shown in reports and captions")
    # Of these fields a step needs at least one, or exactly one; else it would do nothing.
    any_of: ClassVar[tuple[str, ...]] = ()
    one_of: ClassVar[tuple[str, ...]] = ()

    @model_validator(mode="after")
    def _says_enough(self) -> _Step:
        do = getattr(self, "do", "")
        if self.any_of and all(getattr(self, name) is None for name in self.any_of):
            raise ValueError(f"step '{do}' does nothing: give at least one of {_list(self.any_of)}")
        given = [name for name in self.one_of if getattr(self, name) is not None]
        if self.one_of and len(given) != 1:
            raise ValueError(f"step '{do}' needs exactly one of {_list(self.one_of)}")
        if getattr(self, "by_mm", None) == 0:
            raise ValueError("'by_mm' is 0: nothing would move")
        return self


def _list(names: tuple[str, ...]) -> str:
    return ", ".join(names)


class PlugIn(_Step):
    """Put a setter's cable into a socket, or take it out (no socket)."""

    do: Literal["plug-in"]
    setter: str
    socket: str | None = None


class PressPad(_Step):
    """Press the pad by hand and let go: the selected input should go off, on, off."""

    do: Literal["press-pad"]
    setter: str
    hold_s: PositiveFloat = 0.5


class Drives(_Step):
    """Switch the drives on or off."""

    do: Literal["drives"]
    on: bool


class Home(_Step):
    """Home all axes, Z first."""

    do: Literal["home"]


class EmergencyStopStep(_Step):
    """Press the emergency stop."""

    do: Literal["e-stop"]


class Stop(_Step):
    """Stop what runs: the axes brake, the rest of the move, routine or program is dropped."""

    do: Literal["stop"]


class Reset(_Step):
    """Pull the emergency stop out and clear alarms."""

    do: Literal["reset"]


class PowerCycle(_Step):
    """Switch the machine off and on."""

    do: Literal["power-cycle"]


class LoadTool(_Step):
    """Put a tool into the spindle (or take it out), and tell the controller a row."""

    do: Literal["load-tool"]
    tool: str | None = Field(None, description="a tool of the crib; absent: bare spindle")
    slot: int | None = Field(None, ge=0, description="row told to the controller; absent: its own")


class TurnSpindle(_Step):
    """Turn the spindle by hand to an angle."""

    do: Literal["turn-spindle"]
    to_deg: float


class Spin(_Step):
    """Start or stop the spindle. Positive: the cutting direction of a right-hand tool."""

    do: Literal["spin"]
    rpm: float


class Place(_Step):
    """Put something down: setter, stock, block, vise."""

    do: Literal["place"]
    item: str
    on: str = "table"
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0
    lift_mm: float = Field(0.0, ge=0, description="something under it: a chip, a shim")


class TakeAway(_Step):
    """Take something off the table."""

    do: Literal["take-away"]
    item: str


class Nudge(_Step):
    """Something knocks into an item; nobody tells the controller."""

    do: Literal["nudge"]
    item: str
    by_mm: tuple[float, float, float]


class Jog(_Step):
    """Hold a jog key down: for a distance, or for a time."""

    do: Literal["jog"]
    one_of = ("by_mm", "for_s")
    axis: AxisName
    by_mm: float | None = Field(None, description="release so that it stops about here")
    for_s: PositiveFloat | None = None
    towards: Literal["+", "-"] = "-"
    speed_mm_per_min: PositiveFloat = 500.0


class StepAxis(_Step):
    """Tap the step key: a number of steps of a size."""

    do: Literal["step"]
    axis: AxisName
    by_mm: float = Field(description="signed size of one step")
    count: PositiveInt = 1


class Move(_Step):
    """Have the controller move in a straight line; absent axes stay."""

    do: Literal["move"]
    any_of = ("x_mm", "y_mm", "z_mm")
    x_mm: float | None = None
    y_mm: float | None = None
    z_mm: float | None = None
    frame: Literal["machine", "work"] = "machine"
    feed_mm_per_min: PositiveFloat | None = Field(None, description="absent: rapid")


class TouchStep(_Step):
    """Touch by hand at the controller's keys: feed until the watched input comes on.

    Nothing is asked first and one touch is believed, as a hurried person does. ``store`` says what
    the height is used for: a row's length, the setter's reference, or work Z.
    """

    do: Literal["touch"]
    any_of = ("x_mm", "y_mm", "z_mm")
    x_mm: float | None = None
    y_mm: float | None = None
    z_mm: float | None = None
    frame: Literal["machine", "work"] = "machine"
    feed_mm_per_min: PositiveFloat
    store: Literal["length", "reference", "work-z"] | None = None
    row: PositiveInt | None = Field(None, description="row to write, or whose length is used")
    system: SystemName = "G54"
    keep_wear: bool = Field(False, description="leave the row's old wear where it is")

    @model_validator(mode="after")
    def _knows_its_row(self) -> TouchStep:
        if self.store in ("length", "work-z") and self.row is None:
            raise ValueError(f"store = '{self.store}' needs row")
        return self


class FeelBlock(_Step):
    """Try to slide a gauge block under the face or tip: slides, drags, or won't go."""

    do: Literal["feel-block"]
    block: str
    on: str = "table"
    hand_ok: bool = Field(False, description="drives stay on while the hand is in: needs a reason")


class StepUntilFeel(_Step):
    """Step an axis, trying the block each time, until it feels as wanted."""

    do: Literal["step-until-feel"]
    block: str
    on: str = "table"
    by_mm: float = 0.001
    want: Literal["slides", "drags"] = "drags"
    most: PositiveInt = 2000


class Mdi(_Step):
    """One line of program typed at the machine."""

    do: Literal["mdi"]
    line: str


class Program(_Step):
    """Run a program file."""

    do: Literal["program"]
    file: str
    block_delete: bool = False
    optional_stop: bool = False
    single_block: bool = Field(
        False, description="a person starts each line; noted, no time passes"
    )
    from_line: PositiveInt | None = Field(None, description="start here, with the state rebuilt")


class Routine(_Step):
    """Run one of the built-in touch-off routines."""

    do: Literal["routine"]
    name: str
    arguments: dict[str, Any] = Field({}, alias="with")


class Override(_Step):
    """Turn an override; 1.0 is 100 %."""

    do: Literal["override"]
    any_of = ("rapid", "feed")
    rapid: float | None = Field(None, ge=0, le=1)
    feed: float | None = Field(None, ge=0, le=2)


class FeedHold(_Step):
    """Press feed hold, or cycle start to go on."""

    do: Literal["feed-hold"]
    on: bool = True


class SelectInput(_Step):
    """Tell the controller which setter's input a touch watches."""

    do: Literal["select-setter"]
    setter: str


class TypeIn(_Step):
    """Type a number into a table, as a person does."""

    do: Literal["type-in"]
    row: PositiveInt | None = None
    length_mm: float | None = None
    wear_mm: float | None = None
    system: SystemName | None = None
    x_mm: float | None = None
    y_mm: float | None = None
    z_mm: float | None = None
    setter: str | None = None
    height_mm: float | None = None
    clearance_z_mm: float | None = None
    reference_z_mm: float | None = Field(None, description="typed: taken as valid from now on")
    master_length_mm: PositiveFloat | None = None
    input: PositiveInt | None = None

    @model_validator(mode="after")
    def _goes_together(self) -> TypeIn:
        groups = {
            "row": ("length_mm", "wear_mm"),
            "system": ("x_mm", "y_mm", "z_mm"),
            "setter": (
                "height_mm", "clearance_z_mm", "input", "x_mm", "y_mm",
                "reference_z_mm", "master_length_mm",
            ),
        }  # fmt: skip
        # A setter's place is typed as x and y of no work system.
        if self.system is None and self.setter is not None:
            groups["system"] = ("z_mm",)
        elif self.setter is not None:
            groups["setter"] = tuple(n for n in groups["setter"] if n not in ("x_mm", "y_mm"))
        for key, numbers in groups.items():
            given = [name for name in numbers if getattr(self, name) is not None]
            if given and getattr(self, key) is None:
                raise ValueError(f"'{given[0]}' needs {key}: say where it is typed")
            if not given and getattr(self, key) is not None:
                raise ValueError(f"'{key}' is given, but none of {_list(numbers)}")
        if all(getattr(self, key) is None for key in groups):
            raise ValueError("step 'type-in' does nothing: give row, system or setter")
        return self


class SelectSystem(_Step):
    """Make a work coordinate system, and a tool length row, the active ones."""

    do: Literal["select"]
    any_of = ("system", "length_row")
    system: SystemName | None = None
    length_row: int | None = Field(None, ge=0)


class MeasureByRule(_Step):
    """Hold a rule to the machine: reads to 0.5 mm."""

    do: Literal["rule"]
    what: Literal["tool-length", "tip-to-stock", "tip-to-table", "setter-height"]
    row: PositiveInt | None = Field(None, description="compare with this row's length")
    setter: str | None = None


class JogBack(_Step):
    """Cross-check: step the tip down to the stock's surface and read the work position."""

    do: Literal["jog-back"]
    system: SystemName = "G54"
    row: PositiveInt | None = None


class Hand(_Step):
    """Put a hand in at the machine, or take it out."""

    do: Literal["hand"]
    inside: bool
    where: str = "at the pad"


class FaultStep(_Step):
    """Let a fault of the catalogue begin now; nobody tells the controller."""

    do: Literal["fault"]
    name: str
    arguments: dict[str, Any] = Field({}, alias="with")


class Wait(_Step):
    """Let time pass."""

    do: Literal["wait"]
    for_s: PositiveFloat


AnyStep = Annotated[
    PlugIn
    | PressPad
    | Drives
    | Home
    | EmergencyStopStep
    | Stop
    | Reset
    | PowerCycle
    | LoadTool
    | TurnSpindle
    | Spin
    | Place
    | TakeAway
    | Nudge
    | Jog
    | StepAxis
    | Move
    | TouchStep
    | FeelBlock
    | StepUntilFeel
    | Mdi
    | Program
    | Routine
    | Override
    | FeedHold
    | SelectInput
    | TypeIn
    | SelectSystem
    | MeasureByRule
    | JogBack
    | Hand
    | FaultStep
    | Wait,
    Field(discriminator="do"),
]


class Meanwhile(Part):
    """A step that happens beside the steps, at a time or some time after an event."""

    at_s: float | None = Field(None, ge=0, description="simulated time from the start")
    after: Literal["contact", "close", "touch", "rapid", "alarm"] | None = None
    nth: PositiveInt = 1
    delay_s: float = Field(0.0, ge=0)
    step: AnyStep

    @model_validator(mode="after")
    def _when(self) -> Meanwhile:
        if (self.at_s is None) == (self.after is None):
            raise ValueError("say when: exactly one of at_s and after")
        return self
