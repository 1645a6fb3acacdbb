"""Setters' wires and the controller's inputs: from a contact to a latched position."""

from __future__ import annotations

from math import pi
from typing import TYPE_CHECKING

from drytouch.sim.setter import bounce_edges
from drytouch.sim.signals import Wire, level, next_tick
from drytouch.sim.twin.line import Line, Vector
from drytouch.sim.twin.state import KernelState

if TYPE_CHECKING:
    from drytouch.sim.setter import Pad
    from drytouch.sim.signals import Input

# Edges of a turning cutter that are laid out ahead; a touch that needs more is not a touch.
MOST_PASSES = 400


class Signalling(KernelState):
    """Contacts, plugs, wires, noise and inputs."""

    def plug(self, setter: str, socket: str | None) -> None:
        """Put a setter's cable into a socket, or pull it out; every input's proof is void then."""
        t = self.agenda.command()
        wire = self.wires[setter]
        for other in self.wires.values():
            if socket is not None and other.socket == socket:
                other.socket = None
        wire.socket = socket
        self._restart_inputs(t)
        self._start_noise(wire, t)

    def _restart_inputs(self, t: float) -> None:
        for entry in self.inputs.values():
            # Edges on their way (a bounce, a slow radio) are lost with the plug.
            self.agenda.clear(*entry.slots)
            entry.start(self._idle_level(entry, t))
            entry.forget_proof()

    def _idle_level(self, entry: Input, t: float) -> bool:
        """What an input reads with nothing changing: its plug's circuit, or an open socket."""
        active_high = self.machine.sockets[entry.socket].active_high
        for wire in self.wires.values():
            if wire.socket == entry.socket:
                return level(wire.circuit(t), active_high)
        return level(False, active_high)

    def settle_inputs(self, t: float) -> None:
        """Power-up: every input starts from the level that it finds."""
        self._restart_inputs(t)
        for wire in self.wires.values():
            self._start_noise(wire, t)

    def inputs_forget(self) -> None:
        """Selection has changed: every proof starts again."""
        for entry in self.inputs.values():
            entry.forget_proof()

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
        noise = self.noise
        if noise.spikes_per_s > 0.0:
            self.agenda.set(
                wire.slot, t + self.chance.exponential("noise", 1.0 / noise.spikes_per_s)
            )
        elif noise.wire == "intermittent" and noise.gaps_per_s > 0.0:
            start = max(t, noise.wire_since_s)
            self.agenda.set(
                wire.slot, start + self.chance.exponential("wire", 1.0 / noise.gaps_per_s)
            )
        elif noise.wire != "sound" and noise.wire_since_s > t:
            self.agenda.set(wire.slot, noise.wire_since_s)

    def _noise(self, wire: Wire, t: float) -> None:
        noise = self.noise
        socket = self.machine.sockets.get(wire.socket or "")
        if noise.spikes_per_s > 0.0:
            if socket is not None:
                entry = self.inputs[socket.input]
                entry.spike(t, noise.spike_s)
                self.agenda.set(entry.slots[0], entry.edges[0][0])
            self.agenda.set(
                wire.slot, t + self.chance.exponential("noise", 1.0 / noise.spikes_per_s)
            )
            return
        if noise.wire == "intermittent":
            wire.broken = not wire.broken
            mean = noise.gap_s if wire.broken else 1.0 / noise.gaps_per_s
            self.agenda.set(wire.slot, t + self.chance.exponential("wire", mean))
        self._drive(wire, [(t, wire.pressed)])

    def press_by_hand(self, setter: str, pressed: bool) -> None:
        """A finger pushes the pad past its trip, or lets it go."""
        t = self.agenda.command()
        pad, wire = self.pads[setter], self.wires[setter]
        conducts = pad.setter.kind == "switch" or self._plate_conducts(hand=True)
        if conducts:
            times = self._bounce_times(pad, t) if pressed else []
            self._drive(wire, bounce_edges(t, times, pressed))

    def _plate_conducts(self, hand: bool = False) -> bool:
        noise = self.noise
        return noise.return_lead and (
            hand or not (noise.spindle_isolated or self.stage.tool_isolates())
        )

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
            for k in range(min(count, MOST_PASSES))
            for edge in ((t + k * period, True), (t + k * period + contact_s, False))
        ]

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
        entry.quiet_since = entry.edge_time  # a later edge must not take its place
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
        when = {"edge": entry.quiet_since, "filter": entry.filter_time, "scan": t}[habits.latch]
        line.triggered = True
        line.latch_time = when
        line.latch = self.latched_position(line, when)
        self.recorder.event(t, "latch", [when, *line.latch])
        self.judge.latched(line, entry, t)
        tick = next_tick(t, self.machine.servo.tick_s, self.servo_phase)
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
