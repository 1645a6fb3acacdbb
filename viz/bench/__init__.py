"""The bench's server: live sessions behind a page, on this machine unless asked otherwise.

One asyncio loop, one thread for all twins, no locks. Every 20 ms each twin is brought up to the
wall clock; 25 times a second what changed goes to its pages. A command first brings its twin up
to now and is then applied, without waiting for a tick. ``docs/bench-messages.md`` has the messages.
"""

from drytouch.viz.bench.app import make_app
from drytouch.viz.bench.room import Room, Rules
from drytouch.viz.bench.serve import serve

__all__ = ["Room", "Rules", "make_app", "serve"]
