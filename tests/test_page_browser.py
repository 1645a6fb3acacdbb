"""The replay page in a browser, from disk: plays, scrubs, jumps, asks, compares, all true."""

import math
import random

import pytest
from browser_cases import comes, reads
from page_cases import demonstration, question, touched

from drytouch.viz.page import build_page

pytestmark = pytest.mark.browser

UM = 1e-3


@pytest.fixture
def opened(contexts, tmp_path):
    """Opens a page; at the end, nothing may have been asked of the net or complained of."""
    make, told, asked = contexts
    context = make(offline=True)

    def open_page(recording, **more):
        path = build_page(recording, tmp_path / "page.html", **more)
        page = context.new_page()
        page.goto(path.as_uri())
        comes(page, "Boolean(window.drytouch)")
        return page

    yield open_page
    assert told == []
    assert len(asked) == 1
    assert asked[0].startswith("file://")


def state(page):
    return page.evaluate("drytouch.state()")


@pytest.mark.parametrize("name", ["clean", "wrong-socket-runaway", "lug-strike-at-jog-speed"])
def test_every_replayed_place_is_the_recorded_one(opened, name):
    recording, scenario = touched() if name == "clean" else demonstration(name)
    page = opened(recording, scenario=scenario)
    chance = random.Random(7)
    ends = [t for line in recording.lines for t in line.t]
    times = [chance.uniform(0.0, recording.duration_s) for _ in range(300)]
    times += [t + off for t in ends for off in (-1e-9, 0.0, 1e-9)]
    found = page.evaluate(
        """([times, setters, signals]) => times.map(t => ({
            q: drytouch.positionAt(t), c: drytouch.commandAt(t), v: drytouch.speedAt(t),
            pads: setters.map(s => drytouch.padDepthAt(s, t)),
            signals: signals.map(s => drytouch.signalAt(s, t)),
        }))""",
        [times, list(recording.setters), list(recording.signals)],
    )
    for t, at in zip(times, found, strict=True):
        assert math.dist(at["q"], recording.position_at(t)) < UM
        assert math.dist(at["c"], recording.command_at(t)) < UM
        assert at["v"] == pytest.approx(recording.speed_at(t), abs=1e-6)
        assert at["pads"] == pytest.approx(
            [recording.pad_depth_at(s, t) for s in recording.setters], abs=UM
        )
        assert at["signals"] == [recording.signal_at(s, t) for s in recording.signals]


def test_it_plays_slows_down_at_the_touch_and_ends(opened):
    recording, scenario = touched()
    page = opened(recording, scenario=scenario)
    contact = next(e.t for e in recording.events if e.kind == "contact")
    close = next(e.t for e in recording.events if e.kind == "close")
    before = state(page)
    assert not before["playing"]
    assert before["t"] == 0.0
    # Slowly: however late this test gets its turn, the run is not over yet.
    while state(page)["rate"] > 0.05:
        page.keyboard.press("[")
    page.keyboard.press("Space")
    comes(page, "drytouch.state().t > 0.02")
    assert state(page)["playing"]
    page.get_by_role("button", name="Pause").click()
    held = state(page)
    assert not held["playing"]
    assert 0.02 < held["t"] < recording.duration_s
    while state(page)["rate"] < 1.0:
        page.keyboard.press("]")
    page.evaluate(f"drytouch.seek({(contact + close) / 2})")
    assert state(page)["running"] < 0.05
    page.keyboard.press("s")
    assert state(page)["running"] == 1.0
    page.keyboard.press("End")
    assert state(page)["t"] == recording.duration_s
    page.evaluate(f"drytouch.seek({recording.duration_s - 0.05})")
    page.keyboard.press("Space")
    comes(page, "!drytouch.state().playing")
    assert state(page)["t"] == recording.duration_s


def test_scrubbing_stepping_and_speed(opened):
    recording, scenario = touched()
    page = opened(recording, scenario=scenario)
    page.get_by_label("Time", exact=True).last.evaluate(
        "(e) => { e.value = e.max / 2; e.dispatchEvent(new Event('input', {bubbles: true})); }"
    )
    assert state(page)["t"] == pytest.approx(recording.duration_s / 2, rel=1e-6)
    page.keyboard.press("Home")
    passed = []
    for _ in range(40):
        page.keyboard.press("ArrowRight")
        passed.append(state(page)["t"])
    for kind in ("contact", "close", "latch", "leave"):
        at = next(e.t for e in recording.events if e.kind == kind)
        assert min(abs(t - at) for t in passed) < 1e-9
    assert passed == sorted(passed)
    page.keyboard.press("ArrowLeft")
    assert state(page)["t"] < recording.duration_s
    for _ in range(12):
        page.keyboard.press("[")
    assert state(page)["rate"] == 1 / 1000
    page.keyboard.press("]")
    assert state(page)["rate"] == 1 / 500


