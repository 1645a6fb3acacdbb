"""A labelled still picture of a recording's decisive moment, for a handout or a projector."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.viz import look, opengl, words
from drytouch.viz.look import FOOTER, HEADER, PANEL, SIZE
from drytouch.viz.moment import Moment, choose_moment


def draw_still(
    recording: Recording,
    path: str | Path,
    at: float | None = None,
    size: tuple[int, int] = SIZE,
    whole: bool = False,
) -> Path:
    """Draw one picture (PNG) at ``at`` s, or at the decisive moment; gives back its path.

    ``whole``: the whole machine instead of a close view.

    Raises ``NoPicture`` (reason and fix) where this machine can't draw, InputError for a wrong
    time, size or path.
    """
    with StillArtist(size) as artist:
        return artist.draw(recording, path, at, whole)


def draw_stills(
    wanted: Iterable[tuple[Recording, str | Path, float | None]], size: tuple[int, int] = SIZE
) -> list[Path]:
    """Draw many pictures with one plotter: (recording, path, time in s or None) each."""
    opengl.require()
    with StillArtist(size) as artist:
        return [artist.draw(recording, path, at) for recording, path, at in wanted]


class StillArtist:
    """Keeps one plotter for many pictures of one size; use it in a ``with`` statement."""

    def __init__(self, size: tuple[int, int] = SIZE) -> None:
        if min(size) < 200 or max(size) > 8000:
            raise InputError(f"size is {size}; expected 200 to 8000 pixels each way", key="size")
        opengl.require()
        from drytouch.viz.stage import Stage

        self.size = size
        # Text and bands keep their share of the picture, whatever its shape.
        self.scale = min(size[0] / SIZE[0], size[1] / SIZE[1])
        k = self.scale
        self._stage = Stage(
            (round(size[0] - PANEL * k), round(size[1] - (HEADER + FOOTER) * k)),
        )

    def __enter__(self) -> StillArtist:
        return self

    def __exit__(self, *_: object) -> None:
        self._stage.close()

    def draw(
        self,
        recording: Recording,
        path: str | Path,
        at: float | None = None,
        whole: bool = False,
    ) -> Path:
        """One picture, written to ``path`` as PNG; as ``draw_still`` has it."""
        if at is not None and not (math.isfinite(at) and 0.0 <= at <= recording.duration_s):
            raise InputError(
                f"the time is {at} s; the recording lasts from 0 to {recording.duration_s:g} s",
                key="at",
                fix="give a time within the recording",
            )
        moment = choose_moment(recording)
        if at is not None:
            moment = moment._replace(t=at)
        image = self._compose(recording, moment, whole)
        target = Path(path)
        try:
            image.save(target, format="PNG")
        except OSError as error:
            raise InputError(
                f"can't be written: {error.strerror or error}",
                file=str(path),
                fix="choose a folder that exists, with room and leave to write",
            ) from error
        return target

    def _compose(self, recording: Recording, moment: Moment, far: bool) -> Any:
        from PIL import Image

        from drytouch.viz import callouts, panel
        from drytouch.viz.belief import SHOWS_PIXELS, believed_parts
        from drytouch.viz.ink import Ink
        from drytouch.viz.meshes import finger, solids_at
        from drytouch.viz.view import choose_place, choose_view, opened, whole_view

        k, stage = self.scale, self._stage
        finding = moment.finding or {}
        solids = solids_at(recording, moment.t)
        place = choose_place(solids, str(finding.get("code", "")), words.where(finding))
        view = whole_view(solids) if far else choose_view(solids, place)
        # Beside a crash, a wrong number would only draw the eye away.
        tells = moment.finding is None or finding.get("severity") in ("wrong", "risky")
        number = words.worst_number(recording) if tells else None
        depth, budget = _press(recording, moment.t, place.support)
        # The column would only be a grey wall behind a close view.
        whole_ones = [solid for solid in solids if far or solid.kind != "machine"]
        if finding.get("code") == "hand-in-reach" and place.support is not None:
            whole_ones.append(finger(place.support))
        shown = opened(whole_ones, place, view, str(finding.get("code", "")))
        free = []
        if depth * stage.size[1] / 2 / view.half_height_mm > SHOWS_PIXELS:
            free = [place.support.moved((0.0, 0.0, depth)).mesh]  # type: ignore[union-attr]
        pixels = stage.draw(shown, view, free)
        picture = Image.fromarray(pixels).resize(stage.size, Image.Resampling.BOX)
        ink = Ink(picture)
        believed = believed_parts(
            recording, moment, solids, number, stage.pixels_per_mm(), view.half_height_mm
        )
        for part in believed:
            ink.segments(stage.outline(part.solid.mesh), look.BELIEF, 2.2 * k)
        labels = callouts.callouts_for(solids, place, view, depth, budget, believed)
        if finding.get("code") == "hand-in-reach":
            labels.append(callouts.hand(place, view, words.where(finding)))
        callouts.draw_callouts(
            ink,
            stage,
            labels,
            k,
            colour=look.colour_of(str(finding.get("severity", recording.verdict))),
            card=0.0 if number is None else (panel.CARD[1] + 8) * k,
        )
        panel.draw_scale_bar(ink, stage, k)
        cut = any(a is not b for a, b in zip(shown, whole_ones, strict=True))
        panel.draw_time(ink, stage.size, recording, moment, k, ", cut open to see inside" * cut)
        if number is not None:
            panel.draw_enlarged(ink, stage.size, number, k)
        whole = Image.new("RGB", self.size, look.PAPER)
        whole.paste(picture, (0, round(HEADER * k)))
        panel.draw_frame(Ink(whole), self.size, recording, moment, number, k)
        return whole


def _press(recording: Recording, t: float, support: Any) -> tuple[float, str]:
    """How deep the pad under the tool is, mm, and how that compares with its end stop."""
    if support is None or support.kind != "pad":
        return 0.0, ""
    setter = support.body_id.removesuffix(".pad")
    solid = recording.pad_limit_of(setter)
    depth = recording.pad_depth_at(setter, t)
    if solid is None:
        return depth, ""
    return depth, "to its end stop" if depth >= solid - 1e-6 else f"of {solid:.2f} mm"
