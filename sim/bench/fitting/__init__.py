"""An exercise on another machine: what it uses, where it stands, what the controller believes."""

from drytouch.sim.bench.fitting.whole import fitted

__all__ = ["fitted"]
