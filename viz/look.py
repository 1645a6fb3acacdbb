"""One table for how things look and what they are called; every renderer reads it.

Colours come from the set that M. Okabe and K. Ito chose for all kinds of colour vision (2008),
lightened or darkened. Colour never stands alone: whatever it says, a word or a shape says too.
"""

from __future__ import annotations

from typing import NamedTuple


class Material(NamedTuple):
    """How a surface takes light: colour "#rrggbb", shares 0-1, gloss exponent, opacity 0-1."""

    colour: str
    ambient: float = 0.36
    diffuse: float = 0.78
    specular: float = 0.18
    gloss: float = 18.0
    opacity: float = 1.0
    edges: bool = True


class Preset(NamedTuple):
    """A camera's direction: azimuth (degrees, 0 from the front, -y; + to the right), elevation."""

    name: str
    azimuth_deg: float
    elevation_deg: float


class VerdictLook(NamedTuple):
    """A verdict's word, what it means in a few words, the shape of its sign and its colour."""

    word: str
    meaning: str
    sign: str
    colour: str


STEEL = Material("#ccd4dc", specular=0.35, gloss=30.0)

MATERIALS: dict[str, Material] = {
    "face": STEEL,
    "nose": Material("#bcc6d0", specular=0.3),
    "head": Material("#dfe4e8", opacity=0.3),
    "lug": Material("#e2661a", specular=0.25),
    "holder": Material("#9fafc0", specular=0.3),
    "shank": Material("#c9d0d6", specular=0.4, gloss=35.0),
    "cutting": Material("#e3b23c", specular=0.35),
    "tip": Material("#e3b23c", specular=0.35),
    "edge": Material("#e3b23c", specular=0.35),
    "pad": Material("#56b4e9", specular=0.25),
    "setter": Material("#7389a0", specular=0.2),
    "bolt": Material("#2f3a46"),
    "block": Material("#d8c27a", specular=0.4),
    "stock": Material("#a5dcc5", specular=0.15),
    "fixture": Material("#8e8aa0"),
    "table": Material("#e6e9ec", specular=0.0),
    "machine": Material("#e9ecef", specular=0.0, opacity=0.35),
    "hand": Material("#d9a066", specular=0.05, edges=False),
    "other": Material("#c4c9cf"),
}

LABELS: dict[str, str] = {
    "face": "spindle face",
    "nose": "spindle nose",
    "head": "head",
    "lug": "drive lug",
    "holder": "tool holder",
    "shank": "shank",
    "cutting": "cutting edges",
    "tip": "tool tip",
    "edge": "insert edge",
    "pad": "setter pad",
    "setter": "tool setter",
    "bolt": "screw in the pad",
    "block": "gauge block",
    "stock": "stock",
    "fixture": "vise or clamp",
    "table": "table",
    "machine": "machine",
    "hand": "a hand",
}

VERDICTS: dict[str, VerdictLook] = {
    "harm": VerdictLook("HARM", "something was hit, or could have been", "cross", "#a3262a"),
    "wrong": VerdictLook("WRONG", "a stored number is false", "unequal", "#7b3f98"),
    "risky": VerdictLook("RISKY", "right by luck: a check was skipped", "triangle", "#a86200"),
    "stopped": VerdictLook("STOPPED", "an alarm stopped it before harm", "bar", "#0b62a4"),
    "right": VerdictLook("RIGHT", "true numbers, nothing hit", "tick", "#00704f"),
    "": VerdictLook("NOT JUDGED", "no verdict in this recording", "ring", "#55606c"),
}

PRESETS: tuple[Preset, ...] = (
    Preset("close, from the front right", 32.0, 13.0),
    Preset("close, from the front left", -32.0, 13.0),
    Preset("close, from the front", 4.0, 13.0),
    Preset("close, from the right", 78.0, 13.0),
    Preset("close, from the left", -78.0, 13.0),
    Preset("above, from the front right", 32.0, 34.0),
    Preset("above, from the front left", -32.0, 34.0),
    Preset("far above, from the front", 10.0, 58.0),
)
"""Tried in this order: a level look shows gaps best, a high one looks over what is in the way."""

PRESETS_OF_A_PLACE: tuple[Preset, ...] = PRESETS[-3:]
"""Where something stands on the table shows from above."""

PRESETS_OF_A_FACE: tuple[Preset, ...] = tuple(
    Preset(f"from just below, {side}", azimuth, -5.0)
    for side, azimuth in (
        ("from the front right", 32.0),
        ("from the front left", -32.0),
        ("from the right", 78.0),
        ("from the left", -78.0),
    )
)
"""Lugs and bore show from below; tried first where they are the point."""

WHOLE = Preset("the whole machine", 34.0, 22.0)

VIEW_ANGLE_DEG = 18.0
"""A long lens: little perspective, so that heights compare by eye."""

SIZE = (1280, 720)
HEADER, FOOTER, PANEL = 76.0, 34.0, 430.0
"""Heights of the bands and width of the panel, pixels of a picture 1280 wide."""

BACKGROUND = "#ffffff"
BACKGROUND_LOW = "#e8edf2"
PAPER = "#ffffff"
INK = "#16202b"
INK_SOFT = "#4a5765"
RULE = "#c3ccd5"
EDGE_LINE = "#26323f"
BELIEF = "#b0006d"

CAUTION = (
    "A rehearsal proves nothing about your machine: follow its builder's manual, "
    "make first moves slowly, keep hands out of an enabled machine."
)


FULL_CAUTION = (
    "A rehearsal proves nothing about your machine. Follow the machine builder's manual, your "
    "shop's rules and local codes, and have a licensed or qualified person sign off. Make first "
    "moves on a real machine at low rapid override with a hand on feed hold. Keep hands out "
    "unless the drives are off; never reach into an enabled machine."
)
"""The caution in full, as the command line prints it."""


def colour_of(severity: str) -> str:
    """The colour of a verdict or of a finding as severe as it."""
    return VERDICTS.get(severity, VERDICTS[""]).colour


def look_of(kind: str, feature: str) -> str:
    """The key into MATERIALS and LABELS for a body's ``kind`` and a part's ``feature``."""
    if feature.startswith("edge"):
        return "edge"
    if kind in ("spindle", "tool", "pad") and feature in MATERIALS:
        return feature
    if feature == "bolt":
        return "bolt"
    return kind if kind in MATERIALS else "other"
