"""The debrief in a real browser: replays of each moment, beliefs, who may see them, contrast."""

import re

import pytest
from bench_page_cases import Talker, served, until
from browser_cases import comes
from contrast_cases import LEAST, weak
from page_cases import question, touched

from drytouch.viz import look
from drytouch.viz.bench.room import Rules
from drytouch.viz.page import build_page

pytestmark = pytest.mark.browser

LEAD_S = 3.0
"""As the replay page has it."""


@pytest.fixture(scope="module")
def solo(tmp_path_factory):
    with served(Rules(), tmp_path_factory.mktemp("records")) as running:
        yield running


@pytest.fixture(autouse=True)
def nobody_is_too_slow(monkeypatch):
    """That silence stops the machine is proved elsewhere; here a slow browser may be silent."""
    monkeypatch.setattr("drytouch.viz.bench.seat.SILENT_S", 1e9)


def opened(context, address, exercise="Touch off three tools by hand"):
    page = context.new_page()
    page.goto(address)
    page.get_by_role("button", name=exercise).click()
    comes(page, "window.bench && bench.state() && bench.frames() > 0")
    return page


def do(page, **action):
    """An action, to its end."""
    reply = page.evaluate("(action) => bench.link.act(action)", action)
    assert reply["ok"], (action, reply)
    comes(page, "!bench.state().running && !bench.state().hands && !bench.state().moving")


def badly(page):
    """A short exercise done badly: a hand at the pad, drives on; near things; typed numbers."""
    do(page, do="pace", rate=10)
    comes(page, "bench.state().time_s > 4")
    do(page, do="press-pad", setter="setter")
    do(page, do="load-tool", tool="end-mill-10")
    do(page, do="move", x_mm=-600.0, y_mm=-200.0, frame="machine", feed_mm_per_min=24000.0)
    do(page, do="move", z_mm=-350.0, frame="machine", feed_mm_per_min=9000.0)
    do(page, do="type-in", row=1, length_mm=121.5)
    do(page, do="type-in", setter="setter", x_mm=-598.0)
    do(page, do="type-in", setter="setter", height_mm=60.4)
    do(page, do="type-in", system="G54", z_mm=-495.0)


def judged(page):
    do(page, do="finish")
    page.get_by_role("heading", name="Debrief").wait_for()


def replay_of(page, link):
    """The replay that a link of the page opens in a page of its own."""
    with page.context.expect_page() as coming:
        link.click()
    found = coming.value
    comes(found, "window.drytouch && drytouch.state().frames[0] > 0")
    return found


def test_each_finding_and_risk_opens_its_replay_just_before(people, solo):
    page = opened(people(), solo[0])
    badly(page)
    judged(page)
    findings = page.evaluate("bench.link.debrief.findings")
    assert {"hand-in-reach", "wrong-number"} <= {finding["code"] for finding in findings}
    links = page.locator(".finding").get_by_role("link", name="See it happen")
    assert links.count() == len(findings) == len({f["number"] for f in findings})
    for i in (0, len(findings) - 1):
        replay = replay_of(page, links.nth(i))
        state = replay.evaluate("drytouch.state()")
        assert state["t"] == pytest.approx(max(findings[i]["time_s"] - LEAD_S, 0.0), abs=1e-3)
        assert not state["playing"]
        heading = replay.locator(".card h2").inner_text().lower()
        assert findings[i]["code"].replace("-", " ") in heading
        assert f"{findings[i]['time_s']:.3f} s" in heading
        replay.get_by_role("button", name="Play").click()
        comes(replay, f"drytouch.state().t > {state['t']}")
        replay.close()
    risk = page.evaluate("bench.link.debrief.risk")
    assert 0.0 < risk["nearest_miss_mm"] < 20.0
    replay = replay_of(page, page.get_by_role("link", name="See it happen: nearest miss"))
    assert replay.evaluate("drytouch.state().t") == pytest.approx(
        risk["nearest_miss_s"] - 0.5, abs=1e-3
    )
    assert risk["fastest_approach_from_s"] == risk["fastest_approach_s"] - 0.5
    replay.evaluate(f"drytouch.seek({risk['nearest_miss_s'] + 0.2})")
    comes(replay, "document.querySelector('.head-line').textContent.startsWith('Move · feed, ')")
    # An address typed over in the same page goes there as well.
    replay.evaluate("location.hash = '#at=1.5'")
    comes(replay, "Math.abs(drytouch.state().t - 1.5) < 1e-9")
    for nothing in ("#finding=99", "#finding=x", "#at=x", "#nonsense"):
        replay.evaluate(f"location.hash = '{nothing}'")
    assert replay.evaluate("drytouch.state().t") == 1.5


