"""A movie of a recording: time slows around contact, findings stop it, captions tell it."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from drytouch.sim.recording import Recording
from drytouch.sim.scenario.files import write_atomically
from drytouch.viz import board, cards, look, words
from drytouch.viz.belief import SHOWS_PIXELS
from drytouch.viz.board import DRAWN, FOOT, SHOWN, TOP, K
from drytouch.viz.camera import Camera, aims_of
from drytouch.viz.captions import Cue, cues_of, to_webvtt
from drytouch.viz.film import Film, require_encoder
from drytouch.viz.ghosts import Ghost, corners, ghosts_at
from drytouch.viz.moving import MovingStage
from drytouch.viz.pace import Shot, Stretch, length_s, named_speed, pace, shots
from drytouch.viz.poses import Pose, poses_at
from drytouch.viz.presses import Press, presses_of
from drytouch.viz.readouts import READOUTS, Readouts
from drytouch.viz.strip import Strip
from drytouch.viz.units import Units
from drytouch.viz.view import View

FRAMES_PER_S = 25
SIDE = 400
"""Width of the column at the right, shown pixels."""
SCENE = (SHOWN[0] - SIDE, SHOWN[1] - TOP - FOOT)
EARLY_S = 0.6
"""Screen time by which the camera sets out before what it is wanted for."""
BESIDE = 46
"""Shown pixels between an outline's point and its words: beside a tip, not on it."""
PIXEL_SHARE = 0.25
"""Motion of less than this share of a drawn pixel can't be seen: the picture is kept."""


class Made(NamedTuple):
    """What was written: movie and captions, frames in it, and how many of them were drawn anew."""

    movie: Path
    captions: Path
    frames: int
    drawn: int
    length_s: float


def make_movie(
    recording: Recording,
    path: str | Path,
    questions: Sequence[Any] = (),
    progress: Callable[[int, int], None] | None = None,
    frames_per_s: int = FRAMES_PER_S,
) -> Made:
    """Write a movie (.mp4 or .gif) and its captions (.vtt) beside it.

    ``questions``: as a scenario has them; time stops for each, and the answer comes after.
    ``progress``: told frames done and frames in all; ``frames_per_s``: fewer are made sooner.

    Raises:
        NoPicture: OpenGL or ffmpeg is missing; says the fix.
        InputError: the file can't be written.
    """
    require_encoder()
    stretches = pace(recording, questions)
    cues = cues_of(recording, stretches)
    beside = Path(path).with_suffix(".vtt")
    total = sum(1 for _ in shots(stretches, frames_per_s))
    with (
        Film(path, DRAWN, SHOWN, frames_per_s) as film,
        MovieArtist(recording, stretches, cues) as artist,
    ):
        for shot in shots(stretches, frames_per_s):
            film.add(artist.frame(shot))
            if progress is not None and film.frames % frames_per_s == 0:
                progress(film.frames, total)
    write_atomically(beside, to_webvtt(cues, words.title(recording)))
    return Made(Path(path), beside, total, artist.drawn, length_s(stretches))


