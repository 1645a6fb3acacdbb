"""Faults of the setter itself: where it stands, what is on it, how its pad and contact behave."""

from __future__ import annotations

from drytouch.sim.faults.change import (
    record_of,
    setter_in_use,
    standing,
    when,
    with_controller,
    with_meanwhile,
    with_noise,
    with_placement,
    with_record,
    with_setter,
)
from drytouch.sim.faults.entry import NotHere, fault
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import FaultStep

_TWO = "Two slow touches that must agree, and ten touches inside a limit at each set-up."
_SECOND_WAY = "Check one number a second way: a tool of known length, or a rule."


@fault(
    "setter",
    "The setter is not there",
    "A search that ends a little below the expected trip, and a look at the table.",
)
def setter_missing(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """Somebody needed the room on the table and took the setter off."""
    name = standing(scenario, setter)
    carried = [item for item, place in scenario.placements.items() if place.on == name]
    if carried:
        raise NotHere(f"{carried[0]} stands on {name}")
    rest = {item: place for item, place in scenario.placements.items() if item != name}
    return scenario.model_copy(update={"placements": rest})


@fault(
    "setter",
    "The setter stands elsewhere than stored",
    "A search that ends a little below the expected trip; a look before the first touch.",
)
def setter_shifted(
    scenario: Scenario, *, setter: str | None = None, by_x_mm: float = 30.0, by_y_mm: float = 0.0
) -> Scenario:
    """A vise was slid along the table and took the setter with it."""
    name = standing(scenario, setter)
    place = scenario.placements[name]
    moved = _on_table(scenario, name, place.x_mm + by_x_mm, place.y_mm + by_y_mm)
    return with_placement(scenario, name, x_mm=moved[0], y_mm=moved[1])


@fault("setter", "The setter stands on a chip", f"Wipe before putting down. {_SECOND_WAY}")
def setter_on_chip(
    scenario: Scenario, *, setter: str | None = None, lift_mm: float = 0.3
) -> Scenario:
    """It was put back after cleaning, and a chip lay under its foot."""
    name = standing(scenario, setter)
    now = scenario.placements[name].lift_mm
    return with_placement(scenario, name, lift_mm=now + lift_mm)


@fault("setter", "A chip lies on the pad", f"Wipe pad and tool before each touch. {_SECOND_WAY}")
def chip_on_pad(scenario: Scenario, *, dirt_um: float = 80.0) -> Scenario:
    """A small chip from the last part sticks to the pad in its film of oil."""
    if not scenario.setter:
        raise NotHere("there is no setter")
    return with_noise(scenario, dirt_um=dirt_um)


@fault(
    "setter",
    "The contact is stuck closed",
    "Prove the input by hand right before each use, and see it go off again after each touch.",
)
def contact_stuck_closed(scenario: Scenario) -> Scenario:
    """Years of small sparks have welded the contact's points together."""
    if not scenario.setter:
        raise NotHere("there is no setter")
    return with_noise(scenario, contact="stuck-closed")


@fault("setter", "The contact never closes", "Prove the input by hand right before each use.")
def contact_stuck_open(scenario: Scenario) -> Scenario:
    """Coolant has crept into the switch and its points are coated."""
    if not scenario.setter:
        raise NotHere("there is no setter")
    return with_noise(scenario, contact="stuck-open")


@fault(
    "setter",
    "The pad hangs after its first touch",
    "See the input go off after the back-off, before the next touch.",
)
def pad_sticks_down(scenario: Scenario) -> Scenario:
    """Dried coolant holds the plunger down once it was pressed."""
    if not scenario.setter:
        raise NotHere("there is no setter")
    step = FaultStep(do="fault", name="contact-stuck-closed")
    return with_meanwhile(scenario, when(step, "close", 0.02))


@fault("setter", "The contact is worn and scatters", _TWO)
def contact_worn(
    scenario: Scenario, *, setter: str | None = None, sigma_mm: float = 0.03
) -> Scenario:
    """A hundred thousand touches have worn the points: it trips now here, now there."""
    name = setter_in_use(scenario, setter)
    if not scenario.chance:
        raise NotHere("the scenario runs without chance, and this is nothing but scatter")
    return with_setter(scenario, name, pre_travel_sigma_mm=sigma_mm)


@fault(
    "setter",
    "The contact bounces for long",
    "A filter longer than the bounce, and a routine that takes the first edge only.",
)
def contact_bounces(
    scenario: Scenario, *, setter: str | None = None, bounce_s: float = 0.03, pairs: int = 6
) -> Scenario:
    """The contact's spring has lost its tension."""
    name = setter_in_use(scenario, setter)
    if not scenario.chance:
        raise NotHere("the scenario runs without chance, and bounces are chance")
    return with_setter(scenario, name, bounce_s=bounce_s, bounce_pairs=pairs)


@fault(
    "setter",
    "The pre-travel has grown",
    f"Take the reference again after any work on the setter. {_SECOND_WAY}",
)
def pre_travel_grown(
    scenario: Scenario, *, setter: str | None = None, by_mm: float = 0.05
) -> Scenario:
    """The switch was renewed and adjusted, and nobody took the reference again."""
    name = _switch(scenario, setter)
    now = scenario.setter[name].pre_travel_mm
    return with_setter(scenario, name, pre_travel_mm=now + by_mm)


@fault("setter", "Nothing holds the setter down", "Bolt it, or locate it again after each move.")
def setter_loose(
    scenario: Scenario, *, setter: str | None = None, friction: float = 0.12
) -> Scenario:
    """One screw is missing and the other was never tightened."""
    name = setter_in_use(scenario, setter)
    if scenario.setter[name].hold == "loose":
        raise NotHere(f"{name} is loose already")
    return with_setter(
        scenario,
        name,
        hold="loose",
        holding_force_N=0.0,
        friction_static=friction,
        # Sliding steel rubs a quarter less than resting steel.
        friction_kinetic=friction * 0.75,
    )


@fault(
    "setter",
    "The pad is tilted",
    "Level the pad; measure wide and pointed tools and compare with a rule.",
)
def pad_tilted(scenario: Scenario, *, setter: str | None = None, tilt_deg: float = 1.0) -> Scenario:
    """A blow from the side has bent the plunger."""
    name = setter_in_use(scenario, setter)
    if scenario.setter[name].kind == "plate":
        raise NotHere(f"{name} has no plunger that could bend")
    return with_setter(scenario, name, tilt_deg=scenario.setter[name].tilt_deg + tilt_deg)


@fault(
    "setter",
    "The pad's spring is far too stiff",
    "Press the pad by hand before the first use; nothing at the input tells its force.",
    unseen=True,
)
def spring_stiff(
    scenario: Scenario, *, setter: str | None = None, preload_N: float = 450.0
) -> Scenario:
    """The spring of another setter was put in at the last repair."""
    name = _switch(scenario, setter)
    return with_setter(scenario, name, preload_N=preload_N)


@fault(
    "setter",
    "A setter of another height stands there",
    f"A search that starts well above the pad and ends little below it. {_SECOND_WAY}",
)
def setter_swapped(
    scenario: Scenario, *, setter: str | None = None, taller_mm: float = 5.0
) -> Scenario:
    """The setter went for repair and a similar one was screwed on in its place."""
    name = standing(scenario, setter)
    spec = scenario.setter[name]
    return with_setter(
        scenario,
        name,
        pad_height_mm=spec.pad_height_mm + taller_mm,
        base_height_mm=spec.base_height_mm + taller_mm,
    )


@fault(
    "setter",
    "Another setter's record is in use",
    "Read back which setter is selected; press its pad and see its input.",
)
def record_of_other_setter(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """The machine has two setters, and the wrong one was chosen on the screen."""
    name = setter_in_use(scenario, setter)
    others = [other for other in scenario.setter if other != name]
    if not others:
        raise NotHere("there is only one setter")
    return with_record(scenario, name, **dict(record_of(scenario, others[0])))


@fault(
    "setter",
    "The touch watches another setter's input",
    "Prove the input after each change of the selection.",
)
def watches_other_input(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """The input's number was mistyped in the setter's record."""
    name = setter_in_use(scenario, setter)
    if scenario.machine.habits.watches == "fixed":
        raise NotHere("this machine always watches one and the same input")
    now = record_of(scenario, name).input
    others = [s.input for s in scenario.machine.sockets.values() if s.input != now]
    if not others:
        raise NotHere("the machine has no other input")
    return with_controller(with_record(scenario, name, input=others[0]), proved=())


def _switch(scenario: Scenario, setter: str | None) -> str:
    name = setter_in_use(scenario, setter)
    if scenario.setter[name].kind == "plate":
        raise NotHere(f"{name} is a plate without spring and travel")
    return name


def _on_table(scenario: Scenario, name: str, x: float, y: float) -> tuple[float, float]:
    """The place asked for, or as far that way as the table goes."""
    if scenario.placements[name].on != "table":
        return x, y
    table, foot = scenario.machine.table, scenario.setter[name].base_diameter_mm / 2
    half_x, half_y = table.size_x_mm / 2 - foot, table.size_y_mm / 2 - foot
    return (
        min(max(x, table.centre_x_mm - half_x), table.centre_x_mm + half_x),
        min(max(y, table.centre_y_mm - half_y), table.centre_y_mm + half_y),
    )
