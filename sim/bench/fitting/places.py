"""Where an exercise's things stand on another machine: reached, on the table, clear of each other.

Things keep their places about the middle of the table where that can be; else they move as little
as it takes. What is looked for is the place of the spindle axis over each thing: within the travel
of X and Y, and with whatever hangs from the head clear of everything else that stands there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product
from math import ceil, cos, hypot, radians, sin, sqrt

from drytouch.sim.bench.fitting.stand_ins import in_a_sentence
from drytouch.sim.errors import InputError
from drytouch.sim.scenario.places import height_of
from drytouch.sim.scenario.scenario import Placement, Scenario, Stock
from drytouch.sim.scenario.shapes import SolidPart
from drytouch.sim.scenario.tool import Tool

# Kept between bodies that must not meet, and between an axis' limit and where it has to go.
APART_MM = 8.0
# A touch presses a pad down, at most by an overtravel of this size.
_DEEP_MM = 8.0
# A lug that passes the pad's rim by less than this is not seen to pass it.
_LUG_APART_MM = 4.0
_PRESSED_MM = 1.0
INSIDE_MM = 2.0
# Places that are looked at lie on a grid: at most this many steps a side, none under 5 mm.
_STEPS, _LEAST_STEP_MM = 40, 5.0
# A place on the bare table that a gauge block is felt on, where none has a place of its own.
_FREE = "(a free spot)"
_BLOCK_HALF_MM = 20.0


@dataclass(frozen=True, slots=True)
class _Thing:
    """Something on the table; ``beside``: how far from its middle the axis has to go."""

    name: str
    half: tuple[float, float]
    top: float
    beside: float
    wish: tuple[float, float]
    foot: float = 0.0


@dataclass(slots=True)
class _Layout:
    """What has found its place, and what the head needs round it."""

    scenario: Scenario
    window: tuple[tuple[float, float], tuple[float, float]]
    table: tuple[tuple[float, float], tuple[float, float]]
    face_top: float
    obstacles: list[tuple[tuple[float, float], _Thing]]
    placed: dict[str, tuple[tuple[float, float], _Thing]] = field(default_factory=dict)

    def fits(self, thing: _Thing, at: tuple[float, float]) -> bool:
        for value, (low, high), (edge_low, edge_high) in zip(
            at, self.window, self.table, strict=True
        ):
            if not low + thing.beside <= value <= high - thing.beside:
                return False
            if not edge_low + thing.foot <= value <= edge_high - thing.foot:
                return False
        others = [*self.placed.values(), *self.obstacles]
        return all(self._clear(thing, at, other, there) for there, other in others)

    def _clear(
        self, one: _Thing, at: tuple[float, float], other: _Thing, there: tuple[float, float]
    ) -> bool:
        away = [abs(at[i] - there[i]) for i in (0, 1)]
        apart = [away[i] - one.half[i] - other.half[i] for i in (0, 1)]
        if max(apart) < APART_MM:
            return False
        # The axis over the one, or beside it: what hangs there must pass the other, and back.
        for under, near in ((one, other), (other, one)):
            radius = hanging(self.scenario, near.top - under.top, self.face_top <= under.top)
            if max(away[i] - near.half[i] - under.beside for i in (0, 1)) < radius:
                return False
        return True

    def put(self, thing: _Thing, first: tuple[float, float] | None = None) -> bool:
        """Find the nearest place to the wish that fits; False: there is none."""
        wish = thing.wish if first is None else first
        if first is None and self.fits(thing, wish):
            self.placed[thing.name] = (wish, thing)
            return True
        near = sorted(self._grid(), key=lambda p: hypot(p[0] - wish[0], p[1] - wish[1]))
        found = next((place for place in near if self.fits(thing, place)), None)
        if found is not None:
            self.placed[thing.name] = (found, thing)
        return found is not None

    def _grid(self) -> Iterator[tuple[float, float]]:
        spans = []
        for low, high in self.window:
            step = max(_LEAST_STEP_MM, round((high - low) / _STEPS))
            spans.append([low + step * i for i in range(int((high - low) / step) + 1)])
        yield from product(*spans)


def hanging(scenario: Scenario, above_mm: float, bare: bool) -> float:
    """Radius (mm) of what hangs from the head up to this height above whatever it touches with.

    The widest of every tool of the crib, and of the bare face where that comes down as well.
    """
    above_mm += _DEEP_MM
    if above_mm <= 0.0:
        return 0.0
    lengths = [(tool.true_length_mm, _wide(tool, above_mm)) for tool in scenario.tools.values()]
    if bare or not lengths:
        lengths.append((0.0, 0.0))
    spindle, widest = scenario.machine.spindle, 0.0
    for length, wide in lengths:
        over = above_mm - length
        nose = spindle.face_diameter_mm / 2 if over > 0.0 else 0.0
        # The head's casting is square: its corners count.
        head = spindle.head_width_mm * 0.7072 if over > spindle.nose_length_mm else 0.0
        widest = max(widest, wide, nose, head)
    return widest + APART_MM


def _wide(tool: Tool, above_mm: float) -> float:
    """Widest radius of a tool up to a height above its tip, mm."""
    widest = tool.inserts.circle_diameter_mm / 2 if tool.inserts else 0.0
    bottom = tool.inserts.depth_mm if tool.inserts else 0.0
    for segment in reversed(tool.stack):
        if bottom < above_mm:
            widest = max(widest, segment.diameter_mm / 2)
        bottom += segment.height_mm
    return widest


def fitting_places(scenario: Scenario, changed: Scenario) -> dict[str, Placement]:
    """Placements of ``changed`` (its parts are fitted already) that suit its machine.

    Raises:
        InputError: its table or its travel is too small for what the exercise puts there.
    """
    old, new = scenario.machine.table, changed.machine.table
    machine = changed.machine
    axes = machine.axes
    window = tuple((axis.min_mm + INSIDE_MM, axis.max_mm - INSIDE_MM) for axis in (axes.x, axes.y))
    table = (
        (new.centre_x_mm - new.size_x_mm / 2, new.centre_x_mm + new.size_x_mm / 2),
        (new.centre_y_mm - new.size_y_mm / 2, new.centre_y_mm + new.size_y_mm / 2),
    )
    shift = (new.centre_x_mm - old.centre_x_mm, new.centre_y_mm - old.centre_y_mm)
    places = _onto_work(changed)
    things = list(_things(changed, places, shift))
    face_top = axes.z.min_mm - new.top_z_mm
    layout = _Layout(changed, (window[0], window[1]), table, face_top, _obstacles(changed))
    if not _laid_out(layout, things):
        raise InputError(
            f"the {in_a_sentence(machine)} has no room on its table, within its travel of X and "
            f"Y, for {', '.join(t.name for t in things if t.name != _FREE)} beside each other",
            key="machine",
            fix="choose a larger machine, or take something off the exercise's table",
        )
    found = {}
    for name, place in places.items():
        root = _root(name, places)
        x, y = layout.placed[root][0]
        foot = places[root]
        at = {"x_mm": place.x_mm - foot.x_mm + x, "y_mm": place.y_mm - foot.y_mm + y}
        found[name] = place.model_copy(update=at)
    return found


def _laid_out(layout: _Layout, things: list[_Thing]) -> bool:
    """Put everything down: as wished if that can be, else starting from each corner in turn."""
    for first in (None, *product(*layout.window)):
        layout.placed.clear()
        if all(
            layout.put(thing, first if index == 0 else None) for index, thing in enumerate(things)
        ):
            return True
    return False


def _onto_work(scenario: Scenario) -> dict[str, Placement]:
    """Where lengths count from the work, the setter stands on it: else no length can be true."""
    places = dict(scenario.placements)
    stock = next((n for n in places if n in scenario.stock
                  and scenario.stock[n].kind == "stock"), None)  # fmt: skip
    if scenario.machine.habits.length_convention != "work" or stock is None:
        return places
    for name in scenario.setter:
        if name in places and places[name].on == "table":
            on = {"on": stock, "x_mm": places[stock].x_mm, "y_mm": places[stock].y_mm}
            places[name] = places[name].model_copy(update=on)
    return places


def _root(name: str, places: dict[str, Placement]) -> str:
    while places[name].on != "table":
        name = places[name].on
    return name


def _things(
    scenario: Scenario, places: dict[str, Placement], shift: tuple[float, float]
) -> Iterator[_Thing]:
    """What stands on the table itself, setters first; what stands on it counts into its height."""
    order = sorted(places, key=lambda name: name not in scenario.setter)
    for name in order:
        if places[name].on != "table":
            continue
        place = places[name]
        top = max(_top(scenario, other, places) for other in places if _root(other, places) == name)
        carries = any(n in scenario.setter and _root(n, places) == name for n in places)
        yield _Thing(
            name,
            _half(scenario, name, place),
            top,
            _beside(scenario) if carries else 0.0,
            (place.x_mm + shift[0], place.y_mm + shift[1]),
            scenario.setter[name].base_diameter_mm / 2 if name in scenario.setter else 0.0,
        )
    if scenario.blocks and not any(name in places for name in scenario.blocks):
        centre = (scenario.machine.table.centre_x_mm, scenario.machine.table.centre_y_mm)
        size = max(block.size_mm for block in scenario.blocks.values())
        half = (_BLOCK_HALF_MM, _BLOCK_HALF_MM)
        yield _Thing(_FREE, half, size, 0.0, centre, _BLOCK_HALF_MM)


def _top(scenario: Scenario, name: str, places: dict[str, Placement]) -> float:
    """Height of an item's top above the table, mm."""
    height = 0.0
    while name != "table":
        height += places[name].lift_mm + height_of(scenario, name)
        name = places[name].on
    return height


