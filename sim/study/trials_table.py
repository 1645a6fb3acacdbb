"""The table of all trials, CSV or Parquet, written row by row and in the order of the trials."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from typing import IO, Any, Protocol

from drytouch.sim.errors import InputError
from drytouch.sim.extras import install_hint
from drytouch.sim.study.trials_plan import Plan

FORMATS = ("csv", "parquet")
_FIXED = ("trial", "seed", "verdict", "findings", "alarms", "time_s", "draws_refused", "problem")


class Table(Protocol):
    """Where rows go."""

    def write(self, rows: list[list[Any]]) -> None:
        """Write the rows of one part."""


def columns_of(plan: Plan, numbers: list[str]) -> list[str]:
    """Names of all columns: fixed ones, what varied (as typed), an error in mm for each number."""
    return [*_FIXED, *(vary.typed for vary in plan.varies), *(f"{n}, error mm" for n in numbers)]


def _flat(plan: Plan, numbers: list[str], row: list[Any]) -> list[Any]:
    index, verdict, codes, alarms, time_s, again, problem, values, errors = row
    return [
        index, plan.seed + index, verdict, codes, alarms, time_s, again, problem, *values,
        *(errors[name][0] if name in errors else None for name in numbers),
    ]  # fmt: skip


@contextmanager
def open_table(path: Path, plan: Plan, numbers: list[str]) -> Iterator[Table]:
    """A table in the format that the file's ending says.

    Raises:
        InputError: Parquet was asked for and its library is missing.
    """
    if path.suffix == ".parquet":
        with _parquet(path, plan, numbers) as table:
            yield table
        return
    with path.open("w", encoding="utf-8", newline="") as stream:
        yield _Csv(stream, plan, numbers)


class _Csv:
    def __init__(self, stream: IO[str], plan: Plan, numbers: list[str]) -> None:
        self._stream, self._plan, self._numbers = stream, plan, numbers
        self._lines([columns_of(plan, numbers)])

    def _lines(self, lines: list[list[Any]]) -> None:
        # RFC 4180 asks for CR LF; every reader takes LF, and tools for text prefer it.
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(lines)
        self._stream.write(text.getvalue())

    def write(self, rows: list[list[Any]]) -> None:
        """One part's rows; floats are written so that they read back to the same bits."""
        self._lines([_flat(self._plan, self._numbers, row) for row in rows])


@contextmanager
def _parquet(path: Path, plan: Plan, numbers: list[str]) -> Iterator[Table]:
    try:
        # It has no types: loaded by name, nothing is expected of it.
        pyarrow: Any = import_module("pyarrow")
        parquet: Any = import_module("pyarrow.parquet")
    except ImportError:
        raise InputError(
            "Parquet needs the library 'pyarrow'",
            key="--format",
            fix=f"install it with: {install_hint('parquet')}, or use --format csv",
        ) from None
    text, whole, real = pyarrow.string(), pyarrow.int64(), pyarrow.float64()
    kinds = [whole, whole, text, text, text, real, whole, text]
    for vary in plan.varies:
        numbers_only = all(
            isinstance(v, int | float) and not isinstance(v, bool) for v in vary.values
        )
        kinds.append(real if numbers_only else text)
    kinds += [real] * len(numbers)
    names = columns_of(plan, numbers)
    schema = pyarrow.schema(list(zip(names, kinds, strict=True)))

    class _Parquet:
        def write(self, rows: list[list[Any]]) -> None:
            flat = [_flat(plan, numbers, row) for row in rows]
            columns = [
                pyarrow.array([_fit(line[i], kind == text) for line in flat], kind)
                for i, kind in enumerate(kinds)
            ]
            writer.write_table(pyarrow.table(columns, schema=schema))

    with parquet.ParquetWriter(path, schema, compression="zstd") as writer:
        yield _Parquet()


def _fit(value: Any, as_text: bool) -> Any:
    return str(value) if as_text and value is not None else value
