"""How a trainee does each exercise at the page, and how one comes to fail it.

Every number that is typed was read from the page before: from the task, the notes, the readout or a
rule; only what a picture shows is taken from where things stand.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from page_trainee import Trainee, fresh

Way = Callable[[Trainee], None]

ABOVE_MM = 4.0
"""What a rapid leaves above the place that a rule foretells, to half a millimetre."""
TOP = 0.0
"""Machine Z right up: where the readout stands after homing."""
SAW_SETTER = (-565.0, -170.0)
"""Where the axis stands when it is over the pad's middle, sighted from the front and the side."""


def prove(who: Trainee) -> None:
    """Drives off, a finger on the pad, drives on."""
    who.drives(False)
    who.press_pad()
    assert "seen off, on, off" in who.watched()
    who.drives(True)


def note(who: Trainee, what: str) -> float:
    return who.written(f"{what}, setter setter")


def ruled(who: Trainee, what: str = "tool length", row: str = "nothing") -> float:
    """Hold a rule to it while nothing can move."""
    who.drives(False)
    reading = who.rule(what, row)
    if who.alarm():
        who.reset()
    who.drives(True)
    return reading


def over(who: Trainee, x: float, y: float) -> None:
    """Right up, then across."""
    who.go(z=TOP)
    who.go(x=x, y=y)


def over_pad(who: Trainee, beside_x: float = 0.0) -> None:
    over(who, note(who, "X") + beside_x, note(who, "Y"))


# ---- prove the input ---------------------------------------------------------------------


def prove_the_input(who: Trainee) -> None:
    """Try one socket after the other until the watched input answers."""
    who.drives(False)
    for socket in ("spindle probe", "setter"):
        who.plug_in(socket)
        who.press_pad()
        if "seen off, on, off" in who.watched():
            break
    who.drives(True)


def the_plug_that_fits(who: Trainee) -> None:
    who.drives(False)
    who.plug_in("spindle probe")
    who.press_pad()
    who.drives(True)


def finger_in_with_drives_on(who: Trainee) -> None:
    who.plug_in("setter")
    who.press_pad()


# ---- reference ---------------------------------------------------------------------------


def known_tool(who: Trainee, length: str) -> None:
    who.load_tool("second master")
    who.routine("measure length", row=2, expected_length=length)


def between_the_lugs(who: Trainee) -> None:
    prove(who)
    who.turn_by_hand(0)
    who.routine("reference by face", beside_y=33)
    known_tool(who, "100.001")


def under_a_lug(who: Trainee) -> None:
    """The spindle stays as it stands: a lug over the pad."""
    prove(who)
    who.routine("reference by face", beside_y=33)


def by_master(who: Trainee) -> None:
    prove(who)
    who.load_tool("master tool")
    who.routine("reference by master", master_length="125.004")
    known_tool(who, "100.001")


def by_master_as_a_rule_reads_it(who: Trainee) -> None:
    prove(who)
    who.load_tool("master tool")
    who.routine("reference by master", master_length="125.5")


# ---- place and height --------------------------------------------------------------------


def located(who: Trainee) -> None:
    over(who, *SAW_SETTER)
    for look in ("from the front", "from the side"):
        who.choose("Look", look)
    who.routine("locate setter")
    pad = note(who, "Reference Z")
    who.routine("set clearance", clearance_z=pad + 40.0, longest_tool=172)


def clearance_forced(who: Trainee) -> None:
    over(who, *SAW_SETTER)
    who.routine("locate setter")
    low = note(who, "Reference Z") - 5.0
    told = who.routine("set clearance", clearance_z=low, longest_tool=172, well=False)
    assert "low clearance" in told[0]
    who.reset()
    who.routine("set clearance", clearance_z=low, longest_tool=172, force="yes")


