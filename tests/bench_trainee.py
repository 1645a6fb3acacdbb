"""A trainee who goes by what can be seen: the state, the tables, data sheets, a rule, the inputs.

Nothing in here knows which machine it stands at. Data sheets are what a person has beside the
machine: travel, table and nose of the machine; height and pad of the setter; length of a tool as
its certificate or set-up sheet states it. What a tool or a setter really is, now, is not looked at.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from math import hypot
from typing import Any

from bench_cases import do, prove, routine, wait

from drytouch.sim.bench import Session
from drytouch.sim.scenario.places import height_of
from drytouch.sim.scenario.tool import Tool

SLOW_MM_PER_MIN = 25.0
# A rapid ends this far above where the pad should trip: more than a sheet or a slip is off by.
NEAR_MM = 4.0
# What is off by more than this was not the touching: slow touches lie within a hundredth.
SEEN_MM = 0.03


class Trainee:
    """Hands, eyes and data sheets at one session."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.machine = session.live.scenario.machine
        self.sheets = session.live.scenario

    # ---- what is seen --------------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        return self.session.state(since=10**9)

    def record(self) -> dict[str, Any]:
        found: dict[str, Any] = self.state()["tables"]["records"][self.setter]
        return found

    def rows(self) -> dict[int, dict[str, Any]]:
        return {row["row"]: row for row in self.state()["tables"]["rows"]}

    def wanted(self, end: str) -> list[str]:
        return [name for name in self.state()["exercise"]["numbers"] if name.endswith(end)]

    @property
    def setter(self) -> str:
        return str(self.state()["modes"]["selected"])

    def items(self, kind: str) -> list[str]:
        return [item["item"] for item in self.state()["items"] if item["kind"] == kind]

    def place(self, item: str) -> tuple[float, float]:
        found = next(i for i in self.state()["items"] if i["item"] == item)
        return found["x_mm"], found["y_mm"]

    # ---- data sheets ---------------------------------------------------------------------

    @property
    def top(self) -> float:
        return self.machine.axes.z.max_mm

    @property
    def table(self) -> float:
        return self.machine.table.top_z_mm

    def sheet(self, tool: str | None) -> float:
        spec: Tool | None = self.sheets.tools[tool] if tool else None
        return 0.0 if spec is None else spec.certified_length_mm or spec.nominal_length_mm

    def in_spindle(self) -> float:
        return self.sheet(self.state()["modes"]["tool"])

    def trip_height(self) -> float:
        """Of the setter above its foot, by its data sheet."""
        spec = self.sheets.setter[self.setter]
        return spec.pad_height_mm - spec.pre_travel_mm

    def under(self) -> float:
        """Height of what the setter stands on, above the table."""
        on = next(i for i in self.state()["items"] if i["item"] == self.setter)["on"]
        return 0.0 if on == "table" else height_of(self.sheets, on)

    def pad_z(self) -> float:
        """Where a tool of length 0 trips the pad: by the sheets."""
        return self.table + self.under() + self.trip_height()

    def highest(self) -> float:
        """Machine Z of the highest thing on the table, as a rule would show it."""
        standing = [i for i in self.state()["items"] if i["standing"]]
        heights = [height_of(self.sheets, i["item"]) for i in standing if i["on"] == "table"]
        carried = [
            height_of(self.sheets, i["item"]) + height_of(self.sheets, i["on"])
            for i in standing
            if i["on"] != "table"
        ]
        return self.table + max(heights + carried, default=0.0)

    def face_reaches(self) -> bool:
        """Z goes down past the trip, and some face beside bore and lugs is over the pad."""
        pad = self.sheets.setter[self.setter].pad_diameter_mm
        if self.beside_bore() > (self.machine.spindle.face_diameter_mm + pad) / 2 - 2.0:
            return False
        return self.machine.axes.z.min_mm + self.record()["back_off_mm"] <= self.pad_z()

    def beside_bore(self) -> float:
        """In the middle of the ring, or so far out that no lug along X is over the pad."""
        spindle, spec = self.machine.spindle, self.sheets.setter[self.setter]
        beside = (spindle.bore_diameter_mm + spindle.face_diameter_mm) / 4
        free = spec.pad_height_mm - spec.base_height_mm - 1.0
        while any(
            hypot(lug.inner_radius_mm, beside - lug.width_mm / 2)
            < (spec.base_diameter_mm if lug.height_mm > free else spec.pad_diameter_mm) / 2 + 2.0
            for lug in spindle.lugs
        ):
            beside += 1.0
        return beside

    def known_tools(self) -> dict[int, str]:
        """Rows whose tools have certificates."""
        return {
            number: row["tool"]
            for number, row in self.rows().items()
            if row["tool"] and self.sheets.tools[row["tool"]].certified_length_mm is not None
        }

    # ---- moves ---------------------------------------------------------------------------

    def do(self, action: str, /, **figures: Any) -> None:
        do(self.session, action, **figures)

    def routine(self, name: str, /, **arguments: Any) -> None:
        routine(self.session, name, **arguments)

    def up(self) -> None:
        self.do("move", z_mm=self.top)

    def over(self, item: str | None = None, dx: float = 0.0) -> None:
        x, y = self.place(item or self.setter)
        self.go(x + dx, y)

    def go(self, x: float, y: float) -> None:
        self.up()
        self.do("move", x_mm=x, y_mm=y)

    def down_to(self, z: float) -> None:
        self.do("move", z_mm=min(max(z, self.machine.axes.z.min_mm), self.top))

    def rule(self, what: str, **figures: Any) -> None:
        self.do("drives", on=False)
        self.do("rule", what=what, **figures)
        self.do("drives", on=True)

    def beside_foot(self) -> tuple[float, float]:
        """A place beside the setter's foot, over what it stands on: room for a tip of 20 mm."""
        x, y = self.place(self.setter)
        away = self.sheets.setter[self.setter].base_diameter_mm / 2 + 15.0
        travel = self.machine.axes.x
        return (x + away if x + away <= travel.max_mm else x - away), y

    def free_spot(self) -> tuple[float, float]:
        """A place over the bare table, near the setter, that the axis reaches."""
        axes, table = self.machine.axes, self.machine.table
        here = self.place(self.setter)
        found = []
        for x, y in product(range(int(axes.x.min_mm) + 5, int(axes.x.max_mm) - 4, 5),
                            range(int(axes.y.min_mm) + 5, int(axes.y.max_mm) - 4, 5)):  # fmt: skip
            on_it = abs(x - table.centre_x_mm) <= table.size_x_mm / 2 - 20 and (
                abs(y - table.centre_y_mm) <= table.size_y_mm / 2 - 20
            )
            away = hypot(x - here[0], y - here[1])
            if on_it and away < 400.0 and self._bare(x, y):
                found.append((away, float(x), float(y)))
        _, x_mm, y_mm = min(found)
        return x_mm, y_mm

    def _bare(self, x: float, y: float) -> bool:
        """Whether a hand's breadth round a place is free of everything."""
        for item in self.state_items():
            half_x, half_y = self._half(item["item"])
            if abs(x - item["x_mm"]) < half_x + 25 and abs(y - item["y_mm"]) < half_y + 25:
                return False
        for part in self.machine.bodies:
            if part.link == self.machine.table_link and part.size_mm is not None:
                away = abs(x - part.at_mm[0]), abs(y - part.at_mm[1])
                if away[0] < part.size_mm[0] / 2 + 25 and away[1] < part.size_mm[1] / 2 + 25:
                    return False
        return True

    def state_items(self) -> list[dict[str, Any]]:
        if not hasattr(self, "_standing"):
            self._standing = [i for i in self.state()["items"] if i["standing"]]
        return self._standing

    def _half(self, item: str) -> tuple[float, float]:
        if item in self.sheets.setter:
            radius = self.sheets.setter[item].base_diameter_mm / 2
            return radius, radius
        sizes = [part.size_mm or (60.0, 60.0, 0.0) for part in self.sheets.stock[item].parts]
        return max(s[0] for s in sizes) / 2, max(s[1] for s in sizes) / 2

    # ---- pieces of the job ---------------------------------------------------------------

    def plug_in(self) -> None:
        self.do("drives", on=False)
        watched = next(i for i in self.state()["inputs"] if i["watched"])
        self.do("plug-in", setter=self.setter, socket=watched["socket"])
        self.do("press-pad", setter=self.setter)

    def prove(self) -> None:
        prove(self.session)

    def lugs_aside(self) -> None:
        """Turn the spindle until no lug points along Y, where the ring will meet the pad."""
        lugs = self.machine.spindle.lugs
        if not lugs:
            return

        def off_y(angle: float) -> float:
            return min(abs((lug.angle_deg + angle) % 180.0 - 90.0) for lug in lugs)

        self.do("turn-spindle", to_deg=max((float(a) for a in range(0, 180, 5)), key=off_y))

    def reference(self) -> None:
        """By the face where it reaches the pad, else by the longest tool with a certificate."""
        if self.face_reaches():
            self.lugs_aside()
            self.routine("reference-by-face", beside_y_mm=self.beside_bore(),
                         expected_pad_z_mm=self.pad_z())  # fmt: skip
        else:
            self.reference_by_master()

    def reference_by_master(self) -> None:
        known = self.known_tools()
        row = max(known, key=lambda number: self.sheet(known[number]))
        self.do("load-tool", tool=known[row], slot=row)
        self.routine("reference-by-master", master_length_mm=self.sheet(known[row]),
                     expected_pad_z_mm=self.pad_z())  # fmt: skip

    def load(self, row: int) -> str:
        tool = str(self.rows()[row]["tool"])
        self.do("load-tool", tool=tool, slot=row)
        return tool

    def known_tool(self) -> None:
        """Measure the shortest tool with a certificate; it is not the one of the reference."""
        known = self.known_tools()
        row = min(known, key=lambda number: self.sheet(known[number]))
        tool = self.load(row)
        self.routine("measure-length", row=row, expected_length_mm=self.sheet(tool))

    def clearance(self) -> None:
        longest = max(self.sheet(tool["tool"]) for tool in self.state()["crib"])
        height = min(self.highest() + 40.0, self.top - longest)
        self.routine("set-clearance", clearance_z_mm=height, longest_tool_mm=longest,
                     highest_z_mm=self.highest())  # fmt: skip

    def setter_height(self) -> None:
        """Block by feel from below, over the bare table; then the pad with the same thing."""
        block = self.items("block")[0]
        size = self.sheets.blocks[block].size_mm
        on = next(i for i in self.state()["items"] if i["item"] == self.setter)["on"]
        self.go(*(self.free_spot() if on == "table" else self.beside_foot()))
        near = self.table + self.under() + size + self.in_spindle()
        self.down_to(near + 10.0)
        self.do("jog", axis="z", by_mm=-10.03, speed_mm_per_min=300.0)
        self.do("step-until-feel", block=block, on=on, by_mm=0.002, want="drags")
        # The pad is touched on the way down: the last hundredths to the block are so, too.
        self.do("step", axis="z", by_mm=0.005, count=6)
        self.do("step-until-feel", block=block, on=on, by_mm=-0.001, want="drags")
        self.over()
        self.down_to(self.pad_z() + self.in_spindle() + 10.0)
        self.routine("measure-setter-height", block=block, on_block=False, block_size_mm=size)
        self.rule("setter-height", setter=self.setter)

    def touch_by_hand(self, row: int, deep: float = 2.0, store: bool = False) -> float:
        """Twice, slowly; returns the second trip, machine Z. A tool may be ``deep`` mm shorter."""
        tool = self.load(row)
        trip = self.record()["reference_z_mm"] + self.sheet(tool)
        self.over()
        self.down_to(trip + NEAR_MM)
        feed = self.record()["slow_mm_per_min"]
        found = trip
        for what in ({}, {"store": "length", "row": row} if store else {}):
            end = max(found - deep, self.machine.axes.z.min_mm)
            self.do("touch", z_mm=end, feed_mm_per_min=feed, **what)
            found = self.last_touch()
            self.down_to(found + 2.0)
        self.up()
        return found

    def last_touch(self) -> float:
        done = [e for e in self.session.state()["events"] if e["kind"] == "done"]
        result = [e["result"] for e in done if e["do"] == "touch"][-1]
        return float(result["z"])

    def off_by_hand(self, row: int) -> float:
        """How much longer a tool is than its row says: touched, and nothing stored."""
        trip = self.touch_by_hand(row, deep=6.0)
        record, said = self.record(), self.rows()[row]
        convention, base = self.machine.habits.length_convention, 0.0
        if convention == "difference":
            base = -record["master_length_mm"]
        elif convention in ("table", "work"):
            base = record["reference_z_mm"] - record["height_mm"]
        from_face = said["length_mm"] + said["wear_mm"] - base
        return float(trip - record["reference_z_mm"] - from_face)

    def onto_stock(self) -> str:
        stock = self.items("stock")[0]
        x, y = self.place(stock)
        self.do("drives", on=False)
        self.do("take-away", item=self.setter)
        self.do("place", item=self.setter, on=stock, x_mm=x, y_mm=y)
        self.do("drives", on=True)
        return stock

    def off(self) -> None:
        self.do("drives", on=False)
        self.do("take-away", item=self.setter)
        self.do("drives", on=True)

    def work_zero(self, row: int) -> None:
        """Through the setter on the stock; then the tip back on the surface."""
        system = self.wanted(" z")[0].removesuffix(" z")
        self.onto_stock()
        self.over()
        self.down_to(self.pad_z() + self.in_spindle() + 10.0)
        self.routine("set-work-z", system=system, row=row)
        self.off()
        self.do("jog-back", system=system, row=row)
        self.up()

    def answer(self, question: str, choice: str) -> None:
        self.do("answer", question=question, choice=choice)

    def choice(self, question: str, words: str) -> str:
        """The one choice of a question that holds these words."""
        asked = next(q for q in self.state()["exercise"]["questions"] if q["question"] == question)
        (found,) = [choice for choice in asked["choices"] if words in choice]
        return str(found)