def _beside(scenario: Scenario) -> float:
    """How far beside a setter's middle the axis has to go: off the bore, or for a cutter's edge."""
    needs = scenario.exercise.needs if scenario.exercise else None
    machine = scenario.machine
    face = machine.axes.z.min_mm < machine.table.top_z_mm + min(
        (s.pad_height_mm for s in scenario.setter.values()), default=0.0
    )
    wide = [t.inserts.circle_diameter_mm / 2 for t in scenario.tools.values() if t.inserts]
    used = face and (needs is None or needs.face_reaches or not scenario.tools or not wide)
    return max(beside_bore(scenario) if used else 0.0, *wide, 0.0)


def beside_bore(scenario: Scenario) -> float:
    """How far beside the pad's middle the axis stands for the face's ring to meet it, whole mm.

    In the middle of the ring; further out where lugs that lie across would still be over the pad.
    """
    spindle = scenario.machine.spindle
    ring = (spindle.bore_diameter_mm + spindle.face_diameter_mm) / 4
    past = []
    for lug, setter in product(spindle.lugs, scenario.setter.values()):
        # A lug that hangs past the pad meets what is under it, once the pad is pressed.
        deep = lug.height_mm + _PRESSED_MM > setter.pad_height_mm - setter.base_height_mm
        wide = max(setter.pad_diameter_mm, setter.base_diameter_mm if deep else 0.0)
        room = wide / 2 + _LUG_APART_MM
        past.append(lug.width_mm / 2 + sqrt(max(room**2 - lug.inner_radius_mm**2, 0.0)))
    return float(ceil(max(ring, *past, 0.0)))


