"""Running the twin at a feed: with the worst luck that there can be, and with plain chance."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any, NamedTuple

from drytouch.sim.errors import DrytouchError
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.study.feeds import InputChain, socket_of
from drytouch.sim.twin.chance import Chance
from drytouch.sim.twin.stage import Stage
from drytouch.sim.twin.twin import Twin

# A tick this long before something is as good as missed, s; far above the guard of ticks.
_JUST_BEFORE_S = 1e-7
# Room above the pad beyond the run-up, mm.
_ROOM_MM = 5.0


class Seen(NamedTuple):
    """What a touch at a feed did on the twin; ``problem``: why there was none."""

    feed_mm_per_min: float
    overtravel_mm: float
    too_much: bool
    problem: str = ""


class _Worst(Chance):
    """The latest that every source can be; ticks come at phases that are set from outside."""

    def __init__(self, scan_phase: float, tick_phase: float, bounces: bool) -> None:
        super().__init__(0)
        self._phases = {"scan": scan_phase, "servo-tick": tick_phase}
        self._bounces = bounces
        self._late = False

    def normal(self, source: str, sigma: float) -> float:
        """The mean: scatter of the trip moves the count's start along with it."""
        return 0.0

    def uniform(self, source: str, width: float) -> float:
        """The set phase; one bounce as long as the bounce time; the longest of all else."""
        if source in self._phases:
            return self._phases[source] % width if width > 0.0 else 0.0
        if source == "bounce":
            self._late = not self._late
            return width * (1.0 - 1e-9) if self._late else width * 1e-6
        return width * (1.0 - 1e-9)

    def exponential(self, source: str, mean: float) -> float:
        """The mean."""
        return mean

    def poisson(self, source: str, mean: float) -> int:
        """One pair of edges, where there may be any."""
        return 1 if self._bounces and mean > 0.0 else 0


class Proof:
    """Touches of one chain on the twin."""

    def __init__(self, scenario: Scenario, chain: InputChain) -> None:
        self._chain = chain
        name = chain.setter_name
        start = scenario.controller.model_copy(
            update={
                "drives_on": True, "homed": True, "position_mm": None, "proved": (name,),
                "plugs": {name: socket_of(scenario, name)}, "selected": name,
                "records": {name: chain.record},
            }
        )  # fmt: skip
        habits = scenario.machine.habits.model_copy(update={"after_touch": "stay"})
        self._scenario = scenario.model_copy(
            update={
                "controller": start,
                "machine": scenario.machine.model_copy(update={"habits": habits}),
                "spindle_tool": chain.tool_name,
                "steps": (), "meanwhile": (), "faults": (), "expect": None,
            }
        )  # fmt: skip
        self._stage = Stage(self._scenario)
        self._marks: tuple[float, float] = (0.0, 0.0)

    def worst(self, feed: float) -> Seen:
        """A touch for which each tick has just been missed; feed in mm/min."""
        scan, tick = 0.0, 0.0
        seen = self._touch(feed, _Worst(scan, tick, True))
        # What a tick delays comes after it: the phases can be set one after the other.
        if not seen.problem and self._chain.socket.scan_s > 0.0:
            scan = self._marks[0] - _JUST_BEFORE_S
            seen = self._touch(feed, _Worst(scan, tick, True))
        if not seen.problem:
            seen = self._touch(feed, _Worst(scan, self._marks[1] - _JUST_BEFORE_S, True))
        return seen

    def plain(self, feed: float, seeds: range) -> list[Seen]:
        """Touches with plain chance."""
        return [self._touch(feed, Chance(seed)) for seed in seeds]

    def _touch(self, feed: float, chance: Chance) -> Seen:
        twin = Twin(self._scenario, 0, self._stage)
        twin.chance = twin.kernel.chance = chance
        name, chain = self._chain.setter_name, self._chain
        trip = self._stage.pad_trip_z(name)
        place = self._stage.places.get(name)
        if trip is None or place is None:
            return Seen(feed, 0.0, False, f"{name} stands nowhere in this scenario")
        length = chain.tool.true_length_mm if chain.tool else 0.0
        beside = _edge_radius(chain)
        speed = feed / 60.0
        z = trip + length
        over = chain.stop_mm(speed) + speed * chain.lag_s + _ROOM_MM
        top = chain.machine.axes.z.max_mm
        below = max(z - chain.setter.overtravel_mm - 2 * _ROOM_MM, chain.machine.axes.z.min_mm)

        def down(controller: Any) -> Generator[Any, Any, Any]:
            yield from controller.rapid(z=top, frame="machine")
            x, y = place.foot[0] + beside, place.foot[1]
            yield from controller.rapid(x=x, y=y, frame="machine")
            yield from controller.rapid(z=min(z + over, top), frame="machine")
            yield from controller.touch(z=below, feed_mm_per_min=feed, setter=name)

        try:
            outcome = twin.run(down)
        except DrytouchError as error:
            return Seen(feed, 0.0, False, str(error).splitlines()[0])
        codes = set(outcome.codes)
        pad = twin.kernel.pads[name]
        if not pad.touching or not pad.pressed:
            why = outcome.alarms[0][1].message if outcome.alarms else "the pad was not reached"
            return Seen(feed, 0.0, False, why)
        self._marks = _marks(twin)
        too_much = bool(codes & {"setter-crushed", "tool-overloaded", "runaway"})
        return Seen(feed, max(pad.depth - pad.trip, 0.0), too_much)


def _edge_radius(chain: InputChain) -> float:
    """A ring of edges is hollow in the middle: it touches with an edge over the pad."""
    if chain.tool is None:
        face = chain.machine.spindle
        return (face.face_diameter_mm + face.bore_diameter_mm) / 4.0
    inserts = chain.tool.inserts
    if inserts is None:
        return 0.0
    return (inserts.circle_diameter_mm - inserts.edge_width_mm) / 2.0


def _marks(twin: Twin) -> tuple[float, float]:
    """When the level passed the filter for good, and when the controller saw it, s."""
    edges = twin.recorder.edges
    seen = next(t for t, signal, on in edges if on and signal.endswith(".seen"))
    passed = max(t for t, signal, on in edges if on and signal.endswith(".filtered"))
    return passed, seen