# ---- one way through each exercise -------------------------------------------------------


def prove_the_input(at: Trainee) -> None:
    at.plug_in()


def between_the_lugs(at: Trainee) -> None:
    at.prove()
    at.reference()
    at.known_tool()


def by_master(at: Trainee) -> None:
    at.prove()
    at.reference_by_master()
    at.known_tool()


def located(at: Trainee) -> None:
    at.over()
    at.routine("locate-setter")
    at.clearance()


def height_by_block(at: Trainee) -> None:
    at.prove()
    at.setter_height()


def three_by_hand(at: Trainee) -> None:
    at.prove()
    for row in at.rows():
        at.touch_by_hand(row, store=True)
        at.rule("tool-length", row=row)


def beside_the_centre(at: Trainee) -> None:
    at.prove()
    tool = str(at.state()["modes"]["tool"])
    inserts, spec = at.sheets.tools[tool].inserts, at.sheets.setter[at.setter]
    assert inserts is not None
    edge = (inserts.circle_diameter_mm - inserts.edge_width_mm) / 2
    rim = (spec.pad_diameter_mm + spec.centre_bolt_diameter_mm) / 4
    at.over(dx=rim - edge)
    at.routine("measure-length-here", row=1, expected_length_mm=at.sheet(tool))
    at.rule("tool-length", row=1)


