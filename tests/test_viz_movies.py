"""Movies, the window and the gallery as they look: frames like the references, pages that open."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_cases import call
from test_viz_recordings import crushed_pad, lug_on_pad, right_touch

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recorder, Recording
from drytouch.viz import opengl
from drytouch.viz.captions import cues_of, from_webvtt
from drytouch.viz.pace import length_s, pace, shots

_REASON, _FIX = opengl.why_not()
needs_opengl = pytest.mark.skipif(bool(_REASON), reason=f"{_REASON}; {_FIX}")
REFERENCES = Path(__file__).parent / "references"
SMALL = (96, 54)
"""So small that drivers' rounding averages out, and a missing part still shows."""


def frame_at(recording: Recording, share: float) -> Any:
    from PIL import Image

    from drytouch.viz.movie import MovieArtist

    stretches = pace(recording)
    cues = cues_of(recording, stretches)
    frames = list(shots(stretches, 5))
    last = round(share * (len(frames) - 1))
    with MovieArtist(recording, stretches, cues) as artist:
        for shot in frames[: last + 1 : 5]:
            artist.frame(shot)
        frame = artist.frame(frames[last]).copy()
    return Image.fromarray(frame).resize(SMALL, Image.Resampling.BOX)


@pytest.mark.opengl
@needs_opengl
@pytest.mark.parametrize(
    ("name", "make", "share"),
    [
        ("opening", right_touch, 0.05),
        ("pressed", right_touch, 0.5),
        ("crushed", crushed_pad, 0.55),
        ("lug", lug_on_pad, 0.75),
    ],
)
def test_frames_look_like_the_references(name: str, make: Any, share: float) -> None:
    from PIL import Image

    picture = frame_at(make(), share)
    path = REFERENCES / f"movie-{name}.png"
    if os.environ.get("DRYTOUCH_NEW_REFERENCES"):
        picture.save(path)
    wanted = np.asarray(Image.open(path).convert("RGB")).astype(float)
    seen = np.asarray(picture).astype(float)
    off = np.abs(seen - wanted)
    assert off.mean() < 4.0
    # A part that is missing or elsewhere changes whole patches, a driver only their edges.
    assert (off.max(axis=2) > 60).mean() < 0.02


@pytest.mark.opengl
@needs_opengl
def test_references_tell_pictures_apart() -> None:
    from PIL import Image

    names = sorted(REFERENCES.glob("movie-*.png"))
    assert len(names) == 4
    pictures = [np.asarray(Image.open(path).convert("RGB")).astype(float) for path in names]
    for i, a in enumerate(pictures):
        for b in pictures[i + 1 :]:
            assert np.abs(a - b).mean() > 4.0


@pytest.mark.opengl
@needs_opengl
def test_a_movie_plays_and_its_captions_fit(tmp_path: Path) -> None:
    imageio_ffmpeg = pytest.importorskip("imageio_ffmpeg")
    from drytouch.viz.movie import make_movie

    recording = right_touch()
    told: list[tuple[int, int]] = []
    made = make_movie(
        recording, tmp_path / "a.mp4", (), lambda a, b: told.append((a, b)), frames_per_s=8
    )
    frames, seconds = imageio_ffmpeg.count_frames_and_secs(str(made.movie))
    assert frames == made.frames
    assert seconds == pytest.approx(made.length_s, abs=0.13)
    assert made.drawn < made.frames
    reader = imageio_ffmpeg.read_frames(str(made.movie))
    assert next(reader)["size"] == (1280, 720)
    first = np.frombuffer(next(reader), np.uint8).reshape(720, 1280, 3)
    reader.close()
    # The caution's band is in the very first frame: grey letters on pale grey.
    foot = first[692:718].astype(int)
    assert 0.01 < (foot.max(axis=2) < 150).mean() < 0.3
    cues = from_webvtt(made.captions.read_text(encoding="utf-8"))
    assert cues[-1].end <= seconds + 0.1
    assert told
    assert all(done <= total for done, total in told)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.mp4", "a.vtt"]


@pytest.mark.opengl
@needs_opengl
def test_movies_that_can_t_be_written(tmp_path: Path) -> None:
    pytest.importorskip("imageio_ffmpeg")
    from drytouch.viz.beside import make_movie_beside
    from drytouch.viz.movie import make_movie

    with pytest.raises(InputError, match="can't be written"):
        make_movie(right_touch(), tmp_path / "none" / "a.mp4")
    with pytest.raises(InputError, match=r"\.avi"):
        make_movie(right_touch(), tmp_path / "a.avi")
    with pytest.raises(InputError, match="expected two"):
        make_movie_beside([right_touch()], tmp_path / "a.mp4")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.opengl
