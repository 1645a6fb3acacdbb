"""How soon the replay page is ready and how many frames a second it shows.

Run ``python benchmarks/page_speed.py [DEMONSTRATION ...]``; needs Chromium and playwright. Without
a graphics card the browser draws in software, which is the slow case.
"""

import statistics
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from drytouch.sim.recording import Recording
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.twin.twin import Twin
from drytouch.viz.page import build_page

FLAGS = [
    "--no-sandbox",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-background-networking",
]
OPENINGS = 5
WATCHED_S = 4.0


def measure(browser, path: Path) -> tuple[float, float]:
    """Median time to be ready, ms, and frames a second while it plays."""
    ready, frames = [], 0.0
    for opening in range(OPENINGS):
        page = browser.new_page(viewport={"width": 1280, "height": 720})
        page.goto(path.as_uri())
        page.wait_for_timeout(1500)
        ready.append(page.evaluate("drytouch.readyMs"))
        if opening == OPENINGS - 1:
            page.wait_for_timeout(500)
            before = page.evaluate("drytouch.state().frames[0]")
            page.keyboard.press("Space")
            page.wait_for_timeout(WATCHED_S * 1000)
            frames = (page.evaluate("drytouch.state().frames[0]") - before) / WATCHED_S
        page.close()
    return statistics.median(ready), frames


def main(names: list[str]) -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        for name in names:
            scenario = load_scenario(name)
            recording = Recording.from_outcome(Twin(scenario).run_steps())
            path = build_page(
                recording, Path(folder) / f"{name}.html", questions=(), scenario=scenario
            )
            ready, frames = measure(browser, path)
            size = path.stat().st_size / 1000
            print(f"{name}: {size:.0f} kB, ready in {ready:.0f} ms, {frames:.0f} frames/s")
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1:] or ["wrong-socket-runaway", "length-done-right", "commissioning-by-face"])
