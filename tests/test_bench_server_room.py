"""The bench's server over real sockets: who comes in, what is refused, what is kept."""

import asyncio
import http.client
import json
import time
from math import floor
from urllib.parse import urlsplit

import pytest
from bench_page_cases import Talker, served, until
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from drytouch.sim.bench.records import Records
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.twin.twin import Twin
from drytouch.viz.bench.app import POLICY
from drytouch.viz.bench.gate import Gate
from drytouch.viz.bench.patience import (
    MOST_AT_ONCE,
    MOST_BAD,
    MOST_PER_S,
    OPENING_COUNTS,
    Patience,
    TooMuch,
)
from drytouch.viz.bench.room import NotIn, Room, Rules
from drytouch.viz.bench.seat import Client


@pytest.fixture(scope="module")
def solo(tmp_path_factory):
    with served(Rules("prove-the-input"), tmp_path_factory.mktemp("records")) as running:
        yield running


@pytest.fixture(scope="module")
def classroom(tmp_path_factory):
    with served(Rules(as_class=True), tmp_path_factory.mktemp("class")) as running:
        yield running


@pytest.fixture
def come(request):
    talkers = []

    def come_in(address, **hello):
        talkers.append(Talker(address, **hello))
        return talkers[-1]

    yield come_in
    for talker in talkers:
        talker.close()


def get(address, path, **headers):
    parts = urlsplit(address)
    line = http.client.HTTPConnection(parts.hostname, parts.port, timeout=20)
    try:
        line.request("GET", path, headers=headers)
        answer = line.getresponse()
        return answer.status, answer.headers, answer.read().decode()
    finally:
        line.close()


def test_the_page_lets_nothing_in_from_elsewhere(solo):
    status, headers, text = get(solo[0], "/")
    assert (status, headers["content-security-policy"]) == (200, POLICY)
    assert "unsafe" not in POLICY
    assert "http" not in text.replace("<!DOCTYPE html>", "")
    assert get(solo[0], "/bench.js")[0] == get(solo[0], "/bench.css")[0] == 200


def test_a_foreign_name_for_this_machine_is_not_answered(solo):
    assert get(solo[0], "/", Host="example.org")[0] == 403
    assert get(solo[0], "/records.csv", Host="example.org")[0] == 403


@pytest.mark.parametrize("origin", ["http://example.org", "null", "http://127.0.0.1:1"])
def test_a_foreign_origin_is_refused_with_403(solo, origin):
    line = solo[0].replace("http", "ws") + "/live"
    with pytest.raises(InvalidStatus) as refused, connect(line, origin=origin):
        pass
    assert refused.value.response.status_code == 403


def test_the_own_origin_comes_in(solo):
    with connect(solo[0].replace("http", "ws") + "/live", origin=solo[0]) as socket:
        socket.send('{"hello": 1}')
        assert json.loads(socket.recv(timeout=20))["kind"] == "welcome"


def test_what_is_no_message_is_refused_and_the_session_goes_on(solo, come):
    talker = come(solo[0])
    talker.hear("state")
    for bad in ("", "{", "[1]", "null", "x" * 60_000, "[" * 15_000, '{"do": "no such thing"}'):
        talker.say(bad)
        assert talker.hear("reply")["code"] == "bad-message"
    for wanted in ({"room": "fault"}, {"room": "freeze", "on": True}, {"room": "nothing"}):
        talker.say(wanted)
        assert "instructor" in talker.hear("sorry")["why"]
    assert talker.act("hint")["ok"]


def test_no_message_names_a_path(solo, come):
    talker = come(solo[0])
    for exercise in ("../../etc/passwd", "/etc/passwd", "x.toml", "..\\x", "no-such-exercise"):
        talker.say({"room": "open", "exercise": exercise})
        assert talker.hear("sorry")["at"] == "open"


