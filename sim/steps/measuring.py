"""Steps of measuring by hand and eye: a block by feel, a rule, jogging back to the surface."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import StepError

if TYPE_CHECKING:
    from collections.abc import Generator

    from drytouch.sim.scenario import steps as model
    from drytouch.sim.twin.twin import Twin

    Calls = Generator[Any, Any, Any]

# A block that has this much room or less is felt to drag; hands differ by about a third of it.
DRAG_MM = 0.004
DRAG_SIGMA_MM = 0.001
# How far a gap is looked for below the spindle; more than any machine of this kind is tall.
FEEL_REACH_MM = 1000.0
# Jogging back: with a key down to here, where a person changes to steps.
JOG_NEAR_MM = 20.0
JOG_MM_PER_MIN = 1000.0
RULE_STEP_MM = 0.5
# A rule that disagrees by more than this with the table is no reading error.
RULE_DOUBT_MM = 1.0
# Jogging back: what a person accepts as "about zero" when the tip just touches.
ABOUT_ZERO_MM = 0.05


def _hand(twin: Twin, where: str | None) -> None:
    twin.judge.hand_in(where, twin.kernel.agenda.command(), twin.controller.source)


def gap_under(twin: Twin, on: str) -> float:
    """True gap (mm) between what hangs lowest on the head and what lies right under it."""
    t = twin.kernel.agenda.command()
    hits = twin.stage.below(twin.kernel.physical(t), FEEL_REACH_MM)
    for hit in hits:
        if hit.graze:
            continue
        if hit.other_body.removesuffix(".pad") != on:
            raise StepError(
                f"under the spindle is {hit.other_body}, not {on}",
                f"move so that the face or tip stands over {on}",
            )
        return hit.s
    raise StepError(f"{on} is not under the spindle", f"move over {on} first")


def feel(twin: Twin, block: str, on: str) -> str:
    """Try to slide a block into the gap: ``slides``, ``drags`` or ``wont-go``."""
    if block not in twin.scenario.blocks:
        known = ", ".join(twin.scenario.blocks) or "none"
        raise StepError(f"no gauge block '{block}'", f"there are: {known}")
    if block in twin.stage.places:
        raise StepError(f"{block} stands on the table", "take it away before feeling with it")
    room = gap_under(twin, on) - twin.scenario.blocks[block].true_size_mm
    if room < 0.0:
        return "wont-go"
    band = DRAG_MM + twin.chance.normal("feel", DRAG_SIGMA_MM)
    return "drags" if room <= band else "slides"


def feel_block(twin: Twin, step: model.FeelBlock) -> Calls:
    """Feel once, with a hand inside for as long; ``hand_ok``: held by its end, no finger near."""
    if not step.hand_ok:
        _hand(twin, "at the gauge block")
    yield from twin.controller.dwell(2.0)
    felt = feel(twin, step.block, step.on)
    _hand(twin, None)
    twin.recorder.event(twin.kernel.agenda.now(), "feel", [step.block, felt])
    return felt


def step_until_feel(twin: Twin, step: model.StepUntilFeel) -> Calls:
    """Step, try, step, try, until it feels as wanted; notes the height that the readout shows.

    The block is held by its end and drawn out before each step: no finger is near the gap.
    """
    for _ in range(step.most):
        felt = feel(twin, step.block, step.on)
        if felt == step.want:
            t = twin.kernel.agenda.now()
            twin.recorder.event(t, "feel", [step.block, felt])
            twin.tables.noted[step.block] = twin.controller.position[2]
            return felt
        yield from twin.controller.step("z", step.by_mm)
        yield from twin.controller.dwell(1.0)
    raise StepError(
        f"after {step.most} steps of {step.by_mm:g} mm the block never {step.want}",
        "start nearer, or step the other way: too low with the block out, then up until it goes",
    )


def rule(twin: Twin, step: model.MeasureByRule) -> Calls:
    """Hold a rule to it, and compare with what the table says; a hand is inside for as long."""
    _hand(twin, "at the tool with a rule")
    yield from twin.controller.dwell(10.0)
    _hand(twin, None)
    truth, belief = _by_rule(twin, step)
    shaky = truth + twin.chance.normal("rule", RULE_STEP_MM / 4)
    reading = round(shaky / RULE_STEP_MM) * RULE_STEP_MM
    t = twin.kernel.agenda.now()
    twin.recorder.event(t, "rule", [step.what, reading, belief])
    if belief is not None and abs(reading - belief) > RULE_DOUBT_MM:
        twin.controller.alarm(
            "out-of-limit",
            f"the rule reads {reading:.1f} mm, the table says {belief:.3f} mm",
            (("measured_mm", reading), ("stored_mm", belief), ("limit_mm", RULE_DOUBT_MM)),
        )
    return reading


def _by_rule(twin: Twin, step: model.MeasureByRule) -> tuple[float, float | None]:
    """The true value (mm), and what the controller has for it."""
    tables = twin.tables
    if step.what == "tool-length":
        if twin.stage.tool is None:
            raise StepError("there is no tool in the spindle", "load one first")
        row = tables.rows.get(step.row or tables.slot)
        known = row is not None and row.length_mm is not None
        base = twin.controller.base_for_lengths() if known else 0.0
        return twin.stage.tool.true_length_mm, (row.effective_mm - base) if known and row else None
    if step.what == "setter-height":
        name = step.setter or tables.selected or ""
        spec = twin.scenario.setter[name]
        return spec.pad_height_mm - spec.pre_travel_mm, tables.records[name].height_mm
    on = next(
        (n for n in twin.stage.places if n in twin.scenario.stock), "table"
    ) if step.what == "tip-to-stock" else "table"  # fmt: skip
    # Where no work zero was ever stored there is nothing to compare with: zero is not a number.
    zeroed = step.what == "tip-to-stock" and tables.systems[tables.system][2] != 0.0
    return gap_under(twin, on), twin.controller.work_position[2] if zeroed else None


def jog_back(twin: Twin, step: model.JogBack) -> Calls:
    """Jog near, step down until the tip all but touches the stock, and read: about zero."""
    controller = twin.controller
    controller.select_system(step.system)
    if step.row is not None:
        controller.select_length(step.row)
    name = next(
        (n for n in twin.stage.places
         if n in twin.scenario.stock and twin.scenario.stock[n].kind == "stock"),
        None,
    )  # fmt: skip
    if name is None:
        raise StepError("there is no stock to jog back to", "place the stock first")
    far = gap_under(twin, name) - JOG_NEAR_MM
    if far > 0.0:
        yield from controller.jog("z", -far, JOG_MM_PER_MIN)
    for size in (10.0, 1.0, 0.1, 0.01):
        # A person watches the gap and stops a step short of touching.
        while (gap := gap_under(twin, name)) > size * 1.05:
            before = controller.position[2]
            yield from controller.step("z", -size)
            if not controller.position[2] < before:
                raise StepError(
                    f"Z goes no further down: the tip stays {gap:.1f} mm above {name}",
                    "use a longer tool, or put something under the stock",
                )
    reading = controller.work_position[2]
    t = twin.kernel.agenda.now()
    twin.recorder.event(t, "jog-back", [step.system, reading])
    if abs(reading) > ABOUT_ZERO_MM:
        controller.alarm(
            "out-of-limit",
            f"with the tip on the stock the work position reads {reading:+.3f} mm, not about zero",
            (("measured_mm", reading), ("limit_mm", ABOUT_ZERO_MM)),
        )
    return reading


DOERS: dict[str, Any] = {
    "feel-block": feel_block,
    "step-until-feel": step_until_feel,
    "rule": rule,
    "jog-back": jog_back,
}