class MovieArtist:
    """Draws one frame after another into the same array; use it in a ``with`` statement."""

    def __init__(
        self, recording: Recording, stretches: Sequence[Stretch], cues: Sequence[Cue]
    ) -> None:
        self.recording = recording
        self.units = Units.of(recording.scenario)
        self._stretches = tuple(stretches)  # kept alive: they are told apart by identity
        self.drawn = 0
        self._stage = MovingStage((round(SCENE[0] * K), round(SCENE[1] * K)), scale=K)
        self._scene = Scene3D(recording, self._stage)
        self._presses = presses_of(recording)
        self._strip = Strip(recording, self.units)
        self._readouts = Readouts(recording, self.units)
        self._cues = [cue for cue in cues if cue.burnt]
        self._starts = [cue.start for cue in self._cues]
        self._frame = np.full((DRAWN[1], DRAWN[0], 3), 255, np.uint8)
        self._kept: dict[str, tuple[Any, Any]] = {}
        self._title = words.title(recording)
        self._found = _found_by(stretches)
        put(self._frame, board.footer(), 0, SHOWN[1] - FOOT)
        put(self._frame, board.Pad((1.5, SCENE[1]), look.RULE).pixels(), SCENE[0], TOP)

    def __enter__(self) -> MovieArtist:
        return self

    def __exit__(self, *_: object) -> None:
        self._stage.close()

    def frame(self, shot: Shot) -> Any:
        """The frame (1080, 1920, 3) of bytes; the same array each time."""
        pixels, fresh = self._scene.at(shot.t, shot.screen_s, shot.stretch)
        self.drawn += fresh
        put(self._frame, pixels, 0, TOP)
        self._believed()
        self._header(shot)
        self._side(shot)
        self._over(shot)
        return self._frame

    def _piece(self, name: str, key: Any, make: Callable[[], Any]) -> Any:
        """A piece drawn anew only when ``key`` has changed."""
        known = self._kept.get(name)
        if known is None or known[0] != key:
            self._kept[name] = known = (key, make())
        return known[1]

    def _header(self, shot: Shot) -> None:
        speed = named_speed(shot.stretch)
        clock = f"{shot.t:.{4 if 0 < shot.stretch.speed < 0.05 else 2}f} s"
        key = (clock, speed)
        slow = 0 < shot.stretch.speed < 0.97
        put(
            self._frame,
            self._piece("header", key, lambda: board.header(self._title, clock, speed, slow)),
            0, 0,
        )  # fmt: skip

    def _believed(self) -> None:
        """What each outline is, beside it."""
        below = 8.0
        for ghost in sorted(self._scene.ghosts, key=lambda ghost: -ghost.point[2]):
            x, y = (value / K for value in self._stage.project(ghost.point))
            if not (0.0 <= x <= SCENE[0] and 0.0 <= y <= SCENE[1]):
                continue
            piece = self._piece(f"ghost {ghost.label}", "", partial(board.tag, ghost.label))
            wide, high = piece.shape[1] / K, piece.shape[0] / K
            # Beside a tip; what is wider than a tip has its words beside the whole of it.
            reach = [float(BESIDE)]
            if ghost.pose.body.kind != "tool":
                reach = [self._stage.project(at)[0] / K - x + 12.0 for at in corners(ghost.pose)]
            left = x + max(reach)
            if left + wide > SCENE[0] - 8:
                left = max(x - max(reach) - wide, 8.0)
            top = min(max(y - high / 2, below), SCENE[1] - high - 8)
            put(self._frame, piece, left, TOP + top)
            below = top + high + 4

    def _side(self, shot: Shot) -> None:
        left = SCENE[0] + 1.5
        put(self._frame, self._readouts.draw(shot.t, SIDE - 1.5), left, TOP)
        press = self._press(shot.t)
        high = SCENE[1] - READOUTS
        if press is None:
            piece = self._piece("list", self._so_far(shot), lambda: self._list(shot, high))
            put(self._frame, piece, left, TOP + READOUTS)
            return
        strip = self._strip.draw(press, shot.t)
        rest = high - strip.shape[0] / K
        piece = self._piece("list", (self._so_far(shot), 1), lambda: self._list(shot, rest))
        put(self._frame, piece, left, TOP + READOUTS)
        put(self._frame, strip[:, : round((SIDE - 1.5) * K)], left, TOP + READOUTS + rest)

    def _so_far(self, shot: Shot) -> int:
        return len(self._found[id(shot.stretch)])

    def _list(self, shot: Shot, high: float) -> Any:
        size = (SIDE - 1.5, round(high * K) / K)
        return cards.found_so_far(self._found[id(shot.stretch)], size)

    def _press(self, t: float) -> Press | None:
        """The press that is going on, or the last one: its strip stays to be read."""
        found = None
        for press in self._presses:
            if press.contact <= t:
                found = press
        return found

    def _over(self, shot: Shot) -> None:
        kind, data = shot.stretch.kind, shot.stretch.data
        if kind in ("open", "ask", "tell", "finding", "end"):
            key = (kind, id(data))
            piece = self._piece("card", key, lambda: cards.card_of(self.recording, kind, data))
            if kind == "finding":
                put(self._frame, piece, SCENE[0] + 1.5, TOP)
                return
            x = (SHOWN[0] - piece.shape[1] / K) / 2 if kind == "end" else 30
            put(self._frame, piece, x, TOP + (SCENE[1] - piece.shape[0] / K) / 2)
            return
        index = bisect_right(self._starts, shot.screen_s) - 1
        if index >= 0 and shot.screen_s < self._cues[index].end:
            text = self._cues[index].text
            piece = self._piece("caption", text, lambda: board.caption(text, SCENE[0] - 60))
            x = (SCENE[0] - piece.shape[1] / K) / 2
            put(self._frame, piece, x, SHOWN[1] - FOOT - 16 - piece.shape[0] / K)


