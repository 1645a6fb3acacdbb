"""What stands around the 3D picture: title, verdict, sentences, scale, time, caution."""

from __future__ import annotations

from drytouch.sim.recording import Recording
from drytouch.viz import look, words
from drytouch.viz.ink import Ink, shorten, width, wrap
from drytouch.viz.look import FOOTER, HEADER, PANEL
from drytouch.viz.moment import Moment
from drytouch.viz.stage import Stage
from drytouch.viz.words import NumberOff

CARD = (258.0, 132.0)
"""Size of the card that shows a number's error enlarged, pixels of a picture 1280 wide."""


def draw_frame(
    ink: Ink, size: tuple[int, int], recording: Recording, moment: Moment,
    number: NumberOff | None, k: float,
) -> None:  # fmt: skip
    """Header with title and verdict, the panel at the right, the caution at the foot."""
    wide, high = size
    panel = wide - PANEL * k
    ink.rectangle((0, 0, wide, HEADER * k), look.PAPER)
    badge = _badge(ink, wide, recording.verdict, k)
    room = badge - 40 * k
    name = words.title(recording)
    big = next((s for s in (34, 30, 27, 24) if width(name, s * k, True) <= room), 24)
    ink.text(
        20 * k,
        HEADER * k / 2 + big * 0.35 * k,
        shorten(name, big * k, room, True),
        big * k,
        bold=True,
    )
    ink.line([(0, HEADER * k), (wide, HEADER * k)], look.RULE, 2 * k)
    ink.line([(panel, HEADER * k), (panel, high - FOOTER * k)], look.RULE, 2 * k)
    _column(
        ink,
        (panel + 22 * k, HEADER * k, wide - 18 * k, high - FOOTER * k),
        recording,
        moment,
        number,
        k,
    )
    ink.rectangle((0, high - FOOTER * k, wide, high), "#eef1f4")
    small = next((s for s in (17, 16, 15, 14) if width(look.CAUTION, s * k) <= wide - 30 * k), 13)
    text = shorten(look.CAUTION, small * k, wide - 30 * k)
    ink.text(20 * k, high - FOOTER * k / 2 + small * 0.36 * k, text, small * k, look.INK_SOFT)


def _badge(ink: Ink, wide: float, verdict: str, k: float) -> float:
    """The verdict's sign and word at the right; gives back its left end."""
    shown = look.VERDICTS.get(verdict, look.VERDICTS[""])
    size = 34 * k
    left = wide - 20 * k - width(shown.word, size, True) - 54 * k
    middle = HEADER * k / 2
    ink.sign(shown.sign, (left, middle - 20 * k, left + 40 * k, middle + 20 * k), shown.colour)
    ink.text(left + 54 * k, middle + size * 0.36, shown.word, size, shown.colour, bold=True)
    return left


def _column(
    ink: Ink, box: tuple[float, float, float, float], recording: Recording, moment: Moment,
    number: NumberOff | None, k: float,
) -> None:  # fmt: skip
    """Sentences and figures, as large as the room allows."""
    left, top, right, bottom = box
    sizes = (23, 22, 21, 20, 19, 18, 17, 16, 15)
    for size in sizes if moment.finding is not None else (28, 26, 24, *sizes):
        rows = _rows(recording, moment, number, size * k, right - left, k)
        if sum(row[3] for row in rows) <= bottom - top - 14 * k or size == 15:
            break
    y = top + 4 * k
    for text, colour, bold, height, text_size in rows:
        y += height
        if y > bottom - 4 * k:
            break
        ink.text(left, y, text, text_size, colour, bold)


def _rows(
    recording: Recording, moment: Moment, number: NumberOff | None, size: float, room: float,
    k: float,
) -> list[tuple[str, str, bool, float, float]]:  # fmt: skip
    """(text, colour, bold, height, size) of each line."""
    rows: list[tuple[str, str, bool, float, float]] = []

    def add(
        text: str, colour: str = look.INK, bold: bool = False, before: float = 0.0, s: float = size
    ) -> None:
        for index, line in enumerate(wrap(text, s, room, bold)):
            rows.append((line, colour, bold, s * 1.28 + (before if index == 0 else 0.0), s))

    finding = moment.finding
    shown = look.VERDICTS.get(recording.verdict, look.VERDICTS[""])
    if finding is None:
        add(shown.meaning[0].upper() + shown.meaning[1:] + ".", shown.colour, True, 6 * k)
    else:
        code = str(finding.get("code", "")).replace("-", " ")
        accent = look.colour_of(str(finding.get("severity", "")))
        if code:
            add(code[0].upper() + code[1:], accent, True, 6 * k, size * 1.18)
        for head, sentence in words.sentences(finding):
            add(head, look.INK_SOFT, True, 12 * k, size * 0.82)
            add(sentence)
    figures = words.figures(finding) if finding is not None else ()
    for index, figure in enumerate(figures):
        add(
            f"{figure.name}: {figure.value}",
            look.INK,
            True,
            14 * k if index == 0 else 0.0,
            size * 0.92,
        )
    if finding is None:
        for message in words.alarms(recording)[-2:]:
            add("Alarm", look.INK_SOFT, True, 16 * k, size * 0.82)
            add(message)
    if finding is None and number is None:
        for name, value, error in _stored(recording):
            add(name, look.INK_SOFT, True, 16 * k, size * 0.82)
            add(value)
            add(f"error {error}", look.INK, False, 0.0, size * 0.88)
    return rows


