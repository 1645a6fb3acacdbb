"""The event kernel: lines, contact, signals and stops as roots on one agenda.

Nothing is stepped in time. A line's plan gives exact cubics; each thing that can happen on it is a
path level whose time is a root. Commands settle physics up to now, change a flag and re-plan once.
The plan is a function of the state and the flags alone, so that the order of commands at one
instant can't matter: off > emergency stop > fault > trigger > hold > released jog > goal.
"""

from __future__ import annotations

from functools import partial
from math import inf, pi
from typing import TYPE_CHECKING, Any

import simpy

from drytouch.sim.motion import (
    Limits,
    State,
    along,
    coast,
    delay_s,
    drop,
    from_rest,
    stop,
    to_goal,
    with_feed_override,
    with_rapid_override,
)
from drytouch.sim.recording import LineEntry, Recorder, Source
from drytouch.sim.setter import LEAST_RATE, Pad, bounce_edges
from drytouch.sim.signals import Input, Wire, level, next_tick
from drytouch.sim.twin.agenda import Agenda
from drytouch.sim.twin.chance import Chance
from drytouch.sim.twin.line import NO_SOURCE, Line, Vector
from drytouch.sim.twin.sliding import slide_setters

if TYPE_CHECKING:
    from drytouch.sim.scenario.machine import Machine
    from drytouch.sim.scenario.scenario import Noise
    from drytouch.sim.truth.judge import Judge
    from drytouch.sim.twin.stage import Stage

_ZERO: Vector = (0.0, 0.0, 0.0)
_AT_START = State(0.0, 0.0, 0.0)
# A path shorter than this is no move: far below any encoder, above rounding at 1 m.
LEAST_MOVE_MM = 1e-9


