"""Faults in what the controller has stored, and in what it was told."""

from __future__ import annotations

from drytouch.sim.faults.change import (
    record_of,
    setter_in_use,
    with_controller,
    with_record,
    with_row,
)
from drytouch.sim.faults.entry import NotHere, fault
from drytouch.sim.scenario.controller import SYSTEM_NAMES
from drytouch.sim.scenario.scenario import Scenario

_BACK = "Read the number back and compare it with what it should be."
_SECOND_WAY = "Check one number a second way: a tool of known length, or a rule."
_MM_PER_INCH = 25.4


@fault(
    "data",
    "A length offset is active",
    "Move in machine coordinates, or cancel offsets, before a touch.",
)
def offset_active(scenario: Scenario, *, row: int | None = None) -> Scenario:
    """The last program ended without cancelling its tool length."""
    rows = scenario.controller.rows
    known = [n for n, entry in rows.items() if entry.length_mm]
    if row is not None and row not in known:
        raise NotHere(f"row {row} holds no length")
    if row is None and not known:
        raise NotHere("no row holds a length")
    number = known[0] if row is None else row
    if scenario.controller.length_offset_row == number:
        raise NotHere("that length is active already")
    return with_controller(scenario, length_offset_row=number)


@fault("data", "Another work system is active", f"Say the work system aloud. {_BACK}")
def other_system(
    scenario: Scenario, *, system: str | None = None, by_z_mm: float = 10.0
) -> Scenario:
    """The last job ran in another work system, and it is still the active one."""
    now = scenario.controller.system
    new = system or ("G55" if now != "G55" else "G54")
    if new not in SYSTEM_NAMES or new == now:
        raise NotHere(f"there is no other work system '{new}'")
    systems = scenario.controller.systems
    here = systems.get(now, (0.0, 0.0, 0.0))
    # The last job's zero lay elsewhere, or nobody could tell the two apart.
    there = systems.get(new) or (here[0], here[1], here[2] - by_z_mm)  # type: ignore[call-overload]
    return with_controller(scenario, system=new, systems={**systems, new: there})


@fault("data", "The controller counts in the other unit", "State the unit in every program.")
def other_units(scenario: Scenario) -> Scenario:
    """The last program was in inches and nobody switched back (or the other way round)."""
    other = "mm" if scenario.controller.units == "inch" else "inch"
    return with_controller(scenario, units=other)


@fault("data", "Moves count from where the axis is", "State the way of counting in every program.")
def counts_in_steps(scenario: Scenario) -> Scenario:
    """Incremental moves are still on from a line that was typed by hand."""
    if scenario.controller.distance == "incremental":
        raise NotHere("moves count in steps already")
    return with_controller(scenario, distance="incremental")


@fault("data", "Lengths were typed in the other unit", f"{_BACK} {_SECOND_WAY}")
def length_in_inch(scenario: Scenario) -> Scenario:
    """The set-up sheet was in inches, and its figures were typed in as they stood."""
    rows = scenario.controller.rows
    changed = {
        number: row.model_copy(update={"length_mm": row.length_mm / _MM_PER_INCH})
        for number, row in rows.items()
        if row.length_mm
    }
    if not changed:
        raise NotHere("no row holds a length")
    return with_controller(scenario, rows={**rows, **changed})


@fault(
    "data",
    "The controller has another row in the spindle",
    "Compare the row in use with the tool in the spindle before storing.",
)
def wrong_slot(scenario: Scenario, *, slot: int | None = None) -> Scenario:
    """The tool was changed by hand and the wrong number was told to the controller."""
    now = scenario.controller.slot
    if scenario.spindle_tool is None:
        raise NotHere("the spindle is bare")
    others = [n for n in scenario.controller.rows if n != now]
    new = slot if slot is not None else (others[0] if others else now + 1)
    if new == now or not 0 <= new <= scenario.machine.habits.rows:
        raise NotHere("there is no other row")
    return with_controller(scenario, slot=new)


@fault(
    "data",
    "Two tools have changed places",
    f"Read the tool before each touch. {_BACK}",
)
def rows_swapped(scenario: Scenario) -> Scenario:
    """The two tools were put back into each other's place after cleaning."""
    rows, now = scenario.controller.rows, scenario.controller.slot
    others = [n for n in rows if n != now and rows[n].tool]
    if now not in rows or not others:
        raise NotHere("there are no two rows with tools")
    other = others[0]
    first, second = rows[now].tool, rows[other].tool
    swapped = with_row(with_row(scenario, now, tool=second), other, tool=first)
    return swapped


