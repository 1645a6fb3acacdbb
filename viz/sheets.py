"""What the gallery's pages share: one look, signs that don't hang on colour, words made safe."""

from __future__ import annotations

import html
from collections.abc import Sequence

from drytouch.viz import look

BASE_STYLE = f"""
:root {{ color-scheme: light; }}
* {{ box-sizing: border-box; }}
body {{ margin: 0; color: {look.INK}; background: {look.PAPER};
  font-family: system-ui, "Segoe UI", "DejaVu Sans", Arial, sans-serif; line-height: 1.4; }}
a {{ color: #0b4f86; }}
a:focus-visible, summary:focus-visible {{ outline: 3px solid #0b62a4; outline-offset: 2px; }}
.verdict {{ display: inline-flex; align-items: center; gap: .4em; font-weight: 700; }}
.verdict svg {{ width: 1.5em; height: 1.5em; flex: none; }}
.caution {{ border: 2px solid {look.INK}; padding: .6em .9em; }}
.caution strong {{ display: block; }}
h1, h2, h3 {{ line-height: 1.2; }}
"""

_SHAPES = {
    "cross": (
        '<path d="M7 1h10l6 6v10l-6 6H7l-6-6V7z" fill="{c}"/>'
        '<path d="M8 8l8 8M16 8l-8 8" stroke="#fff" stroke-width="3"/>'
    ),
    "unequal": (
        '<circle cx="12" cy="12" r="11" fill="{c}"/>'
        '<path d="M6 9.5h12M6 14.5h12M15 6l-6 12" stroke="#fff" stroke-width="2"/>'
    ),
    "triangle": (
        '<path d="M12 1l11.5 21H.5z" fill="{c}"/>'
        '<path d="M12 8v7M12 17v3" stroke="#fff" stroke-width="2.6"/>'
    ),
    "bar": (
        '<path d="M2 2h20v20H2z" fill="{c}"/>'
        '<path d="M8.5 7v10M15.5 7v10" stroke="#fff" stroke-width="3"/>'
    ),
    "tick": (
        '<circle cx="12" cy="12" r="11" fill="{c}"/>'
        '<path d="M6.5 12.5l3.8 4 7.2-8.5" stroke="#fff" stroke-width="3" fill="none"/>'
    ),
    "ring": (
        '<circle cx="12" cy="12" r="11" fill="{c}"/>'
        '<path d="M7 12h10" stroke="#fff" stroke-width="3"/>'
    ),
}


def safe(text: object) -> str:
    """Text for HTML; runs of white space become one blank."""
    return html.escape(" ".join(str(text).split()))


def verdict_mark(verdict: str) -> str:
    """A verdict's shape and word."""
    shown = look.VERDICTS.get(verdict, look.VERDICTS[""])
    drawing = _SHAPES[shown.sign].format(c=shown.colour)
    return (
        f'<span class="verdict" style="color:{shown.colour}"><svg viewBox="0 0 24 24" '
        f'aria-hidden="true">{drawing}</svg>{safe(shown.word)}</span>'
    )


def caution() -> str:
    """The caution as a note in a box."""
    return (
        '<p class="caution" role="note"><strong>Caution</strong> '
        + safe(look.FULL_CAUTION)
        + "</p>"
    )


def document(title: str, style: str, body: Sequence[str]) -> str:
    """A whole HTML document that needs nothing but the files beside it."""
    return "\n".join(
        [
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f'<title>{safe(title)}</title>\n<link rel="icon" href="data:,">',
            f"<style>{BASE_STYLE}{style}</style>\n</head>\n<body>",
            *body,
            "</body>\n</html>\n",
        ]
    )