def _found_by(stretches: Sequence[Stretch]) -> dict[int, tuple[Any, ...]]:
    """For each stretch, the findings whose cards have been shown: before, they would give away."""
    found: dict[int, tuple[Any, ...]] = {}
    so_far: tuple[Any, ...] = ()
    for stretch in stretches:
        if stretch.kind == "finding":
            so_far = (*so_far, stretch.data)
        found[id(stretch)] = so_far
    return found


class Scene3D:
    """The picture of the machine at a time, drawn anew only when something has visibly moved."""

    def __init__(self, recording: Recording, stage: MovingStage) -> None:
        self._recording = recording
        self._stage = stage
        self._camera = Camera(aims_of(recording))
        self._key: Any = None
        self._pixels: Any = None
        self.ghosts: tuple[Ghost, ...] = ()

    def at(self, t: float, screen_s: float, stretch: Stretch) -> tuple[Any, bool]:
        """The pixels, and whether they are new."""
        # Where time is quick the camera must know earlier where it will be needed.
        view, close = self._camera.at(t, screen_s, EARLY_S * stretch.speed)
        poses = poses_at(self._recording, t)
        height = self._stage.size[1]
        least = SHOWS_PIXELS * K * 2.0 * view.half_height_mm / height
        self.ghosts = tuple(ghosts_at(self._recording, t, least, poses))
        believed = {f"{i} {ghost.label}": ghost.pose for i, ghost in enumerate(self.ghosts)}
        key = visible_key(poses | believed, view, height)
        if key == self._key:
            return self._pixels, False
        self._key = key
        hidden = ("machine",) if close else ()
        self._stage.show(poses, view, hidden, tuple(believed.values()))
        self._pixels = self._stage.pixels()
        return self._pixels, True


def visible_key(poses: dict[str, Pose], view: View, height: int) -> Any:
    """Equal for pictures that look equal."""
    step = 2.0 * view.half_height_mm / height * PIXEL_SHARE
    return (
        tuple(
            (name, hash(pose.body.parts), round(pose.turn_deg * 4.0),
             *(round(p / step) for p in pose.position))
            for name, pose in poses.items()
        ),
        tuple(round(p / step) for p in (*view.focus, view.half_height_mm)),
        round(view.preset.azimuth_deg * 50.0),
        round(view.preset.elevation_deg * 50.0),
    )  # fmt: skip


def put(frame: Any, piece: Any, x: float, y: float) -> None:
    """Copy a piece into a frame, its corner at (x, y) in shown pixels."""
    left, top = round(x * K), round(y * K)
    high = min(piece.shape[0], frame.shape[0] - top)
    wide = min(piece.shape[1], frame.shape[1] - left)
    frame[top : top + high, left : left + wide] = piece[:high, :wide]
