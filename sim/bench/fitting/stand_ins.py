"""Stand-ins from the library: what may take the place of an exercise's setter, tool or stock."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_part
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scenario.scenario import Scenario, Stock
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.scenario.tool import Tool

# ---- setters -----------------------------------------------------------------------------


def setters_for(scenario: Scenario, machine: Machine, piled: bool) -> Iterator[dict[str, Setter]]:
    """The exercise's setters with contacts that suit the sockets; then lower ones instead."""
    yield {name: suited(machine, setter) for name, setter in scenario.setter.items()}
    named = [load_part("setter", name) for name in library.names("setter")]
    for other in sorted(named, key=lambda s: (-s.pad_height_mm, s.hold != "magnetic")):
        if not all(_stands_in(other, own, piled) for own in scenario.setter.values()):
            continue
        if other.kind == "plate" and not any(s.active_high for s in _watched(machine)):
            continue  # its circuit closes at the touch: an input that is pulled up sees the reverse
        yield {name: suited(machine, other) for name in scenario.setter}


def _stands_in(other: Setter, own: Setter, piled: bool) -> bool:
    if other.pad_height_mm >= own.pad_height_mm or other.link.kind != "cable":
        return False
    if bool(other.centre_bolt_diameter_mm) != bool(own.centre_bolt_diameter_mm):
        return False
    # What nothing holds slides when a table starts; a plate lies on rubber.
    return other.kind == "plate" or other.hold == "magnetic" or (
        other.hold == "bolted" and not piled
    )  # fmt: skip


def suited(machine: Machine, setter: Setter) -> Setter:
    """The same setter with a contact that one of the machine's inputs can read."""
    wanted = {"NO" if socket.active_high else "NC" for socket in _watched(machine)}
    if setter.contact in wanted:
        return setter
    other = "NO" if setter.contact == "NC" else "NC"
    said = {"NC": "normally closed", "NO": "normally open"}
    title = setter.title.replace(said[setter.contact], said[other])
    return setter.model_copy(update={"contact": other, "title": title})


def _watched(machine: Machine) -> list[Any]:
    """Sockets that a touch can watch."""
    habits, sockets = machine.habits, list(machine.sockets.values())
    if habits.watches == "fixed":
        return [s for s in sockets if s.input == habits.fixed_input] or sockets
    return sockets


def raised(setter: Setter, by_mm: float) -> Setter:
    """The setter on a riser that is screwed to its foot, and counts as part of it."""
    return setter.model_copy(
        update={
            "base_height_mm": setter.base_height_mm + by_mm,
            "pad_height_mm": setter.pad_height_mm + by_mm,
            "title": f"{setter.title}, on a riser of {by_mm:g} mm",
        }
    )


# ---- tools -------------------------------------------------------------------------------


def tool_between(
    name: str,
    tool: Tool,
    between_mm: tuple[float, float],
    setters: dict[str, Setter],
    taken: set[str],
) -> tuple[str, Tool] | None:
    """The tool itself, or the library's nearest in diameter that is neither too long nor short."""
    low, high = between_mm
    if low <= tool.true_length_mm <= high:
        return name, tool
    slips = tool.pulled_out_mm - tool.worn_mm
    found = []
    for other_name in library.names("tool"):
        other: Tool = load_part("tool", other_name)
        if other_name in taken or _kind(other) != _kind(tool):
            continue
        if low <= other.true_length_mm + slips <= high and all(
            _bears(other, setter) for setter in setters.values()
        ):
            away = abs(other.cutting_diameter_mm - tool.cutting_diameter_mm)
            found.append((away, -other.nominal_length_mm, other_name, other))
    if not found:
        return None
    *_, new, other = min(found, key=lambda entry: entry[:3])
    update = {"pulled_out_mm": tool.pulled_out_mm, "worn_mm": tool.worn_mm}
    return new, other.model_copy(update=update)


def hardest_to_replace(scenario: Scenario) -> str:
    """The tool that is hardest to replace: the one of whose kind the shortest is longest."""

    def shortest(tool: Tool) -> float:
        every = [load_part("tool", name) for name in library.names("tool")]
        return min(
            (t.nominal_length_mm for t in [*every, tool] if _kind(t) == _kind(tool)), default=0.0
        )

    return in_a_sentence(max(scenario.tools.values(), key=shortest))


def _kind(tool: Tool) -> str:
    """What a tool is, as far as touching it off goes."""
    if tool.certified_length_mm is not None:
        return "known"
    if tool.inserts is not None:
        return "ring" if tool.inserts.count > 1 else "one edge"
    last = tool.stack[-1]
    if last.shape == "ball":
        return "ball"
    return "flat" if tool.tip_diameter_mm > 0.0 else "pointed"


def _bears(tool: Tool, setter: Setter) -> bool:
    """Whether it bears the pad at full travel, and the pad sees it."""
    full = setter.preload_N + setter.rate_N_per_mm * (setter.pre_travel_mm + setter.overtravel_mm)
    return tool.force_limit_N > full and not (tool.coated and setter.kind == "plate")


# ---- stock and names -------------------------------------------------------------------


def stocks_for(scenario: Scenario) -> Iterator[dict[str, Stock]]:
    """The exercise's stock; then the same with lower pieces of the library."""
    yield dict(scenario.stock)
    pieces = {name: load_part("stock", name) for name in library.names("stock")}
    lower = sorted(
        (name for name, piece in pieces.items() if piece.kind == "stock" and piece.conducts),
        key=lambda name: -_tall(pieces[name]),
    )
    for name in lower:
        own = [n for n, piece in scenario.stock.items() if piece.kind == "stock"]
        if len(own) == 1 and _tall(pieces[name]) < _tall(scenario.stock[own[0]]):
            yield {
                (name if n == own[0] else n): (pieces[name] if n == own[0] else piece)
                for n, piece in scenario.stock.items()
            }


def _tall(stock: Stock) -> float:
    sizes = [part.at_mm[2] + (part.size_mm[2] if part.size_mm else part.height_mm or 0.0)
             for part in stock.parts]  # fmt: skip
    return max(sizes)


def in_a_sentence(part: Machine | Tool) -> str:
    """A part's name in a sentence: its title up to the first comma, in small letters."""
    head = (part.title or part.name or type(part).__name__).split(",")[0]
    return head[:1].lower() + head[1:]
