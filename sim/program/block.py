"""A line with its values known: codes by group, words by letter."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from drytouch.sim.program import modal as m
from drytouch.sim.program.errors import ProgramError
from drytouch.sim.program.modal import name_of_g
from drytouch.sim.program.values import nearest_integer

AXES = "XYZ"
PLANE_OFFSETS = {170: "IJ", 180: "KI", 190: "JK"}
PLANE_AXES: dict[int, tuple[int, int, int]] = {170: (0, 1, 2), 180: (2, 0, 1), 190: (1, 2, 0)}

ARGUMENT_PARAMETER = {
    "A": 1, "B": 2, "C": 3, "D": 7, "E": 8, "F": 9, "H": 11, "I": 4, "J": 5, "K": 6, "M": 13,
    "Q": 17, "R": 18, "S": 19, "T": 20, "U": 21, "V": 22, "W": 23, "X": 24, "Y": 25, "Z": 26,
}  # fmt: skip
"""Which local parameter a letter of a G65 line fills."""


@dataclass(slots=True)
class Block:
    """``g`` and ``m`` map group to code, ``values`` letter to number, ``places`` to squeezed place.

    ``call`` tells a G65 line, on which no letter keeps its usual meaning. ``axes`` are the axis
    letters on the line, ``one_shot`` the code of group 0: both are asked for all the time.
    """

    g: dict[int, int] = field(default_factory=dict)
    m: dict[int, int] = field(default_factory=dict)
    values: dict[str, float] = field(default_factory=dict)
    places: dict[str, int] = field(default_factory=dict)
    call: bool = False
    axes: str = ""
    one_shot: int | None = None

    def wrong(self, code: str, message: str, letter: str = "") -> ProgramError:
        """Return an error that points at ``letter``."""
        place = self.places.get(letter)
        return ProgramError(code, message, column=0 if place is None else place + 1)

    def integer(self, letter: str, low: int, high: float, what: str) -> int:
        """Return an integer word within limits; an unknown value (NaN) passes as ``low``."""
        value = self.values[letter]
        if value != value:
            return low
        whole = nearest_integer(value)
        if whole is None or not low <= whole <= high:
            upper = f" to {high:g}" if high != float("inf") else " or more"
            raise self.wrong(
                "E-RANGE", f"{letter} ({what}) takes an integer {low}{upper}, not {value:g}", letter
            )
        return whole


def build_block(words: Iterable[tuple[str, float, int]]) -> Block:
    """Sort evaluated words (letter, value, place) into a block.

    Raises E-UNKNOWN, E-UNSUPPORTED and E-MODAL. Vacant words must have been left out already. An
    unknown value (NaN) of a G or M word is dropped: the checker reports what it can't know.
    """
    words = tuple(words)
    block = Block()
    for letter, value, _ in words:
        block.call = block.call or (letter == "G" and abs(value - 65) < 1e-4)
    for letter, value, place in words:
        if letter == "G":
            _add_g(block, value, place)
        elif letter == "M" and not block.call:
            _add_m(block, value, place)
        else:
            if letter in block.values:
                raise ProgramError("E-REPEAT", f"{letter} is on the line twice", column=place + 1)
            block.values[letter] = value
            block.places[letter] = place
    values = block.values
    block.axes = "X" * ("X" in values) + "Y" * ("Y" in values) + "Z" * ("Z" in values)
    block.one_shot = block.g.get(m.ONE_SHOT)
    if block.call:
        _check_call(block)
    else:
        _check_together(block)
    return block


def _add_g(block: Block, value: float, place: int) -> None:
    if value != value:
        return
    code = nearest_integer(10 * value)
    group = None if code is None else m.GROUP_OF_G.get(code)
    if code is None or group is None:
        raise ProgramError("E-UNKNOWN", f"there is no G{value:g}", column=place + 1)
    if code in m.REJECTED_G:
        raise ProgramError(
            "E-UNSUPPORTED", f"{name_of_g(code)}: {m.REJECTED_G[code]}", column=place + 1
        )
    if group in block.g:
        raise ProgramError(
            "E-MODAL",
            f"{name_of_g(block.g[group])} and {name_of_g(code)} exclude each other on one line",
            column=place + 1,
        )
    block.g[group] = code
    block.places[f"G{code}"] = place


def _add_m(block: Block, value: float, place: int) -> None:
    if value != value:
        return
    code = nearest_integer(value)
    group = None if code is None else m.GROUP_OF_M.get(code)
    if code is None or group is None:
        raise ProgramError("E-UNKNOWN", f"there is no M{value:g}", column=place + 1)
    if group in block.m:
        raise ProgramError(
            "E-MODAL",
            f"M{block.m[group]} and M{code} exclude each other on one line",
            column=place + 1,
        )
    block.m[group] = code
    block.places[f"M{code}"] = place


def _check_call(block: Block) -> None:
    if len(block.g) > 1:
        raise block.wrong("E-MODAL", "G65 stands with no other G word", "G650")
    if "P" not in block.values:
        raise block.wrong("E-MISSING", "G65 needs P, the number of the program to run", "G650")
    block.integer("P", 1, 99999, "program")
    if "L" in block.values:
        block.integer("L", 1, float("inf"), "how often")


def _check_together(block: Block) -> None:
    for letter in "EUVW":
        if letter in block.values:
            raise block.wrong("E-CHAR", f"{letter} is a letter of G65 calls only", letter)
    for letter in "ABC":
        if letter in block.values:
            raise block.wrong("E-UNSUPPORTED", f"{letter}: this machine has three axes", letter)
    one_shot, motion = block.one_shot, block.g.get(m.MOTION)
    if one_shot in m.AXIS_OWNERS and motion in m.AXIS_MOTIONS:
        assert one_shot is not None
        assert motion is not None
        raise block.wrong(
            "E-MODAL",
            f"{name_of_g(one_shot)} and {name_of_g(motion)} both want the axis words",
            f"G{one_shot}",
        )


def moves_axes(block: Block, motion: int) -> bool:
    """Whether the line's axis words go to the motion mode ``motion``."""
    return bool(block.axes) and block.one_shot not in m.AXIS_OWNERS and motion in m.AXIS_MOTIONS
