"""Recording files: round trip to the bit, size, and damage that never becomes a traceback."""

import json
import math
import os
import random
import stat
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drytouch.sim.errors import InputError
from drytouch.sim.motion import Limits, from_rest
from drytouch.sim.recording import LineEntry, Recorder, Recording
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Box, Cone, Cylinder, Mesh, Placed, Ring, Sphere

LINKS = {"head": (0.0, 0.0, 1.0), "table": (-1.0, -1.0, 0.0)}
POINTS = ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
TETRAHEDRON = Mesh(POINTS, ((0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)))


def busy(lines: int = 40) -> Recorder:
    """About ten seconds: a line every quarter, each with its edges and events."""
    recorder = Recorder()
    recorder.begin({"name": "busy", "title": "Up and down"}, LINKS, 11, (0.1, 0.2, 0.3))
    shapes = (
        Box(1.0, 2.0, 3.0),
        Cylinder(4.0, 5.0),
        Cone(1.0, 2.0, 3.0),
        Sphere(2.5),
        Ring(30.0, 12.0, 8.0),
        TETRAHEDRON,
    )
    for index, shape in enumerate(shapes):
        body = Body(f"body {index}", "table", (Placed(shape, (0.1, 0.0, -1.0 / 3.0)),), index == 1)
        recorder.scene(0.0, "place", body.id, body)
    t, z = 0.0, 200.0
    for index in range(lines):
        way = -1.0 if index % 2 == 0 else 1.0
        length = 3.0 + math.sin(index)
        pieces = from_rest(length, Limits(20.0, 800.0, 20000.0), t)
        end = pieces[-1].t1
        source = (index, "part.ngc", index + 1, None)
        start = (10.0, 20.0, z)
        recorder.line(
            LineEntry(
                index, "touch", t, end + 0.01, start, (0.0, 0.0, way), None, start, 0.003, 0.01,
                tuple(pieces), None, source,
            )
        )  # fmt: skip
        recorder.pad("main", t + 0.01, index, 0.5, 0.0, 1.0, math.inf)
        for signal in ("main.contact", "input 1.raw", "input 1.filtered", "input 1.seen"):
            recorder.edge(signal, t + 0.1, 1)
            recorder.edge(signal, t + 0.2, 0)
        recorder.event(t, "step", {"index": index, "text": "touch"})
        recorder.event(t + 0.1, "latch", (0.0, 0.0, z))
        recorder.belief(t + 0.2, f"row {index} length", 80.0 + index / 7)
        z += way * length
        t = end + 0.02
    recorder.spindle(0.5, 0.25, 100.0)
    recorder.end(t, {"verdict": "right", "findings": [], "numbers": []})
    return recorder


def test_round_trip_to_the_bit(tmp_path: Path) -> None:
    first = Recording.from_recorder(busy())
    first.save(tmp_path / "a.json")
    second = Recording.load(tmp_path / "a.json")
    second.save(tmp_path / "b.json")
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()
    for k in range(500):
        t = first.duration_s * k / 400
        assert first.position_at(t) == second.position_at(t)
        assert first.speed_at(t) == second.speed_at(t)
        assert first.pad_depth_at("main", t) == second.pad_depth_at("main", t)
    assert first.bodies_at(1.0) == second.bodies_at(1.0)
    assert second.data == json.loads(json.dumps(first.data))


def test_same_run_gives_the_same_bytes_and_a_plain_file_mode(tmp_path: Path) -> None:
    for name in ("a.json", "b.json"):
        Recording.from_recorder(busy()).save(tmp_path / name)
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()
    mask = os.umask(0)
    os.umask(mask)
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / "a.json").stat().st_mode) == 0o666 & ~mask
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.json", "b.json"]


def test_ten_seconds_fit_in_100_kilobytes(tmp_path: Path) -> None:
    recorder = busy(lines=44)
    recording = Recording.from_recorder(recorder)
    assert recording.duration_s > 9.0
    recording.save(tmp_path / "a.json")
    # 44 touches in ten seconds are several times more than any routine makes.
    assert (tmp_path / "a.json").stat().st_size < 100_000


def test_positions_are_those_of_the_plan() -> None:
    recording = Recording.from_recorder(busy(lines=1))
    line = recording.lines[0]
    assert recording.position_at(line.t[1])[2] == pytest.approx(200.0 - 3.0 + 0.003, abs=1e-12)


def test_a_line_cut_off_by_the_end_gets_an_end() -> None:
    recorder = Recorder()
    recorder.begin({}, LINKS, 1)
    rest = (0.0, math.inf, 1.0, 0.0, 0.0, 0.0, 1.0)
    start = (0.0, 0.0, 0.0)
    recorder.line(
        LineEntry(1, "jog", 0.0, math.inf, start, (1.0, 0.0, 0.0), None, start, 0, 0, (rest,), None)
    )
    recorder.end(2.5)
    assert Recording.from_recorder(recorder).lines[0].t == (0.0, 2.5)


@pytest.fixture(scope="module")
def good() -> bytes:
    return json.dumps(busy(lines=2).to_dict(), separators=(",", ":")).encode()


def outcome_of(data: bytes, folder: Path) -> Recording | InputError:
    path = folder / "damaged.json"
    path.write_bytes(data)
    try:
        recording = Recording.load(path)
    except InputError as raised:
        error = raised
    else:
        ask(recording)
        return recording
    assert error.file == str(path)
    assert error.fix
    return error


