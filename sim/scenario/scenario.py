"""A whole scenario: parts, where they stand, what the controller believes, steps, expectation."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, PositiveFloat, model_validator

from drytouch.sim.scenario.controller import ControllerStart, SystemName
from drytouch.sim.scenario.exercise import Exercise
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.scenario.shapes import SolidPart
from drytouch.sim.scenario.steps import AnyStep, Meanwhile
from drytouch.sim.scenario.tool import Tool
from drytouch.sim.scenario.units import Part

VERDICTS = ("right", "stopped", "risky", "wrong", "harm")


class Block(Part):
    """A gauge block; ``error_um`` is how far its true size is from what is stamped on it."""

    name: str = ""
    size_mm: PositiveFloat
    error_um: float = 0.0
    width_mm: PositiveFloat = 35.0
    depth_mm: PositiveFloat = 9.0

    @property
    def true_size_mm(self) -> float:
        """What the block really measures, mm."""
        return self.size_mm + self.error_um * 1e-3


class Stock(Part):
    """Stock, vise or clamp: one or more solids that stand on the table."""

    name: str = ""
    title: str = ""
    kind: Literal["stock", "fixture"] = "stock"
    parts: tuple[SolidPart, ...] = Field(min_length=1)
    conducts: bool = True
    seat_mm: float | None = Field(
        None, ge=0, description="what stands on it stands this high, as in a vise; absent: its top"
    )


class Placement(Part):
    """Where an item stands: X and Y in machine coordinates, on the table or on another item."""

    on: str = "table"
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0
    lift_mm: float = Field(0.0, ge=0, description="something under it: a chip, a shim")


class Fault(Part):
    """One entry of the catalogue of faults, with its figures."""

    name: str
    arguments: dict[str, Any] = Field({}, alias="with")


class Noise(Part):
    """Disturbances that the real world adds to the signal and the axes; truth, not belief."""

    spikes_per_s: float = Field(0.0, ge=0)
    spike_s: PositiveFloat = Field(20e-6, description="a relay coil's burst through a bad shield")
    wire: Literal["sound", "broken", "shorted", "reversed", "intermittent"] = "sound"
    wire_since_s: float = Field(0.0, ge=0, description="the wire is sound before this time")
    gaps_per_s: float = Field(0.0, ge=0, description="intermittent: breaks a second")
    gap_s: PositiveFloat = Field(0.005, description="intermittent: how long each lasts")
    contact: Literal["sound", "stuck-closed", "stuck-open"] = "sound"
    return_lead: bool = Field(True, description="plate: its return lead is connected")
    spindle_isolated: bool = Field(False, description="plate: ceramic bearings, no path")
    dirt_um: float = Field(0.0, ge=0, description="chip or dirt between tip and pad")


class Truth(Part):
    """What is really so and nobody has told the controller."""

    position_error_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    homing_error_mm: tuple[float, float, float] = Field(
        (0.0, 0.0, 0.0), description="every homing ends this far off, such as one screw turn"
    )
    noise: Noise = Noise()


class Want(Part):
    """A number that the run should store, and how far it may be off."""

    row: int | None = None
    tolerance_mm: PositiveFloat


class Expect(Part):
    """What the scenario is meant to show."""

    verdict: Literal["right", "stopped", "risky", "wrong", "harm"] = "right"
    findings: tuple[str, ...] = Field((), description="exactly these codes, in any order")
    also_allowed: tuple[str, ...] = ()


class Question(Part):
    """Pause and predict: asked before the decisive moment."""

    before: str = Field("", description="a finding's code, or a time such as '3.2 s'")
    ask: str
    choices: tuple[str, ...] = Field(min_length=2)
    answer: int = Field(ge=1, description="which choice is right, from 1")
    because: str

    @model_validator(mode="after")
    def _answer_exists(self) -> Question:
        if self.answer > len(self.choices):
            raise ValueError(f"answer is {self.answer}, but there are {len(self.choices)} choices")
        return self


class Tolerances(Part):
    """How far a stored number may be off before it counts as wrong."""

    length_mm: PositiveFloat = Field(0.010, description="usual shop limit for a tool length")
    work_z_mm: PositiveFloat = Field(0.020, description="usual first-cut limit on stock")
    setter_height_mm: PositiveFloat = Field(0.010, description="a block by feel is good to 5 um")
    setter_place_mm: PositiveFloat = Field(1.0, description="the pad is far wider than the tip")
    reference_mm: PositiveFloat = Field(0.010, description="same as a tool length")
    clearance_margin_mm: PositiveFloat = Field(
        2.0, description="room wanted above what stands under a way across"
    )
    tip_mm: PositiveFloat = Field(0.025, description="tip at work zero: length and work Z together")


class Scenario(Part):
    """A twin's whole set-up and what is done with it."""

    name: str = ""
    title: str = ""
    story: str = Field("", description="one paragraph for a reader")
    watch_for: str = ""
    kind: Literal["demonstration", "exercise", "scenario"] = "scenario"
    display: Literal["mm", "inch"] = "mm"
    seed: int = Field(1, ge=0)
    chance: bool = Field(True, description="False: no scatter, no bounce, scan phase 0")
    machine: Machine = Field(description='by name, as machine = "bed-mill", or as a table')
    setter: dict[str, Setter] = {}
    tools: dict[str, Tool] = {}
    stock: dict[str, Stock] = {}
    blocks: dict[str, Block] = {}
    placements: dict[str, Placement] = {}
    spindle_tool: str | None = Field(None, description="what is really in the spindle")
    controller: ControllerStart = ControllerStart()
    truth: Truth = Truth()
    work_system: SystemName | None = Field(None, description="the system that the job will use")
    tolerances: Tolerances = Tolerances()
    steps: tuple[AnyStep, ...] = ()
    meanwhile: tuple[Meanwhile, ...] = ()
    faults: tuple[Fault, ...] = ()
    questions: tuple[Question, ...] = ()
    expect: Expect | None = None
    exercise: Exercise | None = Field(None, description="for kind = 'exercise'")
    time_limit_s: PositiveFloat = Field(3600.0, description="a run that lasts longer is stopped")

    @model_validator(mode="after")
    def _is_what_it_says(self) -> Scenario:
        if (self.kind == "exercise") != (self.exercise is not None):
            raise ValueError("kind = 'exercise' and the table [exercise] belong together")
        if self.exercise is not None and self.steps:
            raise ValueError("an exercise has no steps: the trainee does them")
        return self