@needs_opengl
def test_a_stopped_movie_leaves_nothing(tmp_path: Path) -> None:
    pytest.importorskip("imageio_ffmpeg")
    from drytouch.viz.movie import make_movie

    def stop(_: int, __: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        make_movie(right_touch(), tmp_path / "a.mp4", progress=stop)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_encoder_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    from drytouch.viz.film import require_encoder

    monkeypatch.setitem(sys.modules, "imageio_ffmpeg", None)
    with pytest.raises(opengl.NoPicture, match=r"pip install .*\[movie\]'"):
        require_encoder()


@pytest.mark.opengl
@needs_opengl
def test_an_empty_recording_makes_frames() -> None:
    from drytouch.viz.movie import MovieArtist

    recorder = Recorder()
    recorder.begin({}, {}, 1)
    recording = Recording.from_recorder(recorder)
    stretches = pace(recording)
    with MovieArtist(recording, stretches, cues_of(recording, stretches)) as artist:
        for shot in list(shots(stretches, 1)):
            assert artist.frame(shot).shape == (1080, 1920, 3)


@pytest.mark.opengl
@needs_opengl
def test_two_runs_share_one_frame() -> None:
    from drytouch.viz.beside import BesideArtist, lined_up
    from drytouch.viz.pace import pace_beside

    pair = [crushed_pad(), right_touch()]
    zeros, label = lined_up(pair)
    stretches = pace_beside(pair, zeros)
    frames = list(shots(stretches, 2))
    artist = BesideArtist(pair, zeros, label, stretches, [])
    try:
        frame = artist.frame(frames[len(frames) // 2])
    finally:
        artist.close()
    left, right = frame[150:650, 20:940].astype(int), frame[150:650, 980:1900].astype(int)
    blue = [(np.abs(half - (86, 180, 233)).max(axis=2) < 70).mean() for half in (left, right)]
    assert min(blue) > 0.005  # a pad in each


@pytest.mark.opengl
@needs_opengl
def test_the_window_answers_its_keys(tmp_path: Path) -> None:
    """Under a virtual display, where one is installed: opened, played, slowed, closed."""
    xvfb = shutil.which("xvfb-run")
    if xvfb is None:
        pytest.skip("xvfb-run is not installed")
    path = tmp_path / "a.recording.json"
    crushed_pad().save(path)
    code = (
        "import sys\n"
        "from drytouch.sim.recording import Recording\n"
        "from drytouch.viz.window import ReplayWindow\n"
        "window = ReplayWindow(Recording.load(sys.argv[1]))\n"
        "window.press('n')\n"
        "assert window.playback.t == 4.4, window.playback.t\n"
        "window.press('Home'); window.press('Down'); window.press('space')\n"
        "ticks = []\n"
        "def tick(_):\n"
        "    ticks.append(window.playback.t)\n"
        "    if len(ticks) == 10: window.plotter.iren.terminate_app()\n"
        "window.plotter.add_timer_event(1000, 40, tick)\n"
        "window.show(); window.close()\n"
        "assert 0.0 < max(ticks) < 4.0, ticks\n"
        "assert len(set(ticks)) > 3, ticks\n"
    )
    done = subprocess.run(
        [xvfb, "-a", sys.executable, "-c", code, str(path)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]


@pytest.mark.parametrize("kind", ["demonstration", "scenario"])
def test_a_new_file_runs_at_once(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, kind: str
) -> None:
    assert call(capsys, "new", kind, "my-first", "--folder", str(tmp_path)).code == 0
    path = tmp_path / "my-first.toml"
    assert call(capsys, "check", str(path)).code == 0
    done = call(capsys, "run", str(path), "--no-picture", "--out", str(tmp_path / "out"))
    assert done.code == 0, done.out
    again = call(capsys, "new", kind, "my-first", "--folder", str(tmp_path))
    assert again.code == 2
    assert "there already" in again.err
    for wrong in (("poem", "a"), (kind, "../a")):
        assert call(capsys, "new", *wrong, "--folder", str(tmp_path)).code == 2


def test_a_gallery_of_what_is_not_there_makes_nothing(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    done = call(capsys, "gallery", "--out", str(tmp_path / "g"), "no-such-demonstration")
    assert done.code == 2
    assert not (tmp_path / "g").exists()


@pytest.mark.opengl
@pytest.mark.browser
@needs_opengl
def test_a_gallery_opens_without_network_or_errors(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sync_api = pytest.importorskip("playwright.sync_api")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("chromium is not installed")
    out = tmp_path / "gallery"
    done = call(capsys, "gallery", "--out", str(out), "feed-too-fast", "length-done-right")
    assert done.code == 0, done.err
    names = [
        f"{name}{end}"
        for name in ("feed-too-fast", "length-done-right")
        for end in ("-handout.html", ".html", ".png")
    ]
    assert sorted(p.name for p in out.iterdir()) == sorted([*names, "index.html"])
    flags = ["--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=flags)
        page = browser.new_page()
        problems: list[str] = []
        asked: list[str] = []
        page.on("console", lambda m: problems.append(m.text) if m.type == "error" else None)
        page.on("pageerror", lambda error: problems.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto((out / "index.html").as_uri())
        for landmark in ("header", "nav", "main", "footer"):
            assert page.locator(landmark).count() >= 1
        assert page.get_by_role("link", name="Replay: A tool length, done right").count() == 1
        assert all(alt for alt in page.eval_on_selector_all("img", "all => all.map(i => i.alt)"))
        assert page.get_by_role("note").count() == 2
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.tagName") == "A"
        links = page.eval_on_selector_all("a", "all => all.map(a => a.href)")
        files = {link for link in links if "#" not in link}
        assert len(files) == 6
        for link in sorted(files):
            page.goto(link)
            if link.endswith("-handout.html"):
                assert page.get_by_role("note").count() == 1
                pdf = page.pdf(prefer_css_page_size=True)
                assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") == 1
            elif link.endswith(".html"):
                page.wait_for_selector("canvas")
        browser.close()
    assert problems == []
    assert all(url.startswith(("file:", "data:", "blob:")) for url in asked)


def test_a_long_movie_is_as_long_as_its_frames() -> None:
    stretches = pace(right_touch())
    assert sum(1 for _ in shots(stretches, 25)) == pytest.approx(25 * length_s(stretches), abs=1)
