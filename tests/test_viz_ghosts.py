"""What is believed, outlined where it is believed to be: by the numbers, and in the pictures."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from truth_cases import REFERENCE_Z, UP, down, run, touch

from drytouch.sim.recording import Recording
from drytouch.viz import look, opengl
from drytouch.viz.captions import cues_of
from drytouch.viz.ghosts import Ghost, corners, ghosts_at
from drytouch.viz.pace import pace, shots
from drytouch.viz.poses import poses_at

_REASON, _FIX = opengl.why_not()
needs_opengl = pytest.mark.skipif(bool(_REASON), reason=f"{_REASON}; {_FIX}")
TOUCH = [*down(-357.0), touch(-365.0, store="length", row=1)]


def recorded(steps: list[dict[str, Any]], **changes: Any) -> Recording:
    outcome = run(steps, **changes)
    assert outcome.recorder is not None
    return Recording.from_dict(outcome.recorder.to_dict())


def off(recording: Recording, t: float, least: float = 0.05) -> dict[str, tuple[float, ...]]:
    """How far each outline is from its body, mm, by its words."""
    poses = poses_at(recording, t)
    return {
        ghost.label: tuple(
            round(float(a - b), 6)
            for a, b in zip(
                ghost.pose.position, poses[ghost.pose.body.id].position, strict=True
            )
        )
        for ghost in ghosts_at(recording, t, least)
    }  # fmt: skip


def test_what_is_believed_rightly_has_no_outline() -> None:
    recording = recorded([*TOUCH, UP])
    for t in np.linspace(0.0, recording.duration_s, 7):
        assert off(recording, float(t)) == {}


def test_a_false_length_shows_at_the_tip_and_nowhere_else() -> None:
    recording = recorded([UP], controller={"slot": 1, "rows": {1: {"length_mm": 123.5}}})
    assert off(recording, recording.duration_s) == {
        # Taken to be 3.5 mm longer than it is: the tip is taken to be that much lower.
        "tip taken to be here": (0.0, 0.0, -3.5)
    }
    assert off(recording, recording.duration_s, least=3.6) == {}


def test_wear_counts_and_another_row_does_not() -> None:
    rows = {1: {"length_mm": 120.0, "wear_mm": -0.25}, 2: {"length_mm": 90.0}}
    recording = recorded([UP], controller={"slot": 1, "rows": rows})
    assert off(recording, recording.duration_s) == {"tip taken to be here": (0.0, 0.0, 0.25)}


def test_a_setter_that_was_moved_is_outlined_where_it_stood() -> None:
    nudge = {"do": "nudge", "item": "setter", "by_mm": [4.0, -3.0, 0.0]}
    recording = recorded([UP, nudge, UP])
    (by,) = off(recording, recording.duration_s).values()
    assert by == pytest.approx((-4.0, 3.0, 0.0), abs=1e-3)


def test_a_false_reference_and_height_are_told_apart() -> None:
    records = {"setter": {"reference_z_mm": REFERENCE_Z + 1.0, "height_mm": 59.9}}
    recording = recorded([UP], controller={"records": records})
    seen = off(recording, recording.duration_s)
    assert seen == {"pad taken to be here": pytest.approx((0.0, 0.0, 1.0), abs=1e-3)}
    records = {"setter": {"reference_z_mm": REFERENCE_Z, "height_mm": 62.9}}
    recording = recorded([UP], controller={"records": records})
    seen = off(recording, recording.duration_s)
    assert seen == {"setter taken to be so high": pytest.approx((0.0, 0.0, 3.0), abs=1e-3)}


def test_a_pressed_pad_is_outlined_where_it_would_stand_free() -> None:
    steps = [*down(-357.0), {"do": "touch", "z_mm": -365.0, "feed_mm_per_min": 200.0}]
    records = {"setter": {"reference_z_mm": REFERENCE_Z + 2.0}}
    recording = recorded(steps, controller={"records": records})
    deep = recording.pad_depth_at("setter", recording.duration_s)
    assert deep > 0.1
    (by,) = off(recording, recording.duration_s).values()
    assert by == pytest.approx((0.0, 0.0, 2.0 + deep), abs=2e-3)


def test_work_zero_shows_as_the_top_that_it_makes() -> None:
    systems = {"G54": [-300.0, -200.0, -498.5]}
    recording = recorded([UP], controller={"systems": systems})
    # The block's top is at -500: the table at -540 and 40 mm of aluminium.
    assert off(recording, recording.duration_s) == {"G54 takes the top to be here": (0.0, 0.0, 1.5)}


def test_corners_hold_the_body() -> None:
    recording = recorded([UP])
    pose = poses_at(recording, recording.duration_s)["aluminium-block"]
    low, high = np.min(corners(pose), axis=0), np.max(corners(pose), axis=0)
    assert high - low == pytest.approx([120.0, 80.0, 40.0])


@pytest.mark.opengl
@needs_opengl
def test_a_movie_and_the_window_draw_the_outline_and_say_what_it_is() -> None:
    from drytouch.viz.movie import MovieArtist
    from drytouch.viz.window import ReplayWindow

    false = {"controller": {"slot": 1, "rows": {1: {"length_mm": 135.0}}}}
    ink = np.array([int(look.BELIEF[i : i + 2], 16) for i in (1, 3, 5)])
    inked = {}
    for name, changes in (("right", {}), ("false", false)):
        recording = recorded(TOUCH, **changes)
        stretches = pace(recording)
        frames = [s for s in shots(stretches, 5) if 0.0 < s.t < 8.0 and s.stretch.speed > 0.0]
        with MovieArtist(recording, stretches, cues_of(recording, stretches)) as artist:
            frame = artist.frame(frames[len(frames) // 2])
        near = np.abs(frame.astype(int) - ink).max(axis=2) < 40
        inked[name] = int(near.sum())
        window = ReplayWindow(recording, off_screen=True)
        window.playback.jump(frames[len(frames) // 2].t)
        window.refresh()
        told = "tip taken to be here" in window._texts["state"]
        assert told is (name == "false")
        window.close()
    assert inked["right"] == 0
    assert inked["false"] > 500, inked
    assert isinstance(ghosts_at(recording, 1.0, 0.1)[0], Ghost)
