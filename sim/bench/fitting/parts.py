"""What an exercise uses on another machine: setter, tools, stock and block that its Z has room for.

The exercise's own things stay wherever they fit. Where Z is too short for them, the library's next
lower setter or shorter tool of the same kind takes their place; where it ends too high above the
table, the setter gets a riser or the gauge block is a taller one.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Any

from drytouch.sim.bench.fitting.stand_ins import (
    hardest_to_replace,
    in_a_sentence,
    raised,
    setters_for,
    stocks_for,
    tool_between,
)
from drytouch.sim.errors import InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_part
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scenario.places import height_of
from drytouch.sim.scenario.scenario import Block, Scenario, Stock
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.scenario.tool import Tool

# Room between a tool that is carried right up and what stands highest: the clearance height is
# somewhere in it, with the margins that routines want on both sides (5 and 2 mm).
ROOM_MM = 12.0
# Slow touches aim the back-off's 2 mm below the trip, and a record may ask for more.
BELOW_MM = 5.0
# What is felt with a block starts too low, and steps up.
FEEL_BELOW_MM = 2.0
# A riser taller than a setter is no longer how one stands; its height comes in steps of 10 mm.
MOST_RISER_MM, RISER_STEP_MM = 60.0, 10.0
# Where the top of Z, and where its lower end, leave no choice.
_TOO_LOW, _TOO_HIGH = "too low", "too high"


@dataclass(frozen=True, slots=True)
class Parts:
    """What stands in for the exercise's own things; names map old to new."""

    setter: dict[str, Setter]
    tools: dict[str, Tool]
    stock: dict[str, Stock]
    blocks: dict[str, Block]
    renamed: dict[str, str]

    def put_into(self, scenario: Scenario, machine: Machine) -> Scenario:
        """The scenario with these things, under their new names, on the machine."""
        new = self.renamed
        start = scenario.controller
        rows = {
            number: row.model_copy(update={"tool": new.get(row.tool or "", row.tool)})
            for number, row in start.rows.items()
        }
        places = {
            new.get(name, name): place.model_copy(update={"on": new.get(place.on, place.on)})
            for name, place in scenario.placements.items()
        }
        happenings = tuple(
            each.model_copy(update={"step": self._renamed(each.step)})
            for each in scenario.meanwhile
        )
        tool = scenario.spindle_tool
        return scenario.model_copy(
            update={
                "machine": machine,
                "setter": self.setter,
                "tools": self.tools,
                "stock": self.stock,
                "blocks": self.blocks,
                "placements": places,
                "spindle_tool": new.get(tool or "", tool),
                "meanwhile": happenings,
                "controller": start.model_copy(update={"rows": rows}),
            }
        )

    def _renamed(self, step: Any) -> Any:
        """What happens beside the trainee happens to what stands in for a thing."""
        named = {key: getattr(step, key, None) for key in ("tool", "item", "block", "on")}
        found = {key: self.renamed[name] for key, name in named.items() if name in self.renamed}
        return step.model_copy(update=found) if found else step


@dataclass(frozen=True, slots=True)
class Room:
    """How much there is between a machine's table and its spindle face, mm.

    ``onto_work``: the setter stands on the stock; ``zeroed``: it is put there for work Z.
    """

    machine: Machine
    onto_work: bool
    zeroed: bool

    @property
    def most(self) -> float:
        """Face above the table, right up."""
        return self.machine.axes.z.max_mm - self.machine.table.top_z_mm

    @property
    def least(self) -> float:
        """Face above the table, right down; below 0 where it could go through it."""
        return self.machine.axes.z.min_mm - self.machine.table.top_z_mm


def fitting_parts(scenario: Scenario, machine: Machine) -> Parts:
    """The exercise's things, or what takes their place on this machine.

    Raises:
        InputError: nothing in the library is short, low or tall enough.
    """
    exercise = scenario.exercise
    numbers = exercise.numbers if exercise else ()
    # Work Z through the setter: it is put onto the stock, and a tool goes on top of both.
    # Lengths that count from the work: it stands there all the time, under every tool.
    onto_work = machine.habits.length_convention == "work"
    zeroed = any(name.endswith(" z") for name in numbers)
    room = Room(machine, onto_work, zeroed)
    short = []
    for stock in stocks_for(scenario):
        for setter in setters_for(scenario, machine, onto_work or zeroed):
            found = _with_tools(scenario, room, setter, stock)
            if isinstance(found, Parts):
                return found
            short.append(found)
    named = in_a_sentence(machine)
    if short[0] == _TOO_HIGH:
        why = (
            f"the spindle face of the {named} ends {room.least:.0f} mm above its table: too high "
            "for the tools of this exercise to reach the setter, even on a riser, or the stock"
        )
    else:
        why = (
            f"the {named} has {room.most:.0f} mm between its table and the top of Z: too little "
            f"to carry the {hardest_to_replace(scenario)}, or anything shorter of its kind, over "
            "the setter and stock of this exercise"
        )
    raise InputError(
        why,
        key="machine",
        fix="choose another machine, or give the exercise other tools and another setter",
    )