def ask(recording: Recording) -> None:
    for t in (0.0, 0.3, recording.duration_s):
        recording.position_at(t)
        recording.command_at(t)
        recording.speed_at(t)
        recording.bodies_at(t)
        recording.pad_depth_at("main", t)
        recording.spindle_at(t)


def test_every_truncation_is_refused(good: bytes, tmp_path: Path) -> None:
    for length in range(0, len(good) - 1, 37):
        assert isinstance(outcome_of(good[:length], tmp_path), InputError)


def test_altered_bytes_give_a_recording_or_a_clear_error(good: bytes, tmp_path: Path) -> None:
    chance = random.Random(5)
    refused = 0
    for _ in range(600):
        data = bytearray(good)
        for _ in range(chance.randint(1, 4)):
            data[chance.randrange(len(data))] = chance.choice(b'0123456789-e.,:[]{}"tfnNI\x00\xff ')
        refused += isinstance(outcome_of(bytes(data), tmp_path), InputError)
    assert 100 < refused < 600


WRONG: list[Any] = [None, -1, 1e300, "x", [], {}, True, 10**40, [1, 2], "\ud800"]


def test_every_value_replaced_by_a_wrong_one(good: bytes, tmp_path: Path) -> None:
    paths: list[tuple[Any, ...]] = []

    def walk(node: Any, path: tuple[Any, ...]) -> None:
        paths.append(path)
        pairs = node.items() if isinstance(node, dict) else enumerate(node)
        for key, child in list(pairs)[:4]:
            if isinstance(child, dict | list):
                walk(child, (*path, key))
            else:
                paths.append((*path, key))

    walk(json.loads(good), ())
    chance = random.Random(6)
    for path in paths[1:]:
        data = json.loads(good)
        node = data
        for key in path[:-1]:
            node = node[key]
        node[path[-1]] = chance.choice(WRONG)
        outcome_of(json.dumps(data).encode(), tmp_path)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"format": "something"}, "format"),
        ({"version": 2}, "version 2"),
        ({"version": True}, "version True"),
        ({"extra": 1}, "extra"),
        ({"duration_s": -1.0}, "duration_s"),
        ({"edges": [[2.0, "a", 1], [1.0, "a", 0]]}, "in order of time"),
        ({"edges": [[2.0, "a", 2]]}, "edges.0.2"),
        ({"links": {}}, "unknown link 'table'"),
        ({"geometry": []}, "missing geometry 0"),
    ],
)
def test_what_is_wrong_is_named(
    good: bytes, tmp_path: Path, change: dict[str, Any], says: str
) -> None:
    error = outcome_of(json.dumps({**json.loads(good), **change}).encode(), tmp_path)
    assert isinstance(error, InputError)
    assert says in str(error)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
@pytest.mark.parametrize("place", ["duration_s", "scenario"])
def test_numbers_must_be_finite_everywhere(
    good: bytes, tmp_path: Path, number: str, place: str
) -> None:
    data = json.loads(good)
    data[place] = "@@" if place == "duration_s" else {"a": "@@"}
    text = json.dumps(data).replace('"@@"', number)
    assert isinstance(outcome_of(text.encode(), tmp_path), InputError)


def test_deep_nesting_and_missing_files_are_clear_errors(tmp_path: Path) -> None:
    assert isinstance(outcome_of(b'{"a":' * 100_000, tmp_path), InputError)
    with pytest.raises(InputError, match="can't be read"):
        Recording.load(tmp_path / "none.json")
    with pytest.raises(InputError, match="can't be read"):
        Recording.load(tmp_path)
    with pytest.raises(InputError, match="can't be written"):
        Recording.from_recorder(busy(1)).save(tmp_path / "no folder" / "a.json")


def test_a_failed_save_leaves_the_old_file(tmp_path: Path, monkeypatch: Any) -> None:
    path = tmp_path / "a.json"
    path.write_text("old")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(InputError, match="No space left"):
        Recording.from_recorder(busy(1)).save(path)
    assert path.read_text() == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["a.json"]


def test_what_json_cannot_hold_is_refused_by_name() -> None:
    recorder = Recorder()
    recorder.begin({}, LINKS, 1)
    recorder.event(0.0, "odd", object())
    with pytest.raises(InputError, match="can't hold a object"):
        recorder.to_dict()
    recorder = Recorder()
    recorder.begin({"x": math.nan}, LINKS, 1)
    with pytest.raises(InputError, match="finite"):
        recorder.to_dict()
    recorder = Recorder()
    recorder.scene(0.0, "move", "ghost", (0.0, 0.0, 0.0))
    with pytest.raises(InputError, match="ghost"):
        recorder.to_dict()


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=3, max_size=3))
def test_floats_come_back_as_the_same_bits(numbers: list[float]) -> None:
    recorder = Recorder()
    recorder.begin({"numbers": tuple(numbers)}, LINKS, 1, (numbers[0], numbers[1], numbers[2]))
    data = json.loads(json.dumps(recorder.to_dict()))
    again = Recording.from_dict(data)
    assert [float(n).hex() for n in again.position_at(0.0)] == [n.hex() for n in numbers]
    assert again.scenario["numbers"] == numbers