def test_beliefs_are_drawn_with_figures_and_only_after_the_end(people, solo):
    page = opened(people(), solo[0])
    badly(page)
    early = page.evaluate("bench.link.act({ do: 'outline', on: true })")
    assert (early["ok"], early["code"]) == (False, "not-allowed")
    assert page.evaluate("bench.state().belief") is None
    assert page.evaluate("bench.outlines()") == []
    judged(page)
    shows = page.get_by_role("button", name="Show what was believed")
    shows.click()
    comes(page, "bench.outlines().length === 4")
    said = dict.fromkeys(page.evaluate("bench.outlines()"))
    # The tool is 120 mm long, the setter 59.9 mm high at x -600, the stock's top at -500.
    assert list(said) == [
        "tip taken to be here, 1.500 mm lower",
        "setter taken to be so high, 0.500 mm higher",
        "pad taken to be here, 2.000 mm beside",
        "G54 takes the top to be here, 5.000 mm higher",
    ]
    listed = page.get_by_role("list", name="What was believed").get_by_role("listitem")
    until(lambda: listed.count() == 4)
    assert listed.first.inner_text() == "Tip taken to be 1.500 mm lower"
    page.get_by_label("Show").select_option("inch")
    comes(page, "bench.outlines().includes('tip taken to be here, 0.0591 in lower')")
    assert shows.get_attribute("aria-pressed") == "true"
    shows.click()
    comes(page, "bench.outlines().length === 0 && bench.state().belief === null")


def test_an_instructor_who_watches_has_links_that_work(people, tmp_path):
    with served(Rules(as_class=True), tmp_path) as (address, room):
        trainee = Talker(address, code=room.code, name="Ada", exercise="prove-the-input")
        trainee.hear("state")
        context = people()
        boss = context.new_page()
        boss.goto(f"{address}/#role=instructor&key={room.instructor_key}")
        boss.get_by_role("button", name="Watch Ada").click()
        comes(boss, "bench.state() && bench.frames() > 0")
        assert boss.get_by_role("button", name="Another exercise").count() == 0
        trainee.act("press-pad", setter="setter")
        until(lambda: room.seat_number(1).session.live.hands is None)
        trainee.act("finish")
        boss.get_by_role("heading", name="Debrief").wait_for()
        links = boss.locator(".area a")
        paths = [links.nth(i).get_attribute("href") for i in range(links.count())]
        assert {re.sub(r"\?.*|\d", "", path) for path in paths} == {
            "/seat//replay",
            "/seat//scenario",
        }
        for path in paths:
            assert context.request.get(address + path.split("#")[0]).status == 200
            without = context.request.get(address + path.split("?")[0])
            assert without.status == 404
        replay = replay_of(boss, boss.locator(".finding").get_by_role("link").first)
        assert "Hand in reach" in replay.locator(".card h2").inner_text()
        boss.get_by_role("button", name="Back to the class").click()
        kept = boss.get_by_role("link", name="hand in reach")
        kept.wait_for()
        replay = replay_of(boss, kept)
        assert "/attempt/" in replay.url
        assert "Hand in reach" in replay.locator(".card h2").inner_text()
        trainee.close()


