"""Judging what meets what: crashes, lugs, crushed pads, hands, near misses."""

from __future__ import annotations

from math import hypot, inf, isfinite
from typing import TYPE_CHECKING, Any

from drytouch.sim.motion import (
    effective_mass_kg,
    impact_energy_j,
    peak_force_n,
    stop_distance,
)
from drytouch.sim.truth.finding import Finding, make

if TYPE_CHECKING:
    from drytouch.sim.recording import Recorder, Source
    from drytouch.sim.setter import Pad
    from drytouch.sim.signals import Input
    from drytouch.sim.twin.kernel import Kernel
    from drytouch.sim.twin.line import Line
    from drytouch.sim.twin.stage import Stage

# A rapid that ends nearer than this to something was aimed too close for anyone's error.
NEAR_MM = 0.5
# Pressing a gauge block harder than a firm hand does marks its faces.
BLOCK_LIMIT_N = 50.0
# A snap contact chatters for 1-3 ms; a latch that is taken once is not hurt by it. What comes on
# again later than this is a second touch to whoever counts.
CHATTER_S = 0.005
# Moves that go across without anybody's eye on the gap.
_ACROSS = ("rapid", "feed")
_DOWN_LIMIT = 1e-6


class ContactJudge:
    """Findings from motion and contact. Mixed into ``Judge``."""

    kernel: Kernel
    stage: Stage
    recorder: Recorder
    findings: list[Finding]
    margin_mm: float
    hand: str | None
    crushed: tuple[float, float, float] | None
    touch_feed: float | None

    def _find(
        self,
        code: str,
        t: float,
        source: Source,
        severity: str | None = None,
        place: tuple[float, float, float] | None = None,
        **figures: Any,
    ) -> None:
        """Add a finding, once for a code, a source and the figures that tell cases apart."""
        where = place if place is not None else self.kernel.physical(t)
        finding = make(code, t, where, source, severity, **figures)
        key = (code, source, finding.what)
        if key in self._seen:
            return
        self._seen.add(key)
        self.findings.append(finding)
        self.recorder.event(t, "finding", code)

    _seen: set[tuple[Any, ...]]

    # ---- while a line runs ---------------------------------------------------------------

    def line_started(self, line: Line, t: float) -> None:
        """A line begins: is a hand inside, is there room above what stands under the path?"""
        self.crushed = None
        if self.hand is not None:
            self._find("hand-in-reach", t, line.source, where=self.hand, what=_ran(line.kind))
        u = line.direction
        if line.kind in _ACROSS and line.arc is None and hypot(u[0], u[1]) > 1e-9:
            self._check_clearance(line, t)

    def _check_clearance(self, line: Line, t: float) -> None:
        """Would the same way across, lower by the margin, have met something?"""
        if any(not hit.graze for hit in line.hits):
            return  # it meets something as it is: a crash, told when it happens
        lowered = self._first_below(line, self.margin_mm)
        if lowered is None:
            return
        kind = self.stage.scene.body(lowered.other_body).kind
        if line.kind == "feed" and kind in ("stock", "table"):
            return  # a feed move close above the work is what cutting looks like
        low, high = 0.0, self.margin_mm
        for _ in range(14):  # to a thousandth of a margin and better
            middle = (low + high) / 2
            if self._first_below(line, middle) is None:
                low = middle
            else:
                high = middle
        self._find(
            "low-clearance",
            t,
            line.source,
            room_mm=low,
            under=self._name(lowered.other_body, lowered.other_feature),
            margin_mm=self.margin_mm,
        )

    def _first_below(self, line: Line, by: float) -> Any:
        x, y, z = line.start
        for hit in self.stage.contacts((x, y, z - by), line.direction, line.goal):
            if not hit.graze:
                return hit
        return None

    def contact(self, line: Line, pad: Pad, t: float, speed: float) -> None:
        """A pad is met."""
        feature = pad.feature
        setter = pad.setter
        too_fast = speed * 60.0 > setter.worst_feed_mm_per_min * (1 + 1e-9)
        if feature == "lug":
            gentle = line.kind in ("touch", "step") and not too_fast
            self._lug_strike(line, t, speed, "the pad", "wrong" if gentle else "harm")
        elif self._not_an_edge(feature):
            self._find("missed-edge", t, line.source, feature=feature)
        if self.kernel.rpm != 0.0:
            self._turning(line, pad, t)
        wanted = line.kind in ("touch", "step", "coast", "sag")
        if feature != "lug" and (not wanted or too_fast):
            why = (
                f"The pad may be met at {setter.worst_feed_mm_per_min:g} mm/min at the most."
                if wanted
                else "Only a touch watches the input; any other move does not stop at the pad."
            )
            self._crash(line, t, speed, self._mover(feature), "the pad", why)

    def _not_an_edge(self, feature: str) -> bool:
        tool = self.stage.tool
        if tool is None:
            return False
        if tool.inserts is not None:
            return not feature.startswith("edge")
        # A plain bar that has no cutting part is measured by whatever hangs lowest.
        cuts = any(segment.part == "cutting" for segment in tool.stack)
        return feature == "holder" or (feature == "shank" and cuts)

    def _lug_strike(self, line: Line, t: float, speed: float, other: str, severity: str) -> None:
        height = max(lug.height_mm for lug in self.stage.machine.spindle.lugs)
        self._find(
            "lug-strike", t, line.source, severity,
            other=other, speed_mm_per_s=speed, lug_mm=height, **self._impact(line, speed),
        )  # fmt: skip

    def _turning(self, line: Line, pad: Pad, t: float) -> None:
        tool = self.stage.tool
        cuts = 1.0 if tool is None or tool.cuts == "right" else -1.0
        cutting = self.kernel.rpm * cuts > 0.0
        if not cutting and pad.setter.turning_allowed:
            return
        why = (
            "Edges that turn in the cutting direction dig into the pad."
            if cutting
            else "This setter does not permit a turning tool."
        )
        self._find(
            "spun-into-pad", t, line.source,
            rpm=self.kernel.rpm, direction=" in the cutting direction" if cutting else "", why=why,
        )  # fmt: skip

    def hard(self, line: Line, hit: Any, t: float, speed: float) -> None:
        """Something hard is met; what the command alone runs through is not met."""
        if line.block < inf:
            return
        mover = self._name(hit.moving_body, hit.moving_feature)
        other = self._name(hit.other_body, hit.other_feature)
        if self._wanted(line, hit):
            return
        if "lug" in (hit.moving_feature, hit.other_feature):
            self._lug_strike(line, t, speed, other, "harm")
            return
        if hit.other_feature == "bolt":
            self._find("missed-edge", t, line.source, feature="open middle, down to the bolt")
        why = {
            "touch": "The touch was aimed at something that is not the pad.",
            "rapid": "Something stood in the way of a rapid.",
        }.get(line.kind, "Something stood in the way.")
        self._crash(line, t, speed, mover, other, why)

    def _wanted(self, line: Line, hit: Any) -> bool:
        """Face on gauge block and tip on stock are wanted when stepped by jog."""
        if line.kind != "step":
            return False
        kind = self.stage.scene.body(hit.other_body).kind
        return kind in ("block", "stock") and hit.moving_feature not in ("lug", "head", "nose")

    def _crash(self, line: Line, t: float, speed: float, mover: str, other: str, why: str) -> None:
        self._find(
            "crash", t, line.source,
            mover=mover, other=other, speed_mm_per_s=speed, kind=line.kind, why=why,
            **self._impact(line, speed),
        )  # fmt: skip

    def _impact(self, line: Line, speed: float) -> dict[str, Any]:
        """Impact figures of the axis that carries most of the motion."""
        index = max(range(3), key=lambda i: abs(line.direction[i]))
        axis = self.kernel.axes[index]
        mass = effective_mass_kg(axis.moving_mass_kg, axis.rotor_inertia_kg_m2, axis.screw_lead_mm)
        stiffness = self.stage.machine.contact_stiffness_N_per_mm
        return {
            "impact_speed_mm_per_s": speed,
            "effective_mass_kg": mass,
            "effective_energy_J": impact_energy_j(mass, speed),
            "peak_force_N": peak_force_n(mass, speed, stiffness, axis.thrust_limit_N),
        }

    def solid(self, line: Line, pad: Pad, t: float, speed: float) -> None:
        """The overtravel budget is used up; why is known when the line ends."""
        self.crushed = (t, speed, pad.solid)

    def pushed(self, line: Line, hit: Any, t: float, speed: float) -> None:
        """A setter that nothing holds is met from the side."""
        mover = self._name(hit.moving_body, hit.moving_feature)
        other = self._name(hit.other_body, hit.other_feature)
        why = "The way across led through the setter, which nothing held."
        self._crash(line, t, speed, mover, other, why)

    def stalled(self, line: Line, t: float) -> None:
        """An open-loop axis can't follow; how much is lost is known when the line ends."""

    def drive_fault(self, line: Line, t: float) -> None:
        """A drive gives up."""
        index = max(range(3), key=lambda i: abs(line.direction[i]))
        axis = self.kernel.axes[index]
        error = line.track.state_at(t).s - line.block + line.carried
        delayed = line.track.state_at(t - line.delay).s - line.block + line.carried
        thrust = min(axis.stiffness_N_per_mm * max(delayed, 0.0), axis.thrust_limit_N)
        self._find("drive-fault", t, line.source, error_mm=error, thrust_N=thrust)

    def limit(self, line: Line, t: float) -> None:
        """An axis runs onto its limit switch."""
        index = max(range(3), key=lambda i: abs(line.direction[i]))
        self._find(
            "limit", t, line.source,
            axis="XYZ"[index], target_mm=line.command_at(line.goal)[index],
            why="The machine's idea of its position is false, so the soft limits did not help.",
        )  # fmt: skip

    def soft_limit(self, t: float, source: Source, axis: str, value: float) -> None:
        """A move was refused because it would leave the travel."""
        self._find(
            "limit", t, source, axis=axis.upper(), target_mm=value,
            why="The target lies outside the soft limits; nothing moved.",
        )  # fmt: skip

    # ---- signals -------------------------------------------------------------------------

    def touch_asked(self, t: float, source: Source, number: int) -> None:
        """A touch is about to watch an input: was it ever proved?"""
        entry = self.kernel.inputs[number]
        if entry.proof != 3 and not entry.seen:  # one that is on is refused: nothing is risked
            self._find("unproved-input", t, source, input=number)

    def checked_quiet(self, t: float) -> None:
        """The routine looked at its input before touching."""

    def already_tripped(self, t: float, source: Source, number: int) -> None:
        """The input is on before the touch."""
        self._find("already-tripped", t, source, input=number, why=self._why_on(number))

    def _why_on(self, number: int) -> str:
        socket = self.kernel.inputs[number].socket
        wire = next((w for w in self.kernel.wires.values() if w.socket == socket), None)
        noise = self.kernel.noise
        if wire is None:
            return "No cable is in that socket, and an open circuit reads as on here."
        if noise.wire != "sound" or wire.broken:
            return f"The wire is {noise.wire}, which reads as on with this contact and polarity."
        if noise.contact != "sound":
            return f"The contact is {noise.contact}."
        if any(pad.touching for pad in self.kernel.pads.values()):
            return "The pad is pressed already."
        return "Contact kind and polarity do not fit together."

    def latched(self, line: Line, entry: Input, t: float) -> None:
        """The controller has noted a position: was anything touching?"""
        self.touch_feed = line.feed
        pads = self.kernel.pads
        closed = any(
            pads[name].pressed
            for name, wire in self.kernel.wires.items()
            if wire.socket == entry.socket
        )
        if not closed:
            assert line.latch is not None
            self._find(
                "false-trigger", t, line.source, z_mm=line.latch[2],
                why="A disturbance on the line held longer than the filter."
                if self.kernel.noise.spikes_per_s
                else "The wire or the contact gave a signal by itself.",
            )  # fmt: skip

    def second_trigger(self, line: Line, entry: Input, t: float) -> None:
        """The input comes on again within one touch."""
        if self.kernel.rpm != 0.0:
            return  # a turning cutter's next edge passes over the pad: no bounce
        if t - line.latch_time <= CHATTER_S:
            return
        self._find(
            "bounce", t, line.source,
            after_ms=(t - line.latch_time) * 1e3, filter_ms=entry.filter_s * 1e3,
        )  # fmt: skip

    def no_contact(self, line: Line | None, t: float, source: Source) -> None:
        """A touch reached its end."""
        self._find(
            "no-contact", t, source, path_mm=line.goal if line else 0.0,
            why="The pad was pressed, but nothing arrived at the input."
            if line is not None and line.touched
            else "Nothing was met on the way down: the pad is elsewhere, or the tool is shorter "
            "or hollow.",
        )  # fmt: skip

    # ---- the end of a line ---------------------------------------------------------------

    def line_ended(self, line: Line, t: float, walked: float) -> None:
        """What the whole line amounts to."""
        self._pads_after(line, t)
        if line.block < inf:
            self._blocked_after(line, t)
        elif line.hits or line.kind == "rapid":
            self._near_miss(line, t, walked)

    def _pads_after(self, line: Line, t: float) -> None:
        for pad in self.kernel.pads.values():
            travel, pad.deepest = pad.deepest, 0.0
            if travel <= 0.0 or pad.line_rate <= 0.0:
                continue  # untouched, or on the way off it
            over = max(travel - pad.trip, 0.0)
            force, tool = pad.force(travel), self.stage.tool
            if tool is not None and force > tool.force_limit_N:
                self._find(
                    "tool-overloaded", t, line.source,
                    other="the pad", force_N=force, limit_N=tool.force_limit_N, over_mm=over,
                    budget_mm=pad.setter.overtravel_mm,
                    left_mm=max(pad.setter.overtravel_mm - over, 0.0),
                    why=f"Pad force is preload plus spring rate times travel, and the axis ran "
                    f"{over:.3f} mm past the trip.",
                )  # fmt: skip
            if line.kind == "touch" and not line.triggered and line.block < inf:
                self._runaway(line, pad, t)
            if self.crushed is not None:
                self._crushed(line, pad)

    def _runaway(self, line: Line, pad: Pad, t: float) -> None:
        number = line.watch or 0
        self._find(
            "runaway", self.crushed[0] if self.crushed else t, line.source,
            contact="closed" if pad.pressed else "did not close", input=number,
            why=self._why_off(pad, number),
        )  # fmt: skip

    def _why_off(self, pad: Pad, number: int) -> str:
        wire = self.kernel.wires[pad.name]
        socket = self.kernel.machine.sockets.get(wire.socket or "")
        if socket is None:
            return "The setter's cable was in no socket."
        if socket.input != number:
            return (
                f"The setter was plugged into socket {wire.socket} (input {socket.input}), "
                f"but the touch watched input {number}."
            )
        if pad.setter.kind == "plate" and not pad.pressed:
            return (
                "The plate's circuit never closed: return lead, spindle or tool does not conduct."
            )
        if wire.setter.link.kind == "radio" and not (
            wire.setter.link.battery and not wire.setter.link.blocked
        ):
            return "The radio link sent nothing, and silence reads as off."
        if self.kernel.noise.wire != "sound":
            return f"The wire was {self.kernel.noise.wire}, which reads as off with this contact."
        if self.kernel.noise.contact != "sound":
            return f"The contact was {self.kernel.noise.contact}."
        return "The signal never held still for as long as the filter asks."

    def _crushed(self, line: Line, pad: Pad) -> None:
        assert self.crushed is not None
        t, speed, depth = self.crushed
        why = (
            f"At {line.feed * 60.0:.0f} mm/min the axis needed more than the budget to see the "
            "trigger and stop."
            if line.triggered and line.feed is not None
            else "Nothing told the axis to stop."
        )
        budget = pad.setter.overtravel_mm
        self._find(
            "setter-crushed", t, line.source,
            travel_mm=depth, over_mm=budget, budget_mm=budget, left_mm=0.0, why=why,
            **self._impact(line, speed),
        )  # fmt: skip
        self.crushed = None

    def _blocked_after(self, line: Line, t: float) -> None:
        if line.stalled:
            lost = line.track.end_s - line.block + line.carried
            self._find("lost-steps", t, line.source, lost_mm=lost)
            return
        press, hit = self.kernel.press, line.block_hit
        depth = hypot(*press)
        if hit is None or depth <= 0.0 or not isfinite(line.block):
            return
        kind = self.stage.scene.body(hit.other_body).kind
        index = max(range(3), key=lambda i: abs(press[i]))
        axis = self.kernel.axes[index]
        force = min(axis.stiffness_N_per_mm * depth, axis.thrust_limit_N)
        if kind == "block" and force > BLOCK_LIMIT_N:
            self._find(
                "squeezed-block", t, line.source,
                force_N=force, interference_um=depth * 1e3, limit_N=BLOCK_LIMIT_N,
            )  # fmt: skip
        tool = self.stage.tool
        if kind == "stock" and line.kind == "step" and tool and force > tool.force_limit_N:
            self._find(
                "tool-overloaded", t, line.source,
                other="the stock", force_N=force, limit_N=tool.force_limit_N,
                over_mm=depth, why=f"A step drove the tip {depth * 1e3:.1f} um into the stock, and "
                "the axis pushes with its stiffness times that.",
            )  # fmt: skip

    def _near_miss(self, line: Line, t: float, walked: float) -> None:
        if line.kind in ("touch", "step", "return", "coast", "sag", "home"):
            return
        ahead = [hit for hit in line.hits if hit.s + line.dead > walked and not hit.graze]
        needed = stop_distance(_top_speed(line), line.limits)
        if ahead:
            hit = ahead[0]
            room = hit.s + line.dead - walked
            if room >= needed:
                return
        elif line.kind == "rapid" and line.direction[2] < -_DOWN_LIMIT and line.arc is None:
            found = self.stage.contacts(self.kernel.physical(t), line.direction, NEAR_MM)
            if not found:
                return
            hit, room = found[0], found[0].s
        else:
            return
        self._find(
            "near-miss", t, line.source,
            kind=line.kind, room_mm=room, needed_mm=needed,
            other=self._name(hit.other_body, hit.other_feature),
        )  # fmt: skip

    # ---- names for people ----------------------------------------------------------------

    def _mover(self, feature: str) -> str:
        return {"face": "the spindle face", "lug": "a drive lug"}.get(feature, f"the {feature}")

    def _name(self, body: str, feature: str) -> str:
        if body == "spindle":
            return {"face": "the spindle face", "lug": "a drive lug"}.get(
                feature, f"the spindle's {feature}"
            )
        if body == "tool":
            return f"the tool's {feature}"
        if body.endswith(".pad"):
            return "the pad"
        return f"the {body}" if feature in ("", body) else f"the {body}'s {feature}"


def _ran(kind: str) -> str:
    return {"coast": "an axis ran down", "sag": "the head sagged", "home": "an axis homed"}.get(
        kind, f"a {kind} ran"
    )


def _top_speed(line: Line) -> float:
    """The highest speed that the line really reached, mm/s."""
    top = 0.0
    for piece in line.track.pieces:
        t0, t1, _, v0, a0, jerk = piece[:6]
        duration = t1 - t0
        times = [0.0, duration]
        if jerk != 0.0 and 0.0 < -a0 / jerk < duration:
            times.append(-a0 / jerk)
        top = max(top, *(v0 + a0 * x + jerk * x * x / 2.0 for x in times))
    return top
