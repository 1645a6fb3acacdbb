"""Run a list of steps, and what happens beside them."""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.recording import Source
from drytouch.sim.scenario.steps import AnyStep, Meanwhile
from drytouch.sim.steps import hands, machine, measuring, mishaps

if TYPE_CHECKING:
    from drytouch.sim.twin.twin import Twin

Calls = Generator[Any, Any, Any]
Doer = Callable[["Twin", Any], "Calls | None"]

DOERS: dict[str, Doer] = {**hands.DOERS, **machine.DOERS, **measuring.DOERS, **mishaps.DOERS}


def do_step(twin: Twin, step: AnyStep) -> Calls:
    """Do one step; what it returns is the generator's result.

    Raises:
        ControllerAlarm: the controller stopped.
        StepError: it can't be done now.
    """
    made = DOERS[step.do](twin, step)
    if made is None:
        return None
    return (yield from made)


def run_steps(twin: Twin) -> Calls:
    """All steps of the twin's scenario, in order; returns the results.

    After an alarm only a ``reset`` goes on: the steps before it are skipped, as a person would.
    """
    twin.watch()
    results = []
    stopped = False
    for index, step in enumerate(twin.scenario.steps):
        t = twin.kernel.agenda.command()
        if stopped and step.do != "reset":
            twin.recorder.event(t, "skipped", [index, step.do])
            continue
        stopped = False
        twin.controller.source = Source(step=index, call=_name(step))
        twin.recorder.event(t, "step", [index, _name(step), step.note])
        try:
            results.append((yield from do_step(twin, step)))
        except ControllerAlarm as alarm:
            results.append(alarm)
            stopped = True
        except StepError as error:
            raise StepError(
                f"step {index + 1} ({_name(step)}): {error.message}", error.fix
            ) from None
    return results


def _name(step: AnyStep) -> str:
    return step.name if step.do == "routine" else step.do


def watch(twin: Twin, beside: Meanwhile) -> None:
    """Have a step happen at its time, or some time after its event."""
    env = twin.env
    if beside.after is None:
        env.process(_later(twin, beside, (beside.at_s or 0.0) + beside.delay_s))
        return
    left = beside.nth

    def observe(kind: str, t: float) -> None:
        nonlocal left
        if kind == beside.after:
            left -= 1
            if left == 0:
                # The physics' time may be ahead of the clock by rounding only.
                env.process(_later(twin, beside, max(t - env.now, 0.0) + beside.delay_s))

    twin.kernel.observers.append(observe)


def _later(twin: Twin, beside: Meanwhile, delay_s: float) -> Calls:
    yield twin.env.timeout(delay_s)
    t = twin.kernel.agenda.command()
    twin.recorder.event(t, "meanwhile", beside.step.do)
    try:
        yield from do_step(twin, beside.step)
    except ControllerAlarm:
        return
    except StepError as error:
        twin.error = f"meanwhile, {beside.step.do}: {error}"
