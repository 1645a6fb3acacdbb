"""Signals: socket, wire, polarity, filter, scan."""

from drytouch.sim.signals.input import Input, next_tick
from drytouch.sim.signals.wire import Wire, level

__all__ = ["Input", "Wire", "level", "next_tick"]
