"""What can be done on the bench: every step of a scenario, and what only live hands need."""

from __future__ import annotations

from functools import cache
from typing import Annotated, Any, Literal, get_args

from pydantic import Field, PositiveFloat, PositiveInt, TypeAdapter, field_validator

from drytouch.sim.scenario.steps import AnyStep, AxisName
from drytouch.sim.scenario.units import Part, split_unit, suffixes_like

RATES = (0, 0.1, 1, 10)
Role = Literal["trainee", "instructor"]


class JogPress(Part):
    """A jog key goes down; it needs ``beat`` while it is held."""

    do: Literal["jog-press"]
    axis: AxisName
    towards: Literal["+", "-"]
    speed_mm_per_min: PositiveFloat = 500.0


class JogRelease(Part):
    """The jog key comes up."""

    do: Literal["jog-release"]


class Beat(Part):
    """The page is there and the key is still held."""

    do: Literal["beat"]


class Wheel(Part):
    """The wheel turns: detents of one signed size, on one axis."""

    do: Literal["wheel"]
    axis: AxisName
    by_mm: float = Field(description="signed way of one detent")
    detents: PositiveInt = Field(1, le=100)


class Pace(Part):
    """How fast time goes: 1, 0.1, 0 (paused), or 10 while you only wait."""

    do: Literal["pace"]
    rate: float

    @field_validator("rate")
    @classmethod
    def _one_of_four(cls, value: float) -> float:
        if value not in RATES:
            raise ValueError(f"expected one of {', '.join(map(str, RATES))}")
        return value


class Units(Part):
    """Show positions in mm or inch."""

    do: Literal["units"]
    units: Literal["mm", "inch"]


class Hint(Part):
    """Ask for the next hint; it costs what it says."""

    do: Literal["hint"]


class Answer(Part):
    """Say what you found; may be changed until the end."""

    do: Literal["answer"]
    question: str
    choice: str


class Finish(Part):
    """You are done: judge it."""

    do: Literal["finish"]


class Outline(Part):
    """Show what the controller believes over what is; after the end only."""

    do: Literal["outline"]
    on: bool


class Freeze(Part):
    """The instructor stops everybody, or lets them go on."""

    do: Literal["freeze"]
    on: bool


BenchAction = (
    JogPress | JogRelease | Beat | Wheel | Pace | Units | Hint | Answer | Finish | Outline | Freeze
)
Action = Annotated[AnyStep | BenchAction, Field(discriminator="do")]
STEPS: tuple[Any, ...] = get_args(get_args(AnyStep)[0])
ACTIONS: dict[str, type[Part]] = {
    get_args(model.model_fields["do"].annotation)[0]: model
    for model in (*STEPS, *get_args(BenchAction))
}
STEP_NAMES = frozenset(get_args(model.model_fields["do"].annotation)[0] for model in STEPS)

# What holds the axes, and what takes both hands; everything else may be done beside them.
OF_MACHINE = frozenset(
    ("home", "jog", "step", "move", "touch", "mdi", "program", "routine", "power-cycle",
     "step-until-feel", "jog-back", "jog-press", "wheel")
)  # fmt: skip
OF_HANDS = frozenset(("press-pad", "feel-block", "step-until-feel", "rule", "place", "take-away"))
OF_BOTH = frozenset(("load-tool", "turn-spindle"))
INSTRUCTOR_ONLY = frozenset(("fault", "nudge", "freeze"))
# What still works after the end, and while everybody is frozen.
ALWAYS = frozenset(("outline", "units", "beat", "jog-release", "freeze"))


@cache
def adapter() -> TypeAdapter[Any]:
    """What reads an action; building it once saves 30 ms."""
    return TypeAdapter(Action)


def needs(do: str) -> str:
    """What an action occupies: ``machine``, ``hands``, ``both`` or ``nothing``."""
    machine = do in OF_MACHINE or do in OF_BOTH
    hands = do in OF_HANDS or do in OF_BOTH
    return (
        "both" if machine and hands else "machine" if machine else "hands" if hands else "nothing"
    )


def describe_actions() -> list[dict[str, Any]]:
    """Every action as plain data: name, words, who may, what it occupies, fields with units."""
    return [
        {
            "do": do,
            "words": " ".join((model.__doc__ or "").split()),
            "occupies": needs(do),
            "roles": ["instructor"] if do in INSTRUCTOR_ONLY else ["trainee", "instructor"],
            "is_step": do in STEP_NAMES,
            "fields": _fields(model),
        }
        for do, model in ACTIONS.items()
    ]


def _fields(model: type[Part]) -> list[dict[str, Any]]:
    schema = model.model_json_schema(by_alias=True)
    required = set(schema.get("required", []))
    found = []
    for name, described in schema["properties"].items():
        if name == "do":
            continue
        parts = split_unit(name)
        entry = {key: value for key, value in described.items() if key != "title"}
        entry |= {"name": name, "required": name in required}
        if parts is not None:
            entry["unit"] = parts[1]
            entry["other_units"] = [s for s in suffixes_like(parts[1]) if s != parts[1]]
        found.append(entry)
    return found
