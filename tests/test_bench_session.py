"""The session itself: keys, pace, roles, refusals, lost pages, other machines."""

from __future__ import annotations

import tomllib

import pytest
from bench_cases import REFUSED, codes, do, routine, same, wait

from drytouch.sim.bench import Session, describe_actions, describe_state
from drytouch.sim.errors import InputError
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import scenario_from_dict


def held(session: Session, seconds: float, **key: object) -> None:
    assert session.act({"do": "jog-press", **key})["ok"]
    for _ in range(round(seconds / 0.02)):
        session.act({"do": "beat"})
        session.tick(0.02)


@pytest.mark.parametrize("tick", [0.005, 0.02, 0.5])
def test_a_key_without_a_beat_stops_the_axis_in_time(tick: float) -> None:
    session = Session.open("length-done-right")
    held(session, 0.4, axis="x", towards="-", speed_mm_per_min=600.0)
    kernel = session.live.twin.kernel
    assert kernel.speed(session.live.time) == pytest.approx(10.0, rel=1e-3)
    start, waited = session.live.time, 0.0
    while waited < 0.5:
        session.tick(tick)
        waited += tick
    assert kernel.line is None
    (line,) = session.live.twin.recorder.lines
    assert line.t1 - start < 0.2
    assert "key-lost" in [event["kind"] for event in session.state()["events"]]


def test_a_lost_page_stops_keys_moves_and_touches() -> None:
    session = Session.open("length-done-right")
    held(session, 0.3, axis="z", towards="-")
    assert session.lost() == "key"
    session.tick(0.2)
    assert session.live.twin.kernel.line is None
    session.act({"do": "move", "x_mm": -600.0})
    session.tick(0.2)
    assert session.lost() == "hold"
    session.tick(1.0)
    assert session.live.twin.kernel.speed(session.live.time) == 0.0
    assert session.state()["modes"]["hold"]
    do(session, "feed-hold", on=False)  # and on it goes
    assert session.state()["position"]["machine_mm"][0] == pytest.approx(-600.0)
    session.finish()
    same(session)


def test_a_second_key_waits_for_rest() -> None:
    session = Session.open("length-done-right")
    held(session, 0.3, axis="z", towards="-", speed_mm_per_min=3000.0)
    assert session.act({"do": "jog-press", "axis": "x", "towards": "-"}).get("waiting")
    for _ in range(40):
        session.act({"do": "beat"})
        session.tick(0.02)
    assert session.state()["key"] == {"axis": "x", "towards": "-"}
    session.act({"do": "jog-release"})
    wait(session)
    x, _, z = session.state()["position"]["machine_mm"]
    assert x < -1.0
    assert z < -5.0
    session.finish()
    same(session)


def test_steps_go_down_to_the_smallest_sizes() -> None:
    session = Session.open("length-done-right")
    do(session, "wheel", axis="z", by_mm=-1.0)
    do(session, "wheel", axis="z", by_mm=0.001, detents=7)
    do(session, "wheel", axis="z", by_in=-0.0001)
    assert session.state()["position"]["machine_mm"][2] == pytest.approx(-0.9955, abs=1e-4)
    do(session, "units", units="inch")
    shown = session.state()["position"]
    assert shown["machine"][2] == round(-0.99554 / 25.4, 4)


def test_ten_times_as_fast_is_for_waiting_only() -> None:
    session = Session.open("length-done-right")
    do(session, "pace", rate=10)
    before = session.live.time
    session.tick(1.0)
    assert session.live.time - before == pytest.approx(10.0, abs=1e-5)
    held(session, 0.1, axis="z", towards="-")
    assert session.state()["pace"] == 1.0
    assert session.act({"do": "pace", "rate": 10})["code"] == "not-now"
    assert session.act({"do": "pace", "rate": 3})["code"] == "bad-message"


def test_what_may_not_be_done_is_refused_and_said() -> None:
    session = Session.open("three-tools-by-hand")
    for message, code in (
        ({"do": "outline", "on": True}, "not-allowed"),
        ({"do": "fault", "name": "tool-worn"}, "not-allowed"),
        ({"do": "routine", "name": "measure-length", "with": {"row": 1}}, "not-allowed"),
        ({"do": "program", "file": "measure-length"}, "not-allowed"),
        ({"do": "plug-in", "setter": "nobody"}, "bad-message"),
        ({"do": "spin", "rpm": 1e9}, "bad-message"),
        ({"do": "answer", "question": "q", "choice": "c"}, "bad-message"),
        (["do"], "bad-message"),
    ):
        reply = session.act(message)
        assert (reply["ok"], reply["code"]) == (False, code), reply
        assert reply["why"]
    assert len(session.bad_messages) == 4
    assert session.act({"do": "freeze", "on": True}, role="instructor")["ok"]
    assert session.act({"do": "home"})["code"] == "frozen"
    assert session.act({"do": "freeze", "on": False}, role="instructor")["ok"]
    session.finish()
    assert session.act({"do": "home"})["code"] == "over"
    assert session.act({"do": "outline", "on": True})["ok"]
    assert session.state()["belief"]["face"] == session.live.twin.recorder.to_dict()["start"]