class Kernel:
    """Axes, pads, wires and inputs of one twin, driven by lines and flags."""

    def __init__(
        self,
        env: simpy.Environment,
        machine: Machine,
        stage: Stage,
        noise: Noise,
        chance: Chance,
        recorder: Recorder,
    ) -> None:
        self.env = env
        self.machine = machine
        self.stage = stage
        self.noise = noise
        self.chance = chance
        self.recorder = recorder
        self.judge: Judge
        self.agenda = Agenda(env)
        self.line: Line | None = None
        self.lines = 0
        axes = (machine.axes.x, machine.axes.y, machine.axes.z)
        self.axes = axes
        self.rapid_speeds = tuple(axis.rapid_mm_per_min / 60.0 for axis in axes)
        self.feed_speeds = tuple(axis.feed_max_mm_per_min / 60.0 for axis in axes)
        self.accelerations = tuple(axis.acceleration_mm_per_s2 for axis in axes)
        self.jerks = tuple(axis.jerk_mm_per_s3 for axis in axes)
        self.stepper = machine.servo.drive == "stepper"
        # An open-loop stepper follows its command as long as it follows at all.
        self.delay = (
            0.0
            if self.stepper
            else delay_s(machine.servo.position_gain_per_s, machine.servo.feed_forward)
        )
        self.command: Vector = tuple(axis.home_mm for axis in axes)  # type: ignore[assignment]
        self.shift: Vector = _ZERO  # truth: physical minus reported position
        self.lost: Vector = _ZERO  # where each axis stands in its lost motion
        self.press: Vector = _ZERO  # commanded into a body, mm, along the way that it went
        self.press_hit: Any = None
        self.homing_error: Vector = _ZERO  # truth: what every homing gets wrong
        self.powered = True
        self.estopped = False
        self.hold = False
        self.rapid_override = 1.0
        self.feed_override = 1.0
        self.rpm = 0.0
        self.warmth = 0.0
        self.warmth_time = 0.0
        self.servo_phase = 0.0
        self.pads: dict[str, Pad] = {}
        self.wires: dict[str, Wire] = {}
        self.inputs: dict[int, Input] = {}
        self.targets: dict[str, float] = {}
        self._run_down: simpy.Event | None = None
        for name in ("hard", "limit"):
            self.agenda.register(name, getattr(self, f"_{name}"))
        for name in ("fault", "stall", "power", "stop", "rest"):
            self.agenda.register(name, getattr(self, f"_{name}"))
        for socket_name, socket in machine.sockets.items():
            entry = Input(socket.input, socket_name, socket.filter_s, socket.scan_s)
            self.inputs[socket.input] = entry
            self.agenda.register(entry.slots[0], partial(self._edge, entry))
            self.agenda.register(entry.slots[1], partial(self._filter, entry))
            self.agenda.register(entry.slots[2], partial(self._scan, entry))

    # ---- setters and sockets -------------------------------------------------------------

    def add_setter(self, pad: Pad) -> None:
        """Let the twin have one more setter."""
        self.pads[pad.name] = pad
        self.wires[pad.name] = Wire(pad.setter, self.noise)
        handlers = {
            "contact": self._contact,
            "close": self._close,
            "open": self._open,
            "leave": self._leave,
            "solid": self._solid,
        }
        for kind, slot in pad.slots.items():
            self.agenda.register(slot, partial(handlers[kind], pad))
        self.agenda.register(f"noise {pad.name}", partial(self._noise, self.wires[pad.name]))

    def plug(self, setter: str, socket: str | None) -> None:
        """Put a setter's cable into a socket, or pull it out; every input's proof is void then."""
        t = self.agenda.command()
        wire = self.wires[setter]
        for other in self.wires.values():
            if socket is not None and other.socket == socket:
                other.socket = None
        wire.socket = socket
        for entry in self.inputs.values():
            entry.start(self._idle_level(entry, t))
            entry.forget_proof()
        self._start_noise(wire, t)
        self.agenda.arm()

    def _idle_level(self, entry: Input, t: float) -> bool:
        """What an input reads with nothing changing: its plug's circuit, or an open socket."""
        active_high = self.machine.sockets[entry.socket].active_high
        for wire in self.wires.values():
            if wire.socket == entry.socket:
                return level(wire.circuit(t), active_high)
        return level(False, active_high)

    def settle_inputs(self, t: float) -> None:
        """Power-up: every input starts from the level that it finds."""
        for entry in self.inputs.values():
            entry.start(self._idle_level(entry, t))
            entry.forget_proof()
        for wire in self.wires.values():
            self._start_noise(wire, t)

    def _drive(self, wire: Wire, edges: list[tuple[float, bool]]) -> None:
        """The contact behind ``wire`` takes these states at these times."""
        levels = []
        socket = self.machine.sockets.get(wire.socket or "")
        for t, pressed in edges:
            wire.pressed = pressed
            if socket is not None:
                levels.append((t, level(wire.circuit(t), socket.active_high)))
        if socket is None:
            return
        link = wire.setter.link
        if link.kind == "radio":
            late = link.delay_s + self.chance.uniform("link", link.jitter_s)
            levels = [(t + late, on) for t, on in levels]
        self._push(self.inputs[socket.input], levels)

    def _push(self, entry: Input, levels: list[tuple[float, bool]]) -> None:
        last = entry.edges[-1][1] if entry.edges else entry.raw
        if len(levels) == 1 and levels[0][1] == last and not entry.edges:
            return
        entry.push(levels)
        self.agenda.set(entry.slots[0], entry.edges[0][0])

    def _start_noise(self, wire: Wire, t: float) -> None:
        slot = next(f"noise {name}" for name, w in self.wires.items() if w is wire)
        noise = self.noise
        if noise.spikes_per_s > 0.0:
            self.agenda.set(slot, t + self.chance.exponential("noise", 1.0 / noise.spikes_per_s))
        elif noise.wire == "intermittent" and noise.gaps_per_s > 0.0:
            start = max(t, noise.wire_since_s)
            self.agenda.set(slot, start + self.chance.exponential("wire", 1.0 / noise.gaps_per_s))
        elif noise.wire != "sound" and noise.wire_since_s > t:
            self.agenda.set(slot, noise.wire_since_s)

    def _noise(self, wire: Wire, t: float) -> None:
        noise = self.noise
        slot = next(f"noise {name}" for name, w in self.wires.items() if w is wire)
        socket = self.machine.sockets.get(wire.socket or "")
        if noise.spikes_per_s > 0.0:
            if socket is not None:
                quiet = level(wire.circuit(t), socket.active_high)
                entry = self.inputs[socket.input]
                self._push(entry, [(t, True), (t + noise.spike_s, quiet)])
            self.agenda.set(slot, t + self.chance.exponential("noise", 1.0 / noise.spikes_per_s))
            return
        if noise.wire == "intermittent":
            wire.broken = not wire.broken
            mean = noise.gap_s if wire.broken else 1.0 / noise.gaps_per_s
            self.agenda.set(slot, t + self.chance.exponential("wire", mean))
        self._drive(wire, [(t, wire.pressed)])

    def press_by_hand(self, setter: str, pressed: bool) -> None:
        """A finger pushes the pad past its trip, or lets it go."""
        t = self.agenda.command()
        pad, wire = self.pads[setter], self.wires[setter]
        conducts = pad.setter.kind == "switch" or self._plate_conducts(hand=True)
        if conducts:
            times = self._bounce_times(pad, t) if pressed else []
            self._drive(wire, bounce_edges(t, times, pressed))
        self.agenda.arm()

    # ---- where things are ----------------------------------------------------------------

    def growth(self, t: float) -> float:
        """How much longer than cold the spindle is at ``t``, mm."""
        spindle = self.machine.spindle
        if spindle.growth_mm == 0.0:
            return 0.0
        settled = min(abs(self.rpm) / spindle.max_rpm, 1.0)
        elapsed = t - self.warmth_time
        share = 2.718281828459045 ** (-elapsed / spindle.growth_time_constant_s)
        return spindle.growth_mm * (settled + (self.warmth - settled) * share)

    def spin(self, rpm: float) -> None:
        """Start, stop or change the spindle's speed; positive turns a right-hand tool to cut."""
        t = self.agenda.command()
        if self.machine.spindle.growth_mm > 0.0:
            self.warmth = self.growth(t) / self.machine.spindle.growth_mm
        self.warmth_time = t
        self.rpm = rpm
        self.stage.turning(rpm != 0.0, self.recorder, t)
        self.recorder.spindle(t, self.stage.angle_deg * pi / 180.0, rpm)

    def offset(self, t: float) -> Vector:
        """Physical minus reported position at rest, at ``t``."""
        return (
            self.shift[0] + self.lost[0] - self.press[0],
            self.shift[1] + self.lost[1] - self.press[1],
            self.shift[2] + self.lost[2] - self.press[2] - self.growth(t),
        )

    def physical(self, t: float | None = None) -> Vector:
        """Where the face's centre really is, mm; the kernel must be settled up to ``t``."""
        t = self.agenda.now() if t is None else t
        line = self.line
        if line is not None:
            return line.physical_at(line.track.state_at(t - line.delay).s)
        command, offset = self.command, self.offset(t)
        return (command[0] + offset[0], command[1] + offset[1], command[2] + offset[2])

    def reported(self, t: float | None = None) -> Vector:
        """The position readout: encoders, or the command where there are none."""
        t = self.agenda.now() if t is None else t
        line = self.line
        if line is None:
            return self.command
        s = line.track.state_at(t - line.delay).s
        return line.command_at(s if self.stepper else min(s, line.block))

    def speed(self, t: float) -> float:
        """Speed of the actual axis along its path, mm/s."""
        line = self.line
        if line is None:
            return 0.0
        s, v, _ = line.track.state_at(t - line.delay)
        return v if s < line.block else 0.0

    # ---- starting a line -----------------------------------------------------------------

    def start(
        self,
        kind: str,
        direction: Vector,
        goal: float,
        feed_mm_per_s: float | None = None,
        watch: int | None = None,
        source: Source = NO_SOURCE,
        arc: Any = None,
        data: Any = None,
    ) -> Line:
        """Begin a line of ``goal`` mm along ``direction`` (unit); no feed means rapid.

        The caller has checked that the machine may move and that no line runs.
        """
        t = self.agenda.command()
        speeds = self.rapid_speeds if feed_mm_per_s is None else self.feed_speeds
        if kind in ("jog", "home"):
            speeds = self.rapid_speeds
        limits = along(direction, speeds, self.accelerations, self.jerks, None)
        if arc is not None:
            limits = arc.limits(self.feed_speeds, self.accelerations, self.jerks)
        line = Line(
            self.lines,
            kind,
            t,
            self.physical(t),
            self.command,
            direction,
            goal,
            limits,
            feed_mm_per_s,
            self.delay,
            simpy.Event(self.env),
            source,
            arc,
        )
        line.data = data
        self.lines += 1
        self.line = line
        if watch is not None:
            line.watch = watch
            entry = self.inputs[watch]
            entry.phase = self.chance.uniform("scan", entry.scan_s)
            tick = self.machine.servo.tick_s
            self.servo_phase = self.chance.uniform("servo-tick", tick)
        self._prepare(line, t)
        self.judge.line_started(line, t)
        self.plan(t)
        self.agenda.arm()
        return line

    def _prepare(self, line: Line, t: float) -> None:
        """Lost motion, pads in touch, and what stands in the way."""
        u = line.direction
        self._turn_round(line)
        dead = line.dead
        reach = max(line.goal - dead, 0.0)
        line.hits = self.stage.contacts(line.start, u, reach, line.arc)
        self.targets.clear()
        for pad in self.pads.values():
            if pad.touching:
                self._follow_on(pad, line, t)
        for hit in line.hits:
            if hit.graze:
                self.recorder.event(t, "graze", [hit.moving_body, hit.other_body, hit.s])
            else:
                self._approach(hit, line)
        self._limit_switch(line)

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
        u, n = line.direction, pad.normal
        rate = -(u[0] * n[0] + u[1] * n[1] + u[2] * n[2])
        pad.follow(line.dead, pad.depth, rate)
        self.recorder.pad(pad.name, t, line.id, 0.0, pad.depth, rate, pad.solid)
        if rate < 0.0:
            if pad.pressed:
                self.targets[pad.slots["open"]] = pad.s_at(min(pad.release, pad.depth)) or 0.0
            self.targets[pad.slots["leave"]] = pad.s_at(0.0) or 0.0
        elif rate >= LEAST_RATE:
            if not pad.pressed:
                self.targets[pad.slots["close"]] = pad.s_at(max(pad.trip, pad.depth)) or 0.0
            self.targets[pad.slots["solid"]] = pad.s_at(pad.solid) or 0.0

    def _approach(self, hit: Any, line: Line) -> None:
        """One contact ahead: a pad to be pushed in, or something hard."""
        s = hit.s + line.dead
        pad = self._pad_of(hit) if hit.soft else None
        if pad is None:
            self._set_hard(s, hit, line)
            return
        if pad.touching:
            return
        u = line.heading(hit.s)
        n = pad.normal
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
        if self.rpm == 0.0 or not self.stage.edges or line.feed is None:
            return 0.0
        passes_per_s = abs(self.rpm) / 60.0
        return self.chance.uniform("edge-pass", line.feed / passes_per_s)

    def _limit_switch(self, line: Line) -> None:
        """Path at which an axis runs onto its limit switch, where the switches really are."""
        if line.kind == "home" or line.arc is not None:
            return
        for i, axis in enumerate(self.axes):
            u = line.direction[i]
            end = line.start[i] + u * line.goal
            high, low = axis.max_mm + axis.hard_margin_mm, axis.min_mm - axis.hard_margin_mm
            if end > high or end < low:
                s = ((high if u > 0.0 else low) - line.start[i]) / u + line.dead
                self.targets["limit"] = min(self.targets.get("limit", inf), max(s, 0.0))

    # ---- planning ------------------------------------------------------------------------

    def plan(self, t: float) -> None:
        """Lay the rest of the line out from the state at ``t`` and the flags."""
        line = self.line
        if line is None or line.kind in ("coast", "sag"):
            return
        limits = self._wanted(line)
        if limits is None and line.braking:
            self._set_rest(line, t)
            return
        track = line.track
        state = track.cut(t)
        if limits is None:
            line.braking = True
            if state.v != 0.0 or state.a != 0.0:
                track.append(stop(state, t, line.limits))
        elif state == _AT_START:
            line.braking = False
            track.append(from_rest(line.goal, limits, t))
        else:
            line.braking = False
            track.append(to_goal(state, t, line.goal, limits))
        if limits is not None and limits.speed > line.peak_speed:
            line.peak_speed = limits.speed
        self._set_rest(line, t)
        self._retime(line, t)

    def _wanted(self, line: Line) -> Limits | None:
        """Limits for going on to the goal, or None to stop; sets whether the stop is a pause."""
        line.paused = False
        if self.estopped or line.stopping or line.released:
            return None
        habits = self.machine.habits
        touch = line.kind == "touch"
        if self.hold and (habits.touch_obeys_feed_hold or not touch):
            line.paused = True
            return None
        if line.feed is None:
            limits = with_rapid_override(line.limits, self.rapid_override)
        else:
            scale = 1.0 if touch and not habits.touch_obeys_override else self.feed_override
            if line.kind in ("jog", "step", "home", "return"):
                scale = 1.0
            limits = with_feed_override(line.limits, line.feed, scale)
        line.paused = limits is None
        return limits

    def _set_rest(self, line: Line, t: float) -> None:
        """The line ends when the actual axis arrives."""
        if line.paused and not line.stopping:
            self.agenda.clear("rest")
        else:
            self.agenda.set("rest", max(line.track.end_time + line.delay, t))

    def _retime(self, line: Line, t: float) -> None:
        """When each path level is passed, after a re-plan."""
        track, delay = line.track, line.delay
        since = t - delay
        for slot, s in self.targets.items():
            at = track.crossing(s, since)
            self.agenda.set(slot, None if at is None else at + delay)
        if line.block < inf:
            self._time_fault(line, t)

    def _aim(self, slot: str, s: float | None, line: Line, t: float) -> None:
        """A further path level to watch for, found while the line runs."""
        if s is None:
            return
        self.targets[slot] = s
        at = line.track.crossing(s, t - line.delay)
        self.agenda.set(slot, None if at is None else max(at + line.delay, t))

    # ---- what happens on a line ----------------------------------------------------------

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
        self.judge.contact(line, pad, t, line.track.state_at(t - line.delay).v)
        if pad.setter.kind == "switch" or self._plate_conducts():
            self._aim(pad.slots["close"], pad.s_at(pad.trip), line, t)
        self._aim(pad.slots["solid"], pad.s_at(pad.solid), line, t)

    def _plate_conducts(self, hand: bool = False) -> bool:
        noise = self.noise
        return noise.return_lead and (
            hand or not (noise.spindle_isolated or self.stage.tool_isolates())
        )

    def _close(self, pad: Pad, t: float) -> None:
        self.targets.pop(pad.slots["close"], None)
        pad.pressed = True
        self.recorder.event(t, "close", pad.name)
        wire = self.wires[pad.name]
        passes = self._passes(pad, t)
        if passes is not None:
            self._drive(wire, passes)
            return
        self._drive(wire, bounce_edges(t, self._bounce_times(pad, t), True))

    def _bounce_times(self, pad: Pad, t: float) -> list[float]:
        setter = pad.setter
        pairs = self.chance.poisson("bounce", setter.bounce_pairs)
        if pairs == 0 or setter.bounce_s == 0.0:
            return []
        return sorted(t + self.chance.uniform("bounce", setter.bounce_s) for _ in range(2 * pairs))

    def _passes(self, pad: Pad, t: float) -> list[tuple[float, bool]] | None:
        """A turning ring of edges closes the contact once for each edge that passes the pad."""
        edges, line = self.stage.edges, self.line
        if self.rpm == 0.0 or edges is None or line is None:
            return None
        turn_s = 60.0 / abs(self.rpm)
        contact_s = pad.setter.pad_diameter_mm / (pi * edges.circle_diameter_mm) * turn_s
        period = turn_s / edges.count
        if contact_s >= period:
            return None
        # As long as the line may run on: what is queued later is superseded when it opens.
        count = int(max(line.track.end_time - t, 0.0) / period) + 1
        return [
            edge
            for k in range(min(count, 400))
            for edge in ((t + k * period, True), (t + k * period + contact_s, False))
        ]

    def _open(self, pad: Pad, t: float) -> None:
        self.targets.pop(pad.slots["open"], None)
        pad.pressed = False
        self.recorder.event(t, "open", pad.name)
        self._drive(self.wires[pad.name], [(t, False)])

    def _leave(self, pad: Pad, t: float) -> None:
        self.targets.pop(pad.slots["leave"], None)
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
        self._time_fault(line, t)

    def _time_fault(self, line: Line, t: float) -> None:
        u = line.direction
        if self.stepper:
            give = min(
                axis.thrust_limit_N / axis.stiffness_N_per_mm / abs(u[i])
                for i, axis in enumerate(self.axes)
                if abs(u[i]) > LEAST_MOVE_MM
            )
            slot = "stall"
        else:
            give = min(
                axis.following_error_limit_mm / abs(u[i])
                for i, axis in enumerate(self.axes)
                if abs(u[i]) > LEAST_MOVE_MM
            )
            slot = "fault"
        level_s = line.block + give - line.carried
        # The error is between the command itself, not the delayed one, and the actual axis.
        reached = line.track.state_at(t).s
        at = t if reached >= level_s else line.track.crossing(level_s, t)
        if not line.stalled:
            self.agenda.set(slot, at)

    def _stall(self, t: float) -> None:
        line = self.line
        if line is not None:
            line.stalled = True
            self.recorder.event(t, "stall", None)
            self.judge.stalled(line, t)

    def _fault(self, t: float) -> None:
        """The drive gives up: the command jumps to where the axis is, and the power goes."""
        line = self.line
        if line is None:
            return
        line.outcome = "fault"
        self.powered = False
        self.recorder.event(t, "drive-fault", None)
        self.judge.drive_fault(line, t)
        self._end(line, t, line.block, at_rest=False)
        self._finish(line)

    def _limit(self, t: float) -> None:
        line = self.line
        assert line is not None
        self.targets.pop("limit", None)
        line.stopping = True
        line.outcome = "limit"
        self.judge.limit(line, t)
        self.plan(t)

    # ---- signals -------------------------------------------------------------------------

    def _edge(self, entry: Input, t: float) -> None:
        _, on = entry.edges.pop(0)
        if entry.edges:
            self.agenda.set(entry.slots[0], entry.edges[0][0])
        if on == entry.raw:
            return
        entry.raw = on
        entry.edge_time = t
        self.recorder.edge(f"input {entry.number}.raw", t, on)
        if entry.filter_s == 0.0:
            self._filter(entry, t)
        elif on != entry.filtered:
            self.agenda.set(entry.slots[1], t + entry.filter_s)
        else:
            self.agenda.clear(entry.slots[1])

    def _filter(self, entry: Input, t: float) -> None:
        if entry.filtered == entry.raw:
            return
        entry.filtered = entry.raw
        entry.filter_time = t
        self.recorder.edge(f"input {entry.number}.filtered", t, entry.raw)
        tick = next_tick(t, entry.scan_s, entry.phase)
        if tick <= t:
            self._scan(entry, t)
        else:
            self.agenda.set(entry.slots[2], tick)

    def _scan(self, entry: Input, t: float) -> None:
        if entry.seen == entry.filtered:
            return
        entry.see(entry.filtered)
        self.recorder.edge(f"input {entry.number}.seen", t, entry.seen)
        line = self.line
        if line is None or line.watch != entry.number or not entry.seen:
            return
        if line.triggered:
            self.judge.second_trigger(line, entry, t)
            return
        self._trigger(line, entry, t)

    def _trigger(self, line: Line, entry: Input, t: float) -> None:
        """Latch once, and stop at the next tick of the position loop."""
        habits = self.machine.habits
        when = {"edge": entry.edge_time, "filter": entry.filter_time, "scan": t}[habits.latch]
        line.triggered = True
        line.latch_time = when
        line.latch = self.latched_position(line, when)
        self.recorder.event(t, "latch", [when, *line.latch])
        self.judge.latched(line, entry, t)
        tick = next_tick(t, self.machine.servo.tick_s, self.servo_phase)
        if tick <= t:
            self._stop(t)
        else:
            self.agenda.set("stop", tick)

    def latched_position(self, line: Line, when: float) -> Vector:
        """What the controller notes: encoder counts (or the command) at ``when``."""
        if self.machine.habits.latch_source == "command" or self.stepper:
            s = line.track.state_at(when).s
        else:
            s = min(line.track.state_at(when - line.delay).s, line.block)
        x, y, z = line.command_at(s)
        ax, ay, az = self.axes
        return (
            round(x / ax.encoder_step_mm) * ax.encoder_step_mm,
            round(y / ay.encoder_step_mm) * ay.encoder_step_mm,
            round(z / az.encoder_step_mm) * az.encoder_step_mm,
        )

    def _stop(self, t: float) -> None:
        line = self.line
        if line is None:
            return
        line.stopping = True
        self.plan(t)

    # ---- the end of a line ---------------------------------------------------------------

    def _rest(self, t: float) -> None:
        line = self.line
        assert line is not None
        if not line.outcome:
            line.outcome = (
                "e-stop"
                if self.estopped
                else "trigger"
                if line.triggered
                else "released"
                if line.released
                else "goal"
            )
        self._end(line, t, line.track.end_s, at_rest=True)
        if line.outcome == "e-stop" and self.powered:
            self._power_off(t, line.done)
            return
        if line.kind in ("coast", "sag"):
            self._run_down_further(line, t)
            return
        self._finish(line)

    def _finish(self, line: Line) -> None:
        if line.done is not None and not line.done.triggered:
            line.done.succeed(line)

    def _end(self, line: Line, t: float, s: float, at_rest: bool) -> None:
        """The line is over with the (delayed) command at ``s``: keep what it leaves behind."""
        self.agenda.clear("rest", "stop", "fault", "stall", *self.targets)
        self.targets.clear()
        blocked = line.block < inf
        walked = min(s, line.block)
        for pad in self.pads.values():
            if pad.touching:
                pad.deepest = max(pad.deepest, pad.depth_at(walked))
                pad.depth = pad.depth_at(walked)
        self._keep_lost_motion(line, walked)
        self.command = line.command_at(s)
        if line.outcome == "goal" and s == line.goal and line.data is not None:
            self.command = line.data  # the exact target, free of rounding along the path
        if not blocked:
            u = line.direction
            left = line.dead - line.take_up - s
            if line.dead > line.take_up and left <= LEAST_MOVE_MM:
                self.press, self.press_hit = _ZERO, None
            elif line.dead > line.take_up:
                self.press = (
                    self.press[0] + u[0] * s,
                    self.press[1] + u[1] * s,
                    self.press[2] + u[2] * s,
                )
        else:
            self._keep_press(line, s)
        self._record(line, t)
        self.line = None
        self.judge.line_ended(line, t, walked)
        if self.stage.loose:
            slide_setters(self, line, walked, t)

    def _keep_lost_motion(self, line: Line, walked: float) -> None:
        if line.take_up == 0.0:
            return
        axis = max(range(3), key=lambda i: abs(line.direction[i]))
        moved = min(walked, line.take_up)
        lost = list(self.lost)
        lost[axis] += -moved if line.direction[axis] > 0.0 else moved
        self.lost = (lost[0], lost[1], lost[2])

    def _keep_press(self, line: Line, s: float) -> None:
        u = line.direction
        over = s - line.block
        if line.stalled:
            # An open-loop axis has slipped: where it thinks it is has become untrue.
            self.shift = (
                self.shift[0] - u[0] * (over + line.carried),
                self.shift[1] - u[1] * (over + line.carried),
                self.shift[2] - u[2] * (over + line.carried),
            )
            self.press = _ZERO
            return
        total = over + line.carried
        self.press = (u[0] * total, u[1] * total, u[2] * total)

    def _record(self, line: Line, t: float) -> None:
        self.recorder.line(
            LineEntry(
                line.id,
                line.kind,
                line.t0,
                t,
                line.start,
                line.direction,
                None if line.arc is None else line.arc.entry(line.start),
                line.command,
                line.dead,
                line.delay,
                line.track.pieces,
                None if line.block == inf else max(line.block - line.dead, 0.0),
                line.source,
            )
        )

    # ---- homing --------------------------------------------------------------------------

    def start_homing(self, index: int, source: Source) -> Line | None:
        """Send one axis to its switch, which stands where it really stands."""
        t = self.agenda.command()
        axis = self.axes[index]
        way = axis.home_mm + self.homing_error[index] - self.physical(t)[index]
        if abs(way) <= LEAST_MOVE_MM:
            return None
        sign = 1.0 if way > 0.0 else -1.0
        direction = tuple(sign if i == index else 0.0 for i in range(3))
        feed = axis.homing_mm_per_min / 60.0
        return self.start("home", direction, abs(way), feed, None, source)  # type: ignore[arg-type]

    def finish_homing(self, index: int) -> None:
        """The switch is found: from now on the readout says home there, wrong or right."""
        t = self.agenda.command()
        here = self.physical(t)[index]
        command, shift = list(self.command), list(self.shift)
        command[index] = self.axes[index].home_mm
        others = self.offset(t)[index] - shift[index]
        shift[index] = here - command[index] - others
        self.command = (command[0], command[1], command[2])
        self.shift = (shift[0], shift[1], shift[2])

    def inputs_forget(self) -> None:
        """Selection has changed: every proof starts again."""
        for entry in self.inputs.values():
            entry.forget_proof()

    # ---- flags ---------------------------------------------------------------------------

    def set_hold(self, on: bool) -> None:
        """Feed hold, or go on."""
        t = self.agenda.command()
        if self.hold != on:
            self.hold = on
            self.recorder.event(t, "hold", on)
            self._replan(t)

    def set_override(self, rapid: float | None = None, feed: float | None = None) -> None:
        """Turn the override knobs; 1.0 is 100 %."""
        t = self.agenda.command()
        old = (self.rapid_override, self.feed_override)
        self.rapid_override = self.rapid_override if rapid is None else rapid
        self.feed_override = self.feed_override if feed is None else feed
        if (self.rapid_override, self.feed_override) != old:
            self.recorder.event(t, "override", [self.rapid_override, self.feed_override])
            self._replan(t)

    def release(self) -> None:
        """The jog key is let go."""
        t = self.agenda.command()
        if self.line is not None and self.line.kind == "jog" and not self.line.released:
            self.line.released = self.line.stopping = True
            self.line.outcome = "released"
            self._replan(t)

    def emergency_stop(self) -> None:
        """Press the button; it acts after the machine's reaction time."""
        t = self.agenda.command()
        self.recorder.event(t, "e-stop", None)
        if self.agenda.due("power") is None and not self.estopped:
            self.agenda.set("power", t + self.machine.emergency_stop.reaction_s)
        self.agenda.arm()

    def drives_off(self) -> None:
        """An orderly power-off at rest: the brake holds first, so nothing sags."""
        self.agenda.command()
        self.powered = False
        self.press = _ZERO

    def _replan(self, t: float) -> None:
        self.plan(t)
        self.agenda.arm()

    def _power(self, t: float) -> None:
        """The emergency stop acts: category 0 cuts the power, 1 stops under control first."""
        self.estopped = True
        line = self.line
        if line is None:
            self._power_off(t, None)
        elif self.machine.emergency_stop.category == 1:
            line.stopping = True
            line.outcome = "e-stop"
            self.plan(t)
        else:
            s, v, _ = line.track.state_at(t - line.delay)
            line.outcome = "e-stop"
            speed = v if s < line.block else 0.0
            line.track.cut(t)
            self._end(line, t, min(s, line.block), at_rest=speed == 0.0)
            self.powered = False
            self._coast(line, speed, t)

    def _power_off(self, t: float, done: simpy.Event | None) -> None:
        self.powered = False
        self.press = _ZERO
        self._sag(t, done)

    def _coast(self, line: Line, speed: float, t: float) -> None:
        """Run down by friction from the actual speed."""
        if speed <= 0.0:
            self._sag(t, line.done)
            return
        deceleration = self.machine.emergency_stop.coast_deceleration_mm_per_s2
        pieces = coast(State(0.0, speed, 0.0), t, deceleration)
        self._free_run("coast", line.direction, pieces, t, line.done, line)

    def _sag(self, t: float, done: simpy.Event | None) -> None:
        """The head drops a little before its brake holds."""
        stop_ = self.machine.emergency_stop
        head = self.machine.links[self.machine.head_link]
        if stop_.sag_mm > 0.0 and "z" in head:
            pieces = drop(t, stop_.sag_mm, stop_.sag_time_s)
            self._free_run("sag", (0.0, 0.0, -1.0), pieces, t, done, None)
        elif done is not None and not done.triggered:
            done.succeed(None)

    def _free_run(
        self,
        kind: str,
        direction: Vector,
        pieces: list[Any],
        t: float,
        done: simpy.Event | None,
        after: Line | None,
    ) -> None:
        limits = along(direction, self.rapid_speeds, self.accelerations, self.jerks, None)
        goal = pieces[-1].s1
        source = after.source if after is not None else NO_SOURCE
        line = Line(
            self.lines, kind, t, self.physical(t), self.command, direction, goal, limits, None,
            0.0, done, source,
        )  # fmt: skip
        self.lines += 1
        self.line = line
        line.outcome = "e-stop"
        line.braking = line.stopping = True
        self._prepare(line, t)
        self.judge.line_started(line, t)
        line.track.append(pieces)
        self._set_rest(line, t)
        self._retime(line, t)

    def _run_down_further(self, line: Line, t: float) -> None:
        self.press = _ZERO
        if line.kind == "coast":
            self._sag(t, line.done)
        else:
            self._finish(line)

    def reset(self) -> None:
        """Pull the button out; the drives stay off until they are switched on."""
        self.agenda.command()
        self.estopped = False
