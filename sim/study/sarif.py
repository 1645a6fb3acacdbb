"""A matrix as SARIF 2.1.0 (OASIS), which code reviews show beside the lines of the routine."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from drytouch.sim.study.case import Case
from drytouch.sim.study.job import whole_path
from drytouch.sim.study.matrix import Matrix
from drytouch.sim.truth.catalogue import CATALOGUE
from drytouch.sim.twin.twin import VERSION

SCHEMA = "https://json.schemastore.org/sarif-2.1.0.json"
# A finding that was put right in time has the severity "right".
_LEVELS = {
    "harm": "error",
    "wrong": "error",
    "risky": "warning",
    "stopped": "note",
    "right": "note",
}
_ENDED = "no-good-end"


def sarif(matrices: Sequence[Matrix], scenario_file: Path | None = None) -> dict[str, Any]:
    """The log as plain data: each finding of a missed fault or of harm, on its line.

    A finding that has no line of its own (a built-in routine's) points at the scenario's file.
    """
    results = [
        result
        for matrix in matrices
        for case in _telling(matrix)
        for result in _results(case, matrix, scenario_file)
    ]
    used = dict.fromkeys(result["ruleId"] for result in results)
    driver = {
        "name": "drytouch",
        "semanticVersion" if VERSION[:1].isdigit() else "version": VERSION,
        "rules": [_rule(code) for code in used],
    }
    order = list(used)
    for result in results:
        result["ruleIndex"] = order.index(result["ruleId"])
    run = {"tool": {"driver": driver}, "columnKind": "unicodeCodePoints", "results": results}
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}


def _telling(matrix: Matrix) -> list[Case]:
    """The cases that say something against the routine."""
    bad = [case for case in matrix.without if case.verdict != "right" or case.alarm]
    bad += [case for case in matrix.cases if case.result in ("missed", "harm")]
    return bad + matrix.worse_together


def _rule(code: str) -> dict[str, Any]:
    entry = CATALOGUE.get(code)
    words = code.replace("-", " ")
    rule: dict[str, Any] = {"id": code, "shortDescription": {"text": words}}
    if entry is not None:
        rule["help"] = {"text": entry.avoid}
        rule["defaultConfiguration"] = {"level": _LEVELS[entry.verdict]}
    return rule


def _results(case: Case, matrix: Matrix, scenario_file: Path | None) -> list[dict[str, Any]]:
    under = f"With '{case.name}' ({case.title}): " if case.faults else "Without any fault: "
    catch = f" To catch it: {case.catch}" if case.faults else ""
    found = [
        _result(
            finding["code"],
            _LEVELS[finding["severity"]],
            f"{under}{finding['what']} {finding['why']}{catch}",
            _location(finding["file"], finding["line"], matrix, scenario_file),
            case,
        )
        for finding in case.findings
        if finding["severity"] not in ("stopped", "right") or not case.faults
    ]
    if not found:
        place = _location(None, None, matrix, scenario_file)
        found = [_result(_ENDED, "error", f"{under}{case.why}{catch}", place, case)]
    return found


def _result(
    code: str, level: str, text: str, location: list[dict[str, Any]], case: Case
) -> dict[str, Any]:
    return {
        "ruleId": code,
        "level": level,
        "message": {"text": text},
        "locations": location,
        "partialFingerprints": {"faultAndFinding/v1": f"{case.name}/{code}"},
    }


def _location(
    file: str | None, line: int | None, matrix: Matrix, scenario_file: Path | None
) -> list[dict[str, Any]]:
    if not file and matrix.job.kind in ("function", "program"):
        file, line = _file_of(matrix), None
    if not file and scenario_file is not None:
        file, line = str(scenario_file), None
    if not file:
        return []
    uri = _uri(whole_path(file, matrix.job))
    place = {"artifactLocation": {"uri": uri}, "region": {"startLine": line or 1}}
    return [{"physicalLocation": place}]


def _file_of(matrix: Matrix) -> str:
    name = matrix.job.name
    return name.rpartition(":")[0] if matrix.job.kind == "function" else name


def _uri(path: Path) -> str:
    """Relative to the folder that it was run in where it lies below that: what a review needs."""
    whole = path.resolve()
    here = Path.cwd().resolve()
    return whole.relative_to(here).as_posix() if whole.is_relative_to(here) else whole.as_uri()
