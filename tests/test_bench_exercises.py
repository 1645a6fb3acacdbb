"""Every exercise can be finished, and can be failed in the way that it teaches."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from bench_cases import codes, do, down_to, over, pad, prove, routine, same, table, wait
from bench_trainee import SOLUTIONS, Trainee

from drytouch.sim.bench import Session
from drytouch.sim.faults import fault_named
from drytouch.sim.scenario import library

Way = Callable[[Session], None]


def other_socket(session: Session) -> None:
    do(session, "drives", on=False)
    do(session, "plug-in", setter="setter", socket="spindle-probe")
    do(session, "press-pad", setter="setter")


def finger_in_with_drives_on(session: Session) -> None:
    do(session, "plug-in", setter="setter", socket="setter")
    do(session, "press-pad", setter="setter")


def under_a_lug(session: Session) -> None:
    prove(session)
    # A lug is 8 mm proud: the pad trips 8 mm sooner.
    routine(session, "reference-by-face", beside_y_mm=33.0, expected_pad_z_mm=-482.0)


def by_master_guessed(session: Session) -> None:
    prove(session)
    do(session, "load-tool", tool="master-tool", slot=3)
    routine(session, "reference-by-master", master_length_mm=125.4, expected_pad_z_mm=-670.0)


def clearance_forced(session: Session) -> None:
    over(session)
    routine(session, "locate-setter")
    low = table(session) + 55.0
    routine(session, "set-clearance", clearance_z_mm=low, longest_tool_mm=172.0, force=True)


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


def work_z_in_the_first(session: Session) -> None:
    prove(session)
    _stood_on_stock(session)
    routine(session, "set-work-z", system="G54", row=1)


def with_the_old_reference(session: Session) -> None:
    session.tick(3.0)
    do(session, "reset")
    prove(session)
    do(session, "home")
    _by_hand(session, 1, "end-mill-10", 120.0)


def run_at_full(session: Session) -> None:
    prove(session)
    do(session, "program", file="stranger")


def left_half_way(session: Session) -> None:
    do(session, "plug-in", setter="setter", socket="spindle-probe")
    do(session, "press-pad", setter="setter")


def nothing_is_wrong(session: Session) -> None:
    do(session, "drives", on=False)
    do(session, "press-pad", setter="setter")
    do(session, "answer", question="fault", choice="Nothing")


FAILED: dict[str, list[tuple[Way, str, str]]] = {
    "prove-the-input": [
        (other_socket, "unfinished", ""), (finger_in_with_drives_on, "harm", "hand-in-reach"),
    ],
    "reference-between-the-lugs": [(under_a_lug, "wrong", "lug-strike")],
    "reference-by-master": [(by_master_guessed, "wrong", "wrong-number")],
    "locate-and-clearance": [(clearance_forced, "risky", "low-clearance")],
    "setter-height-by-block": [(stepped_down_onto_block, "harm", "squeezed-block")],
    "three-tools-by-hand": [
        (three_by_luck, "risky", ""), (into_another_row, "wrong", "wrong-slot"),
    ],
    "wide-cutter-beside-the-centre": [(over_the_centre, "wrong", "missed-edge")],
    "find-the-worn-and-the-pulled-out": [(guessed, "unfinished", "")],
    "work-z-in-the-second-system": [(work_z_in_the_first, "wrong", "wrong-system")],
    "recover-after-an-emergency-stop": [(with_the_old_reference, "", "stale-reference")],
    "prove-a-stranger-s-program": [(run_at_full, "harm", "crash")],
    "full-commissioning": [(left_half_way, "unfinished", "")],
    "what-is-wrong-here": [(nothing_is_wrong, "unfinished", "")],
}  # fmt: skip


def test_every_exercise_has_its_ways() -> None:
    assert sorted(FAILED) == sorted(SOLUTIONS) == list(library.names("exercise"))
    assert len(FAILED) >= 12


@pytest.mark.parametrize("name", SOLUTIONS)
def test_it_can_be_finished(name: str) -> None:
    session = Session.open(name, seed=3)
    SOLUTIONS[name](Trainee(session))
    debrief = session.finish()
    told = (
        debrief.data["missing"],
        debrief.data["skipped"],
        codes(session),
        debrief.data["alarms"],
    )
    assert debrief.verdict == "right", told
    assert debrief.data["skipped"] == []
    assert debrief.data["missing"] == []
    assert debrief.score == 100, debrief.data["score_lines"]
    same(session)


def test_a_recheck_out_of_its_limits_stops_and_that_passes() -> None:
    session = Session.open("find-the-worn-and-the-pulled-out", seed=3)
    rechecked(session)
    debrief = session.finish()
    assert (debrief.verdict, debrief.passed, debrief.score) == ("stopped", True, 100)
    same(session)


FAILURES = [(name, *failure) for name, failures in FAILED.items() for failure in failures]


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
