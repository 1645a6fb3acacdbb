"""Touch-off routines in Python, on the controller's public calls only."""

from drytouch.sim.routines.registry import ROUTINES, Argument, Routine, routine_by_name

__all__ = ["ROUTINES", "Argument", "Routine", "routine_by_name"]
