"""Where items stand: heights of what carries them, and their bodies in the scene."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import NamedTuple

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.geometry import (
    block_body,
    machine_bodies,
    setter_bodies,
    spindle_body,
    stock_body,
    tool_body,
)
from drytouch.sim.scenario.library import nearest
from drytouch.sim.scenario.scenario import Placement, Scenario, Stock
from drytouch.sim.scene import Body, Vector
from drytouch.sim.scene.pieces import prepare


class Place(NamedTuple):
    """Where an item stands: the middle of its foot (world mm at q = 0) and its turn (degrees)."""

    foot: Vector
    turn_deg: float


def item_names(scenario: Scenario) -> tuple[str, ...]:
    """Everything that can stand on the table: setters, stock, blocks."""
    return (*scenario.setter, *scenario.stock, *scenario.blocks)


def height_of(scenario: Scenario, item: str) -> float:
    """How far above an item's foot something on top of it stands, mm.

    A setter's pad is taken as free; a vise's seat is where the file says.
    """
    if item in scenario.setter:
        return scenario.setter[item].pad_height_mm
    if item in scenario.blocks:
        return scenario.blocks[item].true_size_mm
    if item in scenario.stock:
        stock = scenario.stock[item]
        if stock.seat_mm is not None:
            return stock.seat_mm
        return _stock_height(stock)
    raise InputError(f"there is no item '{item}'", fix=nearest(item, item_names(scenario)))


@lru_cache(maxsize=256)
def _stock_height(stock: Stock) -> float:
    # Remembered: every judged run asks for it, and its solids are built to find it.
    body = stock_body("stock", stock, (0.0, 0.0, 0.0))
    return max(piece.high[2] for piece in prepare(body))


def top_of(
    scenario: Scenario, item: str, placements: Mapping[str, Placement] | None = None
) -> float:
    """Machine Z of the top of the table or of an item where it now stands, mm.

    ``placements``: as they are now; absent: as the scenario starts.
    """
    places = scenario.placements if placements is None else placements
    z = scenario.machine.table.top_z_mm
    # From the table up: each item adds its height and what lies under it.
    for name in reversed(_pile(item, places)):
        z += places[name].lift_mm + height_of(scenario, name)
    return z


def _pile(item: str, places: Mapping[str, Placement]) -> list[str]:
    """The item and what it stands on, down to the table."""
    pile: list[str] = []
    while item != "table":
        if item in pile:
            raise InputError(f"'{item}' stands on itself", fix="put one of them on the table")
        if item not in places:
            raise InputError(f"'{item}' stands nowhere", fix=f"place '{item}' first")
        pile.append(item)
        item = places[item].on
    return pile


def place_of(scenario: Scenario, placement: Placement, carried: float) -> Place:
    """The place that a placement means on a support whose top is at machine Z ``carried``."""
    foot = (placement.x_mm, placement.y_mm, carried + placement.lift_mm)
    return Place(foot, placement.turn_deg)


def resolve_placements(
    scenario: Scenario, placements: Mapping[str, Placement] | None = None
) -> dict[str, Place]:
    """The place of every item that stands somewhere, supports before what they carry."""
    places = scenario.placements if placements is None else placements
    depth = {name: len(_pile(name, places)) for name in places}
    return {
        name: place_of(scenario, places[name], top_of(scenario, places[name].on, places))
        for name in sorted(places, key=lambda name: depth[name])
    }


def item_bodies(scenario: Scenario, item: str, place: Place) -> tuple[Body, ...]:
    """The bodies of one item where it stands: two for a setter, one for the rest."""
    foot, turn_deg = place
    link = scenario.machine.table_link
    if item in scenario.setter:
        return setter_bodies(item, scenario.setter[item], foot, turn_deg, link)
    if item in scenario.blocks:
        return (block_body(item, scenario.blocks[item], foot, turn_deg, link),)
    if item in scenario.stock:
        return (stock_body(item, scenario.stock[item], foot, turn_deg, link),)
    raise InputError(f"there is no item '{item}'", fix=nearest(item, item_names(scenario)))


def start_bodies(scenario: Scenario) -> Iterator[Body]:
    """Every body of the scene at the start, the spindle and its tool included."""
    machine, angle = scenario.machine, scenario.controller.spindle_angle_deg
    yield from machine_bodies(machine)
    yield spindle_body(machine, angle)
    if scenario.spindle_tool is not None:
        yield tool_body(scenario.tools[scenario.spindle_tool], angle, machine.head_link)
    for item, place in resolve_placements(scenario).items():
        yield from item_bodies(scenario, item, place)


def start_position(scenario: Scenario) -> Vector:
    """Where the axes really are at the start, machine mm."""
    axes, start = scenario.machine.axes, scenario.controller.position_mm
    believed = start or (axes.x.home_mm, axes.y.home_mm, axes.z.home_mm)
    error = scenario.truth.position_error_mm
    return (believed[0] + error[0], believed[1] + error[1], believed[2] + error[2])
