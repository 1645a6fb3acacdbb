"""One headless browser for all tests of a page, and people in it who share nothing."""

from __future__ import annotations

import re
import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

LONGEST_S = 60.0
"""A browser that draws in software beside other tests may stall; what comes, comes within this."""

FLAGS = [
    "--no-sandbox",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-background-networking",
]
WIDE, HIGH = 1280, 720


def chromium() -> str | None:
    """Where the browser is, if it is there."""
    for path in ("/usr/bin/chromium", shutil.which("chromium")):
        if path and Path(path).exists():
            return path
    return None


@pytest.fixture(scope="module")
def browser(request: pytest.FixtureRequest) -> Iterator[Any]:
    """One browser for a file's tests; ``MORE_FLAGS`` of the file are its own."""
    path = chromium()
    if path is None:
        pytest.skip("Chromium is missing: apt-get install chromium")
    sync_api = pytest.importorskip("playwright.sync_api", reason="pip install playwright")
    with sync_api.sync_playwright() as playwright:
        flags = [*FLAGS, *getattr(request.module, "MORE_FLAGS", ())]
        running = playwright.chromium.launch(executable_path=path, args=flags)
        yield running
        running.close()


@pytest.fixture
def contexts(browser: Any) -> Iterator[tuple[Callable[..., Any], list[str], list[str]]]:
    """Makes browsers of their own; beside it all that they complained of, and asked for."""
    made: list[Any] = []
    told: list[str] = []
    asked: list[str] = []

    def make(**more: Any) -> Any:
        context = browser.new_context(viewport={"width": WIDE, "height": HIGH}, **more)
        context.set_default_timeout(LONGEST_S * 1000)
        context.on("console", lambda message: told.append(message.text))
        context.on("weberror", lambda error: told.append(str(error.error)))
        context.on("request", lambda request: asked.append(request.url))
        made.append(context)
        return context

    yield make, told, asked
    for context in made:
        context.close()


@pytest.fixture
def people(contexts: Any) -> Iterator[Callable[[], Any]]:
    """Browsers of their own for the bench; none may complain or ask elsewhere."""
    make, told, asked = contexts
    yield make
    # A line that a test cuts is complained of by the browser itself; a driver, of slow copies.
    own = ("WebSocket", "GL Driver Message")
    assert [text for text in told if not any(word in text for word in own)] == []
    assert [url for url in asked if not re.match(r"(http|ws)://127\.0\.0\.1:|data:", url)] == []


def comes(page: Any, script: str) -> Any:
    """Wait until a script gives something true, and give it back.

    Asked from outside, because a page's policy may forbid it to evaluate anything. One that
    can't be evaluated is a mistake of the test, or a page that goes: it is not waited for.
    """
    end = time.monotonic() + LONGEST_S
    while not (found := page.evaluate(script)):
        assert time.monotonic() < end, f"never came true: {script}"
        time.sleep(0.02)
    return found


def reads(place: Any, text: str) -> None:
    """Wait until a text stands where it should: what is told is drawn a frame later."""
    end = time.monotonic() + LONGEST_S
    while text not in (shown := place.inner_text()):
        assert time.monotonic() < end, f"{text!r} is not in {shown!r}"
        time.sleep(0.02)
