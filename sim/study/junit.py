"""A matrix as JUnit XML, which build servers show as tests: one test a fault."""

from __future__ import annotations

import re
from collections.abc import Sequence
from xml.etree import ElementTree as Xml

from drytouch.sim.study.case import Case
from drytouch.sim.study.matrix import Matrix

# Characters that XML 1.0 can't hold at all.
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def junit(matrices: Sequence[Matrix]) -> str:
    """The XML text: caught passes, missed and harm fail, no effect is skipped with its reason."""
    root = Xml.Element("testsuites", name="drytouch matrix")
    for matrix in matrices:
        suite = Xml.SubElement(root, "testsuite", name=f"{matrix.job.name} on {matrix.scenario}")
        cases = [*matrix.without, *matrix.cases, *matrix.worse_together]
        for case in cases:
            _add(suite, case, matrix)
        failed = len(suite.findall("testcase/failure"))
        suite.set("tests", str(len(cases)))
        suite.set("failures", str(failed))
        suite.set("errors", "0")
        suite.set("skipped", str(len(suite.findall("testcase/skipped"))))
    Xml.indent(root)
    return Xml.tostring(root, encoding="unicode", xml_declaration=True) + "\n"


def _add(suite: Xml.Element, case: Case, matrix: Matrix) -> None:
    name = case.name
    if not case.faults:
        name = f"no fault, seed {matrix.seed + matrix.without.index(case)}"
    test = Xml.SubElement(suite, "testcase", classname=matrix.job.name, name=name)
    test.set("time", f"{case.time_s:.3f}")  # simulated: what it would take at the machine
    if not case.faults:
        if case.verdict != "right" or case.alarm:
            _say(test, "failure", f"without a fault it ended {case.verdict}", case.why)
    elif case.result in ("missed", "harm"):
        _say(test, "failure", f"{case.result}: {case.why}", f"To catch it: {case.catch}")
    elif case.result == "no effect":
        _say(test, "skipped", case.why, "")


def _say(test: Xml.Element, kind: str, message: str, text: str) -> None:
    entry = Xml.SubElement(test, kind, message=_NOT_XML.sub("?", message))
    entry.text = _NOT_XML.sub("?", text)
