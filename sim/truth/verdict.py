"""The verdict: worst wins."""

from __future__ import annotations

from collections.abc import Iterable

# From worst to best; design: harm > wrong > risky > stopped > right.
ORDER = ("harm", "wrong", "risky", "stopped", "right")


def worst(verdicts: Iterable[str]) -> str:
    """The worst of some verdicts; ``right`` when there are none."""
    return min(verdicts, key=ORDER.index, default="right")