def rechecked(at: Trainee) -> None:
    """By hand, so that no alarm is needed to say what the readout shows."""
    at.prove()
    for row in at.rows():
        off = at.off_by_hand(row)
        if not -0.03 <= off <= 0.05:
            at.answer("pulled-out" if off > 0.0 else "worn", f"row {row}")


def work_z(at: Trainee) -> None:
    at.prove()
    at.work_zero(at.state()["modes"]["slot"])


def recovered(at: Trainee) -> None:
    at.session.tick(3.0)
    at.do("reset")
    at.prove()
    at.do("home")
    at.reference()
    tool = at.load(1)
    at.routine("measure-length", row=1, expected_length_mm=at.sheet(tool))
    at.rule("tool-length", row=1)


def stopped_before_harm(at: Trainee) -> None:
    """Line by line: after the touch that finds the pad, a rapid goes down to where it was."""
    at.prove()
    at.do("override", rapid=0.1)
    session = at.session
    assert session.act({"do": "program", "file": "stranger", "single_block": True})["ok"]
    touched, stopped = False, False
    for _ in range(2000):
        session.tick(0.5)
        running = at.state()["running"]
        line = running and running["line"]
        text = line["text"] if line else ""
        touched = touched or "G38.2" in text
        # G53 names a height of the machine; without it this one goes by the distance to the pad.
        if touched and "G0" in text and "G53" not in text:
            stopped = True
            break
        session.act({"do": "feed-hold", "on": False})
    assert stopped
    assert at.state()["modes"]["hold"]
    at.do("stop")
    at.do("reset")
    at.do("feed-hold", on=False)
    at.answer("mistake", at.choice("mistake", "G0"))