def test_an_exercise_from_hello_to_records(solo, come):
    address, room = solo
    talker = come(address, name="Ada")
    secret = talker.hear("seated")["session"]
    talker.hear("state")
    assert talker.act("drives", on=False)["ok"]
    socket = next(i["socket"] for i in talker.state["inputs"] if i["watched"])
    assert talker.act("plug-in", setter="setter", socket=socket)["ok"]
    assert talker.act("press-pad", setter="setter")["ok"]
    while not any(i["proved"] for i in talker.state["inputs"]):
        talker.hear("state")
    while talker.state["hands"] or talker.state["running"]:
        talker.hear("state")
    assert talker.act("drives", on=True)["ok"]
    assert talker.act("finish")["verdict"] == "right"
    assert talker.hear("debrief")["debrief"]["passed"]
    seat = room.seats[secret]
    number = until(lambda: seat.attempt)
    kept = room.records.attempt(number)
    assert (kept["trainee"], kept["exercise"], kept["verdict"]) == (
        "Ada",
        "prove-the-input",
        "right",
    )
    assert talker.hear("progress")["rows"][0]["best_score"] == 100
    assert come(address, name="Ada").hear("progress")["rows"][0]["passed"] == 1
    status, _, page = get(address, f"/replay/{secret}")
    assert status == 200
    assert "data" in page
    assert get(address, f"/attempt/{number}")[0] == 200
    assert get(address, "/attempt/9999")[0] == 404
    assert "prove-the-input" in get(address, "/records.csv")[2]
    assert json.loads(get(address, "/records.json")[2])[-1]["verdict"] == "right"


def test_a_session_saved_as_scenario_replays_to_the_same_verdict(solo, come, tmp_path):
    talker = come(solo[0])
    secret = talker.hear("seated")["session"]
    talker.hear("state")
    talker.act("override", rapid=0.25)
    talker.act("jog-press", axis="z", towards="-")
    for _ in range(10):
        talker.say({"do": "beat"})
        time.sleep(0.03)
    talker.act("jog-release")
    while talker.state.get("running") or talker.state.get("moving"):
        talker.hear("state")
    talker.act("finish")
    file = tmp_path / "session.toml"
    file.write_text(get(solo[0], f"/scenario/{secret}")[2])
    outcome = Twin(load_scenario(file)).run_steps()
    assert outcome.to_dict() == {**solo[1].seats[secret].session.outcome.to_dict(),
                                 "scenario": outcome.to_dict()["scenario"]}  # fmt: skip


def test_the_scenario_of_an_exercise_comes_after_its_end(solo, come):
    talker = come(solo[0], exercise="what-is-wrong-here")
    secret = talker.hear("seated")["session"]
    talker.hear("state")
    status, _, text = get(solo[0], f"/scenario/{secret}")
    assert (status, "fault" in text) == (403, False)
    talker.act("finish")
    status, _, text = get(solo[0], f"/scenario/{secret}")
    assert (status, "[[faults]]" in text) == (200, True)


def test_what_is_not_there_is_said(solo):
    assert get(solo[0], "/replay/nothing")[0] == get(solo[0], "/scenario/nothing")[0] == 404
    assert get(solo[0], "/records.xml")[0] == 404


def test_the_seat_that_was_left_is_found_again(solo, come):
    one = come(solo[0])
    secret = one.hear("seated")["session"]
    one.hear("state")
    one.act("type-in", row=1, length_mm=99.5)
    one.close()
    two = come(solo[0], session=secret)
    assert two.hear("seated")["session"] == secret
    assert two.hear("state")["tables"]["rows"][0]["length_mm"] == 99.5
    assert come(solo[0], session="unknown").hear("seated")["session"] != secret


# ---- a page that says too much -----------------------------------------------------------


def shut_out(talker):
    """What a page is told before its line is closed, and how it is closed."""
    told = talker.hear("sorry", at="line")
    with pytest.raises(ConnectionClosed) as closed:
        talker.hear("nothing more")
    return told["why"], closed.value.rcvd.code, closed.value.rcvd.reason


@pytest.mark.parametrize(
    ("message", "count", "reason"),
    [
        ('{"do": "no such thing"}', MOST_BAD + 1, "make no sense"),
        ("{", MOST_BAD + 1, "make no sense"),
        (b"\x00\xff", MOST_BAD + 1, "make no sense"),
        ('{"room": "nothing"}', MOST_BAD + 1, "make no sense"),
        ('{"do": "beat"}', MOST_AT_ONCE * 2, f"more than {MOST_AT_ONCE} messages"),
    ],
)
def test_a_page_that_floods_is_told_and_shut_out(solo, come, caplog, message, count, reason):
    flood, other = come(solo[0]), come(solo[0])
    flood.hear("state")
    other.hear("state")
    for _ in range(count):
        flood.socket.send(message)
    assert other.act("override", rapid=0.5)["ok"]  # in the midst of it
    why, code, closed_with = shut_out(flood)
    assert reason in why
    assert (code, closed_with) == (1008, why)
    other.act("override", rapid=0.25)
    while other.state["modes"]["rapid_override"] != 0.25:
        other.hear("state")
    lines = [record.getMessage() for record in caplog.records if record.levelname != "DEBUG"]
    assert len([line for line in lines if why in line]) == 1
    assert len(lines) == 1, lines


