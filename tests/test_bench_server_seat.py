"""A seat at given times: silence stops motion in time, pages agree, hands change over."""

import asyncio
import json
from itertools import pairwise

import pytest

from drytouch.sim.bench import Session
from drytouch.sim.bench.debrief import replay_numbers
from drytouch.viz.bench.outbox import MOST_WAITING, Outbox
from drytouch.viz.bench.seat import SILENT_S, Client, Seat

TICK_S = 0.02


@pytest.fixture
def seat():
    return Seat(Session.open("three-tools-by-hand"), 0.0, 1)


def run(seat, start, seconds, beats=None):
    """Tick as the room does; gives back [time, Z, whether a line runs] after each tick."""
    found, ticks = [], round(seconds / TICK_S)
    for i in range(1, ticks + 1):
        now = start + i * TICK_S
        if beats is not None:
            seat.act(beats, {"do": "beat"}, now)
        seat.bring_up(now)
        kernel = seat.session.live.twin.kernel
        found.append((now, kernel.physical(kernel.agenda.command())[2], kernel.line is not None))
    return found


def seated(seat, role="trainee"):
    client = Client(role=role)
    seat.join(client, seat._ticked_at)
    return client


def told(client):
    """What a page was sent, with the state merged, as it would be now."""
    box = client.outbox
    return [*box._first, *box._messages], box._state


def speeds(track):
    return [abs(b[1] - a[1]) / TICK_S for a, b in pairwise(track)]


def test_a_held_key_moves_as_long_as_the_page_beats(seat):
    client = seated(seat)
    seat.act(client, {"do": "jog-press", "axis": "z", "towards": "-"}, 0.0)
    track = run(seat, 0.0, 1.0, beats=client)
    assert track[-1][2]
    assert speeds(track)[-1] == pytest.approx(500 / 60, rel=1e-3)


def test_a_key_without_beats_brakes_within_a_fifth_of_a_second(seat):
    client = seated(seat)
    seat.act(client, {"do": "jog-press", "axis": "z", "towards": "-"}, 0.0)
    run(seat, 0.0, 1.0, beats=client)
    track = run(seat, 1.0, 1.0)
    v = speeds(track)
    braking = next(track[i][0] for i in range(len(v)) if v[i] < 0.99 * 500 / 60)
    assert braking - 1.0 <= 0.2
    assert not track[-1][2]


def test_a_move_stops_when_nobody_is_heard(seat):
    client = seated(seat)
    seat.act(client, {"do": "move", "z_mm": -150.0, "feed_mm_per_min": 600.0}, 0.0)
    run(seat, 0.0, 1.0, beats=client)
    assert speeds(run(seat, 1.0, 0.1, beats=client))[-1] == pytest.approx(10.0, rel=1e-3)
    track = run(seat, 1.1, 1.0)
    resting = [t for (t, *_), v in zip(track[1:], speeds(track), strict=True) if v < 10.0 * 0.99]
    assert resting[0] - 1.1 <= 0.2 + TICK_S
    assert SILENT_S + TICK_S < 0.2
    assert speeds(track)[-1] == 0.0
    assert seat.session.state()["modes"]["hold"]
    # It does not go on by itself when the page is heard again.
    assert speeds(run(seat, 2.1, 0.5, beats=client))[-1] == 0.0
    seat.act(client, {"do": "feed-hold", "on": False}, 2.6)
    assert max(speeds(run(seat, 2.6, 0.5, beats=client))) == pytest.approx(10.0, rel=1e-3)


def test_the_last_page_that_goes_stops_the_machine_at_once(seat):
    client = seated(seat)
    seat.act(client, {"do": "jog-press", "axis": "x", "towards": "-"}, 0.0)
    run(seat, 0.0, 0.5, beats=client)
    seat.leave(client, 0.5)
    assert seat.session.live.machine is None or seat.session.live.machine.released
    run(seat, 0.5, 1.0)
    assert seat.session.live.twin.kernel.line is None
    assert seat.session.teller.events[-1]["kind"] in ("done", "page-lost")


def test_one_of_two_pages_may_go_while_the_other_holds_the_key(seat):
    one, two = seated(seat), seated(seat)
    seat.act(two, {"do": "jog-press", "axis": "x", "towards": "-"}, 0.0)
    run(seat, 0.0, 0.2, beats=two)
    seat.leave(one, 0.2)
    assert run(seat, 0.2, 0.2, beats=two)[-1][2]
    three = seated(seat)
    seat.leave(two, 0.4)
    run(seat, 0.4, 1.0, beats=three)
    assert seat.session.live.machine is None


def test_beats_of_a_page_that_does_not_hold_the_key_keep_nothing_moving(seat):
    one, two = seated(seat), seated(seat)
    seat.act(one, {"do": "jog-press", "axis": "x", "towards": "-"}, 0.0)
    run(seat, 0.0, 1.0, beats=two)
    assert seat.session.live.machine is None


