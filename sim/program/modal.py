"""Codes and their modal groups (NISTIR 6556, section 3.4), and the state that they leave behind.

G codes are counted in tenths, so that G38.2 is 382 and every code is an integer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

ONE_SHOT, MOTION, PLANE, DISTANCE, FEED_MODE, UNITS = 0, 1, 2, 3, 5, 6
COMPENSATION, LENGTH, RETURN, SYSTEM, PATH = 7, 8, 10, 12, 13
STOP, TOOL_CHANGE, SPINDLE, COOLANT, OVERRIDES = 4, 6, 7, 8, 9

G_GROUPS: dict[int, tuple[int, ...]] = {
    ONE_SHOT: (40, 100, 280, 300, 310, 530, 650, 920, 921, 922, 923),
    MOTION: (0, 10, 20, 30, 382, 800, 810, 820, 830, 840, 850, 860, 870, 880, 890),
    PLANE: (170, 180, 190),
    DISTANCE: (900, 910),
    FEED_MODE: (930, 940),
    UNITS: (200, 210),
    COMPENSATION: (400, 410, 420),
    LENGTH: (430, 490),
    RETURN: (980, 990),
    SYSTEM: (540, 550, 560, 570, 580, 590, 591, 592, 593),
    PATH: (610, 611, 640),
}
M_GROUPS: dict[int, tuple[int, ...]] = {
    STOP: (0, 1, 2, 30, 60, 99),
    TOOL_CHANGE: (6,),
    SPINDLE: (3, 4, 5, 19),
    COOLANT: (7, 8, 9),
    OVERRIDES: (48, 49),
}
GROUP_OF_G = {code: group for group, codes in G_GROUPS.items() for code in codes}
GROUP_OF_M = {code: group for group, codes in M_GROUPS.items() for code in codes}
REJECTED_G = {
    410: "cutter compensation is not built into this machine",
    420: "cutter compensation is not built into this machine",
    **dict.fromkeys(range(810, 900, 10), "canned cycles are not built into this machine"),
}
# These one-shot codes use the line's axis words themselves; the motion mode sleeps meanwhile.
AXIS_OWNERS = frozenset({100, 280, 300, 310, 920})
AXIS_MOTIONS = frozenset({0, 10, 20, 30, 382})
FEED_MOTIONS = frozenset({10, 20, 30})
ARCS = frozenset({20, 30})
TOUCHES = frozenset({382, 310})

INCH_MM = 25.4
# A mode that the checker does not know; no code has this number.
UNKNOWN = -1
SYSTEM_NUMBER = {code: number for number, code in enumerate(G_GROUPS[SYSTEM], 1)}
SYSTEM_CODE = {number: code for code, number in SYSTEM_NUMBER.items()}


def name_of_g(code: int) -> str:
    """Return how a program writes a G code that is counted in tenths."""
    return f"G{code // 10}" if code % 10 == 0 else f"G{code // 10}.{code % 10}"


@dataclass(frozen=True, slots=True)
class Modal:
    """The codes in force; the defaults are those at start-up (NISTIR 6556, appendix A; G21 ours).

    Coolant is recorded as two flags because M7 and M8 may both be on.
    """

    motion: int = 800
    plane: int = 170
    distance: int = 900
    feed_mode: int = 940
    units: int = 210
    compensation: int = 400
    length: int = 490
    cycle_return: int = 980
    system: int = 540
    path: int = 610
    spindle: int = 5
    mist: bool = False
    flood: bool = False
    overrides: int = 48

    @property
    def unit_mm(self) -> float:
        """One program unit in mm."""
        return INCH_MM if self.units == 200 else 1.0

    def with_g(self, group: int, code: int) -> Modal:
        """Return the state after G ``code`` of ``group``."""
        name = FIELD_OF_G[group]
        if getattr(self, name) == code:
            return self
        changed: dict[str, Any] = {name: code}
        return replace(self, **changed)

    def with_coolant(self, code: int) -> Modal:
        """Return the state after M7, M8 or M9."""
        if code == 9:
            return replace(self, mist=False, flood=False)
        return replace(self, mist=True) if code == 7 else replace(self, flood=True)

    def after_end(self, length_cancelled: bool) -> Modal:
        """Return the state after M2 or M30: units stay, and the tool length unless cancelled."""
        return replace(
            self,
            system=540,
            plane=170,
            distance=900,
            feed_mode=940,
            compensation=400,
            motion=10,
            spindle=5,
            mist=False,
            flood=False,
            overrides=48,
            length=490 if length_cancelled else self.length,
        )

    def report(self) -> str:
        """Return the codes in force as one line of text."""
        codes = [name_of_g(getattr(self, name)) for name in FIELD_OF_G.values()]
        coolant = [name for on, name in ((self.mist, "M7"), (self.flood, "M8")) if on] or ["M9"]
        return " ".join([*codes, f"M{self.spindle}", *coolant, f"M{self.overrides}"])


FIELD_OF_G: dict[int, str] = {
    MOTION: "motion",
    PLANE: "plane",
    DISTANCE: "distance",
    FEED_MODE: "feed_mode",
    UNITS: "units",
    COMPENSATION: "compensation",
    LENGTH: "length",
    RETURN: "cycle_return",
    SYSTEM: "system",
    PATH: "path",
}
