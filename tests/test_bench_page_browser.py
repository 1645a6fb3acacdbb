"""The bench's page in a real browser: an exercise by keyboard, lost lines, two pages, a class."""

import json
import re
import time

import pytest
from bench_page_cases import served, until
from browser_cases import comes

import drytouch.viz.bench.seat
from drytouch.viz.bench.room import Rules

pytestmark = pytest.mark.browser

STEP_MM = 0.001


@pytest.fixture(scope="module", autouse=True)
def patience():
    """A computer that stalls is no page that went away: what silence does has tests of its own.

    Keys still come up for want of a beat: that is known by the session itself.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(drytouch.viz.bench.seat, "SILENT_S", 60.0)
        yield


@pytest.fixture(scope="module")
def solo(tmp_path_factory):
    with served(Rules(), tmp_path_factory.mktemp("records")) as running:
        yield running


def opened(context, address, exercise=None, sent=None):
    """A page at an exercise; what it sends to the server is added to ``sent``."""
    page = context.new_page()
    if sent is not None:
        page.on("websocket", lambda line: line.on("framesent", lambda told: sent.append(told)))
    page.goto(address)
    if exercise:
        page.get_by_role("button", name=exercise).click()
    comes(page, "window.bench && bench.state() && bench.frames() > 0")
    return page


def state(page, key):
    return page.evaluate(f"bench.state().{key}")


def kinds(page):
    return [event["kind"] for event in page.evaluate("bench.events()")]


def hold(page, key, script, where=None):
    """Hold a key down until something is so; it is still down then. Gives back how often.

    On a busy machine a page may beat too late, and its key counts as let go: it is pressed again.
    """
    times = 0

    def reached():
        nonlocal times
        if (where or page).evaluate(script):
            return True
        if not page.evaluate("bench.state().key || bench.state().moving"):
            page.keyboard.up(key)
            page.keyboard.down(key)
            times += 1
            time.sleep(0.1)
        return False

    until(reached)
    return times


def done(sent):
    """What a page asked for, one word each."""
    return [json.loads(message).get("do") for message in sent]


def press(page, *keys):
    for key in keys:
        page.keyboard.press(key)


def tab_to(page, name, role=("BUTTON",)):
    """Walk with the Tab key until the element with that text has the focus."""
    focus = (
        "(() => { const e = document.activeElement; return [e.tagName, (e.textContent || '') + "
        "(e.closest('label')?.textContent || '')]; })()"
    )
    for _ in range(80):
        page.keyboard.press("Tab")
        tag, text = page.evaluate(focus)
        if tag in role and name in text:
            return
    pytest.fail(f"the keyboard never came to {name!r}")


def test_a_whole_exercise_by_keyboard_alone(people, solo):
    page = people().new_page()
    page.goto(solo[0])
    page.get_by_role("heading", name="What do you want to practise?").wait_for()
    tab_to(page, "Prove the input")
    press(page, "Enter")
    comes(page, "window.bench && bench.state() && bench.frames() > 0")
    press(page, "0")
    tab_to(page, "Switch drives off")
    press(page, "Enter")
    comes(page, "!bench.state().modes.drives")
    wanted = page.evaluate("bench.state().inputs.find((i) => i.watched).socket")
    press(page, "2")
    tab_to(page, "Socket", ("SELECT",))
    for _ in range(5):
        if page.evaluate("document.activeElement.value") == wanted:
            break
        press(page, "ArrowDown")
    tab_to(page, "Plug in")
    press(page, "Enter")
    comes(page, "bench.state().inputs.some((i) => i.watched && i.plug)")
    tab_to(page, "Press the pad")
    press(page, "Enter")
    comes(page, "bench.state().inputs.some((i) => i.watched && i.proved) && !bench.state().hands")
    press(page, "0")
    tab_to(page, "Switch drives on")
    press(page, "Enter")
    comes(page, "bench.state().modes.drives")
    press(page, "1")
    tab_to(page, "judge it")
    press(page, "Enter")
    page.get_by_role("heading", name="Debrief").wait_for()
    assert page.evaluate("bench.link.debrief.verdict") == "right"
    assert page.locator(".verdict").inner_text().startswith("RIGHT")
    assert page.locator("footer").inner_text().startswith("Caution")


def test_a_held_key_moves_and_stops_and_steps_are_exact(people, solo):
    sent = []
    page = opened(people(), solo[0], "Touch off three tools by hand", sent)
    times = hold(page, "PageDown", "bench.state().position.machine_mm[2] < -1")
    for _ in range(3):
        page.keyboard.down("PageDown")  # the keyboard's own repeats are no new presses
    page.keyboard.up("PageDown")
    comes(page, "!bench.state().moving && !bench.state().key")
    assert done(sent).count("jog-press") == times
    assert done(sent).count("beat") > 1
    before = state(page, "position.machine_mm")[2]
    for _ in range(4):
        press(page, ",")
    press(page, "PageDown", "PageDown", "PageUp", "PageDown")
    comes(page, f"Math.abs(bench.state().position.machine_mm[2] - ({before - 2 * STEP_MM})) < 1e-4")
    press(page, "w", "ArrowUp", "ArrowUp")
    comes(page, f"Math.abs(bench.state().position.machine_mm[2] - ({before})) < 1e-4")
    page.get_by_label("Show").select_option("inch")
    comes(page, "bench.state().position.decimals === 4")
    page.locator(".readout th", has_text=re.compile("^in$")).wait_for()
    shown = page.locator(".readout tbody tr").nth(2).locator("td").first.inner_text()
    assert float(shown) == pytest.approx(before / 25.4, abs=6e-5)


def test_emergency_stop_from_a_field_and_back(people, solo):
    page = opened(people(), solo[0], "Touch off three tools by hand")
    # It takes 40 s: time enough to press, however busy the computer is.
    page.get_by_label("One line, in mm").fill("G53 G1 Z-200 F300")
    press(page, "Enter")
    comes(page, "bench.state().position.machine_mm[2] < -1")
    press(page, "Escape")
    comes(page, "bench.state().modes.e_stop && !bench.state().moving")
    page.get_by_role("button", name="Stop is pressed in").wait_for()
    assert -190 < state(page, "position.machine_mm")[2] < -1
    assert page.locator(".ticker").get_attribute("aria-live") == "polite"
    page.get_by_role("button", name="Reset").click()
    comes(page, "!bench.state().modes.e_stop")


def test_a_lost_line_stops_the_jog_and_the_session_goes_on(people, solo):
    page = opened(people(), solo[0], "Touch off three tools by hand")
    number = state(page, "seat.number")
    page.get_by_label("Held, at").select_option("2000")
    page.locator("body").click(position={"x": 400, "y": 100})
    hold(page, "ArrowLeft", "bench.state().position.machine_mm[0] < -5")
    page.evaluate("bench.drop()")
    comes(
        page,
        "bench.link.connected && bench.state() "
        "&& bench.events().some((e) => e.kind === 'page-lost')",
    )
    page.keyboard.up("ArrowLeft")
    assert state(page, "seat.number") == number
    comes(page, "!bench.state().moving")
    rest = state(page, "position.machine_mm")
    page.reload()
    comes(page, "window.bench && bench.state() && bench.frames() > 0")
    assert state(page, "seat.number") == number
    assert state(page, "position.machine_mm") == rest
    seat = solo[1].seat_number(number)
    assert seat.session.live.log[-1].until_s is not None


def test_a_page_that_loses_the_keys_lets_go(people, solo):
    sent = []
    page = opened(people(), solo[0], "Touch off three tools by hand", sent)
    hold(page, "ArrowDown", "bench.state().key")
    released = done(sent).count("jog-release")
    page.evaluate("window.dispatchEvent(new Event('blur'))")
    until(lambda: page.evaluate("1") and done(sent).count("jog-release") == released + 1)
    comes(page, "!bench.state().key && !bench.state().moving")
    page.keyboard.up("ArrowDown")
    assert done(sent).count("jog-release") == released + 1  # it was up already


def test_two_pages_of_one_session_agree(people, solo):
    context = people()
    one = opened(context, solo[0], "Work Z on stock")
    two = opened(context, solo[0])
    assert state(one, "seat.number") == state(two, "seat.number")
    cell = one.get_by_label("Z of G55")
    cell.fill("-123.456")
    cell.press("Enter")
    comes(two, "bench.state().tables.systems.G55[2] === -123.456")
    until(lambda: two.get_by_label("Z of G55").input_value() == "-123.456")
    two.get_by_label("Rapid override, percent").fill("25")
    comes(one, "bench.state().modes.rapid_override === 0.25")
    one.bring_to_front()
    one.locator("h1").click()  # out of the field: there, arrows would type
    hold(one, "ArrowLeft", "bench.state().position.machine_mm[0] < -1", two)
    one.keyboard.up("ArrowLeft")
    for page in (one, two):
        comes(page, "!bench.state().moving && !bench.state().key")
    # What one page was just told may be on its way to the other.
    until(
        lambda: (
            state(one, "position.machine_mm") == state(two, "position.machine_mm")
            and kinds(one) == kinds(two)
        )
    )


def test_a_class_of_two_trainees_and_an_instructor(people, tmp_path):
    with served(Rules(as_class=True), tmp_path) as (address, room):
        pages = []
        for name in ("Ada", "Bo"):
            page = people().new_page()
            page.goto(address)
            page.get_by_label("Join code").fill("nonsense")
            page.get_by_role("button", name="Join").click()
            page.get_by_text("join code is not").wait_for()
            page.get_by_label("Join code").fill(room.code)
            page.get_by_label("Your name").fill(name)
            page.get_by_role("button", name="Join").click()
            page.get_by_role("button", name="Touch off three tools by hand").click()
            comes(page, "window.bench && bench.state() && bench.frames() > 0")
            pages.append(page)
        ada, bo = pages
        boss = people().new_page()
        boss.goto(f"{address}/#role=instructor&key={room.instructor_key}")
        boss.get_by_role("button", name="Watch Bo").wait_for()
        boss.get_by_role("button", name="Stop everybody").click()
        for page in pages:
            comes(page, "bench.state().frozen")
        ada.get_by_text("The instructor has stopped everybody").first.wait_for()
        boss.get_by_role("button", name="Let everybody go on").click()
        boss.get_by_role("button", name="Watch Bo").click()
        comes(boss, "bench.state() && bench.frames() > 0")
        hold(bo, "PageDown", "bench.state().position.machine_mm[2] < -1", boss)
        boss.get_by_role("button", name="Take over").click()
        comes(bo, "bench.state().seat.taken_over && !bench.state().moving")
        bo.keyboard.up("PageDown")
        bo.get_by_text("The instructor has the machine").wait_for()
        boss.get_by_role("button", name="Give the machine back").wait_for()
        boss.get_by_label("Fault").select_option("unplugged")
        boss.get_by_role("button", name="Let it begin").click()
        until(lambda: any(e.step.do == "fault" for e in room.seat_number(2).session.live.log))
        boss.get_by_role("button", name="Give the machine back").click()
        comes(bo, "!bench.state().seat.taken_over")
        boss.get_by_role("button", name="Back to the class").click()
        ada.get_by_role("button", name="judge it").click()
        boss.get_by_role("cell", name="unfinished, ").wait_for()
        boss.get_by_role("link", name="replay").first.wait_for()
        boss.get_by_role("cell", name="three tools by hand").first.wait_for()
        assert {row["trainee"] for row in room.records.attempts()} == {"Ada"}


def test_landmarks_names_and_a_screen_without_scrolling(people, solo):
    page = opened(people(), solo[0], "Touch off three tools by hand")
    assert page.get_by_role("main").count() == page.get_by_role("contentinfo").count() == 1
    for name in (
        "Task",
        "Hands",
        "Controller",
        "Notes",
        "Where it is",
        "Move the axes",
        "Stop and go",
    ):
        assert page.get_by_role("region", name=re.compile(f"^{name}")).count() == 1
    nameless = page.evaluate(
        "[...document.querySelectorAll('button, select, input')].filter((e) => "
        "!(e.textContent.trim() || e.getAttribute('aria-label') || e.closest('label'))).length"
    )
    assert nameless == 0
    wide, high = page.evaluate("[document.body.scrollWidth, document.body.scrollHeight]")
    assert (wide, high) == (1280, 720)
    overflowing = page.evaluate(
        "[...document.querySelectorAll('.deck, .sheets, nav, header')]"
        ".filter((e) => e.scrollWidth > e.clientWidth).map((e) => e.className)"
    )
    assert overflowing == []
    frames = page.evaluate("bench.frames()")
    hold(page, "ArrowLeft", f"bench.frames() > {frames + 3}")
    page.keyboard.up("ArrowLeft")
