"""Replays: exact poses, honest pace, captions that parse, models that validate, clear messages."""

from __future__ import annotations

import json
import math
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_cases import call
from hypothesis import given
from hypothesis import strategies as st
from test_viz_recordings import MADE, crushed_pad, right_touch

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.twin.twin import Twin
from drytouch.viz.captions import cues_of, from_webvtt, to_webvtt
from drytouch.viz.pace import length_s, named_speed, pace, pace_beside, screen_time, shots
from drytouch.viz.poses import bends, poses_at
from drytouch.viz.presses import presses_of
from drytouch.viz.times import time_of
from drytouch.viz.units import Units
from drytouch.viz.window import SPEEDS, Playback, why_no_window

NAMES = ("length-done-right", "feed-too-fast", "wrong-socket-runaway", "loose-setter-slides")
UM = 1e-3

WEB = Path(__file__).parents[1] / "viz" / "web"


@pytest.fixture(scope="module")
def runs() -> dict[str, Recording]:
    found = {}
    for name in NAMES:
        scenario = load_scenario(library.path("demonstration", name))
        found[name] = Recording.from_outcome(Twin(scenario).run_steps())
    return found


@pytest.mark.parametrize("name", NAMES)
def test_poses_are_the_recording_s_at_random_times(runs: dict[str, Recording], name: str) -> None:
    recording = runs[name]
    random = np.random.default_rng(5)
    for t in random.uniform(0.0, recording.duration_s, 200):
        q = recording.position_at(t)
        poses = poses_at(recording, t)
        assert poses["spindle"].position == pytest.approx((0.0, 0.0, q[2]), abs=UM)
        depth = recording.pad_depth_at("setter", t)
        below = poses["setter"].position[2] - poses["setter.pad"].position[2]
        assert below == pytest.approx(depth, abs=UM)


@pytest.mark.parametrize("name", NAMES)
def test_a_model_s_animation_is_exact(
    runs: dict[str, Recording], name: str, tmp_path: Path
) -> None:
    pygltflib = pytest.importorskip("pygltflib")
    from drytouch.viz.model import write_model

    recording = runs[name]
    model = pygltflib.GLTF2().load(str(write_model(recording, tmp_path / "a.glb")))
    tracks = {
        (model.nodes[c.target.node].name, c.target.path): tuple(
            numbers(model, index)
            for index in (
                model.animations[0].samplers[c.sampler].input,
                model.animations[0].samplers[c.sampler].output,
            )
        )
        for c in model.animations[0].channels
    }
    times, head = tracks["head", "translation"]
    table = tracks["table", "translation"]
    assert (np.diff(times[:, 0]) > 0).all()
    random = np.random.default_rng(7)
    for t in random.uniform(0.0, recording.duration_s, 500):
        q = recording.position_at(t)
        z = np.interp(t, times[:, 0], head[:, 2])
        assert z == pytest.approx(q[2], abs=UM)
        for axis in (0, 1):
            moved = np.interp(t, table[0][:, 0], table[1][:, axis])
            assert moved == pytest.approx(-q[axis], abs=UM)


def numbers(model: Any, index: int) -> Any:
    accessor = model.accessors[index]
    view = model.bufferViews[accessor.bufferView]
    width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[accessor.type]
    raw = model.binary_blob()[view.byteOffset : view.byteOffset + view.byteLength]
    return np.frombuffer(raw, "<f4").reshape(-1, width).astype(float)


def test_a_model_stands_up_in_metres_and_has_linear_colours(
    runs: dict[str, Recording], tmp_path: Path
) -> None:
    pygltflib = pytest.importorskip("pygltflib")
    from drytouch.viz.model import linear, write_model

    model = pygltflib.GLTF2().load(str(write_model(runs[NAMES[0]], tmp_path / "a.glb")))
    root = model.nodes[0]
    assert root.scale == [0.001] * 3
    half = math.sqrt(0.5)
    assert root.rotation == pytest.approx([-half, 0.0, 0.0, half])
    assert linear("#ffffff") == (1.0, 1.0, 1.0)
    assert linear("#bcbcbc")[0] == pytest.approx(0.5029, abs=1e-4)  # IEC 61966-2-1
    steps = [s for s in model.animations[0].samplers if s.interpolation == "STEP"]
    assert all(s.interpolation in ("LINEAR", "STEP") for s in model.animations[0].samplers)
    assert len(steps) < len(model.animations[0].samplers)