@fault("data", "Old wear is in the rows", "Clear the wear whenever a length is measured.")
def old_wear(scenario: Scenario, *, wear_mm: float = -0.08) -> Scenario:
    """The wear of the cutter that was worn out is still in the row of the new one."""
    rows = scenario.controller.rows
    if not rows:
        raise NotHere("the tool table is empty")
    changed = {
        number: row.model_copy(update={"wear_mm": row.wear_mm + wear_mm})
        for number, row in rows.items()
    }
    return with_controller(scenario, rows=changed)


@fault("data", "The setter's stored height is wrong", f"{_BACK} {_SECOND_WAY}")
def height_wrong(scenario: Scenario, *, setter: str | None = None, by_mm: float = 0.5) -> Scenario:
    """A digit was mistyped when the setter's height was entered."""
    name = setter_in_use(scenario, setter)
    height = record_of(scenario, name).height_mm
    if height is None:
        raise NotHere(f"the height of {name} is not stored")
    return with_record(scenario, name, height_mm=height + by_mm)


@fault("data", "The stored reference is wrong", f"{_BACK} {_SECOND_WAY}")
def reference_wrong(
    scenario: Scenario, *, setter: str | None = None, by_mm: float = 0.9
) -> Scenario:
    """Two digits changed places when the tables were typed in again after a reset."""
    name = setter_in_use(scenario, setter)
    record = record_of(scenario, name)
    if record.reference_z_mm is None:
        raise NotHere(f"{name} has no reference")
    return with_record(scenario, name, reference_z_mm=record.reference_z_mm + by_mm)


@fault(
    "data",
    "The setter's stored place is wrong",
    "A search that ends a little below the expected trip; a look before the first touch.",
)
def place_wrong(
    scenario: Scenario, *, setter: str | None = None, by_x_mm: float = 30.0, by_y_mm: float = 0.0
) -> Scenario:
    """The setter's place was stored with the jog still running."""
    name = setter_in_use(scenario, setter)
    record = record_of(scenario, name)
    if record.x_mm is None or record.y_mm is None:
        raise NotHere(f"the place of {name} is not stored")
    axes = scenario.machine.axes
    x = min(max(record.x_mm + by_x_mm, axes.x.min_mm), axes.x.max_mm)
    y = min(max(record.y_mm + by_y_mm, axes.y.min_mm), axes.y.max_mm)
    return with_record(scenario, name, x_mm=x, y_mm=y)


@fault(
    "data",
    "A gauge block is not its size",
    "Measure with the block that the setter stands on, or with a second block.",
    unseen=True,
)
def block_size_wrong(scenario: Scenario, *, by_um: float = 50.0) -> Scenario:
    """The block of 50 in the box is worn, or it is a 49.95 from another set."""
    if not scenario.blocks:
        raise NotHere("there is no gauge block")
    changed = {
        name: block.model_copy(update={"error_um": block.error_um + by_um})
        for name, block in scenario.blocks.items()
    }
    return scenario.model_copy(update={"blocks": changed})


@fault(
    "data",
    "The clearance height is too low",
    "Right up before moving across, whatever the stored height says.",
)
def clearance_low(
    scenario: Scenario, *, setter: str | None = None, by_mm: float = 60.0
) -> Scenario:
    """The height was set for a flat plate; now a vise stands on the table."""
    name = setter_in_use(scenario, setter)
    height = record_of(scenario, name).clearance_z_mm
    if height is None:
        raise NotHere(f"{name} has no clearance height")
    return with_record(scenario, name, clearance_z_mm=height - by_mm)


@fault("data", "A shift is left over", "Cancel shifts before work Z is set, and look for them.")
def leftover_shift(scenario: Scenario, *, z_mm: float = 5.0) -> Scenario:
    """A program shifted its zero for a second part and was stopped before it shifted back."""
    x, y, z = scenario.controller.shift_mm
    return with_controller(scenario, shift_mm=(x, y, z + z_mm))


@fault(
    "data",
    "The slow touch is not slow",
    "Reference and tools at one and the same feed; a limit on how far two touches lie apart.",
)
def feed_too_high(
    scenario: Scenario, *, setter: str | None = None, feed_mm_per_min: float = 600.0
) -> Scenario:
    """Somebody in a hurry raised the touching feeds in the setter's record."""
    name = setter_in_use(scenario, setter)
    return with_record(
        scenario, name, fast_mm_per_min=feed_mm_per_min, slow_mm_per_min=feed_mm_per_min
    )


@fault(
    "data",
    "The back-off is too short",
    "Back off by more than overtravel, hysteresis and run-up together.",
)
def back_off_short(
    scenario: Scenario, *, setter: str | None = None, back_off_mm: float = 0.02
) -> Scenario:
    """The back-off was shortened to save a second a tool."""
    name = setter_in_use(scenario, setter)
    return with_record(scenario, name, back_off_mm=back_off_mm)