def test_each_finding_is_reached_read_out_and_explained(opened):
    recording, scenario = demonstration("wrong-socket-runaway")
    page = opened(recording, scenario=scenario, questions=())
    findings = sorted(recording.findings, key=lambda f: f["time_s"])
    assert len(findings) >= 3
    for finding in findings:
        page.keyboard.press("f")
        assert state(page)["t"] == pytest.approx(finding["time_s"], abs=1e-9)
        card = page.get_by_label("What happened")
        for key in ("what", "why", "avoid"):
            text = finding[key][:1].upper() + finding[key][1:]
            reads(card, text)
        reads(page.locator("[aria-live]"), finding["why"])
    page.get_by_role("button", name="Finding 1").click()
    assert state(page)["t"] == pytest.approx(findings[0]["time_s"], abs=1e-9)


@pytest.mark.parametrize(("choice", "said"), [(2, "Right."), (1, "Not so.")])
def test_a_question_stops_time_and_hides_what_comes(opened, choice, said):
    recording, scenario = touched()
    page = opened(recording, scenario=scenario, questions=[question()])
    close = next(e.t for e in recording.events if e.kind == "close")
    latch = next(e.t for e in recording.events if e.kind == "latch")
    page.evaluate(f"drytouch.seek({close - 0.002})")
    page.keyboard.press("Space")
    comes(page, "drytouch.state().asked")
    stopped = state(page)
    assert close < stopped["t"] < latch
    assert not stopped["playing"]
    page.keyboard.press("Space")
    assert state(page)["t"] == stopped["t"]
    page.keyboard.press(str(choice))
    card = page.get_by_label("Question")
    reads(card, said)
    reads(card, "The input came on.")
    page.get_by_role("button", name="Watch it happen").click()
    comes(page, f"drytouch.state().t > {latch}")
    assert state(page)["asked"] is None


def test_two_runs_side_by_side_share_one_time(opened):
    one, scenario = touched()
    two, _ = touched(feed=400.0)
    page = opened(one, scenario=scenario, beside=two, beside_scenario=scenario)
    first = [next(e.t for e in r.events if e.kind == "contact") for r in (one, two)]
    page.evaluate(f"drytouch.seek({first[0]})")
    assert state(page)["times"] == pytest.approx(first, abs=1e-9)
    assert page.locator("canvas").count() >= 2
    assert min(state(page)["frames"]) >= 1
    assert page.evaluate("document.documentElement.scrollWidth") == 1280


def test_belief_is_drawn_where_it_differs_and_can_be_hidden(opened):
    recording, scenario = demonstration("wrong-socket-runaway")
    page = opened(recording, scenario=scenario, questions=())
    page.keyboard.press("End")
    comes(page, "drytouch.state().outlines[0].length > 0")
    page.keyboard.press("b")
    comes(page, "drytouch.state().outlines[0].length == 0")


def test_cameras_units_and_the_caution(opened):
    recording, scenario = touched()
    page = opened(recording, scenario=scenario)
    for key, name in zip("12340", ["whole", "nose", "pad", "follow", "choose"], strict=True):
        page.keyboard.press(key)
        assert state(page)["camera"] == name
    page.keyboard.press(".")
    assert state(page)["camera"] == "free"
    assert " mm" in page.get_by_label("Signals").inner_text().replace("\u00a0", " ")
    page.keyboard.press("u")
    comes(page, "document.querySelector('.plot-head').innerText.includes('in')")
    caution = page.get_by_role("note")
    reads(caution, "proves nothing about your machine")
    box = caution.bounding_box()
    assert box["y"] + box["height"] <= 720
    page.keyboard.press("h")
    page.get_by_role("dialog").wait_for()
    page.keyboard.press("Escape")
    page.get_by_role("dialog").wait_for(state="detached")