def test_models_pass_the_validator_of_the_standard_s_makers(
    runs: dict[str, Recording], tmp_path: Path
) -> None:
    pytest.importorskip("pygltflib")
    from drytouch.viz.model import write_model

    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    found = subprocess.run(
        [node, "-e", "process.stdout.write(require.resolve('gltf-validator'))"],
        capture_output=True, text=True, check=False, cwd=WEB,
    )  # fmt: skip
    if found.returncode != 0:
        pytest.skip("the npm package gltf-validator is not installed: run `npm ci` in viz/web")
    code = (
        "const v=require('gltf-validator'),fs=require('fs');"
        "v.validateBytes(new Uint8Array(fs.readFileSync(process.argv[1])))"
        ".then(r=>console.log(JSON.stringify(r.issues)))"
    )
    made = [*runs.values(), *(make() for make in MADE.values())]
    for number, recording in enumerate(made):
        path = write_model(recording, tmp_path / f"{number}.glb")
        done = subprocess.run(
            [node, "-e", code, str(path)], capture_output=True, text=True, check=True, cwd=WEB
        )
        issues = json.loads(done.stdout)
        assert (issues["numErrors"], issues["numWarnings"]) == (0, 0), issues["messages"][:3]


@pytest.mark.parametrize("name", NAMES)
def test_the_pace_shows_every_moment_once_and_slows_at_contact(
    runs: dict[str, Recording], name: str
) -> None:
    recording = runs[name]
    questions = load_scenario(library.path("demonstration", name)).questions
    stretches = pace(recording, questions)
    moving = [s for s in stretches if s.t1 > s.t0]
    assert moving[0].t0 == 0.0
    assert moving[-1].t1 == recording.duration_s
    for before, after in pairwise(moving):
        assert after.t0 == pytest.approx(before.t1, abs=1e-12)
    for press in presses_of(recording):
        inside = [s for s in moving if s.t0 <= press.contact < s.t1]
        assert inside[0].speed <= 0.5
        assert "speed" in named_speed(inside[0])
    kinds = [s.kind for s in stretches]
    assert kinds.count("finding") == len(recording.findings)
    assert kinds.count("ask") == kinds.count("tell") == len(questions)
    assert (kinds[0], kinds[-1]) == ("open", "end")
    for n, kind in enumerate(kinds):
        if kind == "ask":
            assert "tell" in kinds[n:]
    frames = list(shots(stretches, 25))
    assert len(frames) == pytest.approx(length_s(stretches) * 25, abs=1)
    assert all(a.t <= b.t + 1e-12 for a, b in pairwise(frames))


def test_waits_are_shortened_and_said() -> None:
    recording = right_touch()
    data = {**recording.data, "duration_s": recording.duration_s + 600.0}
    long = Recording.from_dict(data)
    waits = [s for s in pace(long) if s.kind == "wait"]
    assert waits
    assert max(s.lasts for s in waits) <= 0.8
    assert "waiting" in named_speed(max(waits, key=lambda s: s.speed))


@pytest.mark.parametrize("name", NAMES)
def test_captions_are_webvtt_in_order_and_tell_the_findings(
    runs: dict[str, Recording], name: str
) -> None:
    recording = runs[name]
    stretches = pace(recording)
    cues = cues_of(recording, stretches)
    text = to_webvtt(cues, "a <title> --> x")
    assert text.startswith("WEBVTT")
    assert "rehearsal proves nothing" in text
    read = from_webvtt(text)
    assert [cue.text for cue in read] == [cue.text for cue in cues]
    for before, after in pairwise(read):
        assert before.start < before.end <= after.start + 1e-3
    assert read[-1].end <= length_s(stretches) + 1e-3
    for finding in recording.findings:
        assert any(finding["avoid"] in cue.text for cue in read)


@given(st.text(max_size=40))
def test_no_text_is_taken_for_captions_by_mistake(text: str) -> None:
    try:
        cues = from_webvtt("WEBVTT\n\n" + text)
    except ValueError:
        return
    assert all(math.isfinite(cue.start) for cue in cues)


