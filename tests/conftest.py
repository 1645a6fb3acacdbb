"""What all tests share: the browser, how examples are chosen, and skips that count.

Environment: ``HYPOTHESIS_PROFILE`` is ``here`` (new examples each time) or ``ci`` (the same ones
each time); ``DRYTOUCH_NO_SKIPS=1`` turns each skip into a failure.
"""

import os
from collections.abc import Generator
from typing import Any

import pytest
from browser_cases import browser, contexts, people
from hypothesis import settings

__all__ = ["browser", "contexts", "people"]

# No deadline: a shared machine can stall any example, and speed has its own tests.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, database=None, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "here"))

NO_SKIPS = os.environ.get("DRYTOUCH_NO_SKIPS", "") not in ("", "0")


def _unskipped(report: Any) -> None:
    if report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"{report.nodeid}: nothing may be skipped here; {reason}"


if NO_SKIPS:

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_makereport() -> Generator[None, Any, Any]:
        report = yield
        _unskipped(report)
        return report

    @pytest.hookimpl(wrapper=True)
    def pytest_make_collect_report() -> Generator[None, Any, Any]:
        report = yield
        _unskipped(report)
        return report