def commissioned(at: Trainee) -> None:
    at.plug_in()
    at.do("drives", on=True)
    at.do("home")
    at.over()
    at.routine("locate-setter")
    at.reference()
    at.do("load-tool")
    at.clearance()
    at.load(min(at.known_tools(), key=lambda row: at.sheet(at.rows()[row]["tool"])))
    at.setter_height()
    at.routine("ten-touch-repeatability", limit_mm=0.01)
    at.known_tool()
    tool = at.load(1)
    at.routine("measure-length", row=1, expected_length_mm=at.sheet(tool))
    at.rule("tool-length", row=1)
    at.work_zero(1)


def what_is_wrong(at: Trainee) -> None:
    at.answer("fault", at.choice("fault", diagnosis(at)))


def diagnosis(at: Trainee) -> str:
    """Words of what is wrong: the input first, then the tables, then a tool, then another one."""
    signal = _signal(at)
    if signal:
        return signal
    if not at.record()["reference_valid"]:
        return "flagged invalid"
    at.do("drives", on=True)
    mine = next(n for n, row in at.rows().items() if row["tool"] == at.state()["modes"]["tool"])
    own = at.off_by_hand(mine)
    other = at.off_by_hand(min(at.known_tools()))
    if abs(other) > SEEN_MM:
        return "on a chip" if other > 0.0 else "reference is wrong"
    if abs(own) > SEEN_MM:
        return "slipped out" if own > 0.0 else "broken off"
    return "Nothing"