def _stored(recording: Recording) -> list[tuple[str, str, str]]:
    """Name, value and error of what was stored."""
    numbers = words.numbers(recording)
    return [
        (n.name, words.written(n.belief, "mm"), words.written(n.error, "mm", signed=True))
        for n in numbers[:4]
    ]


def draw_scale_bar(ink: Ink, stage: Stage, k: float) -> None:
    """A bar of a round length at the lower right of the 3D picture."""
    per_mm = stage.pixels_per_mm()
    room = stage.size[0] * 0.2
    length = max(
        (n * 10.0**e for e in range(-2, 4) for n in (1, 2, 5) if n * 10.0**e * per_mm <= room),
        default=1.0,
    )
    right, y = stage.size[0] - 24 * k, stage.size[1] - 18 * k
    left = right - length * per_mm
    box = (left - 12 * k, y - 32 * k, right + 12 * k, y + 11 * k)
    ink.rectangle(box, look.PAPER, None, 6 * k)
    ink.line([(left, y), (right, y)], look.INK, 3 * k)
    for x in (left, right):
        ink.line([(x, y - 7 * k), (x, y + 7 * k)], look.INK, 3 * k)
    ink.text((left + right) / 2, y - 9 * k, f"{length:g} mm", 17 * k, look.INK, True, "ms")


def draw_time(
    ink: Ink,
    size: tuple[int, int],
    recording: Recording,
    moment: Moment,
    k: float,
    note: str = "",
) -> None:
    """When this is, and how fast things move, at the lower left."""
    speed = recording.speed_at(moment.t) * 60.0
    moving = f", moving at {speed:.0f} mm/min" if speed > 0.5 else ", at rest"
    text = f"at {moment.t:.2f} s of {recording.duration_s:.2f} s{moving}{note}"
    long = width(text, 17 * k, True)
    box = (10 * k, size[1] - 36 * k, long + 28 * k, size[1] - 7 * k)
    ink.rectangle(box, look.PAPER, None, 6 * k)
    ink.text(18 * k, size[1] - 14 * k, text, 17 * k, look.INK, True)


def draw_enlarged(ink: Ink, size: tuple[int, int], number: NumberOff, k: float) -> None:
    """Belief beside truth, so much enlarged that the error shows, with the scale stated."""
    wide, high = CARD[0] * k, CARD[1] * k
    left, top = 14 * k, size[1] - 48 * k - high
    ink.rectangle(
        (left, top, left + wide, top + high), look.PAPER, look.BELIEF, 6 * k, max(round(2 * k), 1)
    )
    # Errors of hundredths are the rule; only a stated enlargement keeps the picture honest.
    name = number.name if abs(number.error) > 2.0 else f"{number.name}, enlarged"
    gap = 54.0 * k
    ink.text(
        left + 12 * k,
        top + 24 * k,
        shorten(name, 17 * k, wide - 24 * k, True),
        17 * k,
        look.INK,
        True,
    )
    middle = top + 78 * k
    up = number.belief > number.truth
    true_y, belief_y = (
        (middle + gap / 2, middle - gap / 2) if up else (middle - gap / 2, middle + gap / 2)
    )
    start, end = left + 14 * k, left + 112 * k
    ink.line([(start, true_y), (end, true_y)], look.INK, 3.5 * k)
    ink.line([(start, belief_y), (end, belief_y)], look.BELIEF, 3.5 * k, dash=7 * k)
    x = (start + end) / 2
    ink.arrow((x, true_y), (x, belief_y), look.BELIEF, 3 * k)
    for y, text, colour in ((true_y, "true", look.INK), (belief_y, "believed", look.BELIEF)):
        ink.text(end + 10 * k, y + 6 * k, text, 17 * k, colour, True)
    error = words.written(number.error, "mm", signed=True)
    ink.text(end + 10 * k, middle + 6 * k, error, 18 * k, look.BELIEF, True)
