"""The bodies of a running twin: what stands where in truth, and what is in the spindle."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from drytouch.sim.errors import StepError
from drytouch.sim.scenario.geometry import chain_of, machine_bodies, spindle_body, tool_body
from drytouch.sim.scenario.places import (
    Place,
    item_bodies,
    place_of,
    resolve_placements,
    top_of,
)
from drytouch.sim.scenario.scenario import Placement, Scenario
from drytouch.sim.scene import Body, ContactCache, Hit, Placed, Ring, Scene, Vector, first_contacts

if TYPE_CHECKING:
    from drytouch.sim.recording import Recorder
    from drytouch.sim.scenario.tool import Inserts, Tool
    from drytouch.sim.twin.arc import Arc

# One memory of contacts for all twins of the process: trials ask the same lines again and again.
_CACHE = ContactCache(20_000)
_VERTICAL = ((0.0, 0.0, -1.0), (0.0, 0.0, 1.0))
# Column queries start this far above the highest position, and end as far below the lowest.
_OVER_TOP_MM = 20.0
# The scene's own band of touching: nearer than this counts as in touch.
_TOUCHING_MM = 1e-6
# A contact counts as sideways when its normal is nearer the table plane than this (45 degrees).
_SIDEWAYS = 0.7


class Stage:
    """Truth about bodies. Nothing of the controller's reads it."""

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.machine = scenario.machine
        self.scene = Scene(chain_of(scenario.machine))
        self.placements: dict[str, Placement] = dict(scenario.placements)
        self.places: dict[str, Place] = {}
        self.angle_deg = scenario.controller.spindle_angle_deg
        self.tool_name = scenario.spindle_tool
        self.tool: Tool | None = (
            scenario.tools[scenario.spindle_tool] if scenario.spindle_tool else None
        )
        self.turns = False
        # Setters that nothing bolts down, so that acceleration or a blow can shift them.
        self.loose = tuple(n for n, s in scenario.setter.items() if s.hold != "bolted")
        for body in machine_bodies(self.machine):
            self.scene.place(body)
        self.scene.place(spindle_body(self.machine, self.angle_deg))
        if self.tool is not None:
            self.scene.place(self._tool_body(self.tool))
        for name, place in resolve_placements(scenario).items():
            self.places[name] = place
            for body in item_bodies(scenario, name, place):
                self.scene.place(body)

    def copy(self) -> Stage:
        """The same stage for another run; bodies are shared, what stands where is not."""
        # Made once here, these serve every copy instead of being made again in each.
        _ = self.scene.content_key, self.scene.links()
        twin = object.__new__(Stage)
        twin.__dict__.update(self.__dict__)
        twin.scene = self.scene.copy()
        twin.placements = dict(self.placements)
        twin.places = dict(self.places)
        return twin

    def with_figures(self, scenario: Scenario) -> Stage:
        """The same bodies for a scenario that differs only in figures on which no body depends."""
        twin = self.copy()
        twin.scenario, twin.machine = scenario, scenario.machine
        if self.tool_name is not None:
            twin.tool = scenario.tools[self.tool_name]
        return twin

    def register(self, recorder: Recorder) -> None:
        """Tell the recorder every body that is there at the start."""
        for body in self.scene.bodies:
            recorder.scene(0.0, "place", body.id, body)

    # ---- spindle -------------------------------------------------------------------------

    @property
    def edges(self) -> Inserts | None:
        """The ring of separate edges of the tool in the spindle, if it has one."""
        return self.tool.inserts if self.tool is not None else None

    def tool_isolates(self) -> bool:
        """A plate never sees a coated tool."""
        return self.tool is not None and self.tool.coated

    def load(self, name: str | None, recorder: Recorder, t: float) -> None:
        """Put a tool of the crib into the spindle, or leave the spindle bare."""
        if name is not None and name not in self.scenario.tools:
            known = ", ".join(self.scenario.tools) or "nothing"
            raise StepError(f"no tool '{name}' in the crib", f"it holds {known}")
        self.tool_name = name
        self.tool = self.scenario.tools[name] if name is not None else None
        self._renew_tool(recorder, t)

    def replace_tool(self, tool: Tool, recorder: Recorder, t: float) -> None:
        """The tool in the spindle has changed: it slipped, wore or broke."""
        self.tool = tool
        self._renew_tool(recorder, t)

    def turn_to(self, angle_deg: float, recorder: Recorder, t: float) -> None:
        """Turn the spindle, and what is in it, to an angle."""
        self.angle_deg = angle_deg
        body = spindle_body(self.machine, angle_deg)
        self.scene.place(body)
        recorder.scene(t, "place", body.id, body)
        self._renew_tool(recorder, t)

    def turning(self, on: bool, recorder: Recorder, t: float) -> None:
        """While it turns, a ring of edges sweeps a whole ring."""
        if on != self.turns:
            self.turns = on
            if self.edges is not None:
                self._renew_tool(recorder, t)

    def _renew_tool(self, recorder: Recorder, t: float) -> None:
        if self.tool is None:
            if "tool" in self.scene:
                self.scene.remove("tool")
                recorder.scene(t, "remove", "tool")
            return
        body = self._tool_body(self.tool)
        self.scene.place(body)
        recorder.scene(t, "place", "tool", body)

    def _tool_body(self, tool: Tool) -> Body:
        body = tool_body(tool, self.angle_deg, self.machine.head_link)
        if not self.turns or tool.inserts is None:
            return body
        inserts = tool.inserts
        outer = inserts.circle_diameter_mm / 2
        swept = Placed(
            Ring(outer, max(outer - inserts.edge_width_mm, 0.0), inserts.depth_mm),
            (0.0, 0.0, -tool.true_length_mm + inserts.depth_mm / 2),
            feature="edge",
        )
        rest = tuple(part for part in body.parts if not part.feature.startswith("edge"))
        return Body(body.id, body.link, (*rest, swept), kind=body.kind, cast=body.cast)

    # ---- items ---------------------------------------------------------------------------

    def place(self, item: str, placement: Placement, recorder: Recorder, t: float) -> None:
        """Put an item down."""
        self.placements[item] = placement
        carried = top_of(self.scenario, placement.on, self.placements)
        self.places[item] = place_of(self.scenario, placement, carried)
        for body in item_bodies(self.scenario, item, self.places[item]):
            self.scene.place(body)
            recorder.scene(t, "place", body.id, body)

    def take_away(self, item: str, recorder: Recorder, t: float) -> None:
        """Take an item off."""
        if item not in self.places:
            raise StepError(f"'{item}' stands nowhere", "place it first")
        for body in self.bodies_of(item):
            self.scene.remove(body)
            recorder.scene(t, "remove", body)
        del self.places[item], self.placements[item]

    def shift(self, item: str, by: Vector, recorder: Recorder, t: float) -> None:
        """An item slides or is knocked; nobody tells the controller."""
        if item not in self.places:
            raise StepError(f"'{item}' stands nowhere", "place it first")
        foot, turn = self.places[item]
        self.places[item] = Place((foot[0] + by[0], foot[1] + by[1], foot[2] + by[2]), turn)
        for body in self.bodies_of(item):
            self.scene.move(body, *by)
            recorder.scene(t, "move", body, self.scene.body(body).offset)

    def bodies_of(self, item: str) -> list[str]:
        """Ids of an item's bodies."""
        return [name for name in (item, f"{item}.pad") if name in self.scene]

    def top_under(self, names: Iterable[str]) -> float | None:
        """Machine Z of the highest top among items that stand somewhere, mm."""
        tops = [top_of(self.scenario, name, self.placements) for name in names]
        return max(tops, default=None)

    def pad_trip_z(self, setter: str) -> float | None:
        """World height (mm) of a setter's pad when it trips; None while it stands nowhere."""
        if setter not in self.places:
            return None
        spec = self.scenario.setter[setter]
        return self.places[setter].foot[2] + spec.pad_height_mm - spec.pre_travel_mm

    # ---- contact -------------------------------------------------------------------------

    def contacts(
        self, start: Vector, direction: Vector, length: float, arc: Arc | None = None
    ) -> tuple[Hit, ...]:
        """Everything that the line meets, up to the first hard body."""
        if arc is not None:
            found: tuple[Hit, ...] = arc.contacts(self.scene, start)
            return found
        if length <= 0.0:
            return ()
        if direction in _VERTICAL:
            found_in_column = self._in_column(start, direction[2] < 0.0, length)
            if found_in_column is not None:
                return found_in_column
        return _CACHE.first_contacts(self.scene, start, direction, length)

    def below(self, start: Vector, length: float) -> tuple[Hit, ...]:
        """What a block held beside the lugs would find under the face or tip: no lug counts."""
        down = (0.0, 0.0, -1.0)
        if self.tool is not None or not self.machine.spindle.lugs:
            return self.contacts(start, down, length)
        scene = self.scene.copy()
        spindle = scene.body("spindle")
        parts = tuple(part for part in spindle.parts if part.feature != "lug")
        scene.place(Body(spindle.id, spindle.link, parts, kind=spindle.kind))
        return first_contacts(scene, start, down, length)

    def _in_column(self, start: Vector, down: bool, length: float) -> tuple[Hit, ...] | None:
        """The same answer from one query down the whole column, or None where that can't tell.

        Touches start at heights that chance has shifted, so that exact lines never recur; what
        stands in their column does. Where the first hard body of the column lies below the
        start, the way up is free, and the way down meets what the column meets there.
        """
        x, y, z = start
        top = max(self.machine.axes.z.max_mm, z) + _OVER_TOP_MM
        reach = top - self.machine.axes.z.min_mm + _OVER_TOP_MM
        column = _CACHE.first_contacts(self.scene, (x, y, top), (0.0, 0.0, -1.0), reach)
        above = top - z
        if down and above + length > reach:
            return None
        for hit in column:
            if not hit.soft and not hit.graze:
                if hit.s < above - _TOUCHING_MM:
                    return None
                break
        if not down:
            return ()
        hits = []
        for hit in column:
            s = hit.s - above
            if -_TOUCHING_MM <= s <= length:
                hits.append(Hit(max(s, 0.0), *hit[1:]))
        return tuple(hits)

    def gives_way(self, hit: Hit) -> str | None:
        """Name of a setter that is pushed along by this blow because nothing holds it."""
        if abs(hit.normal[2]) > _SIDEWAYS:
            return None
        for body in (hit.other_body, hit.moving_body):
            item: str = body.removesuffix(".pad")
            setter = self.scenario.setter.get(item)
            if setter is not None and setter.hold != "bolted":
                return item
        return None
