"""A matrix as one self-contained page: score, rule, every fault, pictures of the harm."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from html import escape
from pathlib import Path

from drytouch.sim.commands.caution import CAUTION
from drytouch.sim.study.case import WORST_FIRST, Case
from drytouch.sim.study.matrix import SCORE_RULE, Matrix

_STYLE = """
body { font: 16px/1.45 system-ui, sans-serif; margin: 2rem auto; max-width: 76rem; padding: 0 1rem;
  color: #1c2126; background: #fdfcf9; }
h1 { font-size: 1.6rem; } h2 { font-size: 1.2rem; margin-top: 2.2rem; }
table { border-collapse: collapse; width: 100%; overflow-wrap: anywhere; }
th, td { text-align: left; vertical-align: top; padding: .45rem .6rem;
  border-bottom: 1px solid #ddd; }
.word { font-weight: 650; white-space: nowrap; }
.word::before { display: inline-block; width: 1.4em; }
.caught::before { content: "\\2713"; } .missed::before { content: "?"; }
.harm::before { content: "\\2715"; } .none::before { content: "\\00b7"; }
.harm { color: #9b1c1c; } .missed { color: #8a5a00; } .caught { color: #1d6b3a; }
.none { color: #667; }
.small { color: #556; font-size: .9rem; }
.score { font-size: 2.4rem; font-weight: 700; }
figure { margin: .5rem 0; } img { max-width: 100%; border: 1px solid #ccc; }
.caution { border: 2px solid #8a5a00; padding: .6rem .9rem; margin-top: 2.5rem; }
@media (prefers-color-scheme: dark) { body { color: #e8e6e0; background: #16191d; }
  .harm { color: #ff9b93; } .missed { color: #f0c060; } .caught { color: #7fd6a0; }
  .none, .small { color: #a4abb3; } th, td { border-color: #3a4047; } }
"""


def page(matrices: Sequence[Matrix], pictures: Mapping[str, bytes] | None = None) -> str:
    """The page's text; ``pictures`` are PNG files by a case's name, of the first matrix."""
    first = matrices[0]
    title = f"{_what(first)} against what can be wrong"
    parts = [
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>",
        "<meta name='viewport' content='width=device-width, initial-scale=1'>",
        f"<title>{escape(title)}</title><style>{_STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1>",
        f"<p>On {escape(first.scenario or 'a scenario')}, seed {first.seed}.</p>",
    ]
    for matrix in matrices:
        parts += _score(matrix)
    if any(matrix.score is not None for matrix in matrices):
        parts.append(f"<p class='small'>The score: {escape(SCORE_RULE)}.</p>")
    parts += _faults(matrices)
    parts += _pairs(first)
    parts += _pictures(first, pictures or {})
    parts.append(f"<p class='caution'>Caution: {escape(CAUTION)}</p></body></html>\n")
    return "\n".join(parts)


def _what(matrix: Matrix) -> str:
    return matrix.job.name.replace("\\", "/").rpartition("/")[2]


def _score(matrix: Matrix) -> list[str]:
    name, score = escape(_what(matrix)), matrix.score
    if score is None:
        why = matrix.without[0].why if matrix.without else "it was interrupted"
        return [
            f"<p><b>{name}</b>: no score. Without a fault it ended "
            f"<b>{escape(matrix.without[0].verdict if matrix.without else 'nowhere')}</b>: "
            f"{escape(why)}</p>"
        ]
    counts = ", ".join(f"{matrix.count(result)} {result}" for result in WORST_FIRST)
    return [
        f"<p><b>{name}</b>: <span class='score'>{score:.0f}</span> of 100. {escape(counts)}; "
        f"{matrix.false_stops} false stops in {len(matrix.without)} runs without a fault.</p>",
        "" if matrix.finished else "<p><b>Interrupted: this is what was done.</b></p>",
    ]


def _faults(matrices: Sequence[Matrix]) -> list[str]:
    heads = "".join(f"<th>{escape(_what(matrix))}</th>" for matrix in matrices)
    rows = ["<h2>Every fault</h2>", f"<table><tr><th>fault</th>{heads}</tr>"]
    others = [{case.faults: case for case in matrix.cases} for matrix in matrices[1:]]
    for case in _ordered(matrices[0].cases):
        cells = [_cell(case), *(_cell(other.get(case.faults)) for other in others)]
        rows.append(
            f"<tr><td><b>{escape(case.title)}</b><br><span class='small'>{escape(case.name)}"
            f"</span></td>{''.join(cells)}</tr>"
        )
    return [*rows, "</table>"]


def _ordered(cases: Sequence[Case]) -> list[Case]:
    return sorted(cases, key=lambda case: WORST_FIRST.index(case.result))


def _cell(case: Case | None) -> str:
    if case is None:
        return "<td></td>"
    kind = "none" if case.result == "no effect" else case.result
    text = f"<td><span class='word {kind}'>{case.result}</span><br>{escape(case.why)}"
    if case.result in ("missed", "harm"):
        text += f"<br><span class='small'>To catch it: {escape(case.catch)}</span>"
        text += "".join(f"<br><span class='small'>{place}</span>" for place in _places(case))
    if case.result != "no effect" and not case.counts:
        text += "<br><span class='small'>No routine can notice this; it is not in the score.</span>"
    return text + "</td>"


def _places(case: Case) -> list[str]:
    found = [
        f"{finding['code']} at line {finding['line']} of {escape(Path(finding['file']).name)}"
        for finding in case.findings
        if finding["line"]
    ]
    return list(dict.fromkeys(found))


def _pairs(matrix: Matrix) -> list[str]:
    if not matrix.pairs:
        return []
    worse = matrix.worse_together
    rows = [
        "<h2>Two faults at once</h2>",
        f"<p>{len(matrix.pairs)} pairs; {len(worse)} end worse than either fault alone.</p>",
    ]
    if worse:
        rows.append("<table><tr><th>faults</th><th>together</th></tr>")
        rows += [f"<tr><td>{escape(c.title)}</td>{_cell(c)}</tr>" for c in _ordered(worse)]
        rows.append("</table>")
    return rows


def _pictures(matrix: Matrix, pictures: Mapping[str, bytes]) -> list[str]:
    if not pictures:
        return []
    parts = ["<h2>What the harm looks like</h2>"]
    for case in matrix.cases:
        data = pictures.get(case.name)
        if data is not None:
            coded = base64.b64encode(data).decode("ascii")
            says = escape(f"{case.title}. {case.why}")
            parts.append(
                f"<figure><img alt='{escape(says, quote=True)}' "
                f"src='data:image/png;base64,{coded}'><figcaption>{says}</figcaption></figure>"
            )
    return parts