def test_a_page_that_is_shut_out_lets_go_and_may_come_back(solo, come):
    flood = come(solo[0])
    secret = flood.hear("seated")["session"]
    flood.hear("state")
    flood.act("jog-press", axis="z", towards="-")
    for _ in range(MOST_BAD + 1):
        flood.say("{")
    shut_out(flood)
    seat = solo[1].seats[secret]
    until(lambda: seat.session.live.machine is None)
    again = come(solo[0], session=secret)
    assert again.hear("seated")["session"] == secret
    again.hear("state")
    assert again.act("override", feed=0.5)["ok"]


def test_patience_holds_for_whatever_a_page_sends():
    hours, patience = 2.0, Patience(0.0)
    for beat in range(round(hours * 3600 * 85)):  # beats, wheel and slider at once
        patience.heard(beat / 85)
    for i in range(300):  # a stall, and all that was waiting comes at once
        patience.heard(hours * 3600 + 60.0 + i * 1e-4)
    for i in range(500):  # somebody types nonsense as fast as a hand can, for a quarter of an hour
        patience.bad(2.0 * i)


@pytest.mark.parametrize("per_s", [120.0, 1000.0, 1e6])
def test_patience_ends_with_a_flood(per_s):
    patience = Patience(0.0)
    # What was there at first, and what comes back meanwhile.
    most = floor((MOST_AT_ONCE - 1) * per_s / (per_s - MOST_PER_S))
    for n in range(most):
        patience.heard(n / per_s)
    with pytest.raises(TooMuch):
        [patience.heard((most + n) / per_s) for n in range(3)]