def test_stop_ends_a_routine_and_a_reset_goes_on() -> None:
    session = Session.open("length-done-right")
    session.act({"do": "routine", "name": "measure-length", "with": {"row": 1}})
    session.tick(1.0)
    do(session, "stop")
    assert session.state()["alarm"]["code"] == "stopped"
    assert session.act({"do": "home"})["ok"]
    assert session.state()["running"] is None
    do(session, "reset")
    routine(session, "measure-length", row=1, expected_length_mm=120.0)
    debrief = session.finish()
    assert debrief.verdict == "right", codes(session)
    same(session)


def test_hints_cost_what_they_say() -> None:
    session = Session.open("prove-the-input")
    costs = [session.act({"do": "hint"})["cost"] for _ in range(2)]
    assert session.act({"do": "hint"})["code"] == "not-now"
    debrief = session.finish()
    line = next(entry for entry in debrief.data["score_lines"] if entry["rule"] == "hint")
    assert line["cost"] == sum(costs)


@pytest.mark.parametrize("machine", library.names("machine"))
def test_exercises_run_on_any_machine(machine: str) -> None:
    for name in library.names("exercise"):
        if (name, machine) in REFUSED:
            with pytest.raises(InputError, match=REFUSED[name, machine]):
                Session.open(name, machine=machine)
            continue
        session = Session.open(name, machine=machine)
        assert session.live.scenario.machine.name == machine
        session.tick(0.1)


@pytest.mark.parametrize("machine", library.names("machine"))
def test_three_tools_can_be_measured_on_every_machine(machine: str) -> None:
    session = Session.open("three-tools-by-hand", machine=machine)
    do(session, "drives", on=False)
    do(session, "press-pad", setter="setter")
    watched = next(i for i in session.state()["inputs"] if i["watched"])
    assert watched["proved"], watched


def test_actions_and_state_are_described() -> None:
    known = {entry["do"]: entry for entry in describe_actions()}
    assert len(known) > 40
    (axis, towards, speed) = known["jog-press"]["fields"]
    assert speed["unit"] == "mm_per_min"
    assert (axis["required"], towards["required"], speed["required"]) == (True, True, False)
    described = describe_state()["state"]
    state = Session.open("prove-the-input").state()
    for key in state:
        assert any(name.split(".")[0] == key for name in described), key


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"numbers": ["nobody height"]}, "there is no setter 'nobody'"),
        ({"numbers": ["length of row 1"]}, "is no number that is judged"),
        ({"routines": ["measure-lenght"]}, "did you mean 'measure-length'"),
        ({"not_allowed": ["jgo"]}, "there is no action 'jgo'"),
        ({"what_is_wrong": {"faults": ["unplugged", "nonsense"]}}, "there is no fault 'nonsense'"),
        ({"proofs": ["luck"]}, "input-proved"),
    ],
)
def test_an_exercise_file_that_names_nothing_is_refused(
    change: dict[str, object], told: str
) -> None:
    data = tomllib.loads(library.path("exercise", "three-tools-by-hand").read_text("utf-8"))
    data["exercise"] |= change
    with pytest.raises(InputError) as caught:
        scenario_from_dict(data)
    assert told in str(caught.value)


def test_an_exercise_without_a_goal_or_with_steps_is_refused() -> None:
    data = tomllib.loads(library.path("exercise", "prove-the-input").read_text("utf-8"))
    with pytest.raises(InputError, match="no steps"):
        scenario_from_dict({**data, "steps": [{"do": "home"}]})
    with pytest.raises(InputError, match="belong together"):
        scenario_from_dict({**data, "kind": "scenario"})
    nothing = {"goal": "Do something."}
    with pytest.raises(InputError, match="nothing is judged"):
        scenario_from_dict({**data, "exercise": nothing})


def test_a_stranger_s_program_is_not_told_by_its_name() -> None:
    session = Session.open("prove-a-stranger-s-program")
    assert session.state()["programs"] == ["stranger"]
    said = []
    refused = session.act({"do": "program", "file": "measure-length"})
    assert (refused["ok"], refused["fix"]) == (False, "known: stranger")
    do(session, "drives", on=False)
    do(session, "press-pad", setter="setter")
    do(session, "drives", on=True)
    assert session.act({"do": "program", "file": "stranger", "single_block": True})["ok"]
    for _ in range(40):
        session.act({"do": "feed-hold", "on": False})
        session.tick(0.25)
        said.append(session.state())
    assert session.act({"do": "e-stop"})["ok"]
    wait(session)
    said.append(session.state())
    lines = [event["file"] for event in said[-1]["events"] if event["kind"] == "line"]
    assert set(lines) == {"stranger.ngc"}
    assert any((state["running"] or {}).get("line") for state in said)
    assert "rapid" not in str([s["running"] for s in said]) + str([s["alarm"] for s in said])
    assert "rapid-for-touch" not in str(said)
