"""Steps that a person's hands do: plugs, pads, tools, blocks, things put down and taken away."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import StepError
from drytouch.sim.scenario.scenario import Placement

if TYPE_CHECKING:
    from collections.abc import Generator

    from drytouch.sim.scenario import steps as model
    from drytouch.sim.twin.twin import Twin

    Calls = Generator[Any, Any, Any]


def plug_in(twin: Twin, step: model.PlugIn) -> None:
    """Put a cable into a socket, or pull it out."""
    twin.kernel.plug(step.setter, step.socket)
    twin.recorder.event(twin.kernel.agenda.now(), "plug", [step.setter, step.socket])


def press_pad(twin: Twin, step: model.PressPad) -> Calls:
    """Press the pad by hand, hold it, let it go: a hand is inside for that long."""
    if step.setter not in twin.stage.places:
        raise StepError(f"'{step.setter}' stands nowhere", "place it first")
    now = twin.kernel.agenda.now
    twin.judge.hand_in("at the pad", now(), twin.controller.source)
    twin.kernel.press_by_hand(step.setter, True)
    yield from twin.controller.dwell(step.hold_s)
    number = twin.controller.watched_input(step.setter)
    seen = twin.controller.input_on(step.setter)
    twin.recorder.event(now(), "input-seen", [number, seen])
    twin.kernel.press_by_hand(step.setter, False)
    # Long enough for filter, scan and a slow radio to show that it went off.
    yield from twin.controller.dwell(0.5)
    twin.judge.hand_in(None, now(), twin.controller.source)
    return seen


def load_tool(twin: Twin, step: model.LoadTool) -> Calls:
    """Put a tool into the spindle and tell the controller a row."""
    kernel, controller = twin.kernel, twin.controller
    if kernel.line is not None:
        raise StepError("the axes are moving", "wait until they rest")
    if kernel.rpm != 0.0:
        raise StepError("the spindle turns", "stop it first")
    if twin.scenario.machine.tool_change.by == "arm":
        yield from controller.rapid(
            z=_change_height(twin), frame="machine"
        )  # the arm swings only at its height
    yield from controller.dwell(twin.scenario.machine.tool_change.time_s)
    t = kernel.agenda.command()
    twin.stage.load(step.tool, twin.recorder, t)
    slot = step.slot
    if slot is None:
        rows = twin.tables.rows
        slot = next((n for n, row in rows.items() if row.tool == step.tool), 0) if step.tool else 0
    controller.believe_slot(slot)


def _change_height(twin: Twin) -> float:
    z = twin.scenario.machine.tool_change.z_mm
    return twin.controller.top if z is None else z


def turn_spindle(twin: Twin, step: model.TurnSpindle) -> None:
    """Turn the spindle by hand."""
    if twin.kernel.rpm != 0.0:
        raise StepError("the spindle turns under power", "stop it first")
    twin.kernel.turn_to(step.to_deg)


def place(twin: Twin, step: model.Place) -> None:
    """Put an item down."""
    t = twin.kernel.agenda.command()
    if step.on != "table" and step.on not in twin.stage.places:
        raise StepError(f"'{step.on}' stands nowhere", "place it first")
    placement = Placement(
        on=step.on, x_mm=step.x_mm, y_mm=step.y_mm, turn_deg=step.turn_deg, lift_mm=step.lift_mm
    )
    twin.stage.place(step.item, placement, twin.recorder, t)


def take_away(twin: Twin, step: model.TakeAway) -> None:
    """Take an item off."""
    t = twin.kernel.agenda.command()
    carried = [n for n, p in twin.stage.placements.items() if p.on == step.item]
    if carried:
        raise StepError(f"{carried[0]} stands on {step.item}", f"take {carried[0]} away first")
    twin.stage.take_away(step.item, twin.recorder, t)


def nudge(twin: Twin, step: model.Nudge) -> None:
    """Something knocks into an item."""
    t = twin.kernel.agenda.command()
    twin.stage.shift(step.item, step.by_mm, twin.recorder, t)
    if step.item in twin.scenario.setter:
        far = sum(v * v for v in step.by_mm) ** 0.5
        twin.judge.setter_moved(
            step.item, far, "something knocked into it", "Nobody told the controller.", t
        )


def hand(twin: Twin, step: model.Hand) -> None:
    """Put a hand in, or take it out."""
    t = twin.kernel.agenda.command()
    twin.judge.hand_in(step.where if step.inside else None, t, twin.controller.source)


DOERS: dict[str, Any] = {
    "plug-in": plug_in,
    "press-pad": press_pad,
    "load-tool": load_tool,
    "turn-spindle": turn_spindle,
    "place": place,
    "take-away": take_away,
    "nudge": nudge,
    "hand": hand,
}
