"""Judging what meets what: crashes, lugs, edges, turning tools, hands, limits."""

from __future__ import annotations

from math import hypot, inf, pi
from typing import TYPE_CHECKING, Any

from drytouch.sim.truth.pressing import PressJudge

if TYPE_CHECKING:
    from drytouch.sim.recording import Source
    from drytouch.sim.setter import Pad
    from drytouch.sim.twin.line import Line

# Moves that go across without anybody's eye on the gap.
_ACROSS = ("rapid", "feed")


class ContactJudge(PressJudge):
    """Findings from contact, as it happens."""

    hand: str | None

    def line_started(self, line: Line, t: float) -> None:
        """A line begins: is a hand inside, is there room above what stands under the path?"""
        self.crushed = None
        if self.hand is not None:
            self._find("hand-in-reach", t, line.source, where=self.hand, what=_ran(line.kind))
        u = line.direction
        if line.kind in _ACROSS and line.arc is None and hypot(u[0], u[1]) > 1e-9:
            self._check_clearance(line, t)

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
        wide_mm = 0.0 if tool is None else tool.tip_diameter_mm
        edge_m_per_min = abs(self.kernel.rpm) * pi * wide_mm * 1e-3
        most = pad.setter.worst_edge_m_per_min
        if not cutting and pad.setter.turning_allowed and edge_m_per_min <= most * (1 + 1e-9):
            return
        why = "This setter does not permit a turning tool."
        if cutting:
            why = "Edges that turn in the cutting direction dig into the pad."
        elif pad.setter.turning_allowed:
            why = f"Its edges rubbed at {edge_m_per_min:.0f} m/min; this pad bears {most:g} m/min."
        self._find(
            "spun-into-pad", t, line.source,
            rpm=self.kernel.rpm, direction=" the cutting way" if cutting else "", why=why,
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

    def pushed(self, line: Line, hit: Any, t: float, speed: float) -> None:
        """A setter that nothing holds is met from the side."""
        mover = self._name(hit.moving_body, hit.moving_feature)
        other = self._name(hit.other_body, hit.other_feature)
        why = "The way across led through the setter, which nothing held."
        self._crash(line, t, speed, mover, other, why)

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


def _ran(kind: str) -> str:
    return {"coast": "an axis ran down", "sag": "the head sagged", "home": "an axis homed"}.get(
        kind, f"a {kind} ran"
    )
