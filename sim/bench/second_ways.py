"""Second ways of looking at a number: which readings belong to it, and which only look alike.

A reading belongs to a number when it was taken after the number was stored, of the same tool in the
same row, of the same setter, or in the same work system. A rule reads to half a millimetre: it
shows a wrong tool, a wrong row or a slipped digit, and no more. Jogging back shows hundredths, of a
length and a work zero together; where the same tool set the zero, an error of its length cancels,
so that the length itself is not checked.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from drytouch.sim.truth.number import Number

if TYPE_CHECKING:
    from drytouch.sim.bench.session import Session

# A rule reads to half a millimetre; what differs by more than twice that is no reading error.
RULE_DOUBT_MM = 1.0
# A tool of known length that comes out within this of its paper proves the reference behind it.
KNOWN_MM = 0.02
# Two numbers from the same touches differ by rounding of tables and means of two touches.
FROM_TOUCH_MM = 0.02
LOOKS = ("rule", "jog-back")
"""What somebody does to look at a number a second way; recorded under the same names."""


@dataclass(frozen=True, slots=True)
class Look:
    """A rule that was read, or a tip that was jogged back, to its end and without an alarm."""

    at_s: float
    step: Any
    tool: str | None
    row: int
    system: str
    setter: str


class Past:
    """What was so at a time of a session: tool in the spindle, rows, systems, setter in use.

    An hour's session has thousands of packed rows: they are walked through once.
    """

    def __init__(self, session: Session) -> None:
        self.twin = session.live.twin
        self.start = session.live.scenario.controller
        done = session.done
        self._acts = [
            entry
            for entry in session.live.log
            if entry.step.do in (*LOOKS, "load-tool") and entry.number in done
        ]
        self._said: dict[str, list[tuple[float, Any]]] = {}
        for t, key, value in self.twin.recorder.beliefs:
            if t > 0.0:  # what was said at the start is the scenario's to tell
                self._said.setdefault(key, []).append((t, value))
        self.latches: list[tuple[float, float]] = []
        """When a touch noted a height, and which, machine Z in mm."""
        readings: dict[str, list[float]] = {do: [] for do in LOOKS}
        for t, kind, data in self.twin.recorder.events:
            if kind == "latch":
                self.latches.append((t, data[3]))
            elif kind in readings and data[-1] is not None:
                # A rule that had no number to be compared with says nothing about one.
                readings[kind].append(t)
        self._changes = list(self._tools(session.live.scenario.spindle_tool))
        self._looks = {do: list(self._looked(do, times)) for do, times in readings.items()}

    def _tools(self, first: str | None) -> Iterator[tuple[float, str | None]]:
        """Each change of tool: when, and what was then in the spindle."""
        yield (0.0, first)
        by_hand = [entry for entry in self._acts if entry.step.do == "load-tool"]
        for t, slot in self._said.get("loaded slot", ()):
            if by_hand and by_hand[0].at_s <= t:
                yield (t, by_hand.pop(0).step.tool)
            else:  # a program's change puts in what belongs to the row
                row = self.twin.tables.rows.get(slot)
                yield (t, row.tool if row else None)

    def tool(self, t: float) -> tuple[float, str | None]:
        """Since when what has been in the spindle at a time."""
        return self._changes[bisect_right(self._changes, t, key=_when) - 1]

    def told(self, key: str, t: float, first: Any) -> Any:
        """What the tables said under a key at a time; ``first``: at the start."""
        said = self._said.get(key, [])
        index = bisect_right(said, t, key=_when)
        return said[index - 1][1] if index else first

    def setter(self, t: float) -> str:
        """The setter whose input a touch watched at a time."""
        first = self.start.selected or next(iter(self.twin.tables.records), "")
        return str(self.told("selected setter", t, first))

    def _looked(self, do: str, times: list[float]) -> Iterator[Look]:
        """All of a kind that came to their end without an alarm."""
        for entry in self._acts:
            index = bisect_left(times, entry.at_s)
            if entry.step.do != do or index == len(times):
                continue
            t = times[index]
            slot = self.told("loaded slot", t, self.start.slot)
            active = self.told("active length row", t, self.start.length_offset_row)
            row = getattr(entry.step, "row", None)
            yield Look(
                t,
                entry.step,
                self.tool(t)[1],
                row or (slot if do == "rule" else active),
                self.told("active system", t, self.start.system),
                getattr(entry.step, "setter", None) or self.setter(t),
            )

    # ---- what belongs to a number --------------------------------------------------------

    def second_way(self, number: Number) -> bool:
        """Whether a number was looked at another way after it was stored."""
        name = number.name
        if name.startswith("row "):
            return self._length_checked(int(name.split()[1]), number.time_s)
        if name.endswith(" z"):
            return self._zero_checked(name.removesuffix(" z"), number.time_s)
        if name.endswith(" height"):
            setter = name.removesuffix(" height")
            return any(
                look.step.what == "setter-height" and look.setter == setter
                for look in self._looks["rule"] if look.at_s >= number.time_s
            )  # fmt: skip
        return self._reference_checked(name.removesuffix(" reference"), number)

    def _length_checked(self, row: int, since_s: float) -> bool:
        tool = self._tool_of(row)
        for look in self._looks["rule"]:
            mine = look.step.what == "tool-length" and look.row == row and look.tool == tool
            if mine and look.at_s >= since_s:
                return True
        for look in self._looks["jog-back"]:
            zero = self.twin.judge.numbers.get(f"{look.step.system} z")
            by_other = zero is None or self.tool(zero.time_s)[1] != tool
            if look.row == row and look.tool == tool and look.at_s >= since_s and by_other:
                return True
        return False

    def _zero_checked(self, system: str, since_s: float) -> bool:
        for look in self._looks["jog-back"]:
            if look.step.system == system and look.at_s >= since_s and self._in_its_row(look):
                return True
        return any(
            look.step.what == "tip-to-stock" and look.system == system and look.at_s >= since_s
            and self._length_in_use(look)
            for look in self._looks["rule"]
        )  # fmt: skip

    def _in_its_row(self, look: Look) -> bool:
        return look.row > 0 and self._tool_of(look.row) == look.tool

    def _length_in_use(self, look: Look) -> bool:
        """Whether the position that a rule was compared with counted from the tool's own tip."""
        active = self.told("active length row", look.at_s, self.start.length_offset_row)
        return active > 0 and self._tool_of(active) == look.tool

    def _reference_checked(self, setter: str, number: Number) -> bool:
        """By a tool of known length, or roughly by a rule on a tool that was measured with it."""
        if self.known_tools(number):
            return True
        for name, row in self._rows_touched(setter, number.time_s):
            if self._length_checked(row, self.twin.judge.numbers[name].time_s):
                return True
        return False

    def _rows_touched(self, setter: str, since_s: float) -> Iterator[tuple[str, int]]:
        for name, number in self.twin.judge.numbers.items():
            mine = name.startswith("row ") and number.time_s >= since_s
            if mine and self.setter(number.time_s) == setter and self.touched(number):
                yield name, int(name.split()[1])

    def known_tools(self, reference: Number | None = None) -> list[str]:
        """Rows of tools of known length that were touched and came out as their paper says.

        The tool that the reference itself was taken with proves nothing: it comes out right
        whatever was typed for it.
        """
        twin, found = self.twin, []
        if reference is None:
            reference = self._latest_reference()
        since = reference.time_s if reference is not None else 0.0
        with_it = self.tool(since)[1] if reference is not None else None
        for name, number in twin.judge.numbers.items():
            if not name.startswith("row ") or number.time_s < since:
                continue
            tool = self._tool_of(int(name.split()[1]))
            spec = twin.scenario.tools.get(tool or "")
            certified = spec.certified_length_mm if spec else None
            if certified is None or tool == with_it or not self.touched(number):
                continue
            if abs(self._from_face(number) - certified) <= KNOWN_MM:
                found.append(name)
        return found

    def touched(self, number: Number) -> bool:
        """Whether a length came from a touch of its row's tool, and was not typed in."""
        since, tool = self.tool(number.time_s)
        if tool != self._tool_of(int(number.name.split()[1])):
            return False
        setter = self.setter(number.time_s)
        record = self.start.records.get(setter)
        first = record.reference_z_mm if record else None
        zero = self.told(f"setter {setter} reference_z_mm", number.time_s, first)
        if zero is None:
            return False
        length = self._from_face(number)
        return any(abs(z - zero - length) <= FROM_TOUCH_MM
                   for t, z in self.latches if since <= t <= number.time_s)  # fmt: skip

    def _latest_reference(self) -> Number | None:
        taken = [n for name, n in self.twin.judge.numbers.items() if name.endswith(" reference")]
        return max(taken, key=lambda number: number.time_s, default=None)

    def _from_face(self, number: Number) -> float:
        return number.belief - self.twin.judge.length_base(self.twin.kernel.agenda.now())

    def _tool_of(self, row: int) -> str | None:
        entry = self.twin.tables.rows.get(row)
        return entry.tool if entry is not None else None


def _when(entry: tuple[float, Any]) -> float:
    return entry[0]