def height_by_block(who: Trainee) -> None:
    prove(who)
    x, y = note(who, "X"), note(who, "Y")
    over(who, x + 150.0, y)
    gap = ruled(who, "tip to table")
    who.go(z=TOP - gap + 60.0)
    gap = ruled(who, "tip to table")
    start = who.position()[2] - gap + 49.4  # the rule may be half a millimetre off
    who.go(z=start, feed=300)
    coarse_then_fine(who)
    over(who, x, y)
    pad = note(who, "Reference Z") + note_row(who, 2)
    who.go(z=pad + ABOVE_MM)
    who.routine("measure setter height", block="block 50", on_block="no", block_size=50)
    assert abs(ruled(who, "setter height") - note(who, "Height")) < 0.6


def coarse_then_fine(who: Trainee) -> None:
    """Up by bold steps until the block goes in; out with it, one step down, and up by microns."""
    feel = felt(who)
    assert feel == "won't go"
    while feel == "won't go":
        who.line("G91 G1 Z0.2 F100")
        feel = felt(who)
    who.line("G91 G1 Z-0.22 F100")
    who.line("G90")
    who.step_till_it_drags("block 50", 0.002)


def felt(who: Trainee) -> str:
    who.drives(False)
    feel = who.try_block("block 50")
    who.drives(True)
    return feel


def note_row(who: Trainee, row: int) -> float:
    return who.written(f"Length, row {row}")


def stepped_down_onto_block(who: Trainee) -> None:
    prove(who)
    x, y = note(who, "X") + 150.0, note(who, "Y")
    over(who, x, y)
    gap = ruled(who, "tip to table")
    who.go(z=TOP - gap + 52.0)
    who.drives(False)
    who.put_down("block 50", "table", x, y)
    who.drives(True)
    who.step_key("PageDown", "1 mm", 3)


# ---- lengths -----------------------------------------------------------------------------

TOOLS = ((1, "end mill 10"), (2, "end mill 6"), (3, "drill 8"))


def touch_off(who: Trainee, row: int, tool: str, length: float) -> None:
    who.load_tool(tool, f"row {row}")
    over_pad(who)
    trip = note(who, "Reference Z") + length
    who.go(z=trip + ABOVE_MM)
    who.touch(trip - 2.0)
    who.go(z=trip + 2.0, feed=500)
    who.touch(trip - 2.0, store="row's length", row=f"row {row}")
    who.go(z=TOP)


def by_rule(who: Trainee, tool: str) -> float:
    """About how long a tool is: a rule says it to half a millimetre."""
    who.load_tool(tool)
    return ruled(who)


def three_by_hand(who: Trainee) -> None:
    prove(who)
    for row, tool in TOOLS:
        touch_off(who, row, tool, by_rule(who, tool))
        assert abs(ruled(who, row=f"row {row}") - note_row(who, row)) < 0.6


def three_by_luck(who: Trainee) -> None:
    """Right numbers that nobody has looked at a second way."""
    prove(who)
    for row, tool in TOOLS:
        touch_off(who, row, tool, by_rule(who, tool))


def into_another_row(who: Trainee) -> None:
    prove(who)
    length = by_rule(who, "end mill 6")
    who.load_tool("end mill 6", "row 1")
    touch_off(who, 1, "end mill 6", length)


def beside_the_centre(who: Trainee) -> None:
    prove(who)
    length = ruled(who)
    over_pad(who, beside_x=-16.0)
    who.routine("measure length here", row=1, expected_length=length)
    ruled(who, row="row 1")


def over_the_centre(who: Trainee) -> None:
    prove(who)
    who.routine("measure length", row=1, expected_length=ruled(who), well=False)


def recheck(who: Trainee, row: int, tool: str) -> list[str]:
    who.load_tool(tool, f"row {row}")
    told = who.routine(
        "recheck length", row=row, longer_limit="0.05", shorter_limit="0.03", well=False
    )
    if who.alarm():
        who.reset()
    return told


def rechecked(who: Trainee) -> None:
    prove(who)
    for row, tool in TOOLS:
        alarm = " ".join(recheck(who, row, tool))
        if "shorter" in alarm:
            who.answer("Which row's tool is worn?", f"row {row}")
        if "longer" in alarm:
            who.answer("Which row's tool was pulled out?", f"row {row}")


def guessed(who: Trainee) -> None:
    prove(who)
    who.answer("Which row's tool is worn?", "row 2")
    who.answer("Which row's tool was pulled out?", "row 1")


