"""What a picture of a run needs to know of its scenario: setters, sockets, plugs, first tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drytouch.sim.scenario.scenario import Scenario


# What an outline, or a person at a replay, asks of a setter's record.
_RECORDED = (
    *("input", "x_mm", "y_mm", "height_mm"),
    *("reference_z_mm", "reference_valid", "master_length_mm"),
)


def told(tables: Any, length_row: int, selected: str | None, shift_z: float) -> dict[str, Any]:
    """What a controller's tables say, by the keys that recordings use; what is unset is left out.

    ``tables``: a scenario's ``ControllerStart``, or the ``Tables`` of a controller that runs.
    """
    said: dict[str, Any] = {
        "loaded slot": tables.slot,
        "active length row": length_row,
        "active system": tables.system,
        "selected setter": selected,
        "shift z": shift_z,
    }
    for number, row in tables.rows.items():
        said[f"row {number} length"] = row.length_mm
        said[f"row {number} wear"] = None if row.length_mm is None else row.wear_mm
    for system, origin in tables.systems.items():
        said |= {f"{system} {axis}": value for axis, value in zip("xyz", origin, strict=True)}
    for name, record in tables.records.items():
        said |= {f"setter {name} {key}": getattr(record, key) for key in _RECORDED}
    return {key: value for key, value in said.items() if value is not None}


def set_up_of(scenario: Scenario) -> dict[str, Any]:
    """Plain values by name; lengths in mm, forces in N. A recording carries it as ``set_up``."""
    start = scenario.controller
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
        "plugs": dict(start.plugs),
        "start": told(start, start.length_offset_row, start.selected, start.shift_mm[2]),
        "length_convention": scenario.machine.habits.length_convention,
    }
