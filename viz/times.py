"""Times that people name: seconds, or a finding's code."""

from __future__ import annotations

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.viz.moment import time_s


def time_of(recording: Recording, text: str) -> float:
    """The time that a word on the command line means: seconds, or a finding's code.

    Raises InputError where it is neither.
    """
    try:
        t = float(text.strip().removesuffix("s").strip())
    except ValueError:
        for finding in recording.findings:
            if finding.get("code") == text:
                return min(max(time_s(finding, 0.0), 0.0), recording.duration_s)
        codes = ", ".join(dict.fromkeys(str(f.get("code")) for f in recording.findings))
        raise InputError(
            f"there is no finding {text!r} in this recording",
            key="at",
            fix=f"give a time in s, or one of: {codes}" if codes else "give a time in s",
        ) from None
    if not 0.0 <= t <= recording.duration_s:
        raise InputError(
            f"the time is {t:g} s; the recording lasts from 0 to {recording.duration_s:g} s",
            key="at",
            fix="give a time within the recording",
        )
    return t
