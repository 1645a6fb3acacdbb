"""Pictures: never blank, the right things in the right places, and clear where none can be made."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from test_viz_recordings import MADE, crushed_pad, right_touch, tool_over_stock

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recorder, Recording
from drytouch.viz import look, opengl
from drytouch.viz.opengl import NoPicture

_REASON, _FIX = opengl.why_not()
needs_opengl = pytest.mark.skipif(bool(_REASON), reason=f"{_REASON}; {_FIX}")


@pytest.fixture(scope="module")
def artist() -> Iterator[Any]:
    from drytouch.viz.still import StillArtist

    with StillArtist() as one:
        yield one


def pixels(path: Path) -> Any:
    from PIL import Image

    return np.asarray(Image.open(path).convert("RGB")).astype(int)


def near(picture: Any, colour: str, within: int = 40) -> Any:
    """Which pixels have nearly that colour."""
    wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
    return np.abs(picture - wanted).max(axis=2) <= within


@pytest.mark.opengl
@needs_opengl
@pytest.mark.parametrize("name", MADE)
def test_each_picture_shows_its_parts_in_their_places(
    artist: Any, tmp_path: Path, name: str
) -> None:
    recording = MADE[name]()
    picture = pixels(artist.draw(recording, tmp_path / "a.png"))
    assert picture.shape == (720, 1280, 3)
    scene = picture[80:680, :845]
    if name == "stock":
        assert near(scene, look.MATERIALS["stock"].colour).mean() > 0.05
        assert near(scene, look.BELIEF, 12).sum() > 300
    else:
        pad = near(scene, look.MATERIALS["pad"].colour)
        assert pad.mean() > 0.015
        # The pad is the place: it lies about the middle of the picture.
        rows, columns = np.nonzero(pad)
        assert abs(rows.mean() / scene.shape[0] - 0.55) < 0.15
        assert abs(columns.mean() / scene.shape[1] - 0.5) < 0.2
    orange = near(scene, look.MATERIALS["lug"].colour, 30).mean()
    assert (orange > 0.003) == (name == "lug")
    # The verdict's sign and word stand at the upper right in the verdict's colour.
    verdict = look.VERDICTS[recording.verdict]
    assert near(picture[8:68, 1000:], verdict.colour, 12).mean() > 0.04
    # Words: ink on paper in the panel.
    assert near(picture[80:680, 860:], look.INK, 90).mean() > (0.01 if name == "right" else 0.02)
    assert near(picture[80:680, 860:], look.PAPER, 4).mean() > 0.7


@pytest.mark.opengl
@needs_opengl
def test_one_plotter_draws_the_same_picture_again(artist: Any, tmp_path: Path) -> None:
    first = pixels(artist.draw(crushed_pad(), tmp_path / "a.png"))
    artist.draw(tool_over_stock(), tmp_path / "b.png")
    again = pixels(artist.draw(crushed_pad(), tmp_path / "c.png"))
    assert np.abs(first - again).mean() < 0.5
    other = pixels(tmp_path / "b.png")
    assert np.abs(first - other).mean() > 10


@pytest.mark.opengl
@needs_opengl
def test_the_time_asked_for_is_drawn(artist: Any, tmp_path: Path) -> None:
    recording = crushed_pad()
    pressed = pixels(artist.draw(recording, tmp_path / "a.png"))
    before = pixels(artist.draw(recording, tmp_path / "b.png", at=3.0))
    assert np.abs(pressed - before)[80:680, :845].mean() > 3


@pytest.mark.opengl
@needs_opengl
def test_the_whole_machine_and_an_empty_scene_can_be_drawn(artist: Any, tmp_path: Path) -> None:
    picture = pixels(artist.draw(right_touch(), tmp_path / "a.png", whole=True))
    pad = near(picture[80:680, :845], look.MATERIALS["pad"].colour).mean()
    assert 2e-5 < pad < 0.01
    empty = Recorder()
    empty.begin({}, {}, 1)
    nothing = pixels(artist.draw(Recording.from_recorder(empty), tmp_path / "b.png"))
    assert near(nothing[8:68, 900:], look.VERDICTS[""].colour, 12).mean() > 0.02


@pytest.mark.opengl
@needs_opengl
@pytest.mark.parametrize("at", [-0.1, 99.0, float("nan")])
def test_a_time_outside_the_recording_is_refused(artist: Any, tmp_path: Path, at: float) -> None:
    with pytest.raises(InputError, match="lasts from 0"):
        artist.draw(crushed_pad(), tmp_path / "a.png", at=at)


@pytest.mark.opengl
@needs_opengl
def test_other_sizes_and_impossible_ones(tmp_path: Path) -> None:
    from drytouch.viz.still import draw_still, draw_stills

    path = draw_still(right_touch(), tmp_path / "a.png", size=(640, 480))
    assert pixels(path).shape == (480, 640, 3)
    with pytest.raises(InputError, match="200 to 8000"):
        draw_stills([], size=(10, 10))
    with pytest.raises(InputError, match="can't be written"):
        draw_still(right_touch(), tmp_path / "none" / "a.png")


@pytest.mark.opengl
@needs_opengl
def test_projection_agrees_with_the_renderer(artist: Any, tmp_path: Path) -> None:
    artist.draw(crushed_pad(), tmp_path / "a.png")
    stage = artist._stage
    renderer = stage._plotter.renderer
    for point in ((0.0, 0.0, -410.0), (15.0, 10.0, -420.0), (-20.0, 5.0, -400.0)):
        renderer.SetWorldPoint(*point, 1.0)
        renderer.WorldToDisplay()
        x, y, _ = renderer.GetDisplayPoint()
        wanted = (x / 2, stage.size[1] - y / 2)
        assert stage.project(point) == pytest.approx(wanted, abs=0.6)


def test_the_twin_never_brings_in_drawing() -> None:
    code = (
        "import sys, drytouch.sim, drytouch.sim.recording\n"
        "heavy = ('vtk', 'pyvista', 'PIL', 'drytouch.viz')\n"
        "bad = [m for m in sys.modules if m.startswith(heavy)]\n"
        "assert not bad, bad"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_crashing_probe_is_a_reason_and_a_fix(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opengl, "_PROBE", "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
    monkeypatch.setattr(opengl, "why_not", opengl.why_not.__wrapped__)
    reason, fix = opengl.why_not()
    assert "crashed" in reason
    if sys.platform.startswith("linux"):
        assert opengl.APT_LINE in fix
    with pytest.raises(NoPicture, match="crashed") as caught:
        opengl.require()
    assert str(type(caught.value)(*caught.value.args)) == str(caught.value)


def test_a_failing_or_hanging_probe_is_a_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    ask = opengl.why_not.__wrapped__
    monkeypatch.setattr(opengl, "_PROBE", "raise RuntimeError('no driver')")
    assert "no driver" in ask()[0]
    monkeypatch.setattr(opengl, "_PROBE", "import time; time.sleep(30)")
    monkeypatch.setattr(opengl, "PROBE_TIMEOUT_S", 0.2)
    assert "did not draw" in ask()[0]
    monkeypatch.setattr(opengl, "find_spec", lambda _: None)
    assert "pip install" in ask()[1]
