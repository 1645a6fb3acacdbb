"""Tool table, parameters and offsets as the files of the open standard (NISTIR 6556, 3.2).

Files in one folder: ``parameters.txt`` (parameters, shift, active system, work origins) and
``tools.txt`` (one row per row of the tool table). Numbers are in the controller's units. The
layout has no column for wear, so it stands in the comment, as ``wear -0.02``; nor a place for
setter records, which have a file of their own (``record_files``).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from drytouch.sim.controller.record_files import load_records, save_records
from drytouch.sim.errors import InputError
from drytouch.sim.program.files import (
    PocketRow,
    load_parameters,
    load_tools,
    save_parameters,
    save_tools,
)
from drytouch.sim.program.line import print_number
from drytouch.sim.program.modal import INCH_MM
from drytouch.sim.program.parameters import (
    ACTIVE_SYSTEM,
    SHIFT,
    Parameters,
    origin_index,
)
from drytouch.sim.program.state import scaled
from drytouch.sim.scenario.controller import SYSTEM_NAMES, ControllerStart, Row

if TYPE_CHECKING:
    from drytouch.sim.controller.controller import Controller

PARAMETERS, TOOLS = "parameters.txt", "tools.txt"
_WEAR = re.compile(r"\bwear (-?\d+(?:\.\d*)?|-?\.\d+)")


def start_with(
    start: ControllerStart, folder: Path, rows: int, setters: list[str]
) -> ControllerStart:
    """The state at time 0 with what the folder's files say; files that are not there say nothing.

    ``rows``: how many rows the tool table has; ``setters``: names of those that there are.

    Raises:
        ProgramError: a file is not in the layout (E-FILE, with the line).
        InputError: a row or a setter that this controller does not have.
    """
    unit = INCH_MM if start.units == "inch" else 1.0
    changed: dict[str, object] = {}
    if (folder / PARAMETERS).exists():
        stored = load_parameters(folder / PARAMETERS)
        changed |= {
            "parameters": {n: v for n, v in stored.common.items() if v is not None},
            "shift_mm": scaled(stored.vector(SHIFT), unit),
            "system": SYSTEM_NAMES[round(stored.read(ACTIVE_SYSTEM) or 1) - 1],
            "systems": {
                name: scaled(stored.vector(origin_index(k)), unit)
                for k, name in enumerate(SYSTEM_NAMES, 1)
            },
        }
    if (folder / TOOLS).exists():
        table = dict(start.rows)
        for entry in load_tools(folder / TOOLS):
            if not 1 <= entry.pocket <= rows:
                raise InputError(
                    f"there is no row {entry.pocket}",
                    str(folder / TOOLS),
                    fix=f"rows go from 1 to {rows}",
                )
            table[entry.pocket] = _row(table.get(entry.pocket, Row()), entry, unit)
        changed["rows"] = table
    changed["records"] = dict(start.records) | load_records(folder, setters)
    return start.model_copy(update=changed)


def _row(old: Row, entry: PocketRow, unit_mm: float) -> Row:
    wear = _WEAR.search(entry.comment)
    return old.model_copy(
        update={
            "length_mm": entry.length * unit_mm,
            "diameter_mm": entry.diameter * unit_mm,
            "wear_mm": float(wear[1]) * unit_mm if wear else 0.0,
        }
    )


def save_with(controller: Controller, folder: Path) -> None:
    """Write all files, each whole or not at all.

    Raises:
        ProgramError: a file can't be written (E-FILE).
        InputError: the setters' file can't.
    """
    state = controller.programs.interpreter.state
    unit = state.modal.unit_mm
    kept = Parameters({n: v for n, v in state.parameters.common.items() if v is not None})
    for k, name in enumerate(SYSTEM_NAMES, 1):
        kept.write_vector(origin_index(k), scaled(controller.tables.systems[name], 1 / unit))
    save_parameters(folder / PARAMETERS, kept)
    rows = []
    for number, row in sorted(controller.tables.rows.items()):
        if row.length_mm is None:
            continue
        wear = f"wear {print_number(row.wear_mm / unit)}" if row.wear_mm else ""
        comment = " ".join(word for word in (row.tool or "", wear) if word)
        length, diameter = row.length_mm / unit, row.diameter_mm / unit
        rows.append(PocketRow(number, number, length, diameter, comment))
    save_tools(folder / TOOLS, rows)
    save_records(folder, controller.tables.records)