def test_a_page_that_is_shut_out_says_why_and_comes_back(people, solo):
    page = opened(people(), solo[0])
    number = page.evaluate("bench.state().seat.number")
    page.evaluate("for (let i = 0; i < 80; i += 1) bench.link.act({ do: 'no-such-thing' })")
    page.get_by_role("heading", name="The line was closed").wait_for()
    assert "50 messages that make no sense" in page.get_by_role("alert").inner_text()
    assert weak(page, 3) == []
    page.get_by_role("button", name="Come back").click()
    comes(page, f"bench.link.connected && bench.state()?.seat.number === {number}")


def test_every_text_of_the_bench_can_be_read(people, solo):
    context = people()
    page = context.new_page()
    page.goto(solo[0])
    page.get_by_role("heading", name="What do you want to practise?").wait_for()
    assert weak(page, 30) == []
    page = opened(context, solo[0])
    assert weak(page, 100) == []
    for detail in page.locator("details").all():
        detail.evaluate("(element) => (element.open = true)")
    do(page, do="hint")
    page.evaluate("bench.link.act({ do: 'touch', z_mm: 1 })")
    page.locator(".refusal").wait_for()
    do(page, do="feed-hold", on=True)
    do(page, do="feed-hold", on=False)
    do(page, do="mdi", line="G53 G1 Z50 F500")
    page.locator(".alarm").wait_for()
    page.keyboard.press("?")
    page.get_by_role("dialog").wait_for()
    assert weak(page, 120) == []
    page.get_by_role("button", name="Close").click()
    do(page, do="reset")
    badly(page)
    judged(page)
    page.get_by_role("button", name="Show what was believed").click()
    comes(page, "bench.outlines().length === 4")
    assert weak(page, 130) == []


def test_every_text_of_a_class_can_be_read(people, tmp_path):
    with served(Rules(as_class=True), tmp_path) as (address, room):
        page = people().new_page()
        page.goto(address)
        page.get_by_role("heading", name="Join the class").wait_for()
        assert weak(page, 4) == []
        # And what can't be read is found, also where it is so under a pointer only.
        pale = "document.styleSheets[0].insertRule('.strong:hover { color: #aaa; }', 0)"
        page.evaluate(pale)
        assert [(text, large) for text, _, large, _ in weak(page, 4)] == [("Join", False)]
        trainee = Talker(address, code=room.code, name="Ada", exercise="prove-the-input")
        trainee.hear("state")
        trainee.act("finish")
        boss = people().new_page()
        boss.goto(f"{address}/#role=instructor&key={room.instructor_key}")
        boss.get_by_role("link", name="replay").first.wait_for()
        assert weak(boss, 25) == []
        boss.get_by_role("button", name="Stop everybody").click()
        boss.get_by_role("button", name="Watch Ada").click()
        comes(boss, "bench.state() && bench.state().frozen && bench.frames() > 0")
        boss.get_by_role("button", name="Take over").click()
        boss.get_by_role("button", name="Give the machine back").wait_for()
        assert weak(boss, 100) == []
        trainee.close()


def test_every_text_of_a_replay_can_be_read(contexts, tmp_path):
    recording, scenario = touched()
    path = build_page(recording, tmp_path / "page.html", [question("0.25 s")], scenario=scenario)
    page = contexts[0]().new_page()
    page.goto(path.as_uri())
    comes(page, "window.drytouch && drytouch.state().frames[0] > 0")
    assert weak(page, 20) == []
    page.get_by_role("button", name="Play").click()
    page.get_by_role("heading", name="What happens next?").wait_for()
    assert weak(page, 20) == []
    page.keyboard.press("2")
    page.get_by_role("button", name="Watch it happen").wait_for()
    assert weak(page, 20) == []
    page.get_by_role("button", name="Watch it happen").click()
    page.keyboard.press("End")
    page.get_by_role("button", name="Result").click()
    assert weak(page, 20) == []
    page.get_by_role("button", name="Keys").click()
    assert weak(page, 40) == []


def test_verdicts_can_be_read_on_white():
    def light(colour):
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b = (v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    for verdict in look.VERDICTS.values():
        assert 1.05 / (light(verdict.colour) + 0.05) >= LEAST, verdict.word
