"""Where controls differ: the named settings of the language, and what each may be."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

from drytouch.sim.errors import InputError


@dataclass(frozen=True, slots=True)
class LanguageSettings:
    """How this machine reads the points on which controls differ; the defaults come first.

    The ``Literal`` settings are checked on construction. Lengths in mm, feeds in mm/min.
    """

    home_axes: Literal["named", "all"] = "named"
    fix_of_negative: Literal["down", "toward-zero"] = "down"
    rest_after_touch: Literal["trip-point", "where-stopped"] = "trip-point"
    feed_with_unit_change: Literal["new-units", "old-units"] = "new-units"
    offsets_on_unit_change: Literal["stay-put", "keep-numbers"] = "stay-put"
    g31_already_tripped: Literal["record", "error"] = "record"
    comparison: Literal["exact", "within-1e-6"] = "exact"
    tool_length_at_end: Literal["stays", "cancelled"] = "stays"
    touch_result: Literal["work", "machine"] = "work"
    read_ahead_lines: int = 0
    rapid_path: Literal["straight", "each-axis"] = "straight"
    logic_beside_comparison: Literal["tighter", "looser"] = "tighter"
    touch_overshoot_mm: float = 0.0
    touch_retract_mm: float = 0.0

    def __post_init__(self) -> None:
        for name, (_, choices) in POINTS.items():
            value = getattr(self, name)
            if choices and value not in choices:
                raise InputError(
                    f"{value!r} is none of {', '.join(choices)}", key=name, fix=f"use {choices[0]}"
                )
        for name in ("read_ahead_lines", "touch_overshoot_mm", "touch_retract_mm"):
            if not getattr(self, name) >= 0:
                raise InputError("must be zero or more", key=name)


POINTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "home_axes": ("which axes G28 and G30 send home", ("named", "all")),
    "fix_of_negative": ("what FIX does with a negative number", ("down", "toward-zero")),
    "rest_after_touch": ("where the axes rest after a touch", ("trip-point", "where-stopped")),
    "feed_with_unit_change": (
        "the units of F on a line that changes units",
        ("new-units", "old-units"),
    ),
    "offsets_on_unit_change": (
        "what a change of units does to offsets",
        ("stay-put", "keep-numbers"),
    ),
    "g31_already_tripped": ("what G31 does when the input is already on", ("record", "error")),
    "comparison": ("how exactly EQ and NE compare", ("exact", "within-1e-6")),
    "tool_length_at_end": ("what M2 and M30 do to the tool length", ("stays", "cancelled")),
    "touch_result": ("the coordinates of #5061-#5063", ("work", "machine")),
    "read_ahead_lines": ("how many lines early values are read", ()),
    "rapid_path": ("the path of a rapid in several axes", ("straight", "each-axis")),
    "logic_beside_comparison": (
        "how AND, OR and XOR bind beside a comparison",
        ("tighter", "looser"),
    ),
}
"""Setting -> (what it decides, the choices with the default first; none for a number)."""

SETTING_NAMES = tuple(field.name for field in fields(LanguageSettings))
