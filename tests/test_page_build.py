"""The replay page as a file: whole, closed to the outside, and built from the committed source."""

import base64
import hashlib
import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from page_cases import question, touched

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.set_up import set_up_of
from drytouch.viz.page import build_page, page_text
from drytouch.viz.stops import stop_time

WEB = Path(__file__).parent.parent / "viz" / "web"


def data_of(path):
    found = re.search(r'type="application/json">(.*?)</script>', path.read_text("utf-8"), re.S)
    return json.loads(found.group(1))


def test_the_page_carries_the_recording_bit_for_bit(tmp_path):
    recording, scenario = touched()
    page = build_page(recording, tmp_path / "page.html", scenario=scenario)
    entry = data_of(page)["entries"][0]
    assert entry["recording"] == {k: v for k, v in recording.data.items() if k != "outcome"}
    assert entry["verdict"] == recording.verdict
    assert [f["code"] for f in entry["findings"]] == [f["code"] for f in recording.findings]


def test_it_is_small_and_points_nowhere(tmp_path):
    recording, scenario = touched()
    page = build_page(recording, tmp_path / "page.html", scenario=scenario, beside=recording)
    text = page.read_text("utf-8")
    assert page.stat().st_size < 3_000_000
    body = re.sub(r"<(script|style)[^>]*>.*?</\1>|<!--.*?-->", "", text, flags=re.S)
    assert re.findall(r'(?:src|href)="(?!data:)', body) == []
    assert "default-src 'none'" in text
    assert not re.search(r"@import|url\((?!data:|#)", text[: text.index("</style>")])


def test_the_policy_lets_in_exactly_what_is_inlined():
    text = page_text("x", {})
    for element, name in (("script", "script-src"), ("style", "style-src")):
        inlined = re.findall(rf"<{element}>(.*?)</{element}>", text, re.S)
        assert len(inlined) == 1
        digest = base64.b64encode(hashlib.sha256(inlined[0].encode()).digest()).decode()
        assert f"{name} 'sha256-{digest}'" in text


def test_no_text_of_a_recording_can_end_its_element(tmp_path):
    recording, _ = touched()
    data = json.loads(json.dumps(recording.data))
    evil = "</script><script>alert(1)</script><!--"
    data["scenario"]["title"] = evil
    page = build_page(Recording.from_dict(data), tmp_path / "page.html")
    assert data_of(page)["entries"][0]["title"] == evil
    assert page.read_text("utf-8").count("</script>") == 2
    assert "<title>&lt;/script&gt;" in page.read_text("utf-8")


def test_questions_stop_where_the_answer_is_still_open():
    recording, _ = touched()
    contact = next(e.t for e in recording.events if e.kind == "contact")
    close = next(e.t for e in recording.events if e.kind == "close")
    latch = next(e.t for e in recording.events if e.kind == "latch")
    assert contact < close < latch
    assert stop_time(recording, "0.25 s") == 0.25
    assert stop_time(recording, f"{recording.duration_s + 5:.3f} s") == recording.duration_s
    assert close < stop_time(recording, "latch") < latch
    assert contact - 0.5 < stop_time(recording, "contact") < contact
    with pytest.raises(InputError, match="stop is"):
        stop_time(recording, "when I say so")


def test_the_set_up_tells_what_a_recording_does_not():
    _, scenario = touched()
    facts = set_up_of(scenario)
    assert facts["sockets"] == {n: s.input for n, s in scenario.machine.sockets.items()}
    (name, setter), *_ = scenario.setter.items()
    assert facts["setters"][name]["pre_travel_mm"] == setter.pre_travel_mm
    json.dumps(facts, allow_nan=False)


def test_two_recordings_are_lined_up(tmp_path):
    one, _ = touched()
    two, _ = touched(feed=400.0)
    first = [next(e.t for e in r.events if e.kind == "contact") for r in (one, two)]
    assert first[0] != first[1]
    page = build_page(one, tmp_path / "page.html", beside=two, questions=[question()])
    assert data_of(page)["zero_s"] == first
    page = build_page(one, page, beside=two, line_up="latch")
    assert data_of(page)["zero_s"] == [
        next(e.t for e in r.events if e.kind == "latch") for r in (one, two)
    ]
    with pytest.raises(InputError, match="line up"):
        build_page(one, page, beside=two, line_up="lug-strike")


def test_a_folder_that_is_not_there_is_told(tmp_path):
    recording, _ = touched()
    with pytest.raises(InputError, match="can't be written"):
        build_page(recording, tmp_path / "none" / "page.html")


def test_the_lock_file_names_no_host():
    text = (WEB / "package-lock.json").read_text("utf-8")
    assert "://" not in text
    assert '"resolved"' not in text


def test_the_notices_name_what_is_bundled():
    package = json.loads((WEB / "package.json").read_text("utf-8"))
    notices = (WEB / "notices.txt").read_text("utf-8")
    for name, version in package["dependencies"].items():
        assert f"== {name} {version}" in notices
        licence = WEB / "node_modules" / name / "LICENSE"
        if licence.exists():
            assert licence.read_text("utf-8").strip() in notices


@pytest.mark.parametrize("bundle", ["page", "bench"])
def test_the_committed_bundle_is_what_the_source_builds(bundle, tmp_path):
    esbuild = WEB / "node_modules" / ".bin" / "esbuild"
    if shutil.which("node") is None or not esbuild.exists():
        pytest.skip("Node or viz/web/node_modules is missing: run `npm ci` in viz/web")
    scripts = json.loads((WEB / "package.json").read_text("utf-8"))["scripts"]
    command = scripts[f"build:{bundle}"].split()
    assert command[0] == "esbuild"
    fresh = [part for part in command[1:] if not part.startswith("--outfile")]
    subprocess.run(
        [str(esbuild), *fresh, f"--outfile={tmp_path / bundle}.js", "--log-level=warning"],
        cwd=WEB,
        check=True,
        timeout=60,
    )
    for name in (f"{bundle}.js", f"{bundle}.css"):
        assert (tmp_path / name).read_bytes() == (WEB / "built" / name).read_bytes(), (
            f"{name} is not what the source builds: run `npm run build` in viz/web"
        )
