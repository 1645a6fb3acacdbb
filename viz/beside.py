"""Two runs side by side in one movie, lined up at what both have."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.files import write_atomically
from drytouch.viz import board, look, words
from drytouch.viz.board import DRAWN, FOOT, SHOWN, TOP, K, Pad, Text
from drytouch.viz.captions import Cue, happenings, timed, to_webvtt
from drytouch.viz.film import Film, require_encoder
from drytouch.viz.moment import time_s
from drytouch.viz.movie import FRAMES_PER_S, Made, Scene3D, put
from drytouch.viz.moving import MovingStage
from drytouch.viz.pace import (
    Shot,
    Stretch,
    length_s,
    named_speed,
    pace_beside,
    screen_time,
    shots,
)
from drytouch.viz.page_data import zero_of
from drytouch.viz.presses import presses_of
from drytouch.viz.readouts import READOUTS, Readouts
from drytouch.viz.strip import ROWS_TOP, Strip
from drytouch.viz.units import Units

HALF = SHOWN[0] / 2
NAME_HIGH = 36.0
LETTERS = ("A", "B")
STRIP_WIDE = 400.0
SCENE = (HALF - 1, SHOWN[1] - TOP - FOOT - NAME_HIGH - READOUTS)


def lined_up(recordings: Sequence[Recording], line_up: str = "") -> tuple[list[float], str]:
    """For each run the time (s) that counts as 0, and what that is in words.

    ``line_up``: an event ("contact", "latch" ...) or a finding's code; empty: the first contact,
    or the start where a run has none.

    Raises InputError where a run has no such event.
    """
    if line_up:
        return [zero_of(r, line_up) for r in recordings], line_up.replace("-", " ")
    try:
        return [zero_of(r, "contact") for r in recordings], "first contact"
    except InputError:
        return [0.0 for _ in recordings], "the start"


def make_movie_beside(
    recordings: Sequence[Recording],
    path: str | Path,
    line_up: str = "",
    progress: Callable[[int, int], None] | None = None,
) -> Made:
    """Write a movie of two recordings beside each other, and its captions (.vtt).

    Raises:
        NoPicture: OpenGL or ffmpeg is missing; says the fix.
        InputError: not two recordings, nothing to line up at, or the file can't be written.
    """
    if len(recordings) != 2:
        raise InputError(f"{len(recordings)} recordings; expected two beside each other")
    require_encoder()
    zeros, label = lined_up(recordings, line_up)
    stretches = pace_beside(recordings, zeros)
    cues = _cues(recordings, zeros, stretches)
    total = sum(1 for _ in shots(stretches, FRAMES_PER_S))
    with Film(path, DRAWN, SHOWN, FRAMES_PER_S) as film:
        artist = BesideArtist(recordings, zeros, label, stretches, cues)
        try:
            for shot in shots(stretches, FRAMES_PER_S):
                film.add(artist.frame(shot))
                if progress is not None and film.frames % FRAMES_PER_S == 0:
                    progress(film.frames, total)
        finally:
            artist.close()
    captions = Path(path).with_suffix(".vtt")
    title = " beside ".join(words.title(recording) for recording in recordings)
    write_atomically(captions, to_webvtt(cues, title))
    return Made(Path(path), captions, total, artist.drawn, length_s(stretches))


def _cues(
    recordings: Sequence[Recording], zeros: Sequence[float], stretches: Sequence[Stretch]
) -> list[Cue]:
    told: list[tuple[float, str, bool]] = []
    for letter, recording, zero in zip(LETTERS, recordings, zeros, strict=True):
        units = Units.of(recording.scenario)
        for t, text in happenings(recording, units):
            told.append((screen_time(stretches, t - zero), f"{letter}: {text}", True))
        for finding in recording.findings:
            t = min(time_s(finding, recording.duration_s), recording.duration_s) - zero
            what = next((text for _, text in words.sentences(finding)), "")
            said = f"{letter}: {words.named(finding)}. {units.text(what)}"
            told.append((screen_time(stretches, t), said, True))
    first, last = stretches[0], stretches[-1]
    end = length_s(stretches)
    verdicts = "; ".join(
        f"{letter}: {words.title(r)}, verdict {r.verdict or 'not judged'}"
        for letter, r in zip(LETTERS, recordings, strict=True)
    )
    titles = ". ".join(
        f"{letter}: {words.title(r)}" for letter, r in zip(LETTERS, recordings, strict=True)
    )
    opening = Cue(0.0, first.lasts, f"Two runs beside each other. {titles}.", False)
    closing = Cue(end - last.lasts, end, f"{verdicts}. Caution: {look.CAUTION}", False)
    return timed(sorted(told), [opening, closing], end)


class BesideArtist:
    """Draws the frames of two runs; ``close`` it afterwards."""

    def __init__(
        self, recordings: Sequence[Recording], zeros: Sequence[float], label: str,
        stretches: Sequence[Stretch], cues: Sequence[Cue],
    ) -> None:  # fmt: skip
        self.recordings = recordings
        self._zeros = zeros
        self._label = label
        self._units = Units.of(recordings[0].scenario)
        size = (round(SCENE[0] * K), round(SCENE[1] * K))
        self._stages = [MovingStage(size) for _ in recordings]
        pairs = zip(recordings, self._stages, strict=True)
        self._scenes = [Scene3D(recording, stage) for recording, stage in pairs]
        self._presses = [presses_of(recording) for recording in recordings]
        self._strips = [Strip(recording, self._units) for recording in recordings]
        self._readouts = [Readouts(recording, self._units) for recording in recordings]
        self._cues = [cue for cue in cues if cue.burnt]
        self._starts = [cue.start for cue in self._cues]
        self._frame = np.full((DRAWN[1], DRAWN[0], 3), 255, np.uint8)
        self._kept: dict[str, tuple[Any, Any]] = {}
        self.drawn = 0
        self._still()

    def close(self) -> None:
        """Give the graphics memory back."""
        for stage in self._stages:
            stage.close()

    def _still(self) -> None:
        """What never changes: names, rules, the caution."""
        put(self._frame, board.footer(), 0, SHOWN[1] - FOOT)
        for i, (letter, recording) in enumerate(zip(LETTERS, self.recordings, strict=True)):
            pad = Pad((HALF, NAME_HIGH))
            pad.box((14, 4, 44, 32), look.INK, corner=6)
            pad.text(29, 26, letter, 20, look.PAPER, True, "ms")
            pad.text(56, 25, words.title(recording), 19, look.INK, True, room=HALF - 70)
            put(self._frame, pad.pixels(), i * HALF, TOP)
        rule = Pad((2, SHOWN[1] - TOP - FOOT), look.INK_SOFT).pixels()
        put(self._frame, rule, HALF - 1, TOP)

    def frame(self, shot: Shot) -> Any:
        """The frame (1080, 1920, 3) of bytes; the same array each time."""
        speed = named_speed(shot.stretch)
        clock = f"{shot.t:+.{4 if 0 < shot.stretch.speed < 0.05 else 2}f} s from {self._label}"
        slow = 0 < shot.stretch.speed < 0.97
        piece = self._piece(
            "header", (clock, speed),
            lambda: board.header("Two runs beside each other", clock, speed, slow),
        )  # fmt: skip
        put(self._frame, piece, 0, 0)
        for i in range(2):
            self._side(i, shot)
        self._over(shot)
        return self._frame

    def _piece(self, name: str, key: Any, make: Callable[[], Any]) -> Any:
        known = self._kept.get(name)
        if known is None or known[0] != key:
            self._kept[name] = known = (key, make())
        return known[1]

    def _side(self, i: int, shot: Shot) -> None:
        recording = self.recordings[i]
        t = min(max(shot.t + self._zeros[i], 0.0), recording.duration_s)
        left = i * HALF + i
        pixels, fresh = self._scenes[i].at(t, shot.screen_s, shot.stretch)
        self.drawn += fresh
        put(self._frame, pixels, left, TOP + NAME_HIGH)
        below = TOP + NAME_HIGH + SCENE[1]
        wide = HALF - STRIP_WIDE - 2
        put(self._frame, self._readouts[i].draw(t, wide), left, below)
        press = next((p for p in reversed(self._presses[i]) if p.contact <= t), None)
        if press is None:
            piece = self._piece("none", 0, lambda: Pad((STRIP_WIDE, READOUTS)).pixels())
        else:
            piece = self._strips[i].draw(press, t)[: round(ROWS_TOP * K)]
        put(self._frame, piece[:, : round(STRIP_WIDE * K)], left + wide, below)

    def _over(self, shot: Shot) -> None:
        kind = shot.stretch.kind
        if kind in ("open", "end"):
            piece = self._piece("card", kind, lambda: self._card(kind))
            x, y = (SHOWN[0] - piece.shape[1] / K) / 2, (SHOWN[1] - piece.shape[0] / K) / 2
            put(self._frame, piece, x, y)
            return
        index = bisect_right(self._starts, shot.screen_s) - 1
        if index >= 0 and shot.screen_s < self._cues[index].end:
            text = self._cues[index].text
            piece = self._piece("caption", text, lambda: board.caption(text, SHOWN[0] - 120))
            x = (SHOWN[0] - piece.shape[1] / K) / 2
            y = TOP + NAME_HIGH + SCENE[1] - 10 - piece.shape[0] / K
            put(self._frame, piece, x, y)

    def _card(self, kind: str) -> Any:
        texts: list[Text] = []
        for letter, recording in zip(LETTERS, self.recordings, strict=True):
            title = words.title(recording)
            if kind == "open":
                texts.append(Text(f"{letter}: {title}", 24, bold=True, above=18))
                watch = str(recording.scenario.get("watch_for", "")).strip()
                texts += [Text(self._units.text(watch), 20)] if watch else []
                continue
            shown = look.VERDICTS.get(recording.verdict, look.VERDICTS[""])
            said = f"{letter}: {shown.word}, {shown.meaning}"
            texts.append(Text(said, 24, shown.colour, True, 16))
            names = ", ".join(words.named(f).lower() for f in recording.findings[:6])
            texts.append(Text(f"{title}. {'Findings: ' + names if names else 'No findings'}.", 19))
        if kind == "end":
            texts += [Text("Caution", 18, look.INK_SOFT, True, 20), Text(look.FULL_CAUTION, 17)]
        head = "Two runs beside each other" if kind == "open" else "What came of them"
        return board.card((1000.0, 560.0), head, texts)
