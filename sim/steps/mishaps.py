"""Steps that nobody means to do: faults that begin while the twin runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drytouch.sim.scenario import steps as model
    from drytouch.sim.twin.twin import Twin


def fault(twin: Twin, step: model.FaultStep) -> None:
    """Let a fault begin."""
    # Imported here: the catalogue is needed by few scenarios, and it watches steps itself.
    from drytouch.sim.faults.live import begin_fault

    begin_fault(twin, step.name, step.arguments)


DOERS: dict[str, Any] = {"fault": fault}
