"""A gallery: a folder of replays, pictures and handouts with an index, which needs no network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from drytouch.sim.recording import Recording
from drytouch.sim.scenario.files import write_atomically
from drytouch.viz import look, words
from drytouch.viz.handout import write_handout
from drytouch.viz.sheets import caution, document, safe, verdict_mark
from drytouch.viz.units import Units

if TYPE_CHECKING:
    from drytouch.sim.scenario.scenario import Question, Scenario

INDEX = "index.html"
GROUPS = {
    "right": "Done right",
    "stopped": "Stopped in time",
    "risky": "Right by luck",
    "wrong": "Wrong numbers",
    "harm": "Harm",
    "": "Not judged",
}
"""In the order of a lesson: first how it goes, then what stops it, then what does not."""

STYLE = """
header, main, footer, nav { max-width: 78rem; margin: 0 auto; padding: 0 1.2rem; }
h1 { font-size: 2.2rem; margin: 1.4rem 0 .2rem; }
nav ul { display: flex; flex-wrap: wrap; gap: .4rem 1.4rem; list-style: none; padding: 0; }
.skip { position: absolute; left: -99rem; }
.skip:focus { left: 1rem; top: 1rem; background: #fff; padding: .5rem; }
.cards { display: grid; grid-template-columns: repeat(auto-fill, minmax(21rem, 1fr)); gap: 1.4rem;
  list-style: none; padding: 0; }
.cards > li { border: 1px solid #8a97a5; border-radius: .5rem; overflow: hidden; display: flex; }
article { display: flex; flex-direction: column; width: 100%; }
article > div { padding: .2rem 1rem .9rem; }
article img { width: 100%; height: auto; aspect-ratio: 16 / 9; display: block;
  border-bottom: 1px solid #c3ccd5; }
article h3 { font-size: 1.2rem; margin: .6rem 0 .2rem; }
.watch { font-weight: 600; margin: .4rem 0; }
.links { display: flex; flex-wrap: wrap; gap: .5rem; margin: .7rem 0; }
.links a { border: 2px solid #0b4f86; border-radius: .4rem; padding: .25rem .8rem;
  text-decoration: none; font-weight: 600; }
.links a:first-child { background: #0b4f86; color: #fff; }
details { margin: .35rem 0; } summary { cursor: pointer; font-weight: 600; }
details details { margin-left: 1rem; }
.caution { margin: 1rem 0; }
.differs { border-left: 4px solid #a86200; padding-left: .6rem; }
@media print { .links, .skip { display: none; } .cards > li { break-inside: avoid; } }
"""


class Shown(NamedTuple):
    """One entry of a gallery, as plain data that crosses processes."""

    name: str
    title: str
    verdict: str
    story: str
    watch_for: str
    display: str
    findings: tuple[Mapping[str, Any], ...]
    questions: tuple[Mapping[str, Any], ...]
    page: str
    handout: str
    picture: str
    differs: str = ""


def write_entry(
    recording: Recording, scenario: Scenario, folder: Path, name: str, picture: str, differs: str
) -> Shown:
    """Write page and handout of one run; ``picture``: its file's name, or empty where none is.

    ``differs``: what the run shows against what the scenario expects, in words.

    Raises InputError when a file can't be written.
    """
    from drytouch.viz.page import build_page

    page, handout = f"{name}.html", f"{name}-handout.html"
    questions: tuple[Question, ...] = scenario.questions
    build_page(recording, folder / page, scenario=scenario)
    write_handout(recording, folder / handout, questions, picture)
    return Shown(
        name,
        words.title(recording),
        recording.verdict,
        scenario.story,
        scenario.watch_for,
        scenario.display,
        tuple(dict(finding) for finding in recording.findings),
        tuple(question.model_dump() for question in questions),
        page,
        handout,
        picture,
        differs,
    )


def write_index(folder: Path, entries: Sequence[Shown], note: str = "") -> Path:
    """Write the index of what is there; ``note``: one more line for its reader."""
    groups = {
        verdict: [entry for entry in entries if entry.verdict == verdict] for verdict in GROUPS
    }
    groups = {verdict: found for verdict, found in groups.items() if found}
    body = ['<a class="skip" href="#main">To the demonstrations</a>', "<header>"]
    body.append("<h1>Tool-setter touch-off: demonstrations</h1>")
    body.append(
        f"<p>{len(entries)} runs on a twin of a mill. Each has a replay to step through, a picture "
        "of the decisive moment and a handout to print.</p>"
    )
    body += [f"<p>{safe(note)}</p>"] if note else []
    body += [caution(), "</header>", '<nav aria-label="Outcomes"><ul>']
    body += [
        f'<li><a href="#{verdict or "none"}">{GROUPS[verdict]} ({len(found)})</a></li>'
        for verdict, found in groups.items()
    ]
    body += ["</ul></nav>", '<main id="main">']
    for verdict, found in groups.items():
        key = verdict or "none"
        body.append(f'<section id="{key}" aria-labelledby="{key}-head">')
        body.append(f'<h2 id="{key}-head">{GROUPS[verdict]}</h2><ul class="cards">')
        body += [_card(entry) for entry in found]
        body.append("</ul></section>")
    body += ["</main>", "<footer><p>Made with drytouch.</p>", caution(), "</footer>"]
    path = folder / INDEX
    write_atomically(path, document("Tool-setter touch-off: demonstrations", STYLE, body))
    return path


def _card(entry: Shown) -> str:
    units = Units(entry.display == "inch")
    title = safe(entry.title)
    parts = ["<li><article>"]
    if entry.picture:
        parts.append(
            f'<img src="{safe(entry.picture)}" width="1280" height="720" loading="lazy" '
            f'alt="The decisive moment of: {title}">'
        )
    parts.append(f"<div><h3>{title}</h3>{verdict_mark(entry.verdict)}")
    if entry.differs:
        parts.append(f'<p class="differs">Differs from what it promises: {safe(entry.differs)}</p>')
    if entry.watch_for:
        parts.append(f'<p class="watch">Watch for: {safe(units.text(entry.watch_for))}</p>')
    parts.append(
        f'<p class="links"><a href="{safe(entry.page)}" aria-label="Replay: {title}">Replay</a>'
    )
    parts.append(f'<a href="{safe(entry.handout)}" aria-label="Handout: {title}">Handout</a>')
    if entry.picture:
        parts.append(f'<a href="{safe(entry.picture)}" aria-label="Picture: {title}">Picture</a>')
    parts.append("</p>")
    if entry.story:
        parts.append(
            f"<details><summary>The story</summary><p>{safe(units.text(entry.story))}</p></details>"
        )
    for question in entry.questions:
        parts.append(_question(question, units))
    parts.append(f"<details><summary>What happened and why</summary>{_why(entry, units)}</details>")
    parts.append("</div></article></li>")
    return "".join(parts)


def _question(question: Mapping[str, Any], units: Units) -> str:
    choices = "".join(f"<li>{safe(units.text(str(c)))}</li>" for c in question["choices"])
    answer = int(question["answer"])
    right = safe(units.text(str(question["choices"][answer - 1])))
    because = safe(units.text(str(question["because"])))
    return (
        f"<details><summary>Pause and predict</summary><p>{safe(units.text(question['ask']))}</p>"
        f"<ol>{choices}</ol><details><summary>Answer</summary><p><strong>{answer}: {right}."
        f"</strong> {because}</p></details></details>"
    )


def _why(entry: Shown, units: Units) -> str:
    shown = look.VERDICTS.get(entry.verdict, look.VERDICTS[""])
    parts = [f"<p>{safe(shown.meaning[:1].upper() + shown.meaning[1:])}.</p>"]
    for finding in entry.findings:
        parts.append(f"<h4>{safe(words.named(finding))}</h4>")
        for head, sentence in words.sentences(finding):
            parts.append(f"<p><strong>{safe(head)}:</strong> {safe(units.text(sentence))}</p>")
    for question in entry.questions:
        parts.append(f"<p>{safe(units.text(str(question['because'])))}</p>")
    return "".join(parts)
