"""The setter: pad travel, trip and release, bounce, overtravel, force, how it is held down."""

from drytouch.sim.setter.pad import LEAST_RATE, Pad, bounce_edges, pad_normal
from drytouch.sim.setter.slide import GRAVITY_MM_PER_S2, run_out, slide, slide_distance

__all__ = [
    "GRAVITY_MM_PER_S2",
    "LEAST_RATE",
    "Pad",
    "bounce_edges",
    "pad_normal",
    "run_out",
    "slide",
    "slide_distance",
]
