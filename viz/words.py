"""What a picture says: title, verdict, the finding's sentences and figures, read tolerantly."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from drytouch.sim.recording import Recording

UNITS = (
    ("_mm_per_min", "mm/min"),
    ("_mm_per_s", "mm/s"),
    ("_um", "µm"),
    ("_mm", "mm"),
    ("_N", "N"),
    ("_J", "J"),
    ("_kg", "kg"),
    ("_rpm", "1/min"),
    ("_ms", "ms"),
    ("_s", "s"),
    ("_deg", "°"),
)
USUAL_TOLERANCE_MM = 0.01
"""Usual shop limit for a tool length, where a number comes without its own."""

HEADS = ("What happened", "Why", "On a real machine")


class Figure(NamedTuple):
    """A number for people."""

    name: str
    value: str


class NumberOff(NamedTuple):
    """A number that is off: name, belief, truth, error and tolerance in mm."""

    name: str
    belief: float
    truth: float
    error: float
    tolerance: float | None


def title(recording: Recording) -> str:
    """The scenario's title, or its name."""
    facts = recording.scenario
    return str(facts.get("title") or facts.get("name") or "Touch-off")


def sentences(finding: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """The finding's sentences under their heads; none when it has none."""
    found = finding.get("sentences")
    if isinstance(found, Mapping):
        found = list(found.values())
    if not isinstance(found, list | tuple):
        keys = (("what", "happened"), ("why",), ("avoid", "how_to_avoid", "instead"))
        found = [next((finding[k] for k in names if finding.get(k)), "") for names in keys]
    return tuple(
        (head, str(text)[:1].upper() + str(text)[1:])
        for head, text in zip(HEADS, found, strict=False)
        if str(text).strip()
    )


def figures(finding: Mapping[str, Any], most: int = 3) -> tuple[Figure, ...]:
    """The finding's figures, names and units spelled out."""
    found = finding.get("figures") or {}
    rows: list[Figure] = []
    pairs = found.items() if isinstance(found, Mapping) else found
    for pair in pairs if isinstance(pairs, list | tuple) or hasattr(pairs, "__iter__") else ():
        if isinstance(pair, Mapping):
            name, value = str(pair.get("name", "")), pair.get("value")
            unit = str(pair.get("unit", ""))
        elif isinstance(pair, list | tuple) and len(pair) >= 2:
            name, value = str(pair[0]), pair[1]
            unit = str(pair[2]) if len(pair) > 2 else ""
        else:
            continue
        # Words among the figures are in the sentences already.
        if isinstance(value, bool) or not isinstance(value, int | float):
            continue
        name, own = split_unit(name)
        rows.append(Figure(name, written(value, unit or own)))
    return tuple(rows[:most])


def split_unit(name: str) -> tuple[str, str]:
    """("over travel", "mm") from "over_travel_mm"."""
    for ending, unit in UNITS:
        if name.endswith(ending):
            return name[: -len(ending)].replace("_", " "), unit
    return name.replace("_", " "), ""


def written(value: Any, unit: str, signed: bool = False) -> str:
    """A number with as many places as its unit deserves; text as it is."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if unit == "µm" and abs(value) >= 1000:
        value, unit = value / 1000, "mm"
    if unit == "mm":
        text = f"{value:+.3f}" if signed else f"{value:.3f}"
    elif isinstance(value, int):
        text = str(value)
    else:
        text = f"{value:.3g}" if abs(value) < 100 else f"{value:.0f}"
    return f"{text} {unit}".rstrip()


def alarms(recording: Recording) -> list[str]:
    """The messages of the alarms, in order."""
    found = (recording.outcome or {}).get("alarms", ())
    if not isinstance(found, list):
        return []
    messages = [str(alarm.get("message", "")) for alarm in found if isinstance(alarm, Mapping)]
    return [
        text[:1].upper() + text[1:] + "." * (not text.endswith(".")) for text in messages if text
    ]


def numbers(recording: Recording) -> list[NumberOff]:
    """Every number of the outcome that is a length in mm."""
    found = (recording.outcome or {}).get("numbers", ())
    if not isinstance(found, list):
        return []
    return [number for number in map(_number, found) if number is not None]


def worst_number(recording: Recording) -> NumberOff | None:
    """The stored number that is furthest off for its tolerance; None when none is off."""

    def score(number: NumberOff) -> float:
        return abs(number.error) / (number.tolerance or USUAL_TOLERANCE_MM)

    worst = max(numbers(recording), key=score, default=None)
    return worst if worst is not None and score(worst) > 1.0 else None


def _number(entry: Any) -> NumberOff | None:
    if not isinstance(entry, Mapping) or entry.get("unit", "mm") != "mm":
        return None
    values = [entry.get(key) for key in ("belief", "truth", "error")]
    if not all(isinstance(v, int | float) and not isinstance(v, bool) for v in values):
        return None
    tolerance = entry.get("tolerance")
    name = str(entry.get("name") or entry.get("what") or entry.get("key") or "number")
    return NumberOff(
        name.replace("_", " "),
        float(values[0]),  # type: ignore[arg-type]
        float(values[1]),  # type: ignore[arg-type]
        float(values[2]),  # type: ignore[arg-type]
        float(tolerance) if isinstance(tolerance, int | float) else None,
    )


def named(finding: Mapping[str, Any]) -> str:
    """A finding's name as a heading."""
    code = str(finding.get("code", "finding")).replace("-", " ")
    return code[:1].upper() + code[1:]


def where(finding: Mapping[str, Any]) -> str:
    """The place that a finding names in words, such as "at the pad"; empty where it names none."""
    figures = finding.get("figures")
    return str(figures.get("where", "")) if isinstance(figures, Mapping) else ""
