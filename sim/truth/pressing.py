"""Judging force: pads pressed too far or too hard, blocks squeezed, axes held up."""

from __future__ import annotations

from math import hypot, inf, isfinite
from typing import TYPE_CHECKING

from drytouch.sim.truth.catalogue import PROVE_FIRST
from drytouch.sim.truth.ways import WayJudge

if TYPE_CHECKING:
    from drytouch.sim.setter import Pad
    from drytouch.sim.twin.line import Line

# Pressing a gauge block harder than a firm hand does marks its faces.
BLOCK_LIMIT_N = 50.0


class PressJudge(WayJudge):
    """Findings that are known when a line has ended: how far things were pressed."""

    crushed: tuple[float, float, float] | None

    def solid(self, line: Line, pad: Pad, t: float, speed: float) -> None:
        """The overtravel budget is used up; why is known when the line ends."""
        self.crushed = (t, speed, pad.solid)

    def line_ended(self, line: Line, t: float, walked: float) -> None:
        """What the whole line amounts to."""
        self._pads_after(line, t)
        if line.block < inf:
            self._blocked_after(line, t)
        elif line.hits or line.kind in ("rapid", "jog"):
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
            avoid="" if line.triggered else PROVE_FIRST,
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
