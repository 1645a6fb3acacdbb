"""A handout for one demonstration: one page A4, questions first and answers at the foot."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from drytouch.sim.recording import Recording
from drytouch.sim.scenario.files import write_atomically
from drytouch.viz import look, words
from drytouch.viz.sheets import caution, document, safe, verdict_mark
from drytouch.viz.units import Units

if TYPE_CHECKING:
    from drytouch.sim.scenario.scenario import Question

MOST_FINDINGS = 4
"""With all three sentences each, more would not leave room for the rest on one page."""
USUAL_WORDS = 310
"""So many words fit at the usual size above the picture; more are set smaller."""
LEAST_PT, USUAL_PT = 7.4, 10.6

STYLE = """
@page {{ size: A4; margin: 12mm 14mm; }}
body {{ font-size: {size}pt; }}
/* The picture takes what room the words leave, so that the sheet is one page whatever it says. */
.sheet {{ width: 182mm; max-width: 100%; height: 270mm; margin: 8mm auto; display: flex;
  flex-direction: column; overflow: hidden; }}
main, .after {{ display: flex; flex-direction: column; flex: 1 1 auto; min-height: 0; }}
main > *, .after > * {{ flex: none; }}
main > .after {{ flex: 1 1 auto; }}
@media print {{ .sheet {{ margin: 0; }} }}
header {{ display: flex; justify-content: space-between; align-items: baseline; gap: 6mm;
  border-bottom: 2px solid #16202b; }}
h1 {{ font-size: 1.9em; margin: 0 0 .15em; }}
h2 {{ font-size: 1.15em; margin: .9em 0 .2em; }}
h3 {{ font-size: 1em; margin: .55em 0 .1em; }}
p {{ margin: .2em 0; }}
.after > .picture {{ flex: 1 1 0; min-height: 0; margin: 2.5mm 0; }}
img {{ width: 100%; height: 100%; object-fit: contain; display: block; }}
.watch {{ border-left: 4px solid #16202b; padding: .1em .7em; font-weight: 700; margin: .6em 0; }}
ol.choices {{ list-style: none; padding: 0; margin: .2em 0; }}
ol.choices li::before {{ content: ""; display: inline-block; width: .8em; height: .8em;
  border: 1.5px solid #16202b; margin-right: .6em; vertical-align: -.08em; }}
.write {{ border-bottom: 1px solid #8a97a5; height: 1.9em; }}
.after {{ border-top: 1.5px dashed #4a5765; margin-top: .9em; }}
.after > p.fold {{ font-size: .85em; color: #4a5765; margin: 0; }}
table {{ border-collapse: collapse; }} td, th {{ padding: .1em .8em .1em 0; text-align: left; }}
.caution {{ font-size: .85em; margin-top: 1em; }}
"""


def write_handout(
    recording: Recording,
    path: str | Path,
    questions: Sequence[Question] = (),
    picture: str = "",
) -> Path:
    """Write the handout (HTML that prints on one page A4); ``picture``: a file beside it.

    Raises InputError when it can't be written.
    """
    units = Units.of(recording.scenario)
    title = words.title(recording)
    body = ['<div class="sheet">', "<header>", f"<h1>{safe(title)}</h1>"]
    body += ["<p>Name ______________________</p>", "</header>", "<main>"]
    facts = recording.scenario
    if facts.get("story"):
        body.append(f"<p>{safe(units.text(str(facts['story'])))}</p>")
    if facts.get("watch_for"):
        body.append(f'<p class="watch">Watch for: {safe(units.text(str(facts["watch_for"])))}</p>')
    body += _questions(questions, units)
    body += ['<section class="after" aria-label="After the replay">']
    body += ['<p class="fold">Fold back here until you have seen the replay.</p>']
    body += _answers(recording, questions, units)
    if picture:
        alt = f"The decisive moment of: {title}"
        body.append(f'<div class="picture"><img src="{safe(picture)}" alt="{safe(alt)}"></div>')
    body += ["</section>", "</main>", "<footer>", caution(), "</footer>", "</div>"]
    style = STYLE.format(size=round(_size_pt(body), 2))
    target = Path(path)
    write_atomically(target, document(f"{title}: handout", style, body))
    return target


def _size_pt(body: Sequence[str]) -> float:
    """Size of print with which the words leave the picture a third of the page."""
    count = sum(len(re.sub("<[^>]*>", " ", part).split()) for part in body)
    # A line more of each heading and choice: short lines cost as much as full ones.
    count += 7 * sum(part.count("<h") + part.count("<li") + part.count("<tr") for part in body)
    return max(USUAL_PT * math.sqrt(min(1.0, USUAL_WORDS / max(count, 1))), LEAST_PT)


def _questions(questions: Sequence[Question], units: Units) -> list[str]:
    body: list[str] = []
    for number, question in enumerate(questions, 1):
        body.append(f"<h2>Predict {number if len(questions) > 1 else ''}</h2>")
        body.append(f"<p>{safe(units.text(question.ask))}</p>")
        body.append('<ol class="choices">')
        body += [
            f"<li>{n}: {safe(units.text(choice))}</li>"
            for n, choice in enumerate(question.choices, 1)
        ]
        body += ["</ol>", '<p>Why do you think so?</p><div class="write"></div>']
    return body


def _answers(
    recording: Recording, questions: Sequence[Question], units: Units
) -> list[str]:  # fmt: skip
    body: list[str] = []
    for number, question in enumerate(questions, 1):
        which = f"Answer {number}" if len(questions) > 1 else "Answer"
        right = units.text(question.choices[question.answer - 1])
        body.append(f"<h2>{which}</h2><p><strong>{question.answer}: {safe(right)}.</strong> ")
        body.append(f"{safe(units.text(question.because))}</p>")
    shown = look.VERDICTS.get(recording.verdict, look.VERDICTS[""])
    body.append(f"<h2>What happened: {verdict_mark(recording.verdict)}</h2>")
    body.append(f"<p>{safe(shown.meaning[:1].upper() + shown.meaning[1:])}.</p>")
    # The same finding again says the same words again: once is enough on paper.
    kinds = {str(finding.get("code")): finding for finding in reversed(recording.findings)}
    findings = [
        kinds[code] for code in dict.fromkeys(str(f.get("code")) for f in recording.findings)
    ]
    times = Counter(str(f.get("code")) for f in recording.findings)
    for finding in findings[:MOST_FINDINGS]:
        count = times[str(finding.get("code"))]
        often = f", {count} times" if count > 1 else ""
        head = words.named(finding) + often
        parts = [safe(units.text(sentence)) for _, sentence in words.sentences(finding)]
        last = f" <em>On a real machine:</em> {parts[2]}" if len(parts) > 2 else ""
        body.append(f"<h3>{safe(head)}</h3><p>{' '.join(parts[:2])}{last}</p>")
    if len(findings) > MOST_FINDINGS:
        names = ", ".join(words.named(f).lower() for f in findings[MOST_FINDINGS:])
        body.append(f"<p>Also found: {safe(names)}.</p>")
    numbers = words.numbers(recording)[:4]
    if numbers:
        body.append('<table><tr><th scope="col">Number</th><th scope="col">believed</th>')
        body.append('<th scope="col">true</th><th scope="col">off by</th></tr>')
        for n in numbers:
            body.append(f'<tr><th scope="row">{safe(n.name)}</th><td>{units.length(n.belief)}</td>')
            body.append(f"<td>{units.length(n.truth)}</td><td>{units.small(n.error)}</td></tr>")
        body.append("</table>")
    for message in words.alarms(recording)[-2:]:
        body.append(f"<p>Alarm: {safe(units.text(message))}</p>")
    return body
