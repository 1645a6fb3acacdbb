"""A new trainee at the real page: each exercise finished, and failed in the way that it teaches."""

import pytest
from bench_page_cases import served
from page_trainee import Trainee
from page_trainee_ways import WAYS

import drytouch.sim.bench.session
import drytouch.viz.bench.seat
from drytouch.sim.bench.clock import Pacing
from drytouch.sim.scenario import library
from drytouch.viz.bench.room import Rules

pytestmark = pytest.mark.browser

FAST = 200.0
"""While the machine works by itself its time runs so much faster: nobody needs to watch it."""
HELD = ("jog-press", "wheel")
MORE_FLAGS = ("--disable-gpu-compositing",)
UNDRAWN = """for (const kind of [WebGLRenderingContext, WebGL2RenderingContext])
  kind.prototype.drawElements = kind.prototype.drawArrays = () => {};
window.requestAnimationFrame = (draw) => setTimeout(() => draw(performance.now()), 40);"""
"""Drawing without a graphics card takes most of a core, and no test here looks at the picture."""


class Hurried(Pacing):
    """Time flies while a routine, a move or a rule takes its time; hands work in real time."""

    def pass_time(self, wall_s: float, key_waits: bool) -> bool:
        live = self._live
        working = live.machine or live.hands
        fast = working is not None and working.do not in HELD and not live.twin.kernel.hold
        self.rate = FAST if fast else 1.0
        return super().pass_time(wall_s, key_waits)


@pytest.fixture(scope="module")
def bench():
    """A server whose machines hurry, and wait for a page that a busy computer keeps waiting."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(drytouch.sim.bench.session, "Pacing", Hurried)
        patch.setattr(drytouch.viz.bench.seat, "SILENT_S", 60.0)
        with served(Rules(seed=3)) as (address, _):
            yield address


def begun(people, bench, name, **more):
    page = people().new_page()
    page.add_init_script(UNDRAWN)
    who = Trainee(page, **more)
    who.begin(bench, WAYS[name][0])
    return who


def test_every_exercise_has_its_ways():
    assert sorted(WAYS) == list(library.names("exercise"))
    assert all(failures for _, _, failures in WAYS.values())


@pytest.mark.parametrize("name", WAYS)
def test_a_trainee_finishes_it(people, bench, name):
    who = begun(people, bench, name)
    WAYS[name][1](who)
    told = who.finish()
    # A recheck that finds a tool out of its limits stops the machine: there that is right.
    wanted = "stopped" if name == "find-the-worn-and-the-pulled-out" else "right"
    assert (told.verdict, told.findings) == (wanted, []), told.text
    assert told.passed
    assert told.score >= 90, told.text


# As long as finishing it, and it differs in nothing but the rule: the session's own tests do it.
LONG = ("three_by_luck",)
FAILURES = [
    pytest.param(name, way, verdict, code, id=way.__name__)
    for name, (_, _, failures) in WAYS.items()
    for way, verdict, code in failures
    if way.__name__ not in LONG
]


@pytest.mark.parametrize(("name", "way", "verdict", "code"), FAILURES)
def test_a_trainee_fails_it_in_the_way_that_it_teaches(people, bench, name, way, verdict, code):
    who = begun(people, bench, name)
    way(who)
    told = who.finish()
    assert told.verdict == verdict, told.text
    assert not told.passed
    assert told.score < 90
    assert code in ("", *told.findings)
    assert "Nothing: do it like this" not in told.text