def test_two_pages_are_told_the_same(seat):
    one, two = seated(seat), seated(seat)
    seat.act(one, {"do": "type-in", "row": 2, "length_mm": 123.456}, 0.1)
    seat.act(two, {"do": "type-in", "system": "G55", "z_mm": -77.0}, 0.2)
    assert told(one)[1] == told(two)[1]
    assert told(one)[1]["tables"]["rows"][1]["length_mm"] == 123.456
    first, second = (
        [event for m in told(c)[0] if m["kind"] == "events" for event in m["events"]]
        for c in (one, two)
    )
    assert first == second


def test_a_page_that_comes_later_gets_everything(seat):
    one = seated(seat)
    seat.act(one, {"do": "type-in", "row": 2, "length_mm": 123.456}, 0.1)
    late = seated(seat)
    messages, state = told(late)
    assert [e["n"] for m in messages if m["kind"] == "events" for e in m["events"]] == list(
        range(1, len(seat.session.teller.events) + 1)
    )
    assert state["tables"]["rows"][1]["length_mm"] == 123.456
    assert {body["id"] for body in late.outbox._scene["bodies"]} >= {"setter", "setter.pad"}


def test_the_instructors_hand_takes_the_machine_and_gives_it_back(seat):
    trainee, instructor = seated(seat), seated(seat, "instructor")
    assert not seat.may_act(instructor)
    seat.act(trainee, {"do": "jog-press", "axis": "z", "towards": "-"}, 0.0)
    seat.take_over(True, 0.1)
    run(seat, 0.1, 1.0)
    assert seat.session.live.machine is None
    seat.act(trainee, {"do": "home"}, 1.2)
    assert told(trainee)[0][-1]["code"] == "not-allowed"
    seat.act(instructor, {"do": "override", "feed": 0.5}, 1.3)
    assert seat.session.state()["modes"]["feed_override"] == 0.5
    seat.take_over(False, 1.4)
    seat.act(trainee, {"do": "override", "feed": 1.0}, 1.5)
    assert seat.session.state()["modes"]["feed_override"] == 1.0


def test_the_debrief_goes_to_who_comes_after_the_end(seat):
    client = seated(seat)
    seat.act(client, {"do": "finish"}, 0.1)
    debrief = [m for m in told(seated(seat))[0] if m["kind"] == "debrief"]
    assert debrief[0]["debrief"]["verdict"] == "unfinished"
    assert json.loads(json.dumps(debrief[0])) == debrief[0]


def test_what_is_believed_is_told_after_the_end_and_on_request_only(seat):
    client, boss = seated(seat), seated(seat, "instructor")
    for role in (client, boss):
        seat.act(role, {"do": "outline", "on": True}, 0.1)
        assert told(role)[0][-1]["code"] == "not-allowed"
    seat.act(client, {"do": "type-in", "row": 2, "length_mm": 123.456}, 0.2)
    assert (told(client)[1]["outline"], told(client)[1]["belief"]) == (False, None)
    seat.act(client, {"do": "finish"}, 0.3)
    assert told(client)[1]["belief"] is None
    seat.act(client, {"do": "outline", "on": True}, 0.4)
    for page in (client, boss):
        belief = told(page)[1]["belief"]
        assert belief["face"] == [0.0, 0.0, 0.0]
        assert belief["told"]["row 2 length"] == 123.456
        assert "row 3 length" not in belief["told"]
        assert belief["told"]["setter setter reference_z_mm"] == -480.1
        assert belief["told"]["active system"] == "G54"
        assert (belief["length_convention"], list(belief["setters"])) == ("face", ["setter"])
    seat.act(client, {"do": "outline", "on": False}, 0.5)
    assert told(client)[1]["belief"] is None


@pytest.mark.parametrize(
    ("times", "numbers"),
    [([], []), ([1.0, 2.0], [1, 2]), ([3.0, 1.0, 2.0], [3, 1, 2]), ([1.0, 1.0, 0.0], [2, 3, 1])],
)
def test_findings_are_numbered_as_a_replay_counts_them(times, numbers):
    assert replay_numbers(times) == numbers


@pytest.mark.parametrize(
    "message", [None, 3, [], "x", {}, {"do": None}, {"do": "jog-press"}, {"do": ["x"]}]
)
def test_messages_that_make_no_sense_are_refused(seat, message):
    client = seated(seat)
    seat.act(client, message, 0.1)
    reply = told(client)[0][-1]
    assert (reply["kind"], reply["ok"], reply["code"]) == ("reply", False, "bad-message")
    assert seat.session.bad_count == 1


async def taken(box):
    return [json.loads(text) for text in await box.take()]


def test_stale_state_is_dropped_and_events_never():
    box = Outbox()
    for n in range(1000):
        box.state({"poses": n, "time_s": n / 25})
        box.send("events", events=[{"n": n}])
    box.scene({"version": 1})
    box.scene({"version": 2})
    box.send("seated", number=1)
    messages = asyncio.run(taken(box))
    assert [m["kind"] for m in messages] == ["seated", "scene", "state", *["events"] * 1000]
    assert messages[1]["version"] == 2
    assert (messages[2]["poses"], messages[2]["time_s"]) == (999, 999 / 25)
    assert [m["events"][0]["n"] for m in messages[3:]] == list(range(1000))


def test_a_page_that_reads_nothing_is_let_go():
    box = Outbox()
    for n in range(MOST_WAITING + 1):
        box.send("events", events=[n])
    assert asyncio.run(taken(box)) == []
