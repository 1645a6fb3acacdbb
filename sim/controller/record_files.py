"""Setter records as a file beside the tool table: the open standard has no layout for them.

``setters.toml`` has one table a setter, with the keys of a scenario's ``controller.records``.
"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.controller import SetterRecord
from drytouch.sim.scenario.files import read_toml, write_atomically
from drytouch.sim.scenario.load import validated
from drytouch.sim.scenario.save import plain, to_toml
from drytouch.sim.scenario.sources import Sources
from drytouch.sim.scenario.units import Part

if TYPE_CHECKING:
    from drytouch.sim.controller.tables import Record

SETTERS = "setters.toml"


class _Setters(Part):
    setter: dict[str, SetterRecord] = {}


def load_records(folder: Path, known: list[str]) -> dict[str, SetterRecord]:
    """The records of a folder's file; none where there is no such file.

    ``known``: names of the setters that there are.

    Raises:
        InputError: the file can't be read, says something impossible, or names another setter.
    """
    path = folder / SETTERS
    if not path.exists():
        return {}
    data, text = read_toml(path)
    found = validated(_Setters, data, Sources(str(path), text)).setter
    for name in found:
        if name not in known:
            raise InputError(
                f"there is no setter '{name}' here",
                str(path),
                key=f"setter.{name}",
                fix=f"there is {', '.join(known) or 'none'}; rename its table, or take it out",
            )
    return found


def save_records(folder: Path, records: dict[str, Record]) -> None:
    """Write the file, whole or not at all.

    Raises:
        InputError: it can't be written.
    """
    kept = {}
    for name, record in records.items():
        fields = asdict(record)
        fields.pop("stale")  # why it no longer holds is told once; that it doesn't is kept
        kept[name] = SetterRecord(**fields)
    write_atomically(folder / SETTERS, to_toml(plain(_Setters(setter=kept))))
