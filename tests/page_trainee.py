"""A trainee at the bench's page: knows only what it shows, does only what it offers.

Everything goes through buttons, fields and keys, found by what they are called; everything is read
from what stands on the page.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import pytest
from browser_cases import LONGEST_S

# What stands on the page, read in one go: a person takes it in at a glance, too.
_GLANCE = """() => {
  const words = (e) => e ? e.innerText.replace(/\\s+/g, ' ').trim() : '';
  const all = (where) => [...document.querySelectorAll(where)].map(words);
  const button = (name) =>
    [...document.querySelectorAll('button')].find((b) => words(b).startsWith(name));
  return {
    story: all('#story li').filter((line) => line !== 'Nothing yet.'),
    readout: [...document.querySelectorAll('.readout tbody tr')].map(
      (row) => [...row.querySelectorAll('td')].map((cell) => Number(words(cell)))),
    modes: words(document.querySelector('.modes')),
    inputs: all('.inputs li'),
    alerts: all('[role=alert]'),
    over: words(document.querySelector('.over')),
    line: words(document.querySelector('.over code')),
    busy: button('Stop for good') ? !button('Stop for good').disabled : false,
  };
}"""
_MISHAP = r"\d+:\d\d (Not done|Alarm), |Refused: "
AXIS_OF_KEY = {
    "ArrowLeft": (0, -1), "ArrowRight": (0, 1), "ArrowDown": (1, -1), "ArrowUp": (1, 1),
    "PageDown": (2, -1), "PageUp": (2, 1),
}  # fmt: skip


class Trainee:
    """Somebody at one page, who presses its buttons by mouse or by keyboard."""

    def __init__(self, page: Any, mouse: bool = False) -> None:
        self.page = page
        self._mouse = mouse
        self._going: dict[str, str] = {}
        self._too_late = pytest.importorskip("playwright.sync_api").TimeoutError

    # ---- coming in -----------------------------------------------------------------------

    def begin(self, address: str, exercise: str) -> None:
        """Open the page and choose an exercise by how its title begins."""
        self.page.goto(address)
        self._choose_exercise(exercise)

    def again(self, exercise: str) -> None:
        """Another exercise from the page of the last one."""
        self.press("Another exercise")
        self._choose_exercise(exercise)

    def _choose_exercise(self, exercise: str) -> None:
        self._going = {}
        self.page.get_by_role("button", name=re.compile(rf"^{re.escape(exercise)}")).click()
        self.page.get_by_role("heading", name=exercise, level=1).wait_for()
        self.page.get_by_role("region", name="Stop and go").wait_for()

    # ---- looking -------------------------------------------------------------------------

    def look(self) -> dict[str, Any]:
        seen: dict[str, Any] = self.page.evaluate(_GLANCE)
        return seen

    def position(self) -> list[float]:
        """X, Y, Z in the machine's own system, as the readout shows them."""
        return [row[0] for row in self.look()["readout"]]

    def written(self, cell: str) -> float:
        """A number of the controller's notes, by what its cell is called."""
        return float(self.page.get_by_label(cell, exact=True).input_value())

    def watched(self) -> str:
        """The line of the input that a touch watches."""
        return next(line for line in self.look()["inputs"] if "watched by touch" in line)

    def alarm(self) -> str:
        return next((text for text in self.look()["alerts"] if text.startswith("Alarm")), "")

    def sees(self, true: Callable[[dict[str, Any]], Any]) -> Any:
        """Wait until what stands there is as wanted."""
        end = time.monotonic() + LONGEST_S
        while not (found := true(seen := self.look())):
            assert time.monotonic() < end, seen
            time.sleep(0.04)
        return found

    # ---- acting --------------------------------------------------------------------------

    def press(self, button: str, inside: str | None = None) -> None:
        found = self._form(inside).get_by_role("button", name=button).first
        if self._mouse:
            found.click()
        else:
            found.press("Enter")

    def choose(self, label: str, wanted: str, inside: str | None = None) -> None:
        """One of a list, by what it says or how it begins."""
        pick = self._form(inside).get_by_role("combobox", name=label, exact=True).first
        choices = pick.locator("option").all_inner_texts()
        fitting = [text for text in choices if text == wanted] or [
            text for text in choices if text.startswith(wanted)
        ]
        assert fitting, f"{label} offers {choices}, not {wanted!r}"
        pick.select_option(label=fitting[0])

    def fill(self, label: str, value: object, inside: str | None = None) -> None:
        name = re.compile(rf"^{re.escape(label)}( \(needed\))?([ ,]|$)", re.I)
        self._form(inside).get_by_role("textbox", name=name).first.fill(str(value))

    def _form(self, inside: str | None) -> Any:
        if inside is None:
            return self.page
        return self.page.get_by_role("form", name=inside, exact=True)

    def do(
        self, button: str, inside: str | None = None, told: str = "", well: bool = True
    ) -> list[str]:
        """Press a button and wait until what it began is over; gives back what was told then.

        ``told`` is what the story calls it; without ``well`` it may also be refused, or end in an
        alarm. A machine that stopped because its page stalled is told to go on, as people do.
        """
        before = self.look()
        self.press(button, inside)
        name = told or button.lower()
        found: list[str] = self.sees(lambda seen: self._ended(seen, before, name))
        bad = [line for line in found if re.match(_MISHAP, line)]
        assert not (well and bad), bad
        return found

    def _ended(self, seen: dict[str, Any], before: dict[str, Any], name: str) -> list[str]:
        new = fresh(before["story"], seen["story"])
        if "feed hold is on" in seen["over"] and any("The page was away" in line for line in new):
            with suppress(self._too_late):  # somebody else was quicker
                self.page.get_by_role("button", name="Go on").first.press("Enter", timeout=2000)
            return []
        refused = [
            f"Refused: {text}"
            for text in seen["alerts"]
            if not text.startswith("Alarm") and text not in before["alerts"]
        ]
        if refused:
            return refused + new
        ended = any(re.match(rf"\d+:\d\d Done, {name}|{_MISHAP}", line) for line in new)
        return new if ended and not seen["busy"] and "hands:" not in seen["over"] else []

    # ---- hands ---------------------------------------------------------------------------

    def drives(self, on: bool) -> None:
        wanted = "on" if on else "off"
        if f"drives {wanted}" in self.look()["modes"]:
            return
        self.do(f"Switch drives {wanted}", told="drives")
        self.sees(lambda seen: f"drives {wanted}" in seen["modes"])

    def plug_in(self, socket: str) -> None:
        self.choose("Socket", socket, "Plug the cable in")
        self.do("Plug in", "Plug the cable in", "plug in")
        self.page.get_by_text(f"Plugged into {socket}.").wait_for()

    def press_pad(self) -> None:
        self.do("Press the pad", told="press pad")

    def load_tool(self, tool: str, row: str = "its own row") -> None:
        form = "Put a tool into the spindle"
        self.choose("Tool", tool, form)
        self.choose("Tell the controller", row, form)
        self.do("Put in", form, "load tool")
        self.page.get_by_text(f"In the spindle: {tool}.").wait_for()

    def take_tool_out(self) -> None:
        self.do("Take the tool out", told="load tool")

    def turn_by_hand(self, degrees: float) -> None:
        form = "Turn the spindle by hand"
        self.fill("Angle", degrees, form)
        self.do("Turn by hand", form, "turn spindle")

    def put_down(self, what: str, on: str, x: float, y: float) -> None:
        form = "Put something down"
        self.choose("What", what, form)
        self.choose("On", on, form)
        self.fill("X", x, form)
        self.fill("Y", y, form)
        self.do("Put down", form, "place")

    def take_away(self, what: str) -> None:
        self.choose("What", what, "Put something down")
        self.do("Take it away", told="take away")

    def place(self, what: str) -> tuple[float, float]:
        """Machine X and Y of where something stands, as the page says it."""
        self.choose("What", what, "Put something down")
        said = self.page.get_by_text(re.compile(r"It stands on the .* X -?[\d.]+, Y -?[\d.]+"))
        x, y = re.findall(r"[XY] (-?[\d.]+\d)", said.inner_text())
        return float(x), float(y)

    def try_block(self, block: str, on: str = "table") -> str:
        """How it feels: slides, drags, won't go."""
        form = "Try the gauge block"
        self.choose("Block", block, form)
        self.choose("Standing on", on, form)
        told = self.do("Try to slide it under", form, "feel block")
        return next(line.split(block)[1].strip() for line in told if f"The {block}" in line)

    def step_till_it_drags(self, block: str, by: float, on: str = "table") -> None:
        self.choose("Block", block, "Try the gauge block")
        self.choose("Standing on", on, "Try the gauge block")
        form = "Step and try again until it drags"
        self.fill("Step", by, form)
        self.do("Step and try till it drags", form, "step until feel")

    def rule(self, what: str, row: str = "nothing") -> float:
        """What the rule reads, mm; where it contradicts a table, the machine is in alarm then."""
        form = "Hold a rule to it"
        self.choose("Read", what, form)
        if what != "setter height":
            self.choose("Compare with", row, form)
        told = self.do("Hold the rule to it", form, "rule", well=False)
        read = next(m for line in told if (m := re.search(r"The rule reads (-?[\d.]+) mm", line)))
        return float(read.group(1))

    # ---- the controller ------------------------------------------------------------------

    def go(self, feed: float | None = None, well: bool = True, **axes: float) -> list[str]:
        wanted = {axis.upper(): str(axes.get(axis, "")) for axis in "xyz"}
        wanted["Feed"] = "" if feed is None else str(feed)
        for label, text in wanted.items():
            if text != self._going.get(label, ""):  # what was typed before still stands there
                self.fill(label, text, "Go to")
        self._going = wanted
        return self.do("Go", "Go to", "move", well)

    def line(self, text: str, well: bool = True) -> list[str]:
        """Type one line."""
        self.fill("One line, in mm", text, "Type one line")
        return self.do("Do this line", "Type one line", "typed line", well)

    def touch(
        self, z: float, feed: float = 25.0, store: str = "nothing", well: bool = True, **more: str
    ) -> list[str]:
        """Down to Z at a feed; ``row`` and ``system`` where what is stored asks for them."""
        self.fill("Down to Z", round(z, 4), "Touch")
        self.fill("Feed", feed, "Touch")
        self.choose("Then store", store, "Touch")
        for label, wanted in more.items():
            self.choose(label.capitalize(), wanted, "Touch")
        return self.do("Touch", "Touch", "touch", well)

    def routine(self, name: str, *, well: bool = True, **arguments: object) -> list[str]:
        """Choose a routine, fill its fields in or choose from their lists, run it."""
        form = "Run a routine"
        self.choose("Routine", name, form)
        for key, value in arguments.items():
            label = re.compile(rf"^{key.replace('_', ' ')}( \(needed\))?( |$)")
            picked = self._form(form).get_by_role("combobox", name=label)
            if picked.count():
                picked.first.select_option(label=str(value))
            else:
                self._form(form).get_by_role("textbox", name=label).first.fill(str(value))
        return self.do("Run it", form, name, well)

    def type_into(self, cell: str, value: float) -> None:
        """Type a number over one of the controller's notes."""
        field = self.page.get_by_label(cell, exact=True)
        field.fill(str(value))
        field.press("Enter")
        self.sees(lambda _: self.written(cell) == value)

    def rapid_override(self, percent: int) -> None:
        self.page.get_by_label("Rapid override, percent").fill(str(percent))
        self.page.get_by_text(f"Rapid {percent} %").wait_for()

    def jog_back(self, system: str, row: str, well: bool = True) -> list[str]:
        form = "Jog back to the surface"
        self.choose("Cross-check in", system, form)
        self.choose("With the length of", row, form)
        return self.do("Step down to the surface and read", form, "jog back", well)

    def home(self) -> None:
        self.do("Home")
        self.sees(lambda seen: "not homed" not in seen["modes"])

    def reset(self) -> None:
        self.do("Reset")

    def run_program(self, name: str, line_by_line: bool = False) -> None:
        """Start a program; where it runs through, wait until it is over, however it ends."""
        form = "Run a program"
        self.choose("Program", name, form)
        if line_by_line:
            self.page.get_by_label("wait before each line", exact=True).check()
        before = self.look()["story"]
        self.press("Run it", form)
        if not line_by_line:
            self.sees(lambda seen: fresh(before, seen["story"]) and not seen["busy"])

    def read_line_by_line(self, stop: Callable[[str], bool]) -> str:
        """Give one line after the other the start, until one is not to be given it."""
        while True:
            line = self.sees(lambda seen: "feed hold is on" in seen["over"] and seen["line"])
            if stop(line):
                return str(line)
            self.press("Go on")
            # A line that is held again half-way, for want of the page, is given its start again.
            self.sees(
                lambda seen, line=line: seen["line"] != line or "hold is on" not in seen["over"]
            )

    # ---- keys ----------------------------------------------------------------------------

    def hold_key(self, key: str, until: Callable[[list[float]], bool]) -> None:
        """Hold a jog key until the readout is as wanted; pressed again where it was lost."""
        self.page.locator("h1").first.click()  # in a field, arrows would type
        self.page.keyboard.down(key)
        self.sees(lambda seen: self._still_held(seen, key, until))
        self.page.keyboard.up(key)
        self.sees(lambda seen: "At rest" in seen["modes"])

    def _still_held(
        self, seen: dict[str, Any], key: str, until: Callable[[list[float]], bool]
    ) -> bool:
        if until([row[0] for row in seen["readout"]]):
            return True
        if "At rest" in seen["modes"]:
            self.page.keyboard.up(key)
            self.page.keyboard.down(key)
            time.sleep(0.2)
        return False

    def step_key(self, key: str, size: str, times: int) -> None:
        """Tap a jog key, each time one step of a size, and wait until the readout has followed."""
        axis, sign = AXIS_OF_KEY[key]
        wanted = self.position()[axis] + sign * times * float(size.split()[0])
        self.choose("Key moves", size)
        self.page.locator("h1").first.click()
        for _ in range(times):
            self.page.keyboard.press(key)
        self.sees(lambda seen: seen["alerts"] or abs(seen["readout"][axis][0] - wanted) < 5e-4)
        self.sees(lambda seen: "At rest" in seen["modes"])
        self.choose("Key moves", "while held")

    # ---- the task ------------------------------------------------------------------------

    def task(self) -> str:
        return str(self.page.get_by_role("region", name=re.compile("^Task")).inner_text())

    def answer(self, question: str, choice: str) -> None:
        mark = self.page.get_by_role("group", name=question).get_by_label(choice, exact=True)
        mark.click()
        self.sees(lambda _: mark.is_checked())

    def choices(self, question: str) -> list[str]:
        group = self.page.get_by_role("group", name=question)
        return [text.strip() for text in group.locator("label").all_inner_texts()]

    def hint(self) -> str:
        told = self.page.locator(".hint").count()
        self.page.get_by_role("button", name="Hint (costs").click()
        self.sees(lambda _: self.page.locator(".hint").count() > told)
        return str(self.page.locator(".hint").last.inner_text())

    def finish(self) -> Told:
        self.press("judge it")
        self.page.get_by_role("heading", name="Debrief").wait_for()
        return Told(self.page)


class Told:
    """The debrief, as the page shows it."""

    def __init__(self, page: Any) -> None:
        self.text = str(page.get_by_role("region", name="Debrief").inner_text())
        shown = re.match(r"([A-Z ]+?)\s+(\d+) of 100", page.locator(".verdict").inner_text())
        assert shown is not None, page.locator(".verdict").inner_text()
        self.verdict = shown.group(1).strip().lower()
        self.score = int(shown.group(2))
        self.passed = "Not passed." not in self.text
        self.findings = [
            text.lower().replace(" ", "-")
            for text in page.locator(".finding b:first-child").all_inner_texts()
        ]


def fresh(before: list[str], now: list[str]) -> list[str]:
    """What the story tells that it did not tell before, newest first."""
    for new in range(len(now) + 1):
        if now[new:] == before[: len(now) - new]:
            return now[:new]
    return now
