"""What every part of the judge shares: collecting findings, figures of a blow, names for people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from drytouch.sim.motion import effective_mass_kg, impact_energy_j, peak_force_n
from drytouch.sim.truth.finding import Finding, make

if TYPE_CHECKING:
    from drytouch.sim.recording import Recorder, Source
    from drytouch.sim.twin.kernel import Kernel
    from drytouch.sim.twin.line import Line
    from drytouch.sim.twin.stage import Stage


class Collector:
    """Findings, each once. The layers above it say when; ``Judge`` is the whole."""

    kernel: Kernel
    stage: Stage
    recorder: Recorder
    findings: list[Finding]
    _seen: set[tuple[Any, ...]]

    def _find(
        self,
        code: str,
        t: float,
        source: Source,
        severity: str | None = None,
        place: tuple[float, float, float] | None = None,
        **figures: Any,
    ) -> None:
        """Add a finding, once for a code, a source and the figures that tell cases apart.

        Of blows and presses that one call repeats, the worst stands for all.
        """
        where = place if place is not None else self.kernel.physical(t)
        finding = make(code, t, where, source, severity, **figures)
        key = (code, source, finding.what)
        if key in self._seen:
            return
        self._seen.add(key)
        if code == "crash" and figures["speed_mm_per_s"] == 0.0 and self._met_before(figures):
            return  # the next line presses on what the last one met: no second blow
        measure = _WORST_BY.get(code)
        for index, known in enumerate(self.findings):
            if measure and known.code == code and known.source == source:
                if finding.figures[measure] > known.figures[measure]:
                    self.findings[index] = finding
                return
        self.findings.append(finding)
        self.recorder.event(t, "finding", code)

    def _met_before(self, figures: dict[str, Any]) -> bool:
        pair = (figures["mover"], figures["other"])
        return any(
            known.code == "crash" and (known.figures["mover"], known.figures["other"]) == pair
            for known in self.findings
        )

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

    def _name(self, body: str, feature: str) -> str:
        if body == "spindle":
            return _OF_SPINDLE.get(feature, f"the spindle's {feature}")
        if body == "tool":
            return f"the tool's {feature}"
        if body.endswith(".pad"):
            return "the pad"
        # Most things are one solid, named after what they are.
        return f"the {body}" if feature in body else f"the {body}'s {feature}"

    def _mover(self, feature: str) -> str:
        return _OF_SPINDLE.get(feature, f"the {feature}")


# Figures by which the worst of several like findings of one call is known.
_WORST_BY = {
    "squeezed-block": "force_N",
    "tool-overloaded": "force_N",
    "lug-strike": "speed_mm_per_s",
}
_OF_SPINDLE = {"face": "the spindle face", "lug": "a drive lug"}