# ---- work zero ---------------------------------------------------------------------------


def setter_onto_stock(who: Trainee) -> None:
    """From the table onto the stock, and the tip a little above its pad."""
    stock = who.place("steel block")
    over(who, *stock)
    gap = ruled(who, "tip to stock")
    who.drives(False)
    who.take_away("setter")
    who.put_down("setter", "steel block", *stock)
    who.drives(True)
    who.go(z=TOP - gap + note(who, "Height") + ABOVE_MM)


def setter_off_and_look(who: Trainee, system: str) -> None:
    who.drives(False)
    who.take_away("setter")
    who.drives(True)
    who.jog_back(system, "row 1")
    who.go(z=TOP)


def work_z(who: Trainee) -> None:
    prove(who)
    setter_onto_stock(who)
    who.routine("set work z", system="G55", row=1)
    setter_off_and_look(who, "G55")


def work_z_in_the_first(who: Trainee) -> None:
    prove(who)
    setter_onto_stock(who)
    who.routine("set work z", system="G54", row=1)


# ---- recovery, strange programs ----------------------------------------------------------


def back_to_life(who: Trainee) -> None:
    who.page.get_by_role("button", name="Stop is pressed in").wait_for()
    who.reset()
    prove(who)
    who.home()


def recovered(who: Trainee) -> None:
    back_to_life(who)
    who.routine("reference by face", beside_y=25)
    who.load_tool("end mill 10")
    who.routine("measure length", row=1, expected_length=ruled(who))
    ruled(who, row="row 1")


def with_the_old_reference(who: Trainee) -> None:
    back_to_life(who)
    touch_off(who, 1, "end mill 10", by_rule(who, "end mill 10"))


MISTAKE = "What is wrong with the program?"


def stopped_before_harm(who: Trainee) -> None:
    prove(who)
    who.rapid_override(10)
    who.run_program("stranger", line_by_line=True)
    read: list[str] = []
    line = who.read_line_by_line(lambda line: dives(line, read))
    assert "N40" in line
    who.press("Stop for good")
    who.sees(lambda seen: not seen["busy"])
    if who.alarm():
        who.reset()
    who.press("Go on")
    who.answer(MISTAKE, "It goes to the pad with G0 where a touch was meant")


def dives(line: str, read: list[str]) -> bool:
    """After the touch that found the pad, a rapid that is not right up or across: down to it."""
    read.append(line)
    return any("G38" in earlier for earlier in read) and "G0 Z" in line and "G53" not in line


def run_at_full(who: Trainee) -> None:
    prove(who)
    who.run_program("stranger")


def commissioned(who: Trainee) -> None:
    for socket in ("setter", "spindle probe"):
        who.plug_in(socket)
        who.press_pad()
        if "seen off, on, off" in who.watched():
            break
    who.drives(True)
    who.home()
    over(who, -600.0, -200.0)
    who.routine("locate setter")
    who.turn_by_hand(0)
    who.routine("reference by face", beside_y=33)
    clear = note(who, "Reference Z") + 45.0
    who.routine("set clearance", clearance_z=clear, longest_tool=172)
    known_tool(who, "100.001")
    who.routine("ten touch repeatability", limit="0.008")
    x, y = note(who, "X"), note(who, "Y")
    over(who, x + 150.0, y)
    gap = ruled(who, "tip to table")
    who.go(z=TOP - gap + 60.0)
    gap = ruled(who, "tip to table")
    who.go(z=who.position()[2] - gap + 49.4, feed=300)
    coarse_then_fine(who)
    over(who, x, y)
    who.go(z=note(who, "Reference Z") + 100.0 + ABOVE_MM)
    who.routine("measure setter height", block="block 50", on_block="no", block_size=50)
    ruled(who, "setter height")
    who.load_tool("end mill 10")
    who.routine("measure length", row=1, expected_length=ruled(who))
    ruled(who, row="row 1")
    setter_onto_stock(who)
    who.routine("set work z", system="G54", row=1)
    setter_off_and_look(who, "G54")


def left_half_way(who: Trainee) -> None:
    who.plug_in("spindle probe")
    who.press_pad()
    who.drives(True)