def _with_tools(
    scenario: Scenario, room: Room, setters: dict[str, Setter], stock: dict[str, Stock]
) -> Parts | str:
    """These setters and this stock with tools that fit them; else what there is none for."""
    changed = scenario.model_copy(update={"setter": setters, "stock": stock})
    names = dict(zip(scenario.stock, stock, strict=True))
    low = min((s.pad_height_mm for s in setters.values()), default=0.0)
    standing = [height_of(changed, names.get(n, n)) for n in scenario.placements]
    highest = max((*standing, *(s.pad_height_mm for s in setters.values())), default=0.0)
    carrier = max((height_of(changed, name) for name in stock), default=0.0)
    pile = carrier + max((s.pad_height_mm for s in setters.values()), default=0.0)
    if room.onto_work:
        highest, low = max(highest, pile), low + carrier
    tools: dict[str, Tool] = {}
    for name, tool in scenario.tools.items():
        on_top = room.zeroed and tool.certified_length_mm is None
        # With the setter off again, the tip is stepped down to the stock.
        low_mm = room.least - carrier + FEEL_BELOW_MM if on_top else 0.0
        high_mm = room.most - ROOM_MM - (max(highest, pile) if on_top else highest)
        taken = {*scenario.tools, *tools}
        found = tool_between(name, tool, (low_mm, high_mm), setters, taken)
        if found is None:
            return _TOO_LOW if tool.true_length_mm > high_mm else _TOO_HIGH
        tools[found[0]] = found[1]
    riser = _riser(scenario, room, tools, setters, low)
    longest = max((tool.true_length_mm for tool in tools.values()), default=0.0)
    if riser is None:
        return _TOO_HIGH
    over = max(highest + longest, pile + _longest_zeroing(tools) if room.zeroed else 0.0)
    if riser and over + riser > room.most - ROOM_MM:
        return _TOO_LOW
    if riser:
        setters = {name: raised(setter, riser) for name, setter in setters.items()}
    blocks = _blocks(scenario, room, tools, carrier if room.onto_work else 0.0)
    if blocks is None:
        return _TOO_HIGH if room.least > 0.0 else _TOO_LOW
    renamed = names | dict(zip(scenario.tools, tools, strict=True))
    renamed |= dict(zip(scenario.blocks, blocks, strict=True))
    return Parts(setters, tools, stock, blocks, renamed)


def _longest_zeroing(tools: dict[str, Tool]) -> float:
    """Of the tools that may go onto the setter on the stock: all but those of known length."""
    return max((t.true_length_mm for t in tools.values() if t.certified_length_mm is None),
               default=0.0)  # fmt: skip


def _riser(
    scenario: Scenario,
    room: Room,
    tools: dict[str, Tool],
    setters: dict[str, Setter],
    low_mm: float,
) -> float | None:
    """How much higher the setter must stand for the shortest tool to reach it; None: too much."""
    if not setters:
        return 0.0
    deep = max(setter.pre_travel_mm for setter in setters.values()) + BELOW_MM
    lengths = [tool.true_length_mm for tool in tools.values()]
    needs = scenario.exercise.needs if scenario.exercise else None
    by_face = room.least + deep - low_mm
    # Only where a riser can do it; else the exercise is refused for what it is about.
    if needs is not None and needs.face_reaches and by_face <= MOST_RISER_MM:
        lengths.append(0.0)
    short = max((room.least + deep - low_mm - length for length in lengths), default=0.0)
    riser = ceil(max(short, 0.0) / RISER_STEP_MM) * RISER_STEP_MM
    return riser if riser <= MOST_RISER_MM else None


def _blocks(
    scenario: Scenario, room: Room, tools: dict[str, Tool], under_mm: float
) -> dict[str, Block] | None:
    """Blocks that the thing in the spindle can be stepped up from; None: there are none."""
    names = dict(zip(scenario.tools, tools, strict=True))
    held = tools.get(names.get(scenario.spindle_tool or "", ""))
    feeler = held or next((t for t in tools.values() if t.certified_length_mm is not None), None)
    length = under_mm + (feeler.true_length_mm if feeler else 0.0)
    low, high = room.least + FEEL_BELOW_MM - length, room.most - ROOM_MM - length
    found: dict[str, Block] = {}
    for name, block in scenario.blocks.items():
        if low <= block.size_mm <= high:
            found[name] = block
            continue
        others = [n for n in library.names("block") if n not in scenario.blocks and n not in found]
        sizes = {n: load_part("block", n) for n in others}
        fits = [n for n in others if low <= sizes[n].size_mm <= high and not sizes[n].error_um]
        if not fits:
            return None
        near = min(fits, key=lambda n: abs(sizes[n].size_mm - block.size_mm))
        found[near] = sizes[near].model_copy(update={"error_um": block.error_um})
    return found