def _signal(at: Trainee) -> str:
    """What the inputs show while the pad is pressed with drives off; empty: all is well."""
    at.do("drives", on=False)
    before = {i["number"]: i["on"] for i in at.state()["inputs"]}
    assert at.session.act({"do": "press-pad", "setter": at.setter})["ok"]
    at.session.tick(0.25)
    during = {i["number"]: i["on"] for i in at.state()["inputs"]}
    wait(at.session)
    (watched,) = {i["number"] for i in at.state()["inputs"] if i["watched"]}
    if not before[watched] and during[watched]:
        return ""
    moved = [number for number in before if before[number] != during[number]]
    if moved:
        return "another socket"
    closed = at.sheets.setter[at.setter].contact == "NC"
    # Without a closed circuit a normally closed contact reads as pressed, an open one as free.
    return "wire is broken" if before[watched] == closed else "stuck closed"


Way = Callable[[Trainee], None]
SOLUTIONS: dict[str, Way] = {
    "prove-the-input": prove_the_input,
    "reference-between-the-lugs": between_the_lugs,
    "reference-by-master": by_master,
    "locate-and-clearance": located,
    "setter-height-by-block": height_by_block,
    "three-tools-by-hand": three_by_hand,
    "wide-cutter-beside-the-centre": beside_the_centre,
    "find-the-worn-and-the-pulled-out": rechecked,
    "work-z-in-the-second-system": work_z,
    "recover-after-an-emergency-stop": recovered,
    "prove-a-stranger-s-program": stopped_before_harm,
    "full-commissioning": commissioned,
    "what-is-wrong-here": what_is_wrong,
}
