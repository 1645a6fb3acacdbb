"""Crisp text, signs and arrows on a finished picture, with Pillow."""

from __future__ import annotations

import math
from functools import cache, lru_cache
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw, ImageFont

from drytouch.viz import look

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in pixels."""


@cache
def _font_file(bold: bool) -> str | None:
    """A font with all the signs that we use; PyVista brings matplotlib, which carries one."""
    spec = find_spec("matplotlib")
    if spec is None or spec.origin is None:
        return None
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    path = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf" / name
    return str(path) if path.exists() else None


@lru_cache(maxsize=64)
def font(size: float, bold: bool = False) -> Any:
    """A font ``size`` pixels high; Pillow's own where no better one is at hand."""
    file = _font_file(bold)
    return ImageFont.load_default(size) if file is None else ImageFont.truetype(file, size)


def width(text: str, size: float, bold: bool = False) -> float:
    """How wide a line of text is, in pixels."""
    return float(font(size, bold).getlength(text))


def wrap(text: str, size: float, room: float, bold: bool = False) -> list[str]:
    """The text in lines no wider than ``room`` pixels; a word that is wider stands alone."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, size, bold) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def shorten(text: str, size: float, room: float, bold: bool = False) -> str:
    """The text, or as much of it as fits before three dots."""
    if width(text, size, bold) <= room:
        return text
    while text and width(text + "…", size, bold) > room:
        text = text[:-1]
    return text.rstrip() + "…"


class Ink:
    """Draws on an image; smooth lines and shapes come from drawing them four times as large."""

    def __init__(self, image: Image.Image) -> None:
        self.image = image
        self._draw = ImageDraw.Draw(image)

    def text(
        self, x: float, y: float, text: str, size: float, colour: str = look.INK,
        bold: bool = False, anchor: str = "ls",
    ) -> None:  # fmt: skip
        """One line; ``anchor`` as Pillow has it ("ls": left end of the base line)."""
        self._draw.text((x, y), text, fill=colour, font=font(size, bold), anchor=anchor)

    def rectangle(
        self, box: Box, fill: str | None, outline: str | None = None, corner: float = 0.0,
        line: int = 1,
    ) -> None:  # fmt: skip
        """A filled rectangle, its corners rounded."""
        self._draw.rounded_rectangle(box, corner, fill=fill, outline=outline, width=line)

    def line(
        self, points: list[tuple[float, float]], colour: str, line: float, dash: float = 0.0
    ) -> None:
        """A smooth polyline; ``dash``: length of its dashes in pixels, 0 for none."""
        pieces = [points] if dash <= 0 else _dashes(points, dash)
        for piece in pieces:
            self._smooth(piece, colour, line, closed=False)

    def segments(
        self, pairs: list[tuple[tuple[float, float], tuple[float, float]]], colour: str, line: float
    ) -> None:
        """Many short smooth lines at once."""
        mask = Image.new("L", (self.image.width * 2, self.image.height * 2))
        draw = ImageDraw.Draw(mask)
        for (x0, y0), (x1, y1) in pairs:
            draw.line((2 * x0, 2 * y0, 2 * x1, 2 * y1), fill=255, width=max(round(2 * line), 1))
        mask = mask.resize(self.image.size, Image.Resampling.BOX)
        self.image.paste(Image.new("RGB", mask.size, colour), (0, 0), mask)

    def polygon(self, points: list[tuple[float, float]], colour: str) -> None:
        """A smooth filled polygon."""
        self._smooth(points, colour, 0.0, closed=True)

    def dot(self, x: float, y: float, radius: float, colour: str, rim: str) -> None:
        """A round mark with a rim."""
        for r, fill in ((radius, rim), (radius - 1.6, colour)):
            turns = [i * math.tau / 24 for i in range(24)]
            self.polygon([(x + r * math.cos(a), y + r * math.sin(a)) for a in turns], fill)

    def arrow(
        self, tail: tuple[float, float], head: tuple[float, float], colour: str, line: float
    ) -> None:
        """A line with a filled head at its end."""
        dx, dy = head[0] - tail[0], head[1] - tail[1]
        length = math.hypot(dx, dy)
        if length < 1e-6:
            return
        u, v = dx / length, dy / length
        tip = min(4.0 * line, length)
        back = (head[0] - u * tip, head[1] - v * tip)
        self.line([tail, back], colour, line)
        across, along = -v * tip * 0.45, u * tip * 0.45
        left, right = (back[0] + across, back[1] + along), (back[0] - across, back[1] - along)
        self.polygon([head, left, right], colour)

    def sign(self, sign: str, box: Box, colour: str) -> None:
        """A verdict's shape, so that it never hangs on colour: white on its colour."""
        left, top, right, bottom = box
        x, y, r = (left + right) / 2, (top + bottom) / 2, (right - left) / 2
        pen = max(r * (0.16 if sign == "unequal" else 0.26), 2.0)
        if sign == "triangle":
            self.polygon([(x, top), (right, bottom), (left, bottom)], colour)
            self.line([(x, top + r * 0.75), (x, bottom - r * 0.75)], "#ffffff", pen)
            self.line([(x, bottom - r * 0.42), (x, bottom - r * 0.22)], "#ffffff", pen)
            return
        corners = 8 if sign == "cross" else 4 if sign == "bar" else 40
        turn = math.pi / corners
        self.polygon(
            [
                (x + r * math.cos(turn + i * math.tau / corners) * (1.2 if corners == 4 else 1.0),
                 y + r * math.sin(turn + i * math.tau / corners) * (1.2 if corners == 4 else 1.0))
                for i in range(corners)
            ],
            colour,
        )  # fmt: skip
        for stroke in _STROKES[sign]:
            self.line([(x + r * a, y + r * b) for a, b in stroke], "#ffffff", pen)

    def _smooth(
        self, points: list[tuple[float, float]], colour: str, line: float, closed: bool
    ) -> None:
        k = 4
        pad = int(line) + 2
        left = math.floor(min(p[0] for p in points)) - pad
        top = math.floor(min(p[1] for p in points)) - pad
        right = math.ceil(max(p[0] for p in points)) + pad
        bottom = math.ceil(max(p[1] for p in points)) + pad
        if right <= left or bottom <= top:
            return
        mask = Image.new("L", ((right - left) * k, (bottom - top) * k))
        draw = ImageDraw.Draw(mask)
        moved = [((x - left) * k, (y - top) * k) for x, y in points]
        if closed:
            draw.polygon(moved, fill=255)
        else:
            draw.line(moved, fill=255, width=max(round(line * k), 1), joint="curve")
        mask = mask.resize((right - left, bottom - top), Image.Resampling.BOX)
        self.image.paste(Image.new("RGB", mask.size, colour), (left, top), mask)


_STROKES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "cross": (((-0.4, -0.4), (0.4, 0.4)), ((-0.4, 0.4), (0.4, -0.4))),
    "unequal": (
        ((-0.5, -0.18), (0.5, -0.18)),
        ((-0.5, 0.18), (0.5, 0.18)),
        ((-0.28, 0.5), (0.28, -0.5)),
    ),
    "bar": (((-0.3, -0.42), (-0.3, 0.42)), ((0.3, -0.42), (0.3, 0.42))),
    "tick": (((-0.45, 0.02), (-0.12, 0.36), (0.48, -0.34)),),
    "ring": (((-0.4, 0.0), (0.4, 0.0)),),
}


def _dashes(points: list[tuple[float, float]], dash: float) -> list[list[tuple[float, float]]]:
    pieces = []
    for (x0, y0), (x1, y1) in pairwise(points):
        length = math.hypot(x1 - x0, y1 - y0)
        count = max(int(length / (2 * dash)), 1)
        for i in range(count):
            a, b = i / count, min((i + 0.55) / count, 1.0)
            pieces.append(
                [(x0 + (x1 - x0) * a, y0 + (y1 - y0) * a), (x0 + (x1 - x0) * b, y0 + (y1 - y0) * b)]
            )
    return pieces
