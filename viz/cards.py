"""The movie's cards: opening, question, answer, finding, end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from drytouch.sim.recording import Recording
from drytouch.viz import look, words
from drytouch.viz.board import FOOT, SHOWN, TOP, Pad, Text, card, fitted
from drytouch.viz.units import Units

OVER = (820.0, 560.0)
"""Room of a card over the scene, shown pixels."""
FULL = (1220.0, 604.0)
SOFT = look.INK_SOFT


def card_of(recording: Recording, kind: str, data: Any) -> Any:
    """The card of a stretch of the movie."""
    units = Units.of(recording.scenario)
    if kind == "open":
        return _opening(recording, units)
    if kind == "ask":
        return _question(data, units)
    if kind == "tell":
        return _answer(data, units)
    if kind == "finding":
        return _finding(data, units)
    return _end(recording, units)


def _opening(recording: Recording, units: Units) -> Any:
    facts = recording.scenario
    story = " ".join(str(facts.get("story", "")).split())
    watch = str(facts.get("watch_for", "")).strip()
    texts = [Text(units.text(story), 21, above=10)] if story else []
    if watch:
        texts += [Text("Watch for", 18, SOFT, True, 22), Text(units.text(watch), 23, bold=True)]
    return card(OVER, words.title(recording), texts)


def _question(question: Any, units: Units) -> Any:
    texts = [Text(units.text(question.ask), 24, above=12)]
    for number, choice in enumerate(question.choices, 1):
        texts.append(Text(f"{number}:  {units.text(choice)}", 22, bold=True, above=16))
    return card(OVER, "Stop and predict", texts, "#0b62a4")


def _answer(question: Any, units: Units) -> Any:
    right = units.text(question.choices[question.answer - 1])
    texts = [
        Text(f"{question.answer}: {right}", 24, bold=True, above=12),
        Text(units.text(question.because), 22, above=16),
    ]
    return card(OVER, "The answer", texts, "#0b62a4")


def _finding(finding: Mapping[str, Any], units: Units) -> Any:
    severity = str(finding.get("severity", ""))
    shown = look.VERDICTS.get(severity, look.VERDICTS[""])
    wide, high = 398.5, SHOWN[1] - TOP - FOOT
    pad = Pad((wide, high))
    pad.box((0, 0, wide, high - 1), look.PAPER, shown.colour, 0, 3)
    pad.sign(shown.sign, 34, 40, 18, shown.colour)
    pad.text(64, 36, words.named(finding), 24, shown.colour, True, room=wide - 76)
    pad.text(64, 57, shown.meaning, 14, shown.colour, room=wide - 76)
    texts: list[Text] = []
    for head, sentence in words.sentences(finding):
        texts.append(Text(head, 16, SOFT, True, 14))
        texts.append(Text(units.text(sentence), 20, above=2))
    for number, figure in enumerate(words.figures(finding)):
        said = units.text(f"{figure.name}: {figure.value}")
        texts.append(Text(said, 17, bold=True, above=16 if number == 0 else 0))
    pad.flow(18, 62, wide - 34, fitted(texts, wide - 34, high - 76))
    return pad.pixels()


def _end(recording: Recording, units: Units) -> Any:
    shown = look.VERDICTS.get(recording.verdict, look.VERDICTS[""])
    meaning = shown.meaning[:1].upper() + shown.meaning[1:]
    texts = [Text(f"{meaning}.", 22, bold=True, above=8)]
    for finding in recording.findings[:5]:
        what = next((text for _, text in words.sentences(finding)), "")
        texts.append(Text(f"{words.named(finding)}: {units.text(what)}", 19, above=9))
    if len(recording.findings) > 5:
        texts.append(Text(f"and {len(recording.findings) - 5} more", 18, SOFT))
    for number in words.numbers(recording)[:3]:
        off = abs(number.error) > (number.tolerance or words.USUAL_TOLERANCE_MM)
        said = f"{number.name}: believed {units.length(number.belief)}, true " + (
            f"{units.length(number.truth)}, off by {units.small(number.error)}"
        )
        texts.append(Text(said + (" (too much)" if off else ""), 18, above=9, bold=off))
    texts.append(Text("Caution", 18, SOFT, True, 20))
    texts.append(Text(look.FULL_CAUTION, 17, above=2))
    return card(FULL, shown.word, texts, shown.colour, shown.sign)


def found_so_far(findings: Sequence[Mapping[str, Any]], size: tuple[float, float]) -> Any:
    """The findings up to now, one line each, newest last."""
    pad = Pad(size)
    wide, high = size
    if not findings:
        return pad.pixels()
    pad.line([(0, 1), (wide, 1)], look.RULE, 1.5)
    y = 8.0
    most = int((high - 8) // 30)
    for finding in findings[-most:] if most > 0 else ():
        shown = look.VERDICTS.get(str(finding.get("severity", "")), look.VERDICTS[""])
        pad.sign(shown.sign, 26, y + 15, 11, shown.colour)
        pad.text(46, y + 21, words.named(finding), 17, shown.colour, True, room=wide - 58)
        y += 30
    return pad.pixels()
