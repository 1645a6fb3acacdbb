"""What the controller believes on another machine: as true, or as false, as in the exercise.

Every stored height and length is compared with what is so in the exercise; on the other machine it
is what is so there, plus the same difference. A number that the exercise's author stored right is
right there, and one that is off by half a millimetre is off by that again.
"""

from __future__ import annotations

from math import ceil, sqrt
from typing import Any

from drytouch.sim.scenario.controller import ControllerStart, Row, SetterRecord
from drytouch.sim.scenario.load import load_part
from drytouch.sim.scenario.machine import Machine, Socket
from drytouch.sim.scenario.places import top_of
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.scenario.tool import Tool

# Room between the clearance height and what stands highest: what routines ask for, 5 mm.
MARGIN_MM = 5.0
# Two slow touches of a sound setter lie within this many standard deviations of each other.
_SIGMAS = 4.0
_MM_PER_UM = 1e-3


def fitting_controller(old: Scenario, new: Scenario) -> ControllerStart:
    """The controller's start on the machine of ``new``, whose parts and places are fitted."""
    sockets = _sockets(old, new)
    start = new.controller
    records = {
        name: _record(old, new, name, record, sockets[name])
        for name, record in old.controller.records.items()
    }
    start = start.model_copy(
        update={
            "records": records,
            "plugs": _plugs(old, new, sockets),
            "position_mm": None,
            "spindle_angle_deg": _angle(old, new),
        }
    )
    new = new.model_copy(update={"controller": start})
    rows, systems = _rows(old, new), _systems(old, new)
    return start.model_copy(update={"rows": rows, "systems": systems})


# ---- what is so --------------------------------------------------------------------------


def reported(scenario: Scenario, z_mm: float) -> float:
    """Machine Z that the readout shows when the face comes down to a height, mm."""
    return z_mm - scenario.machine.axes.z.backlash_mm / 2.0


def late_mm(scenario: Scenario, setter: str) -> float:
    """How far past the trip this machine notes a slow touch, mm: a reference shares it with tools.

    Delay of link, filter and half a scan, as far as the controller waits for them, and the lag of
    the axis behind its command where the command is what is noted.
    """
    record = scenario.controller.records.get(setter)
    sockets = [s for s in scenario.machine.sockets.values() if record and s.input == record.input]
    if record is None or not sockets:
        return 0.0
    machine, link, socket = scenario.machine, scenario.setter[setter].link, sockets[0]
    late = link.delay_s + link.jitter_s / 2.0
    if machine.habits.latch != "edge":
        late += socket.filter_s
    if machine.habits.latch == "scan":
        late += socket.scan_s / 2.0
    if machine.habits.latch_source == "command" or machine.servo.drive == "stepper":
        late += (1.0 - machine.servo.feed_forward) / machine.servo.position_gain_per_s
    return record.slow_mm_per_min / 60.0 * late


def trip_z(scenario: Scenario, setter: str) -> float | None:
    """Machine Z at which a tool of length 0 trips a setter where it stands, mm."""
    if setter not in scenario.placements:
        return None
    return reported(scenario, top_of(scenario, setter) - scenario.setter[setter].pre_travel_mm)


def _height(setter: Setter) -> float:
    return setter.pad_height_mm - setter.pre_travel_mm


def _work_top(scenario: Scenario) -> float:
    """Machine Z of the top of the stock, or of the bare table, mm."""
    names = [n for n in scenario.placements
             if n in scenario.stock and scenario.stock[n].kind == "stock"]  # fmt: skip
    top = top_of(scenario, names[0]) if names else scenario.machine.table.top_z_mm
    return reported(scenario, top)


def length_base(scenario: Scenario) -> float:
    """What the machine's convention adds to a length from the face, mm."""
    convention = scenario.machine.habits.length_convention
    if convention == "table":
        return reported(scenario, scenario.machine.table.top_z_mm)
    if convention == "work":
        return _work_top(scenario)
    if convention == "difference":
        records = scenario.controller.records.values()
        return -next((r.master_length_mm for r in records if r.master_length_mm), 0.0)
    return 0.0


# ---- sockets -----------------------------------------------------------------------------