def test_setting_machines_up_over_and_over_is_a_flood():
    patience = Patience(0.0)
    for _ in range(MOST_AT_ONCE // OPENING_COUNTS):
        patience.heard(0.0, opens=True)
    with pytest.raises(TooMuch):
        patience.heard(0.0, opens=True)


# ---- the class ---------------------------------------------------------------------------


def test_a_class_asks_for_its_code_and_key(classroom, come):
    address, room = classroom
    assert "code" in come(address, code="WRONG1").hear("sorry")["why"]
    assert "key" in come(address, role="instructor", key="x").hear("sorry")["why"]
    with pytest.raises(ConnectionClosed):
        come(address, role="instructor").hear("welcome")
    assert come(address, code=f" {room.code.lower()} ").hear("welcome")["role"] == "trainee"
    assert get(address, "/records.csv")[0] == get(address, "/attempt/1?key=x")[0] == 403
    assert get(address, f"/records.csv?key={room.instructor_key}")[0] == 200


def test_an_instructors_way_to_a_seat_asks_for_the_key(classroom, come):
    address, room = classroom
    trainee = come(address, code=room.code, name="Gus", exercise="what-is-wrong-here")
    number = trainee.hear("seated")["number"]
    trainee.hear("state")
    key = f"?key={room.instructor_key}"
    assert get(address, f"/seat/{number}/scenario{key}")[0] == 200
    assert get(address, f"/seat/{number}/replay{key}")[0] == 404
    trainee.act("finish")
    assert get(address, f"/seat/{number}/replay{key}")[0] == 200
    for wrong in ("", "?key=", "?key=x", f"?token={room.instructor_key}"):
        for what in ("replay", "scenario"):
            assert get(address, f"/seat/{number}/{what}{wrong}")[0] == 404
    assert get(address, f"/seat/999/replay{key}")[0] == 404


def test_a_seat_without_a_class_is_found_by_its_secret_only(solo, come):
    talker = come(solo[0])
    number = talker.hear("seated")["number"]
    talker.hear("state")
    talker.act("finish")
    for key in ("", f"?key={solo[1].instructor_key}"):
        assert get(solo[0], f"/seat/{number}/replay{key}")[0] == 404


def test_instructor_watches_freezes_takes_over_and_lets_a_fault_begin(classroom, come):
    address, room = classroom
    trainee = come(address, code=room.code, name="Bo", exercise="three-tools-by-hand")
    number = trainee.hear("seated")["number"]
    trainee.hear("state")
    boss = come(address, role="instructor", key=room.instructor_key)
    boss.hear("class")
    boss.say({"room": "watch", "seat": number})
    seated = boss.hear("seated")
    assert seated["session"] == ""  # nobody's way into a seat but the trainee's own
    boss.hear("state")
    assert boss.act("home")["code"] == "not-allowed"
    boss.say({"room": "freeze", "on": True})
    boss.hear("class", frozen=True)
    assert trainee.act("override", feed=0.5)["code"] == "frozen"
    boss.say({"room": "freeze", "on": False})
    boss.hear("class", frozen=False)
    boss.say({"room": "take-over", "on": True})
    while not boss.state.get("seat", {}).get("taken_over"):
        boss.hear("state")
    assert trainee.act("override", feed=0.5)["code"] == "not-allowed"
    assert boss.act("override", feed=0.5)["ok"]
    boss.say({"room": "fault", "seat": number, "name": "unplugged"})
    boss.hear("reply", do="fault")
    # Who takes over and goes gives the machine back.
    boss.close()
    while trainee.state["seat"]["taken_over"]:
        trainee.hear("state")
    assert trainee.act("override", feed=1.0)["ok"]
    assert room.seat_number(number).session.trainee == "Bo"
    with pytest.raises(NotIn):
        room.seat_number(999)


# ---- seats that are left -------------------------------------------------------------------


def test_a_session_that_is_left_ends_and_is_kept(tmp_path):
    async def left():
        room = Room(Rules("three-tools-by-hand", left_s=60.0), Records(tmp_path))
        seat, untouched = await room.open({"name": "Cy"}), await room.open({"name": "Di"})
        client = Client()
        now = seat._ticked_at
        seat.join(client, now)
        seat.act(client, {"do": "override", "feed": 0.5}, now)
        seat.leave(client, now + 1.0)
        for later in (2.0, 30.0, 60.5):
            room._drive(seat, now + later, False)
            assert seat.secret in room.seats
        time_then = seat.session.live.time
        assert time_then < 10.0  # time stands still at a machine where nobody is
        room._drive(seat, now + 61.5, False)
        room._drive(untouched, untouched.left_at + 61.0, False)
        assert room.seats == {}
        await room.close()
        return room.records.attempts()

    kept = asyncio.run(left())
    assert [(row["trainee"], row["verdict"]) for row in kept] == [("Cy", "unfinished")]


def test_a_server_that_ends_keeps_what_runs(tmp_path):
    with served(Rules("three-tools-by-hand"), tmp_path) as (address, room):
        talker = Talker(address, name="Ed")
        talker.hear("state")
        talker.act("override", feed=0.5)
        records = room.records
        talker.close()
    assert [row["trainee"] for row in records.attempts()] == ["Ed"]


def test_one_seat_that_breaks_does_not_stop_the_others(monkeypatch):
    async def both():
        room = Room(Rules("prove-the-input"), None)
        bad, good = await room.open({}), await room.open({})
        monkeypatch.setattr(bad.session, "tick", lambda wall_s: 1 / 0)
        client = Client()
        good.join(client, good._ticked_at)
        driver = asyncio.create_task(room.run())
        end = time.monotonic() + 20.0
        while good.session.live.time < 0.1 and time.monotonic() < end:
            await asyncio.sleep(0.01)
        driver.cancel()
        return good.session.live.time

    assert asyncio.run(both()) >= 0.1


@pytest.mark.parametrize(
    ("gate", "host", "origin", "right"),
    [
        (Gate(), "127.0.0.1:80", None, True),
        (Gate(), "localhost:80", "http://localhost:80", True),
        (Gate(), "[::1]:80", "http://[::1]:80", True),
        (Gate(), "localhost:80", "http://localhost:81", False),
        (Gate(), "evil.example:80", "http://evil.example:80", False),
        (Gate(), None, None, False),
        (Gate(), "[", "x", False),
        (Gate("0.0.0.0", "t"), "10.0.0.5:80", "http://10.0.0.5:80", True),
        (Gate("0.0.0.0", "t"), "10.0.0.5:80", "http://evil.example", False),
    ],
)
def test_the_gate(gate, host, origin, right):
    assert gate.origin_allowed(origin, host) == right


def test_beyond_loopback_a_token_is_asked_for():
    gate = Gate("0.0.0.0", "secret")
    assert gate.beyond_loopback
    assert gate.token_right("secret")
    assert not any(gate.token_right(given) for given in (None, "", "Secret", 3))
    assert not Gate().beyond_loopback
