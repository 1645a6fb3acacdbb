"""Faults of the machine: its zero, its drives, when it notes a position, and warmth."""

from __future__ import annotations

from drytouch.sim.faults.change import (
    AXES,
    axis_named,
    plugged,
    when,
    with_axis,
    with_controller,
    with_machine,
    with_meanwhile,
    with_truth,
)
from drytouch.sim.faults.entry import NotHere, fault
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.steps import FaultStep

_AGAIN = "Take the reference again after each homing, crash or repair, and prove it with a tool."


@fault("machine", "The machine's zero has moved", _AGAIN)
def zero_moved(scenario: Scenario, *, axis: str = "z", by_mm: float = 0.5) -> Scenario:
    """An encoder was changed, and the axis zero was set a little off; flags stayed as they were."""
    index = axis_named(axis)
    error = list(scenario.truth.position_error_mm)
    error[index] += by_mm
    return with_truth(scenario, position_error_mm=tuple(error))


@fault("machine", "The reference is flagged invalid", "Ask for the flag before using a reference.")
def reference_lost(scenario: Scenario) -> Scenario:
    """After an emergency stop the controller has struck out every reference."""
    records = scenario.controller.records
    changed = {
        name: record.model_copy(update={"reference_valid": False})
        for name, record in records.items()
        if record.reference_valid
    }
    if not changed:
        raise NotHere("no setter has a valid reference")
    return with_controller(scenario, records={**records, **changed})


@fault(
    "machine",
    "Homed a turn of the screw off",
    "Compare the axis with its mark after homing, and touch a known height before anything else.",
)
def homed_a_turn_off(scenario: Scenario, *, axis: str = "z", turns: int = 1) -> Scenario:
    """A chip on the homing switch made the axis take its encoder's next zero mark."""
    index = axis_named(axis)
    by = turns * getattr(scenario.machine.axes, axis).screw_lead_mm
    truth = scenario.truth
    position, homing = list(truth.position_error_mm), list(truth.homing_error_mm)
    if scenario.controller.homed:
        position[index] += by
    homing[index] += by
    return with_truth(scenario, position_error_mm=tuple(position), homing_error_mm=tuple(homing))


@fault("machine", "The table's height was changed", _AGAIN)
def knee_moved(scenario: Scenario, *, by_mm: float = 2.0) -> Scenario:
    """Somebody cranked the knee to get a tall part under the spindle and cranked it back by eye."""
    table = scenario.machine.table
    moved = table.model_copy(update={"top_z_mm": table.top_z_mm + by_mm})
    return with_machine(scenario, table=moved)


@fault(
    "machine",
    "An axis has lost motion",
    "Come to every number from the same side; compare with a rule.",
)
def axis_slack(scenario: Scenario, *, axis: str = "z", backlash_mm: float = 0.08) -> Scenario:
    """The nut has worn, and the axis stands still for a little after each reversal."""
    axis_named(axis)
    if getattr(scenario.machine.axes, axis).backlash_mm >= backlash_mm:
        raise NotHere(f"axis {axis} has that much lost motion already")
    return with_axis(scenario, axis, backlash_mm=backlash_mm)


@fault(
    "machine",
    "The axes follow late",
    "Touch slowly: at a low feed a late axis is late by little, and runs on by little.",
)
def axes_lag(scenario: Scenario, *, position_gain_per_s: float = 12.0) -> Scenario:
    """Gains were lowered at the last service to quieten the machine, and drive limits widened."""
    servo = scenario.machine.servo
    if servo.drive == "stepper":
        raise NotHere("an open-loop drive has no gain")
    if servo.position_gain_per_s <= position_gain_per_s and servo.feed_forward == 0.0:
        raise NotHere("the axes follow as late as that already")
    changed = servo.model_copy(
        update={"position_gain_per_s": position_gain_per_s, "feed_forward": 0.0}
    )
    axes = scenario.machine.axes
    wider = {}
    for name in AXES:
        axis = getattr(axes, name)
        # Half as much again as the steady error at rapid, or every rapid would fault.
        least = 1.5 * axis.rapid_mm_per_min / 60.0 / position_gain_per_s
        limit = max(axis.following_error_limit_mm, least)
        wider[name] = axis.model_copy(update={"following_error_limit_mm": limit})
    return with_machine(scenario, servo=changed, axes=axes.model_copy(update=wider))