def _half(scenario: Scenario, name: str, place: Placement) -> tuple[float, float]:
    if name in scenario.setter:
        setter = scenario.setter[name]
        radius = max(setter.base_diameter_mm, setter.pad_diameter_mm) / 2
        return (radius, radius)
    if name in scenario.blocks:
        block = scenario.blocks[name]
        return _turned(block.width_mm / 2, block.depth_mm / 2, place.turn_deg)
    stock: Stock = scenario.stock[name]
    boxes = [_extent(part) for part in stock.parts]
    return _turned(max(b[0] for b in boxes), max(b[1] for b in boxes), place.turn_deg)


def _extent(part: SolidPart) -> tuple[float, float]:
    """Half sizes of a box about what a part belongs to; a mesh counts as a usual part's size."""
    wide, deep = 60.0, 60.0
    if part.size_mm is not None:
        wide, deep = part.size_mm[0] / 2, part.size_mm[1] / 2
    elif part.diameter_mm is not None:
        wide = deep = part.diameter_mm / 2
    return wide + abs(part.at_mm[0]), deep + abs(part.at_mm[1])


def _turned(wide: float, deep: float, turn_deg: float) -> tuple[float, float]:
    c, s = abs(cos(radians(turn_deg))), abs(sin(radians(turn_deg)))
    return (wide * c + deep * s, wide * s + deep * c)


def _obstacles(scenario: Scenario) -> list[tuple[tuple[float, float], _Thing]]:
    """Bodies of the machine that stand on its table."""
    machine = scenario.machine
    found = []
    for part in machine.bodies:
        tall = part.size_mm[2] if part.size_mm else part.height_mm or 0.0
        top = part.at_mm[2] + tall - machine.table.top_z_mm
        if part.link == machine.table_link and top > 0.0:
            x, y, _ = part.at_mm
            wide, deep = _extent(part.model_copy(update={"at_mm": (0.0, 0.0, 0.0)}))
            found.append(((x, y), _Thing(part.name, (wide, deep), top, 0.0, (x, y))))
    return found
