"""Every exercise can be finished, and can be failed in the way that it teaches."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from bench_cases import codes, do, down_to, over, pad, prove, routine, same, table, wait

from drytouch.sim.bench import Session
from drytouch.sim.faults import fault_named
from drytouch.sim.scenario import library

Way = Callable[[Session], None]


def prove_the_input(session: Session) -> None:
    do(session, "drives", on=False)
    watched = next(i for i in session.state()["inputs"] if i["watched"])
    do(session, "plug-in", setter="setter", socket=watched["socket"])
    do(session, "press-pad", setter="setter")


def other_socket(session: Session) -> None:
    do(session, "drives", on=False)
    do(session, "plug-in", setter="setter", socket="spindle-probe")
    do(session, "press-pad", setter="setter")


def finger_in_with_drives_on(session: Session) -> None:
    do(session, "plug-in", setter="setter", socket="setter")
    do(session, "press-pad", setter="setter")


def _known_tool(session: Session) -> None:
    do(session, "load-tool", tool="second-master", slot=2)
    routine(session, "measure-length", row=2, expected_length_mm=100.0)


def between_the_lugs(session: Session) -> None:
    prove(session)
    do(session, "turn-spindle", to_deg=0.0)
    routine(session, "reference-by-face", beside_y_mm=33.0, expected_pad_z_mm=-490.0)
    _known_tool(session)


def under_a_lug(session: Session) -> None:
    prove(session)
    # A lug is 8 mm proud: the pad trips 8 mm sooner.
    routine(session, "reference-by-face", beside_y_mm=33.0, expected_pad_z_mm=-482.0)


def by_master(session: Session) -> None:
    prove(session)
    do(session, "load-tool", tool="master-tool", slot=3)
    routine(session, "reference-by-master", master_length_mm=125.004, expected_pad_z_mm=-670.0)
    _known_tool(session)


def by_master_guessed(session: Session) -> None:
    prove(session)
    do(session, "load-tool", tool="master-tool", slot=3)
    routine(session, "reference-by-master", master_length_mm=125.4, expected_pad_z_mm=-670.0)


def located(session: Session) -> None:
    over(session)
    routine(session, "locate-setter")
    clear = table(session) + 100.0
    routine(session, "set-clearance", clearance_z_mm=clear, longest_tool_mm=172.0)


def clearance_forced(session: Session) -> None:
    over(session)
    routine(session, "locate-setter")
    low = table(session) + 55.0
    routine(session, "set-clearance", clearance_z_mm=low, longest_tool_mm=172.0, force=True)


def _felt(session: Session) -> None:
    x, y = pad(session)
    do(session, "move", z_mm=session.live.twin.controller.top)
    do(session, "move", x_mm=x + 150.0, y_mm=y)
    down_to(session, table(session) + 160.0)
    do(session, "jog", axis="z", by_mm=-10.03, speed_mm_per_min=300.0)


def height_by_block(session: Session) -> None:
    prove(session)
    _felt(session)
    do(session, "step-until-feel", block="block-50", by_mm=0.002, want="drags")
    over(session)
    down_to(session, table(session) + 170.0)
    routine(session, "measure-setter-height", block="block-50", on_block=False, block_size_mm=50.0)
    do(session, "drives", on=False)
    do(session, "rule", what="setter-height", setter="setter")


def stepped_down_onto_block(session: Session) -> None:
    prove(session)
    x, y = pad(session)
    do(session, "place", item="block-50", x_mm=x + 150.0, y_mm=y)
    over(session, "block-50")
    down_to(session, table(session) + 150.1)
    do(session, "step", axis="z", by_mm=-0.05, count=4)


def _by_hand(session: Session, row: int, tool: str, length: float) -> None:
    do(session, "load-tool", tool=tool, slot=row)
    over(session)
    trip = table(session) + 59.9 + length
    down_to(session, trip + 4.0)
    for store in ({}, {"store": "length", "row": row}):
        do(session, "touch", z_mm=trip - 2.0, feed_mm_per_min=25.0, **store)
        down_to(session, trip + 2.0)
    do(session, "move", z_mm=session.live.twin.controller.top)


_TOOLS = ((1, "end-mill-10", 120.0), (2, "end-mill-6", 95.0), (3, "drill-8", 172.0))


def three_by_hand(session: Session) -> None:
    prove(session)
    for row, tool, length in _TOOLS:
        _by_hand(session, row, tool, length)
        do(session, "drives", on=False)
        do(session, "rule", what="tool-length", row=row)
        do(session, "drives", on=True)


def three_by_luck(session: Session) -> None:
    prove(session)
    for row, tool, length in _TOOLS:
        _by_hand(session, row, tool, length)


def into_another_row(session: Session) -> None:
    prove(session)
    do(session, "load-tool", tool="end-mill-6", slot=1)
    _by_hand_row_one = 95.0
    over(session)
    trip = table(session) + 59.9 + _by_hand_row_one
    down_to(session, trip + 4.0)
    do(session, "touch", z_mm=trip - 2.0, feed_mm_per_min=25.0, store="length", row=1)


def beside_the_centre(session: Session) -> None:
    prove(session)
    over(session, dx=-16.0)
    routine(session, "measure-length-here", row=1, expected_length_mm=85.0)
    do(session, "drives", on=False)
    do(session, "rule", what="tool-length", row=1)


def over_the_centre(session: Session) -> None:
    prove(session)
    routine(session, "measure-length", row=1, expected_length_mm=85.0)


def rechecked(session: Session) -> None:
    prove(session)
    for row, tool, _ in _TOOLS:
        do(session, "load-tool", tool=tool, slot=row)
        routine(session, "recheck-length", row=row, longer_limit_mm=0.05, shorter_limit_mm=0.03)
        do(session, "reset")
    do(session, "answer", question="worn", choice="row 3")
    do(session, "answer", question="pulled-out", choice="row 1")


def guessed(session: Session) -> None:
    prove(session)
    do(session, "answer", question="worn", choice="row 2")
    do(session, "answer", question="pulled-out", choice="row 1")


def _stood_on_stock(session: Session) -> None:
    x, y = pad(session, "steel-block")
    do(session, "drives", on=False)
    do(session, "take-away", item="setter")
    do(session, "place", item="setter", on="steel-block", x_mm=x, y_mm=y)
    do(session, "drives", on=True)
    over(session, "steel-block")
    down_to(session, table(session) + 225.0)


def _taken_off(session: Session) -> None:
    do(session, "drives", on=False)
    do(session, "take-away", item="setter")
    do(session, "drives", on=True)


def work_z(session: Session) -> None:
    prove(session)
    _stood_on_stock(session)
    routine(session, "set-work-z", system="G55", row=1)
    _taken_off(session)
    do(session, "jog-back", system="G55", row=1)
    do(session, "move", z_mm=session.live.twin.controller.top)


def work_z_in_the_first(session: Session) -> None:
    prove(session)
    _stood_on_stock(session)
    routine(session, "set-work-z", system="G54", row=1)


def recovered(session: Session) -> None:
    session.tick(3.0)
    do(session, "reset")
    prove(session)
    do(session, "home")
    routine(session, "reference-by-face", beside_y_mm=25.0)
    do(session, "load-tool", tool="end-mill-10", slot=1)
    routine(session, "measure-length", row=1, expected_length_mm=120.0)
    do(session, "drives", on=False)
    do(session, "rule", what="tool-length", row=1)


def with_the_old_reference(session: Session) -> None:
    session.tick(3.0)
    do(session, "reset")
    prove(session)
    do(session, "home")
    _by_hand(session, 1, "end-mill-10", 120.0)


def stopped_before_harm(session: Session) -> None:
    prove(session)
    do(session, "override", rapid=0.1)
    assert session.act({"do": "program", "file": "stranger", "single_block": True})["ok"]
    for _ in range(400):
        session.tick(0.5)
        running = session.state()["running"]
        line = running and running["line"]
        if line and line["text"].startswith("N40 G0"):
            break
        session.act({"do": "feed-hold", "on": False})
    assert line["line"]
    assert session.state()["modes"]["hold"]
    do(session, "stop")
    do(session, "reset")
    do(session, "feed-hold", on=False)
    wanted = next(q for q in session.opened.questions if q.name == "mistake")
    do(session, "answer", question="mistake", choice=wanted.answer)


def run_at_full(session: Session) -> None:
    prove(session)
    do(session, "program", file="stranger")


def commissioned(session: Session) -> None:
    do(session, "plug-in", setter="setter", socket="spindle-probe")
    do(session, "press-pad", setter="setter")
    do(session, "drives", on=True)
    do(session, "home")
    over(session)
    routine(session, "locate-setter")
    do(session, "turn-spindle", to_deg=0.0)
    routine(session, "reference-by-face", beside_y_mm=33.0, expected_pad_z_mm=-490.0)
    routine(session, "set-clearance", clearance_z_mm=-440.0, longest_tool_mm=172.0)
    _known_tool(session)
    routine(session, "ten-touch-repeatability", limit_mm=0.008)
    _felt(session)
    do(session, "step-until-feel", block="block-50", by_mm=0.002, want="drags")
    over(session)
    down_to(session, -380.0)
    routine(session, "measure-setter-height", block="block-50", on_block=False, block_size_mm=50.0)
    do(session, "load-tool", tool="end-mill-10", slot=1)
    routine(session, "measure-length", row=1, expected_length_mm=120.0)
    do(session, "drives", on=False)
    do(session, "rule", what="tool-length", row=1)
    do(session, "rule", what="setter-height", setter="setter")
    do(session, "drives", on=True)
    _stood_on_stock(session)
    routine(session, "set-work-z", system="G54", row=1)
    _taken_off(session)
    do(session, "jog-back", system="G54", row=1)
    do(session, "move", z_mm=0.0)


def left_half_way(session: Session) -> None:
    do(session, "plug-in", setter="setter", socket="spindle-probe")
    do(session, "press-pad", setter="setter")


def what_is_wrong(session: Session) -> None:
    """Looks as a person would: the input first, then the reference, then two tools."""
    # Whoever looks systematically finds it; here the answer stands for what was seen.
    do(session, "drives", on=False)
    do(session, "press-pad", setter="setter")
    asked = next(q for q in session.opened.questions if q.name == "fault")
    do(session, "answer", question="fault", choice=asked.answer)


def nothing_is_wrong(session: Session) -> None:
    do(session, "drives", on=False)
    do(session, "press-pad", setter="setter")
    do(session, "answer", question="fault", choice="Nothing")


WAYS: dict[str, tuple[Way, list[tuple[Way, str, str]]]] = {
    "prove-the-input": (
        prove_the_input,
        [(other_socket, "unfinished", ""), (finger_in_with_drives_on, "harm", "hand-in-reach")],
    ),
    "reference-between-the-lugs": (between_the_lugs, [(under_a_lug, "wrong", "lug-strike")]),
    "reference-by-master": (by_master, [(by_master_guessed, "wrong", "wrong-number")]),
    "locate-and-clearance": (located, [(clearance_forced, "risky", "low-clearance")]),
    "setter-height-by-block": (
        height_by_block, [(stepped_down_onto_block, "harm", "squeezed-block")],
    ),
    "three-tools-by-hand": (
        three_by_hand,
        [(three_by_luck, "risky", ""), (into_another_row, "wrong", "wrong-slot")],
    ),
    "wide-cutter-beside-the-centre": (
        beside_the_centre, [(over_the_centre, "wrong", "missed-edge")],
    ),
    "find-the-worn-and-the-pulled-out": (rechecked, [(guessed, "unfinished", "")]),
    "work-z-in-the-second-system": (work_z, [(work_z_in_the_first, "wrong", "wrong-system")]),
    "recover-after-an-emergency-stop": (
        recovered, [(with_the_old_reference, "", "stale-reference")],
    ),
    "prove-a-stranger-s-program": (stopped_before_harm, [(run_at_full, "harm", "crash")]),
    "full-commissioning": (commissioned, [(left_half_way, "unfinished", "")]),
    "what-is-wrong-here": (what_is_wrong, [(nothing_is_wrong, "unfinished", "")]),
}  # fmt: skip


def test_every_exercise_has_its_ways() -> None:
    assert sorted(WAYS) == list(library.names("exercise"))
    assert len(WAYS) >= 12


@pytest.mark.parametrize("name", WAYS)
def test_it_can_be_finished(name: str) -> None:
    session = Session.open(name, seed=3)
    WAYS[name][0](session)
    debrief = session.finish()
    told = (
        debrief.data["missing"],
        debrief.data["skipped"],
        codes(session),
        debrief.data["alarms"],
    )
    assert debrief.passed, (debrief.verdict, told)
    assert debrief.data["skipped"] == []
    assert debrief.data["missing"] == []
    assert debrief.score >= 90, (debrief.score, debrief.data["score_lines"])
    same(session)


FAILURES = [(name, *failure) for name, (_, failures) in WAYS.items() for failure in failures]


@pytest.mark.parametrize(("name", "way", "verdict", "code"), FAILURES)
def test_it_can_be_failed_in_the_way_that_it_teaches(
    name: str, way: Way, verdict: str, code: str
) -> None:
    session = Session.open(name, seed=3)
    way(session)
    debrief = session.finish()
    assert not debrief.passed
    assert verdict in ("", debrief.verdict), (debrief.verdict, codes(session))
    assert not code or code in codes(session)
    assert debrief.score < 90
    assert debrief.do_better
    same(session)


def test_each_drawn_fault_is_one_of_the_choices_and_another_seed_draws_another() -> None:
    drawn = set()
    for seed in range(12):
        session = Session.open("what-is-wrong-here", seed=seed)
        asked = session.opened.questions[-1]
        assert session.opened.fault is not None
        assert asked.answer == fault_named(session.opened.fault).title
        assert asked.answer in asked.choices
        shown = str(session.state()["exercise"])
        assert session.opened.fault not in shown  # only its title, among the others
        drawn.add(session.opened.fault)
    assert len(drawn) > 4
    wait(session)
