"""Steps: what a person does, one after another, on a running twin."""

from drytouch.sim.steps.runner import do_step, run_steps

__all__ = ["do_step", "run_steps"]
