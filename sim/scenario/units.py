"""Keys that carry their unit: ``length_mm``, or ``length_in`` for the same number in inch.

Each field's own name says the unit that it is kept in. A file may write the same key with another
suffix of the same family, and the value is converted while it is read. Nothing is ever guessed
from a number's size.
"""

from __future__ import annotations

from functools import cache
from typing import Any, get_args

from pydantic import BaseModel, ConfigDict, model_validator

_MM_PER_INCH = 25.4  # exact by definition (ISO 31-1)
_NEWTON_PER_POUND = 4.4482216152605  # exact: 0.45359237 kg times 9.80665 m/s^2

# Family -> suffix -> size in the family's base unit.
FAMILIES: dict[str, dict[str, float]] = {
    "length": {"mm": 1.0, "in": _MM_PER_INCH, "um": 1e-3},
    "speed": {
        "mm_per_min": 1.0,
        "in_per_min": _MM_PER_INCH,
        "mm_per_s": 60.0,
        "m_per_min": 1000.0,
    },
    "acceleration": {"mm_per_s2": 1.0, "m_per_s2": 1000.0, "in_per_s2": _MM_PER_INCH},
    "jerk": {"mm_per_s3": 1.0, "m_per_s3": 1000.0, "in_per_s3": _MM_PER_INCH},
    "time": {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0},
    "angle": {"deg": 1.0, "rad": 57.29577951308232},
    "force": {"N": 1.0, "lbf": _NEWTON_PER_POUND},
    "spring": {"N_per_mm": 1.0, "lbf_per_in": _NEWTON_PER_POUND / _MM_PER_INCH},
    "mass": {"kg": 1.0, "g": 1e-3},
}
_BY_SUFFIX = {
    suffix: (family, size) for family, sizes in FAMILIES.items() for suffix, size in sizes.items()
}
_LONGEST_FIRST = sorted(_BY_SUFFIX, key=len, reverse=True)


def split_unit(key: str) -> tuple[str, str] | None:
    """Return ``(stem, suffix)`` of a key that ends in a known unit, or None."""
    for suffix in _LONGEST_FIRST:
        if key.endswith("_" + suffix):
            return key[: -len(suffix) - 1], suffix
    return None


def suffixes_like(suffix: str) -> tuple[str, ...]:
    """All suffixes of the family that ``suffix`` belongs to, itself included."""
    return tuple(FAMILIES[_BY_SUFFIX[suffix][0]])


def _scaled(value: Any, factor: float) -> Any:
    """``value`` times ``factor`` for numbers and for lists of numbers; else unchanged."""
    if isinstance(value, bool):
        return value
    if isinstance(value, int | float):
        return value * factor
    if isinstance(value, list | tuple):
        return [_scaled(item, factor) for item in value]
    return value


def converted(data: dict[str, Any], fields: set[str]) -> dict[str, Any]:
    """``data`` with each key in another unit of the right family replaced by the field's own.

    Raises:
        ValueError: the same quantity is given twice, or in a unit of another family.
    """
    own = {}
    for name in fields:
        parts = split_unit(name)
        if parts:
            own[parts[0]] = (name, parts[1])
    result: dict[str, Any] = {}
    for key, value in data.items():
        name, factor = _target(key, fields, own)
        if name in result:
            raise ValueError(f"'{key}' and another key both give {name}: keep one of them")
        result[name] = value if factor == 1.0 else _scaled(value, factor)
    return result


def _target(key: str, fields: set[str], own: dict[str, tuple[str, str]]) -> tuple[str, float]:
    """The field that ``key`` means, and the factor to its unit."""
    parts = split_unit(key)
    if key in fields or parts is None or parts[0] not in own:
        return key, 1.0
    name, suffix = own[parts[0]]
    family, size = _BY_SUFFIX[suffix]
    given_family, given_size = _BY_SUFFIX[parts[1]]
    if given_family != family:
        raise ValueError(
            f"'{key}' is in a unit of {given_family}; expected a {family}, as in '{name}'"
        )
    return name, given_size / size


class Part(BaseModel):
    """Base of everything that a scenario file describes: frozen, no unknown keys, no NaN."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _convert_units(cls, data: Any) -> Any:
        if not isinstance(data, dict) or not all(isinstance(key, str) for key in data):
            return data
        values = converted(data, set(cls.model_fields))
        numbers, absent = _kinds(cls)
        for name, value in values.items():
            if name in numbers and isinstance(value, bool | str):
                if value != "none" or name not in absent:
                    raise ValueError(f"'{name}' expects a number, not {_as_toml(value)}")
                values[name] = None
        return values


@cache
def _kinds(model: type[Part]) -> tuple[frozenset[str], frozenset[str]]:
    """Fields that hold a plain number; and those that may be absent, written "none" in TOML."""
    numbers, absent = set(), set()
    for name, field in model.model_fields.items():
        options = set(get_args(field.annotation)) or {field.annotation}
        # Constrained types such as PositiveFloat arrive as Annotated[float, ...].
        plain = {get_args(option)[0] if get_args(option) else option for option in options}
        if plain <= {int, float, type(None)} and plain & {int, float}:
            numbers.add(name)
            if type(None) in plain:
                absent.add(name)
    return frozenset(numbers), frozenset(absent)


def _as_toml(value: bool | str) -> str:
    return str(value).lower() if isinstance(value, bool) else f'"{value}"'