FAULTY = "What is wrong here?"


def what_is_wrong(who: Trainee) -> None:
    who.answer(FAULTY, diagnosis(who))


def nothing_is_wrong(who: Trainee) -> None:
    prove(who)
    who.answer(FAULTY, "Nothing")


def diagnosis(who: Trainee) -> str:
    """The input first, then the notes, then the tool by its row, then another tool by its own."""
    who.drives(False)
    before, inputs = who.watched(), who.look()["story"]
    who.press_pad()
    if "seen off, on, off" not in who.watched():
        if any(
            re.search(r"Input \d+ went on", line) for line in fresh(inputs, who.look()["story"])
        ):
            return "The plug sits in another socket"
        # The contact opens when it is pressed: without a wire it reads as pressed for ever.
        return "The wire is broken" if " on " in before else "The contact is stuck closed"
    who.drives(True)
    if "not valid" in who.page.get_by_role("group", name="Setter setter").inner_text():
        return "The reference is flagged invalid"
    mine, other = longer(who, 1, "end mill 10"), longer(who, 3, "second master")
    if abs(other) > SAME_MM:
        return "The setter stands on a chip"
    assert abs(mine) > SAME_MM
    return "The tool has slipped out of its holder" if mine > 0.0 else "The tip is broken off"


SAME_MM = 0.03


def longer(who: Trainee, row: int, tool: str) -> float:
    """Touched slowly by hand and not stored: by how much a tool is longer than its row says."""
    who.load_tool(tool, f"row {row}")
    over_pad(who)
    trip = note(who, "Reference Z") + note_row(who, row)
    who.go(z=trip + 2 * ABOVE_MM)
    told = " ".join(who.touch(trip - 15.0))
    who.go(z=TOP)
    at = re.search(r"Done, touch: Z (-[\d.]+) mm", told)
    assert at is not None, told
    return float(at.group(1)) - trip


WAYS: dict[str, tuple[str, Way, list[tuple[Way, str, str]]]] = {
    "prove-the-input": (
        "Prove the input", prove_the_input,
        [(the_plug_that_fits, "unfinished", ""),
         (finger_in_with_drives_on, "harm", "hand-in-reach")],
    ),
    "reference-between-the-lugs": (
        "Reference the face between the lugs", between_the_lugs,
        [(under_a_lug, "wrong", "lug-strike")],
    ),
    "reference-by-master": (
        "Reference by a master tool", by_master,
        [(by_master_as_a_rule_reads_it, "wrong", "wrong-number")],
    ),
    "locate-and-clearance": (
        "Locate the setter", located, [(clearance_forced, "risky", "low-clearance")],
    ),
    "setter-height-by-block": (
        "The setter's own height", height_by_block,
        [(stepped_down_onto_block, "harm", "squeezed-block")],
    ),
    "three-tools-by-hand": (
        "Touch off three tools by hand", three_by_hand,
        [(three_by_luck, "risky", ""), (into_another_row, "wrong", "wrong-slot")],
    ),
    "wide-cutter-beside-the-centre": (
        "The wide cutter beside the centre", beside_the_centre,
        [(over_the_centre, "wrong", "missed-edge")],
    ),
    "find-the-worn-and-the-pulled-out": (
        "Find the worn and the pulled-out tool", rechecked, [(guessed, "unfinished", "")],
    ),
    "work-z-in-the-second-system": (
        "Work Z on stock", work_z, [(work_z_in_the_first, "wrong", "wrong-system")],
    ),
    "recover-after-an-emergency-stop": (
        "Recover after an emergency stop", recovered,
        [(with_the_old_reference, "unfinished", "stale-reference")],
    ),
    "prove-a-stranger-s-program": (
        "Prove a stranger's program", stopped_before_harm, [(run_at_full, "harm", "crash")],
    ),
    "full-commissioning": (
        "A full commissioning", commissioned, [(left_half_way, "unfinished", "")],
    ),
    "what-is-wrong-here": (
        "What is wrong here", what_is_wrong, [(nothing_is_wrong, "unfinished", "")],
    ),
}  # fmt: skip