def _sockets(old: Scenario, new: Scenario) -> dict[str, Socket]:
    """The socket of the new machine that each setter belongs in."""
    free = dict(new.machine.sockets)
    found = {}
    for name, setter in new.setter.items():
        record = old.controller.records.get(name)
        was = None if record is None else record.input
        named = next((n for n, s in old.machine.sockets.items() if s.input == was), "")
        choice = min(free or new.machine.sockets,
                     key=lambda n: _rank(new.machine, n, named, setter))  # fmt: skip
        found[name] = new.machine.sockets[choice]
        free.pop(choice, None)
    return found


def _rank(machine: Machine, name: str, named: str, setter: Setter) -> tuple[bool, bool, bool]:
    """What counts in choosing: the input that is watched, the polarity, the name."""
    socket, habits = machine.sockets[name], machine.habits
    watched = habits.watches != "fixed" or socket.input == habits.fixed_input
    return (not watched, socket.active_high != (setter.contact == "NO"), name != named)


def _plugs(old: Scenario, new: Scenario, sockets: dict[str, Socket]) -> dict[str, str]:
    """A plug that was in its right socket is so again; one that was not is in another, or out."""
    found: dict[str, str] = {}
    for setter, socket in old.controller.plugs.items():
        record = old.controller.records.get(setter)
        right = record is None or old.machine.sockets[socket].input == record.input
        named = [n for n, s in new.machine.sockets.items()
                 if (s.input == sockets[setter].input) == right]  # fmt: skip
        named = [n for n in named if n not in found.values()]
        if named:
            found[setter] = named[0]
    return found


# ---- records -----------------------------------------------------------------------------


def _record(
    old: Scenario, new: Scenario, name: str, record: SetterRecord, socket: Socket
) -> SetterRecord:
    setter, before = new.setter[name], old.setter[name]
    fed = record.model_copy(
        update={
            "input": socket.input,
            "slow_mm_per_min": min(record.slow_mm_per_min, setter.worst_feed_mm_per_min),
        }
    )
    new = new.model_copy(
        update={"controller": new.controller.model_copy(update={"records": {name: fed}})}
    )
    update: dict[str, Any] = {
        "input": socket.input,
        "fast_mm_per_min": min(record.fast_mm_per_min, setter.worst_feed_mm_per_min),
        "slow_mm_per_min": min(record.slow_mm_per_min, setter.worst_feed_mm_per_min),
    }
    update["agree_mm"] = max(
        record.agree_mm, scatter_mm(new.machine, setter, socket, update["slow_mm_per_min"])
    )
    for key in ("x_mm", "y_mm"):
        stored = getattr(record, key)
        if stored is not None:
            update[key] = stored + _moved(old, new, name, key)
    was, now = trip_z(old, name), trip_z(new, name)
    # What is stored was touched on that machine, which notes a trip late: tools share it.
    later = late_mm(new, name) - late_mm(old, name)
    if record.reference_z_mm is not None:
        if was is None or now is None:
            up = new.machine.table.top_z_mm - old.machine.table.top_z_mm
            was, now = 0.0, up + _height(setter) - _height(before)
        update["reference_z_mm"] = record.reference_z_mm - was + now - later
    if record.clearance_z_mm is not None:
        above = record.clearance_z_mm - _highest(old)
        longest = max((t.true_length_mm for t in new.tools.values()), default=0.0)
        most = max(new.machine.axes.z.max_mm - longest, _highest(new) + MARGIN_MM)
        update["clearance_z_mm"] = min(_highest(new) + above, most)
    if record.height_mm is not None:
        update["height_mm"] = record.height_mm - _height(before) + _height(setter) - later
    convention = new.machine.habits.length_convention
    numbers = new.exercise.numbers if new.exercise else ()
    if convention in ("table", "work") and record.height_mm is None:
        # Lengths count from what the setter stands on there: its height is known, unless to
        # measure it is what the exercise asks for.
        known = _height(setter) - late_mm(new, name)
        update["height_mm"] = None if f"{name} height" in numbers else known
    if convention == "difference" and record.master_length_mm is None:
        # Lengths count from a master tool there, and whoever set the machine up had stored it.
        update["master_length_mm"] = _master_length(new)
    return record.model_copy(update=update)


