"""Pieces of a movie's picture in words and lines, each drawn once and kept while it stays the same.

A piece is an array (height, width, 3) of bytes. Frames are drawn ``K`` times as large as they are
shown and scaled down by ffmpeg, which is where smooth edges come from.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from PIL import Image, ImageDraw

from drytouch.viz import look
from drytouch.viz.ink import Ink, font, shorten, width, wrap

K = 1.5
SHOWN = (1280, 720)
"""Of the finished movie, pixels."""
DRAWN = (round(SHOWN[0] * K), round(SHOWN[1] * K))
TOP, FOOT = 56, 30
"""Heights of header and footer, shown pixels."""
TRACK = "#f2f5f7"
SOFT_RULE = "#dde3e8"


class Text(NamedTuple):
    """A paragraph: words, size in shown pixels, colour, weight, room above it."""

    words: str
    size: float = 18.0
    colour: str = look.INK
    bold: bool = False
    above: float = 6.0


class Pad:
    """A blank piece to draw on, in shown pixels."""

    def __init__(self, size: tuple[float, float], paper: str = look.PAPER) -> None:
        self.size = size
        self.image = Image.new("RGB", (round(size[0] * K), round(size[1] * K)), paper)
        self._draw = ImageDraw.Draw(self.image)
        self.ink = Ink(self.image)

    def text(
        self, x: float, y: float, words: str, size: float = 18.0, colour: str = look.INK,
        bold: bool = False, anchor: str = "ls", room: float = 0.0,
    ) -> None:  # fmt: skip
        """One line on the base line ``y``; cut short where it is wider than ``room``."""
        said = shorten(words, size * K, room * K, bold) if room else words
        at = (x * K, y * K)
        self._draw.text(at, said, fill=colour, font=font(size * K, bold), anchor=anchor)

    def box(
        self, box: Sequence[float], fill: str | None, outline: str | None = None,
        corner: float = 0.0, line: float = 1.5,
    ) -> None:  # fmt: skip
        """A rectangle: left, top, right, bottom."""
        scaled = [value * K for value in box]
        self._draw.rounded_rectangle(
            scaled, corner * K, fill=fill, outline=outline, width=max(round(line * K), 1)
        )

    def line(self, points: Sequence[tuple[float, float]], colour: str, line: float = 1.5) -> None:
        """A polyline."""
        scaled = [(x * K, y * K) for x, y in points]
        self._draw.line(scaled, fill=colour, width=max(round(line * K), 1), joint="curve")

    def dashes(self, x0: float, x1: float, y: float, colour: str, line: float = 1.5) -> None:
        """A level dashed line."""
        x = x0
        while x < x1:
            self.line([(x, y), (min(x + 6, x1), y)], colour, line)
            x += 11

    def disc(self, x: float, y: float, radius: float, fill: str | None, rim: str) -> None:
        """A round mark."""
        box = [(x - radius) * K, (y - radius) * K, (x + radius) * K, (y + radius) * K]
        self._draw.ellipse(box, fill=fill, outline=rim, width=round(1.6 * K))

    def sign(self, sign: str, x: float, y: float, radius: float, colour: str) -> None:
        """A verdict's shape about (x, y)."""
        box = ((x - radius) * K, (y - radius) * K, (x + radius) * K, (y + radius) * K)
        self.ink.sign(sign, box, colour)

    def flow(self, x: float, y: float, room: float, texts: Sequence[Text]) -> float:
        """Paragraphs below each other; gives back where the last one ends."""
        for text in texts:
            y += text.above
            for line in wrap(text.words, text.size * K, room * K, text.bold):
                y += text.size * 1.28
                self.text(x, y, line, text.size, text.colour, text.bold)
        return y

    def pixels(self) -> Any:
        """The finished piece."""
        return np.asarray(self.image)


def height_of(texts: Sequence[Text], room: float) -> float:
    """How high paragraphs are, shown pixels."""
    return sum(
        text.above + len(wrap(text.words, text.size * K, room * K, text.bold)) * text.size * 1.28
        for text in texts
    )


def fitted(texts: Sequence[Text], room: float, height: float) -> list[Text]:
    """The same paragraphs, smaller where they would be higher than ``height``."""
    shrunk = list(texts)
    for _ in range(14):
        if height_of(shrunk, room) <= height:
            break
        shrunk = [text._replace(size=text.size * 0.95, above=text.above * 0.9) for text in shrunk]
    return shrunk


def tag(words: str) -> Any:
    """What an outline is, on paper with the outline's own rim."""
    wide = width(words, 16.0 * K, True) / K + 18.0
    pad = Pad((wide, 28.0))
    pad.box((0.75, 0.75, wide - 1.5, 26.5), look.PAPER, look.BELIEF, 5.0, 1.8)
    pad.text(9.0, 19.5, words, 16.0, look.BELIEF, True)
    return pad.pixels()


def header(title: str, clock: str, speed: str, slow: bool, wide: float = SHOWN[0]) -> Any:
    """Title at the left; time and how fast it runs at the right."""
    pad = Pad((wide, TOP))
    pad.line([(0, TOP - 1), (wide, TOP - 1)], look.RULE, 1.5)
    pill = width(speed, 22 * K, True) / K + 26
    left = wide - 16 - pill
    pad.box(
        (left, 10, wide - 16, TOP - 12), look.INK if slow else look.PAPER, look.INK, 8, 2
    )  # fmt: skip
    pad.text(left + 13, 36, speed, 22, look.PAPER if slow else look.INK, True)
    pad.text(left - 18, 36, clock, 22, look.INK, True, anchor="rs")
    room = left - 36 - width(clock, 22 * K, True) / K - 20
    size = next((s for s in (28, 25, 22) if width(title, s * K, True) / K <= room), 22)
    pad.text(20, 37, title, size, look.INK, True, room=room)
    return pad.pixels()


def footer(wide: float = SHOWN[0]) -> Any:
    """The caution, on every frame."""
    pad = Pad((wide, FOOT), "#eef1f4")
    pad.text(wide / 2, 20, look.CAUTION, 15, look.INK_SOFT, anchor="ms", room=wide - 24)
    return pad.pixels()


def caption(text: str, room: float) -> Any:
    """What is being said, white on dark, no wider than ``room``."""
    size = 20.0
    lines = wrap(text, size * K, (room - 36) * K, True)[-3:]
    wide = min(max(width(line, size * K, True) for line in lines) / K + 32, room)
    pad = Pad((wide, len(lines) * size * 1.3 + 14), look.INK)
    for number, line in enumerate(lines):
        pad.text(wide / 2, 7 + size * (1.02 + 1.3 * number), line, size, "#ffffff", True, "ms")
    return pad.pixels()


def card(
    size: tuple[float, float], head: str, texts: Sequence[Text], colour: str = look.INK,
    sign: str = "",
) -> Any:  # fmt: skip
    """A card no larger than ``size``: a head with a sign, and paragraphs below."""
    wide, high = size
    shown = fitted(texts, wide - 56, high - 92)
    high = min(height_of(shown, wide - 56) + 92, high)
    pad = Pad((wide, high))
    pad.box((1, 1, wide - 2, high - 2), look.PAPER, colour, 10, 3)
    left = 28.0
    if sign:
        pad.sign(sign, left + 17, 42, 17, colour)
        left += 48
    pad.text(left, 52, head, 30, colour, True, room=wide - left - 24)
    pad.flow(28, 62, wide - 56, shown)
    return pad.pixels()
