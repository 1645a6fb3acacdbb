"""What can be wrong: the catalogue of faults, each one a small change to a scenario."""

from drytouch.sim.faults.catalogue import FAULTS, begins, fault_named, faulty, with_faults
from drytouch.sim.faults.entry import GROUPS, Argument, FaultEntry, NotHere

__all__ = [
    "FAULTS",
    "GROUPS",
    "Argument",
    "FaultEntry",
    "NotHere",
    "begins",
    "fault_named",
    "faulty",
    "with_faults",
]
