"""Jerk-limited moves as piecewise cubics; stop, jog, hold; servo lag; what an impact carries."""

from drytouch.sim.motion.from_rest import from_rest
from drytouch.sim.motion.impact import effective_mass_kg, impact_energy_j, peak_force_n
from drytouch.sim.motion.lag import actual_crossing, actual_state, delay_s, following_error
from drytouch.sim.motion.limits import Limits, along, arc_limits, dog_leg, harder
from drytouch.sim.motion.override import with_feed_override, with_rapid_override
from drytouch.sim.motion.pieces import (
    Piece,
    State,
    acceleration,
    position,
    rest,
    speed,
    split_at_reversal,
)
from drytouch.sim.motion.plans import (
    coast,
    drop,
    stop,
    stop_distance,
    stop_distance_from,
    stop_time,
    to_goal,
    to_speed,
)
from drytouch.sim.motion.track import Track

__all__ = [
    "Limits",
    "Piece",
    "State",
    "Track",
    "acceleration",
    "actual_crossing",
    "actual_state",
    "along",
    "arc_limits",
    "coast",
    "delay_s",
    "dog_leg",
    "drop",
    "effective_mass_kg",
    "following_error",
    "from_rest",
    "harder",
    "impact_energy_j",
    "peak_force_n",
    "position",
    "rest",
    "speed",
    "split_at_reversal",
    "stop",
    "stop_distance",
    "stop_distance_from",
    "stop_time",
    "to_goal",
    "to_speed",
    "with_feed_override",
    "with_rapid_override",
]
