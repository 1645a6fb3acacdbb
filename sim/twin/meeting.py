"""What a line meets: lost motion, pads, hard bodies, limit switches."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING, Any

from drytouch.sim.setter import LEAST_RATE, bounce_edges, pad_normal
from drytouch.sim.twin.line import LEAST_MOVE_MM, Line, Vector
from drytouch.sim.twin.planning import Planning
from drytouch.sim.twin.slipping import slips_at

if TYPE_CHECKING:
    from drytouch.sim.setter import Pad

# What touches a pad is looked for from this far above it to this far below; dirt, growth and the
# lateness of turning edges shift a touch by less.
_CLEAR_MM, _UNDER_MM = 0.01, 1.0


class Meeting(Planning):
    """Contact with pads and bodies along a line."""

    def _prepare(self, line: Line, t: float) -> None:
        """Lost motion, pads in touch, and what stands in the way."""
        u = line.direction
        self._turn_round(line)
        dead = line.dead
        if line.kind == "home":
            line.goal += dead  # the switch is on the slide: lost motion comes on top
        reach = max(line.goal - dead, 0.0)
        line.hits = self.stage.contacts(line.start, u, reach, line.arc)
        self.targets.clear()
        for pad in self.pads.values():
            if pad.touching and self._let_go_of(pad, line.start, t):
                continue
            if pad.touching:
                self._follow_on(pad, line, t)
        for hit in line.hits:
            if hit.graze:
                self.recorder.event(t, "graze", [hit.moving_body, hit.other_body, hit.s])
            else:
                self._approach(hit, line)
        self._limit_switch(line)

    def _let_go_of(self, pad: Pad, face: Vector, t: float) -> bool:
        """Let a pad spring back that nothing is over any more: taken away, tool changed."""
        if self.something_over(pad, face, pad.depth):
            return False
        if pad.pressed:
            self._open(pad, t)
        self._spring_back(pad, t)
        self._leave(pad, t)
        return True

    def something_over(self, pad: Pad, face: Vector, depth: float) -> bool:
        """Whether what is at the face, or the face itself, would hold the pad down so deep."""
        start = (face[0], face[1], face[2] + depth + _CLEAR_MM)
        hits = self.stage.contacts(start, (0.0, 0.0, -1.0), _CLEAR_MM + _UNDER_MM)
        return any(hit.soft and self._pad_of(hit) is pad for hit in hits)

    def _slips(self, pad: Pad, line: Line) -> dict[str, float]:
        """Path levels at which a tool dragged across comes off the pad, sooner than by going up."""
        s = slips_at(self, pad, line)
        if s is None:
            return {}
        both = (pad.slots["open"], pad.slots["leave"])
        return {slot: min(s, self.targets.get(slot, inf)) for slot in both}

    def _turn_round(self, line: Line) -> None:
        """How much of the path goes into lost motion and pressed-in interference."""
        u, press = line.direction, self.press
        dot = -(u[0] * press[0] + u[1] * press[1] + u[2] * press[2])
        if dot > LEAST_MOVE_MM:
            line.dead += (press[0] ** 2 + press[1] ** 2 + press[2] ** 2) / dot
        elif dot < -LEAST_MOVE_MM:
            line.carried = -dot
        moving = [i for i in range(3) if abs(u[i]) > LEAST_MOVE_MM]
        wanted = list(self.lost)
        for i in moving:
            half = self.axes[i].backlash_mm / 2.0
            wanted[i] = -half if u[i] > 0.0 else half
        if len(moving) == 1:
            line.take_up = abs(wanted[moving[0]] - self.lost[moving[0]])
            line.dead += line.take_up
        elif tuple(wanted) != self.lost:
            # Several axes at once: the path would bend by microns; take it all up at the start.
            self.lost = (wanted[0], wanted[1], wanted[2])
            line.start = (
                line.command[0] + self.offset(line.t0)[0],
                line.command[1] + self.offset(line.t0)[1],
                line.command[2] + self.offset(line.t0)[2],
            )

    def _follow_on(self, pad: Pad, line: Line, t: float) -> None:
        """A pad that is pressed when the line starts: depth goes on from where it is."""
        u, n = line.direction, self._normal(pad)
        rate = -(u[0] * n[0] + u[1] * n[1] + u[2] * n[2])
        pad.follow(line.dead, pad.depth, rate)
        self.recorder.pad(pad.name, t, line.id, 0.0, pad.depth, rate, pad.solid)
        if rate < 0.0:
            if pad.pressed:
                self.targets[pad.slots["open"]] = (
                    line.dead - max(pad.depth - pad.release, 0.0) / rate
                )
            self.targets[pad.slots["leave"]] = line.dead - pad.depth / rate
        elif rate >= LEAST_RATE:
            if not pad.pressed and (pad.setter.kind == "switch" or self._plate_conducts()):
                self.targets[pad.slots["close"]] = line.dead + max(pad.trip - pad.depth, 0.0) / rate
            # Rounding may have left it a last bit past solid: then it is met at once.
            self.targets[pad.slots["solid"]] = line.dead + max(pad.solid - pad.depth, 0.0) / rate
        if line.goes_across:
            self.targets.update(self._slips(pad, line))

    def _approach(self, hit: Any, line: Line) -> None:
        """One contact ahead: a pad to be pushed in, or something hard."""
        s = hit.s + line.dead
        pad = self._pad_of(hit) if hit.soft else None
        if pad is None:
            self._set_hard(s, hit, line)
            return
        if pad.touching or pad.slots["contact"] in self.targets:
            return  # of what would meet the pad, the first does
        u = line.heading(hit.s)
        n = self._normal(pad)
        rate = -(u[0] * n[0] + u[1] * n[1] + u[2] * n[2])
        if rate < LEAST_RATE:
            self._set_hard(s, hit, line)
            return
        s = max(s - self.noise.dirt_um * 1e-3 / rate + self._edge_lateness(line), line.dead)
        pad.follow(s, 0.0, rate)
        pad.feature = (
            hit.other_feature if hit.moving_body == f"{pad.name}.pad" else (hit.moving_feature)
        )
        self.targets[pad.slots["contact"]] = s

    def _normal(self, pad: Pad) -> Vector:
        """Where a tilted pad's face looks, as its setter now stands."""
        if pad.setter.tilt_deg != 0.0:
            place = self.stage.places.get(pad.name)
            pad.normal = pad_normal(pad.setter, place.turn_deg if place else 0.0)
        return pad.normal

    def _pad_of(self, hit: Any) -> Pad | None:
        for body in (hit.other_body, hit.moving_body):
            if body.endswith(".pad"):
                return self.pads.get(body[:-4])
        return None

    def _set_hard(self, s: float, hit: Any, line: Line) -> None:
        item = self.stage.gives_way(hit)
        if item is not None:
            # A setter that nothing holds is pushed along instead of stopping an axis.
            line.pushes.append((s, hit, item))
            return
        if "hard" not in self.targets or s < self.targets["hard"]:
            self.targets["hard"] = s
            line.block_hit = hit

    def _edge_lateness(self, line: Line) -> float:
        """A slowly turning ring of edges finds the pad late, by up to feed per turn and edge."""
        edges = self.stage.edges
        if self.rpm == 0.0 or edges is None or line.feed is None:
            return 0.0
        passes_per_s = abs(self.rpm) / 60.0 * edges.count
        return self.chance.uniform("edge-pass", line.feed / passes_per_s)

    def _limit_switch(self, line: Line) -> None:
        """Path at which an axis runs onto its limit switch, where the switches really are."""
        if line.kind == "home" or line.arc is not None:
            return
        for i, axis in enumerate(self.axes):
            u = line.direction[i]
            end = line.start[i] + u * line.goal
            high, low = axis.max_mm + axis.hard_margin_mm, axis.min_mm - axis.hard_margin_mm
            # An axis that is past its switch already is stopped only from going further.
            if (u > LEAST_MOVE_MM and end > high) or (u < -LEAST_MOVE_MM and end < low):
                s = ((high if u > 0.0 else low) - line.start[i]) / u + line.dead
                self.targets["limit"] = min(self.targets.get("limit", inf), max(s, 0.0))

    def _contact(self, pad: Pad, t: float) -> None:
        line = self.line
        assert line is not None
        self.targets.pop(pad.slots["contact"], None)
        pad.touching = line.touched = True
        sigma = self.chance.normal("pre-travel", pad.setter.pre_travel_sigma_mm)
        least = pad.setter.hysteresis_mm
        pad.trip = max(pad.setter.pre_travel_mm + sigma, least)
        self.recorder.pad(
            pad.name, t, line.id, pad.line_from - line.dead, 0.0, pad.line_rate, pad.solid
        )
        self.recorder.event(t, "contact", pad.name)
        self.tell("contact", t)
        self.judge.contact(line, pad, t, line.track.state_at(t - line.delay).v)
        if pad.setter.kind == "switch" or self._plate_conducts():
            self._aim(pad.slots["close"], pad.s_at(pad.trip), line, t)
        self._aim(pad.slots["solid"], pad.s_at(pad.solid), line, t)
        if line.goes_across:
            for slot, s in self._slips(pad, line).items():
                self._aim(slot, s, line, t)

    def _close(self, pad: Pad, t: float) -> None:
        self.targets.pop(pad.slots["close"], None)
        pad.pressed = True
        self.recorder.event(t, "close", pad.name)
        self.tell("close", t)
        wire = self.wires[pad.name]
        passes = self._passes(pad, t)
        if passes is not None:
            self._drive(wire, passes)
            return
        self._drive(wire, bounce_edges(t, self._bounce_times(pad, t), True))

    def _open(self, pad: Pad, t: float) -> None:
        self.targets.pop(pad.slots["open"], None)
        if not pad.pressed:
            return  # it comes off before it was ever pressed far enough
        pad.pressed = False
        self.recorder.event(t, "open", pad.name)
        self._drive(self.wires[pad.name], [(t, False)])

    def _come_off(self, pad: Pad, line: Line, t: float) -> None:
        """What the line was still to do to the pad is off, deep as it may be."""
        for kind in ("close", "solid"):
            if self.targets.pop(pad.slots[kind], None) is not None:
                self.agenda.clear(pad.slots[kind])
        if pad.depth_at(line.track.state_at(t - line.delay).s) > LEAST_MOVE_MM:
            self._spring_back(pad, t)

    def _spring_back(self, pad: Pad, t: float) -> None:
        """Not lifted off but let go of: from now on no line's path says how deep it is."""
        pad.follow(0.0, 0.0, 0.0)
        self.recorder.pad(pad.name, t, self.lines - 1, 0.0, 0.0, 0.0, pad.solid)

    def _leave(self, pad: Pad, t: float) -> None:
        self.targets.pop(pad.slots["leave"], None)
        line = self.line
        if line is not None and line.goes_across:
            self._come_off(pad, line, t)
        pad.touching = False
        pad.depth = 0.0
        self.recorder.event(t, "leave", pad.name)

    def _solid(self, pad: Pad, t: float) -> None:
        line = self.line
        assert line is not None
        s = self.targets.pop(pad.slots["solid"])
        self.judge.solid(line, pad, t, line.track.state_at(t - line.delay).v)
        self._block(line, s, t)

    def _hard(self, t: float) -> None:
        line = self.line
        assert line is not None
        s = self.targets.pop("hard")
        speed = line.track.state_at(t - line.delay).v
        self.judge.hard(line, line.block_hit, t, speed)
        self.press_hit = line.block_hit
        self._block(line, s, t)

    def _block(self, line: Line, s: float, t: float) -> None:
        """The whole path stands still from here while the command runs on."""
        if s >= line.block:
            return
        line.block = s
        self.recorder.event(t, "blocked", None)
        if line.kind not in ("coast", "sag"):  # without power there is nothing to give up
            self._time_fault(line, t)

    def _stall(self, t: float) -> None:
        line = self.line
        if line is not None:
            line.stalled = True
            self.recorder.event(t, "stall", None)
            self.judge.stalled(line, t)
