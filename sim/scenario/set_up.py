"""What a picture of a run needs to know of its scenario: setters, sockets, plugs, first tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drytouch.sim.scenario.scenario import Scenario


def set_up_of(scenario: Scenario) -> dict[str, Any]:
    """Plain values by name; lengths in mm, forces in N. A recording carries it as ``set_up``."""
    controller = scenario.controller
    start: dict[str, Any] = {
        "loaded slot": controller.slot,
        "active length row": controller.length_offset_row,
        "active system": controller.system,
    }
    for number, row in controller.rows.items():
        if row.length_mm is not None:
            start[f"row {number} length"] = row.length_mm
            start[f"row {number} wear"] = row.wear_mm
    for system, origin in controller.systems.items():
        start.update({f"{system} {axis}": origin[i] for i, axis in enumerate("xyz")})
    for name in scenario.setter:
        record = controller.records.get(name)
        if record is None:
            continue
        for key in ("input", "x_mm", "y_mm", "height_mm", "reference_z_mm", "reference_valid"):
            value = getattr(record, key)
            if value is not None:
                start[f"setter {name} {key}"] = value
    return {
        "setters": {
            name: {
                "pre_travel_mm": setter.pre_travel_mm,
                "overtravel_mm": setter.overtravel_mm,
                "preload_N": setter.preload_N,
                "rate_N_per_mm": setter.rate_N_per_mm,
            }
            for name, setter in scenario.setter.items()
        },
        "sockets": {name: socket.input for name, socket in scenario.machine.sockets.items()},
        "plugs": dict(controller.plugs),
        "start": start,
        "length_convention": scenario.machine.habits.length_convention,
    }