def test_two_runs_are_lined_up_at_first_contact(runs: dict[str, Recording]) -> None:
    pytest.importorskip("PIL")
    from drytouch.viz.beside import lined_up

    pair = [runs["feed-too-fast"], runs["length-done-right"]]
    zeros, label = lined_up(pair)
    assert label == "first contact"
    assert zeros == [presses_of(r)[0].contact for r in pair]
    stretches = pace_beside(pair, zeros)
    at = screen_time(stretches, 0.0)
    shot = min(shots(stretches, 100), key=lambda s: abs(s.screen_s - at))
    assert shot.t == pytest.approx(0.0, abs=0.02)
    with pytest.raises(InputError, match="line up"):
        lined_up(pair, "no-such-event")


@pytest.mark.parametrize("name", NAMES)
def test_marks_of_a_press_follow_each_other(runs: dict[str, Recording], name: str) -> None:
    for press in presses_of(runs[name]):
        times = [mark.t for mark in press.marks]
        assert times == sorted(times)
        assert times[0] == press.contact
        for mark in press.marks:
            depth = runs[name].pad_depth_at(press.setter, mark.t)
            assert mark.depth_mm == pytest.approx(depth, abs=1e-9)


def test_bends_cover_the_run(runs: dict[str, Recording]) -> None:
    for recording in runs.values():
        times = bends(recording)
        assert times == sorted(times)
        assert (times[0], times[-1]) == (0.0, recording.duration_s)


def test_playback_runs_jumps_and_slows(runs: dict[str, Recording]) -> None:
    recording = runs["feed-too-fast"]
    p = Playback(recording)
    p.toggle()
    p.advance(0.5)
    assert p.t == pytest.approx(0.5)
    for _ in range(20):
        p.change_speed(-1)
    assert p.speed == SPEEDS[-1] == 1 / 1000
    p.advance(1.0)
    assert p.t == pytest.approx(0.501)
    p.next_contact()
    assert p.t == presses_of(recording)[0].contact
    assert not p.playing
    p.jump(0.0)
    seen = []
    for _ in recording.findings:
        p.next_finding()
        seen.append(p.t)
    assert set(seen) <= {f["time_s"] for f in recording.findings}
    p.last_finding()
    assert p.t < seen[-1] or len(set(seen)) == 1
    p.jump(1e9)
    p.toggle()
    assert p.t == 0.0
    p.advance(1e9)
    assert p.t == recording.duration_s
    assert not p.playing


def test_times_by_name(runs: dict[str, Recording]) -> None:
    recording = runs["feed-too-fast"]
    crushed = next(f for f in recording.findings if f["code"] == "setter-crushed")
    assert time_of(recording, "setter-crushed") == crushed["time_s"]
    assert time_of(recording, "1.5 s") == 1.5
    with pytest.raises(InputError, match="no finding"):
        time_of(recording, "drive-fault")
    with pytest.raises(InputError, match="lasts from"):
        time_of(recording, "1e9")


def test_inches_by_the_scenario_s_display() -> None:
    inch, mm = Units(True), Units(False)
    assert inch.length(25.4) == "1.0000 in"
    assert mm.length(25.4) == "25.400 mm"
    assert inch.text("pushed 25.4 mm down at 2540 mm/min, 10 um more") == (
        "pushed 1.00 in down at 100.00 in/min, 0.39 thou more"
    )
    assert mm.text("25.4 mm") == "25.4 mm"
    assert mm.small(0.1) == "100 µm"
    assert mm.small(6.1) == "6.100 mm"


def test_no_display_is_a_clear_message(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.delenv("DISPLAY", raising=False)
    reason, fix = why_no_window()
    assert "no display" in reason
    assert "--page" in fix


@pytest.mark.parametrize(
    ("text", "says"),
    [("", "not JSON"), ("[1]", "one JSON table"), ('{"format": "other"}', "not a recording")],
)
@pytest.mark.parametrize("option", ["--still", "--movie", "--page", "--model"])
def test_damaged_recordings_are_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str, says: str, option: str
) -> None:
    path = tmp_path / "a.recording.json"
    path.write_text(text, encoding="utf-8")
    result = call(capsys, "replay", str(path), option, str(tmp_path / "out.mp4"))
    assert result.code == 2
    assert says in result.err
    assert not (tmp_path / "out.mp4").exists()


def test_options_that_do_not_go_together(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "a.recording.json"
    crushed_pad().save(path)
    for options in (["--beside", str(path)], ["--line-up", "contact"]):
        result = call(capsys, "replay", str(path), *options)
        assert result.code == 2
        assert "fix:" in result.err
