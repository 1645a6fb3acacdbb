"""The whole of it: ``parts`` that Z has room for, their ``places``, and the ``tables`` about them.

What physics makes pointless is refused in a sentence.
"""

from __future__ import annotations

from typing import Any

from drytouch.sim.bench.fitting.parts import fitting_parts
from drytouch.sim.bench.fitting.places import beside_bore, fitting_places
from drytouch.sim.bench.fitting.stand_ins import in_a_sentence
from drytouch.sim.bench.fitting.tables import fitting_controller, late_mm
from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scenario.save import plain
from drytouch.sim.scenario.scenario import Scenario

# A touch aims the back-off's 2 mm below the trip, and refuses where the travel of Z ends before.
_BELOW_TRIP_MM = 2.0
# What is over the pad by less than this may miss it.
_ON_PAD_MM = 3.0
# A practised person goes down and up about once in this time, s.
_S_A_WAY = 60.0


def fitted(scenario: Scenario, machine: Machine) -> Scenario:
    """The scenario on another machine, checked as if it had been written for it.

    Raises:
        InputError: the machine lacks what the exercise is about, or has no room for it.
    """
    _refuse_pointless(scenario, machine)
    if machine == scenario.machine:
        _refuse_out_of_reach(scenario)
        return scenario
    changed = fitting_parts(scenario, machine).put_into(scenario, machine)
    _refuse_out_of_reach(changed)
    changed = changed.model_copy(update={"placements": fitting_places(scenario, changed)})
    changed = changed.model_copy(
        update={
            "controller": fitting_controller(scenario, changed),
            "exercise": _exercise(scenario, changed),
        }
    )
    changed = changed.model_copy(update={"tolerances": _tolerances(scenario, changed)})
    # Through plain data once more: every check of a file is made on the result.
    return scenario_from_dict(plain(changed))


def _tolerances(scenario: Scenario, changed: Scenario) -> Any:
    """What the exercise allows is kept for the person; what this machine adds comes on top.

    A trip is noted late, by the same in a reference and in tools; a height counts from a block,
    which is felt at rest and on the way up, so that lost motion is in it as well. A coarser readout
    rounds every number by up to a step.
    """
    late = max((late_mm(changed, name) for name in changed.setter), default=0.0) - max(
        (late_mm(scenario, name) for name in scenario.setter), default=0.0
    )
    lost = changed.machine.axes.z.backlash_mm - scenario.machine.axes.z.backlash_mm
    coarse = changed.machine.axes.z.encoder_step_mm - scenario.machine.axes.z.encoder_step_mm
    late, lost, coarse = max(late, 0.0), max(lost, 0.0), max(coarse, 0.0)
    own = scenario.tolerances
    return own.model_copy(
        update={
            "length_mm": own.length_mm + coarse,
            "work_z_mm": own.work_z_mm + coarse,
            "reference_mm": own.reference_mm + coarse + late,
            "setter_height_mm": own.setter_height_mm + coarse + late + lost,
        }
    )


def _exercise(scenario: Scenario, changed: Scenario) -> Any:
    """The exercise with a par for the slower machine: ways of Z, tool changes, and homing."""
    exercise = scenario.exercise
    if exercise is None:
        return None
    before, after = scenario.machine, changed.machine
    ways = exercise.par_s / _S_A_WAY * (_way_s(after) - _way_s(before))
    changes = len(scenario.tools) * (after.tool_change.time_s - before.tool_change.time_s)
    homing = _homing_s(after) - _homing_s(before) if "homed" in exercise.states else 0.0
    par = exercise.par_s + sum(max(more, 0.0) for more in (ways, changes, homing))
    return exercise.model_copy(update={"par_s": par})


def _way_s(machine: Machine) -> float:
    """Seconds for Z right down and up again."""
    z = machine.axes.z
    return 2.0 * (z.max_mm - z.min_mm) / z.rapid_mm_per_min * 60.0


def _homing_s(machine: Machine) -> float:
    axes = (machine.axes.x, machine.axes.y, machine.axes.z)
    return sum((a.max_mm - a.min_mm) / a.homing_mm_per_min for a in axes) * 60.0


def _refuse_pointless(scenario: Scenario, machine: Machine) -> None:
    """Raise where the machine has nothing of what the exercise is about."""
    needs = scenario.exercise.needs if scenario.exercise else None
    if needs is None:
        return
    named = in_a_sentence(machine)
    if needs.lugs and not machine.spindle.lugs:
        raise _refusal(
            f"the {named} has no drive lugs on its spindle, and this exercise is about them"
        )
    if needs.forgets and machine.emergency_stop.keeps_reference:
        raise _refusal(
            f"the {named} keeps its references over an emergency stop: there is nothing to recover"
        )


def _refuse_out_of_reach(scenario: Scenario) -> None:
    needs = scenario.exercise.needs if scenario.exercise else None
    machine = scenario.machine
    if needs is None or not needs.face_reaches:
        return
    for setter in scenario.setter.values():
        trip = machine.table.top_z_mm + setter.pad_height_mm - setter.pre_travel_mm
        short = machine.axes.z.min_mm + _BELOW_TRIP_MM - trip
        if short > 0.0:
            raise _refusal(
                f"the bare face of the {in_a_sentence(machine)} can't reach the pad: "
                f"its Z ends {short:.0f} mm too high"
            )
        radii = (machine.spindle.face_diameter_mm + setter.pad_diameter_mm) / 2
        if beside_bore(scenario) > radii - _ON_PAD_MM:
            raise _refusal(
                f"the drive lugs of the {in_a_sentence(machine)} meet this setter wherever its "
                "face meets the pad"
            )


def _refusal(why: str) -> InputError:
    return InputError(why, key="machine", fix="choose another machine, or another exercise")