@fault(
    "machine",
    "The input is looked at seldom",
    "Touch slowly, reference and tools at one and the same feed, and ask two touches to agree.",
)
def scan_slow(scenario: Scenario, *, setter: str | None = None, scan_s: float = 0.05) -> Scenario:
    """A new program in the controller's background leaves less time for the inputs."""
    _, name = plugged(scenario, setter)
    sockets = scenario.machine.sockets
    if sockets[name].scan_s >= scan_s:
        raise NotHere("the input is looked at that seldom already")
    changed = sockets[name].model_copy(update={"scan_s": scan_s})
    return with_machine(scenario, sockets={**sockets, name: changed})


@fault(
    "machine",
    "The input's filter is long",
    "Touch slowly, reference and tools at one and the same feed.",
)
def filter_long(
    scenario: Scenario, *, setter: str | None = None, filter_s: float = 0.05
) -> Scenario:
    """The filter was turned up while somebody looked for a disturbance, and never down again."""
    _, name = plugged(scenario, setter)
    sockets = scenario.machine.sockets
    if sockets[name].filter_s >= filter_s:
        raise NotHere("the filter is that long already")
    changed = sockets[name].model_copy(update={"filter_s": filter_s})
    return with_machine(scenario, sockets={**sockets, name: changed})


@fault(
    "machine",
    "The position is noted where the command is",
    "Touch slowly, reference and tools at one and the same feed.",
)
def latches_command(scenario: Scenario) -> Scenario:
    """A setting now has a touch note the commanded position, which runs ahead of the axis."""
    machine = scenario.machine
    if machine.servo.drive == "stepper":
        raise NotHere("an open-loop drive knows its command only")
    if machine.habits.latch_source == "command":
        raise NotHere("it notes the command already")
    habits = machine.habits.model_copy(update={"latch_source": "command"})
    return with_machine(scenario, habits=habits)


@fault(
    "machine",
    "The position is noted at the next look",
    "Touch slowly, reference and tools at one and the same feed, and ask two touches to agree.",
)
def latches_late(scenario: Scenario) -> Scenario:
    """The fast input's board was swapped for a plain one."""
    habits = scenario.machine.habits
    if habits.latch == "scan":
        raise NotHere("it notes the position at the next look already")
    return with_machine(scenario, habits=habits.model_copy(update={"latch": "scan"}))


@fault(
    "machine",
    "The drive has lost steps",
    "Touch a known height after anything that could have stopped the axis, or home again.",
)
def steps_lost(scenario: Scenario, *, axis: str = "z", by_mm: float = 0.4) -> Scenario:
    """The axis met a clamp by hand this morning and stalled for a moment."""
    axis_named(axis)
    if scenario.machine.servo.drive != "stepper":
        raise NotHere("the axes have encoders, which would have told")
    step = FaultStep.model_construct(
        do="fault", name="zero-moved", arguments={"axis": axis, "by_mm": by_mm}
    )
    return with_meanwhile(scenario, when(step, "rapid"))


@fault(
    "machine",
    "Rapids run at 100 %",
    "Up before across, known clearances, and no rapid that ends near anything.",
)
def rapid_at_full(scenario: Scenario) -> Scenario:
    """The override stood low for the trial run, and somebody has turned it right up."""
    if scenario.controller.rapid_override == 1.0:
        raise NotHere("rapids run at 100 % already")
    return with_controller(scenario, rapid_override=1.0)


@fault(
    "machine",
    "The spindle is warm and longer",
    "Reference and tools at the same warmth; check one number by a second way after a warm-up.",
)
def spindle_grown(scenario: Scenario, *, warmth: float = 1.0, growth_mm: float = 0.03) -> Scenario:
    """The reference was taken on a cold morning; since then the spindle has run for hours."""
    machine = scenario.machine
    if machine.spindle.growth_mm < growth_mm:
        grown = machine.spindle.model_copy(update={"growth_mm": growth_mm})
        scenario = with_machine(scenario, spindle=grown)
    if scenario.controller.spindle_warmth >= warmth:
        raise NotHere("the spindle is as warm as that already")
    return with_controller(scenario, spindle_warmth=warmth)


@fault(
    "machine",
    "The axes brake weakly",
    "Slow touches, and room for the way that stopping takes.",
)
def brakes_weak(scenario: Scenario, *, share: float = 0.1) -> Scenario:
    """Acceleration was turned down to spare a worn screw."""
    axis = scenario.machine.axes.z
    return with_axis(
        scenario,
        "z",
        acceleration_mm_per_s2=axis.acceleration_mm_per_s2 * share,
        jerk_mm_per_s3=axis.jerk_mm_per_s3 * share,
    )