def scatter_mm(machine: Machine, setter: Setter, socket: Socket, feed_mm_per_min: float) -> float:
    """How far two slow touches of a sound setter may lie apart on this machine, whole um in mm.

    The contact scatters by its sigma; a scan and a radio's jitter come late by up to their time,
    a readout by up to its step, each spread evenly (a twelfth of the square).
    """
    speed = feed_mm_per_min / 60.0
    even = (speed * socket.scan_s, speed * setter.link.jitter_s, machine.axes.z.encoder_step_mm)
    one = setter.pre_travel_sigma_mm**2 + sum(width**2 for width in even) / 12.0
    return ceil(_SIGMAS * sqrt(2.0 * one) / _MM_PER_UM) * _MM_PER_UM


def _moved(old: Scenario, new: Scenario, name: str, key: str) -> float:
    if name in old.placements and name in new.placements:
        moved: float = getattr(new.placements[name], key) - getattr(old.placements[name], key)
        return moved
    axis = f"centre_{key}"
    shift: float = getattr(new.machine.table, axis) - getattr(old.machine.table, axis)
    return shift


def _highest(scenario: Scenario) -> float:
    """Machine Z of what stands highest, or of the table, mm."""
    tops = [top_of(scenario, name) for name in scenario.placements]
    return max(tops, default=scenario.machine.table.top_z_mm)


def _master_length(scenario: Scenario) -> float:
    known = [t.certified_length_mm for t in scenario.tools.values() if t.certified_length_mm]
    own: float = load_part("tool", "master-tool").certified_length_mm
    return own if own in known or not known else max(known)


# ---- rows, systems, angle ----------------------------------------------------------------


def _rows(old: Scenario, new: Scenario) -> dict[int, Row]:
    """Lengths in the new machine's convention, of the tools that are in the rows there."""
    step = length_base(new) - length_base(old)
    found = {}
    for number, row in new.controller.rows.items():
        was = old.tools.get(old.controller.rows[number].tool or "")
        now = new.tools.get(row.tool or "")
        update: dict[str, Any] = {}
        if row.length_mm is not None:
            longer = now.nominal_length_mm - was.nominal_length_mm if now and was else 0.0
            update["length_mm"] = row.length_mm + step + longer
        if now and was and row.diameter_mm:
            wider = now.cutting_diameter_mm - was.cutting_diameter_mm
            update["diameter_mm"] = row.diameter_mm + wider
        found[number] = row.model_copy(update=update)
    return found


def _systems(old: Scenario, new: Scenario) -> dict[Any, tuple[float, float, float]]:
    """Work zeros over the stock as they were, in the new machine's lengths."""
    step = _work_top(new) - length_base(new) - _work_top(old) + length_base(old)
    stock = next(iter(old.stock), "")
    place = dict(zip(old.stock, new.stock, strict=True)).get(stock, "")
    shift = []
    for key in ("x_mm", "y_mm"):
        if stock in old.placements and place in new.placements:
            shift.append(getattr(new.placements[place], key) - getattr(old.placements[stock], key))
        else:
            shift.append(_moved(old, new, "", key))
    return {
        name: (x + shift[0], y + shift[1], z + step)
        for name, (x, y, z) in old.controller.systems.items()
    }


def _angle(old: Scenario, new: Scenario) -> float:
    """The spindle's angle at which its first lug, or its tool's highest edge, stands as it did."""
    angle = old.controller.spindle_angle_deg
    was, now = old.machine.spindle.lugs, new.machine.spindle.lugs
    before, after = old.tools.get(old.spindle_tool or ""), new.tools.get(new.spindle_tool or "")
    if before and after and before.inserts and after.inserts:
        return angle + _highest_edge(before) - _highest_edge(after)
    if was and now:
        return angle + was[0].angle_deg - now[0].angle_deg
    return angle


def _highest_edge(tool: Tool) -> float:
    """Direction of a ring's highest edge with the spindle at 0, degrees."""
    assert tool.inserts is not None
    errors = tool.inserts.axial_errors_um or (0.0,)
    return errors.index(max(errors)) * 360.0 / tool.inserts.count
