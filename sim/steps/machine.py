"""Steps at the operator's place: power, moves, overrides, tables, routines and programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.scenario.step_checks import own_units

if TYPE_CHECKING:
    from collections.abc import Generator

    from drytouch.sim.scenario import steps as model
    from drytouch.sim.twin.twin import Twin

    Calls = Generator[Any, Any, Any]


def drives(twin: Twin, step: model.Drives) -> None:
    """Switch the drives on or off."""
    kernel = twin.kernel
    if step.on:
        if kernel.estopped:
            raise StepError("the emergency stop is pressed", "pull it out (reset) first")
        kernel.powered = True
        twin.judge.powered_up(kernel.agenda.command(), twin.controller.source)
    else:
        if kernel.line is not None:
            raise StepError("the axes are moving", "use e-stop to stop them, or wait")
        kernel.drives_off()
    twin.recorder.event(kernel.agenda.now(), "power", step.on)


def home(twin: Twin, step: model.Home) -> Calls:
    """Home all axes."""
    yield from twin.controller.home()


def emergency_stop(twin: Twin, step: model.EmergencyStopStep) -> Calls:
    """Press the emergency stop, and wait until everything stands."""
    kernel = twin.kernel
    idle = kernel.line is None
    kernel.emergency_stop()
    # Reaction, run-down and sag of any machine are over well within this.
    yield from twin.controller.dwell(kernel.machine.emergency_stop.reaction_s + 1.0)
    if idle:
        twin.controller.emergency_stopped()


def stop(twin: Twin, step: model.Stop) -> None:
    """Press stop: the line that runs brakes, and whoever asked for it gets no further."""
    kernel, controller = twin.kernel, twin.controller
    t = kernel.agenda.command()
    twin.recorder.event(t, "stop", None)
    if controller.alarm_now is None:
        # No alarm of the controller's own: a person stopped, which says nothing about the work.
        controller.alarm_now = ControllerAlarm("stopped", "stop was pressed; reset to go on")
    line = kernel.line
    if line is not None and line.kind not in ("coast", "sag"):
        line.outcome = line.outcome or "stopped"
        line.stopping = True
        kernel.plan(t)


def reset(twin: Twin, step: model.Reset) -> None:
    """Pull the emergency stop out and clear the alarm."""
    twin.controller.reset()
    twin.kernel.powered = True
    twin.judge.powered_up(twin.kernel.agenda.now(), twin.controller.source)
    twin.recorder.event(twin.kernel.agenda.now(), "reset", None)


def power_cycle(twin: Twin, step: model.PowerCycle) -> Calls:
    """Switch the machine off and on: what it forgets, it forgets."""
    kernel, controller = twin.kernel, twin.controller
    if kernel.line is not None:
        raise StepError("the axes are moving", "wait until they rest")
    kernel.drives_off()
    # A minute for the controller to start; nothing depends on how long it takes.
    yield from controller.dwell(60.0)
    kernel.settle_inputs(kernel.agenda.command())
    if not kernel.machine.absolute_encoders:
        controller.homed = False
    if kernel.machine.habits.reference_lost_at_power_cycle:
        controller.forget_references("a power cycle")
    controller.reset()
    kernel.powered = True
    twin.judge.powered_up(kernel.agenda.now(), controller.source)


def spin(twin: Twin, step: model.Spin) -> None:
    """Start or stop the spindle."""
    twin.controller.spin(step.rpm)


def jog(twin: Twin, step: model.Jog) -> Calls:
    """Hold a jog key."""
    controller = twin.controller
    if step.by_mm is not None:
        yield from controller.jog(step.axis, step.by_mm, step.speed_mm_per_min)
        return
    if step.for_s is None:
        raise StepError("a jog needs by_mm or for_s", "give one of them")
    sign = 1 if step.towards == "+" else -1
    line = controller.start_jog(step.axis, sign, step.speed_mm_per_min)
    if line is None:
        return
    yield twin.env.timeout(step.for_s) | line.done
    controller.release_jog()
    if not line.done.processed:
        yield line.done
    controller.after(line)


def step_axis(twin: Twin, step: model.StepAxis) -> Calls:
    """Tap the step key."""
    for _ in range(step.count):
        yield from twin.controller.step(step.axis, step.by_mm)


def move(twin: Twin, step: model.Move) -> Calls:
    """One straight move by the controller."""
    if step.frame == "work" and step.z_mm is not None:
        twin.judge.work_move(twin.controller.source)
    words = {"x": step.x_mm, "y": step.y_mm, "z": step.z_mm, "frame": step.frame}
    if step.feed_mm_per_min is None:
        yield from twin.controller.rapid(**words)  # type: ignore[arg-type]
    else:
        yield from twin.controller.feed(feed_mm_per_min=step.feed_mm_per_min, **words)  # type: ignore[arg-type]


def touch(twin: Twin, step: model.TouchStep) -> Calls:
    """One bare touch, and what its height is used for. Nothing is asked before."""
    controller, tables = twin.controller, twin.tables
    found = yield from controller.touch(
        step.x_mm, step.y_mm, step.z_mm, step.feed_mm_per_min, step.frame
    )
    if step.store is None:
        return found
    record, name = controller.record(), tables.selected or ""
    if step.store == "reference":
        master = record.master_length_mm if controller.tables.slot else None
        controller.store_record(
            name,
            reference_z_mm=found.z - (master or 0.0),
            reference_by="master" if master else "face",
            reference_valid=True,
            stale="",
        )
        return found
    row = controller.row(step.row or 1)
    if step.store == "length":
        if record.reference_z_mm is None:
            raise StepError(f"{name} has no reference", "take one first")
        length = found.z - record.reference_z_mm + controller.base_for_lengths()
        controller.store_length(step.row or 1, length, keep_wear=step.keep_wear)
        return found
    if record.height_mm is None:
        raise StepError(f"the height of {name} is not stored", "measure it, or type it in")
    z = found.z - row.effective_mm - record.height_mm
    controller.store_system(step.system, z=z)
    return found


def override(twin: Twin, step: model.Override) -> None:
    """Turn an override knob."""
    twin.controller.turn_knobs(step.rapid, step.feed)


def feed_hold(twin: Twin, step: model.FeedHold) -> None:
    """Press feed hold, or go on."""
    twin.kernel.set_hold(step.on)


def select_setter(twin: Twin, step: model.SelectInput) -> None:
    """Choose whose input a touch watches."""
    twin.controller.select_setter(step.setter)


def type_in(twin: Twin, step: model.TypeIn) -> None:
    """Type numbers into a table."""
    twin.judge.typing = True
    try:
        _type(twin, step)
    finally:
        twin.judge.typing = False


def _type(twin: Twin, step: model.TypeIn) -> None:
    controller = twin.controller
    if step.row is not None:
        if step.length_mm is not None:
            controller.store_length(step.row, step.length_mm, keep_wear=True)
        if step.wear_mm is not None:
            controller.store_wear(step.row, step.wear_mm)
    if step.system is not None:
        axes = {"x": step.x_mm, "y": step.y_mm, "z": step.z_mm}
        controller.store_system(step.system, **{k: v for k, v in axes.items() if v is not None})
    if step.setter is not None:
        values = {
            "height_mm": step.height_mm,
            "clearance_z_mm": step.clearance_z_mm,
            "reference_z_mm": step.reference_z_mm,
            "master_length_mm": step.master_length_mm,
            "input": step.input,
            "x_mm": step.x_mm if step.system is None else None,
            "y_mm": step.y_mm if step.system is None else None,
        }
        known: dict[str, Any] = {k: v for k, v in values.items() if v is not None}
        if step.reference_z_mm is not None:
            known |= {"reference_valid": True, "stale": ""}
        if known:
            controller.store_record(step.setter, **known)


def select(twin: Twin, step: model.SelectSystem) -> None:
    """Make a work system or a length the active one."""
    if step.system is not None:
        twin.controller.select_system(step.system)
    if step.length_row is not None:
        twin.controller.select_length(step.length_row)


def mdi(twin: Twin, step: model.Mdi) -> Calls:
    """One line of program typed at the machine."""
    from drytouch.sim.steps.programs import run_line

    yield from run_line(twin, step.line)


def program(twin: Twin, step: model.Program) -> Calls:
    """Run a program file."""
    from drytouch.sim.steps.programs import run_file

    return (yield from run_file(twin, step))


def routine(twin: Twin, step: model.Routine) -> Calls:
    """Run a built-in routine."""
    from drytouch.sim.routines import routine_by_name

    entry = routine_by_name(step.name)
    arguments = own_units(step.arguments, (argument.name for argument in entry.arguments))
    return (yield from entry.call(twin.controller, arguments))


def wait(twin: Twin, step: model.Wait) -> Calls:
    """Let time pass."""
    yield from twin.controller.dwell(step.for_s)


DOERS: dict[str, Any] = {
    "drives": drives,
    "home": home,
    "e-stop": emergency_stop,
    "stop": stop,
    "reset": reset,
    "power-cycle": power_cycle,
    "spin": spin,
    "jog": jog,
    "step": step_axis,
    "move": move,
    "touch": touch,
    "override": override,
    "feed-hold": feed_hold,
    "select-setter": select_setter,
    "type-in": type_in,
    "select": select,
    "mdi": mdi,
    "program": program,
    "routine": routine,
    "wait": wait,
}
