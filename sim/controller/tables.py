"""What the controller believes: tool rows, work systems, setter records, modes."""

from __future__ import annotations

from dataclasses import dataclass, field

from drytouch.sim.scenario.controller import SYSTEM_NAMES, ControllerStart, Row, SetterRecord

Vector = tuple[float, float, float]


@dataclass(slots=True)
class ToolRow:
    """One row of the tool table, mm. ``place``: over the pad's centre, or where it stood."""

    length_mm: float | None = None
    wear_mm: float = 0.0
    diameter_mm: float = 0.0
    tool: str | None = None
    place: str = "centre"

    @property
    def effective_mm(self) -> float:
        """Geometry plus wear; 0 while nothing is measured."""
        return (self.length_mm or 0.0) + self.wear_mm


@dataclass(slots=True)
class Record:
    """What is stored about one setter. ``stale`` says why the reference no longer holds."""

    input: int = 1
    x_mm: float | None = None
    y_mm: float | None = None
    clearance_z_mm: float | None = None
    height_mm: float | None = None
    reference_z_mm: float | None = None
    reference_valid: bool = False
    reference_by: str = "face"
    master_length_mm: float | None = None
    fast_mm_per_min: float = 200.0
    slow_mm_per_min: float = 25.0
    back_off_mm: float = 2.0
    search_mm: float = 20.0
    agree_mm: float = 0.003
    stale: str = ""


@dataclass(slots=True)
class Tables:
    """All tables and modes of one controller."""

    rows: dict[int, ToolRow] = field(default_factory=dict)
    systems: dict[str, Vector] = field(default_factory=dict)
    system: str = "G54"
    shift: Vector = (0.0, 0.0, 0.0)
    records: dict[str, Record] = field(default_factory=dict)
    selected: str | None = None
    slot: int = 0
    length_row: int = 0
    units: str = "mm"
    incremental: bool = False
    parameters: dict[int, float] = field(default_factory=dict)
    noted: dict[str, float] = field(default_factory=dict)  # heights read off, by what was felt


def tables_from(start: ControllerStart, setters: list[str]) -> Tables:
    """The tables that a scenario starts with; a setter without a record gets an empty one."""
    tables = Tables(
        rows={number: _row(row) for number, row in start.rows.items()},
        systems=dict.fromkeys(SYSTEM_NAMES, (0.0, 0.0, 0.0)) | dict(start.systems),
        system=start.system,
        shift=start.shift_mm,
        records={name: Record() for name in setters},
        selected=start.selected or (setters[0] if setters else None),
        slot=start.slot,
        length_row=start.length_offset_row,
        units=start.units,
        incremental=start.distance == "incremental",
        parameters=dict(start.parameters),
    )
    for name, record in start.records.items():
        tables.records[name] = _record(record)
    return tables


def _row(row: Row) -> ToolRow:
    return ToolRow(row.length_mm, row.wear_mm, row.diameter_mm, row.tool, row.place)


def _record(record: SetterRecord) -> Record:
    return Record(**{name: getattr(record, name) for name in SetterRecord.model_fields})
