"""Which moment and which view a picture takes, and what it says; no OpenGL needed for these."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_viz_recordings import (
    CENTRE,
    LINKS,
    MADE,
    TABLE_Z,
    crushed_pad,
    end_mill,
    lug_on_pad,
    machine,
    right_touch,
    setter,
    tool_over_stock,
)

from drytouch.sim.recording import Recorder, Recording

pytest.importorskip("pyvista")
pytest.importorskip("PIL")

from drytouch.sim.scene.shapes import Box, Cone, Cylinder, Mesh, Ring, Sphere
from drytouch.viz import ink, look, words
from drytouch.viz.belief import believed_parts
from drytouch.viz.meshes import Solid, mesh_of, solids_at
from drytouch.viz.moment import choose_moment, worst_finding
from drytouch.viz.view import (
    box_gap,
    choose_place,
    choose_view,
    crosses,
    in_bore,
    opened,
    whole_view,
)


def judged(outcome: dict[str, Any] | None, events: list[tuple[float, str]] = ()) -> Recording:  # type: ignore[assignment]
    recorder = Recorder()
    recorder.begin({"name": "x"}, LINKS, 1)
    for t, kind in events:
        recorder.event(t, kind)
    recorder.end(10.0, outcome)
    return Recording.from_recorder(recorder)


def finding(code: str, severity: str, t: float) -> dict[str, Any]:
    return {"code": code, "severity": severity, "time_s": t, "figures": {}, "what": "so."}


def test_without_findings_the_last_latch_then_contact_then_the_end() -> None:
    assert choose_moment(judged(None)).t == 10.0
    assert choose_moment(judged(None, [(2.0, "contact"), (3.0, "contact")])).t == 3.0
    latched = judged(None, [(2.0, "latch"), (3.0, "contact")])
    assert choose_moment(latched) == (2.0, None, "last latch")


def test_the_worst_finding_counts_and_of_equals_the_first() -> None:
    findings = [
        finding("wrong-number", "wrong", 1.0),
        finding("crash", "harm", 6.0),
        finding("crash", "harm", 4.0),
        finding("odd", "unheard-of", 0.5),
    ]
    recording = judged({"verdict": "harm", "findings": findings})
    assert worst_finding(recording) == findings[2]
    assert choose_moment(recording).t == 4.0


def test_a_wrong_number_is_shown_at_the_touch_that_made_it() -> None:
    outcome = {"verdict": "wrong", "findings": [finding("wrong-number", "wrong", 9.0)]}
    assert choose_moment(judged(outcome, [(2.0, "latch"), (9.5, "latch")])).t == 2.0
    assert choose_moment(judged(outcome)).t == 9.0


def test_a_press_is_shown_at_its_deepest() -> None:
    recording = crushed_pad()
    moment = choose_moment(recording)
    assert moment.t == recording.lines[0].t[1]
    assert recording.pad_depth_at("main", moment.t) == pytest.approx(2.41)


@pytest.mark.parametrize(
    ("name", "carried", "support"),
    [
        ("lug", "lug", "pad"),
        ("crushed", "tip", "pad"),
        ("stock", "tip", "stock"),
        ("right", "tip", "pad"),
    ],
)
def test_the_place_is_what_meets(name: str, carried: str, support: str) -> None:
    recording = MADE[name]()
    moment = choose_moment(recording)
    solids = solids_at(recording, moment.t)
    place = choose_place(solids, str((moment.finding or {}).get("code", "")))
    assert place.carried is not None
    assert place.support is not None
    assert (place.carried.look, place.support.look) == (carried, support)
    assert place.gap_mm == pytest.approx(2.0 if name == "stock" else 0.0, abs=1e-3)


def test_a_pressed_pad_is_drawn_where_the_press_has_put_it() -> None:
    recording = crushed_pad()
    before = next(s for s in solids_at(recording, 0.0) if s.look == "pad")
    after = next(s for s in solids_at(recording, recording.duration_s) if s.look == "pad")
    assert before.bounds[5] - after.bounds[5] == pytest.approx(2.41, abs=1e-3)


def block(body: str, kind: str, at: tuple[float, float, float], size: float) -> Solid:
    mesh = mesh_of(Box(size, size, size)).translate(at, inplace=False)
    return Solid(body, kind, "", look.look_of(kind, ""), mesh, tuple(mesh.bounds))  # type: ignore[arg-type]


def test_the_view_goes_round_what_stands_in_the_way() -> None:
    recording = crushed_pad()
    solids = solids_at(recording, recording.duration_s)
    place = choose_place(solids)
    free = choose_view(solids, place)
    assert free.preset == look.PRESETS[0]
    wall = tuple((e + 2 * f) / 3 for e, f in zip(free.eye, free.focus, strict=True))
    hidden = [*solids, block("wall", "fixture", wall, 20.0)]  # type: ignore[arg-type]
    assert choose_view(hidden, place).preset != look.PRESETS[0]


def test_lugs_are_seen_from_below_and_never_from_under_the_table() -> None:
    recording = lug_on_pad()
    solids = solids_at(recording, recording.duration_s)
    place = choose_place(solids, "lug-strike")
    view = choose_view(solids, place)
    assert view.preset in look.PRESETS_OF_A_FACE
    table = next(s for s in solids if s.look == "table")
    assert view.eye[2] > table.bounds[5]
    high = table._replace(bounds=(*table.bounds[:5], view.focus[2] - 1.0))
    raised = [high if s is table else s for s in solids]
    assert choose_view(raised, place).preset in look.PRESETS


def test_an_empty_scene_has_a_place_and_a_view() -> None:
    place = choose_place([])
    assert place.carried is None
    view = choose_view([], place)
    assert all(math.isfinite(number) for number in view.eye)


def knocked(believed: tuple[float, float] | None) -> Recording:
    """A setter that was knocked 9 mm along X at 1 s, in all secrecy."""
    recorder = Recorder()
    recorder.begin({"name": "x"}, LINKS, 1, (CENTRE[0], CENTRE[1], -200.0))
    for body in (*machine(False), *setter(), end_mill(10.0)):
        recorder.scene(0.0, "place", body.id, body)
    if believed is not None:
        recorder.belief(0.5, "setter main x_mm", believed[0])
        recorder.belief(0.5, "setter main y_mm", believed[1])
    for body_id in ("main", "main.pad"):
        recorder.scene(1.0, "move", body_id, (CENTRE[0] + 9.0, CENTRE[1], TABLE_Z))
    moved = finding("setter-moved", "risky", 1.0)
    recorder.end(2.0, {"verdict": "risky", "findings": [moved], "numbers": []})
    return Recording.from_recorder(recorder)


@pytest.mark.parametrize(
    ("believed", "shift"), [(None, (-9.0, 0.0)), ((CENTRE[0], CENTRE[1] - 5.0), (-9.0, -5.0))]
)
def test_a_knocked_setter_is_outlined_where_it_is_taken_to_be(
    believed: tuple[float, float] | None, shift: tuple[float, float]
) -> None:
    recording = knocked(believed)
    moment = choose_moment(recording)
    solids = solids_at(recording, moment.t)
    place = choose_place(solids, "setter-moved")
    view = choose_view(solids, place)
    assert view.preset in look.PRESETS_OF_A_PLACE
    assert place.support is not None
    (part,) = believed_parts(recording, moment, solids, None, 4.0, view.half_height_mm)
    x, y, z = place.support.middle
    assert part.solid.middle == pytest.approx((x + shift[0], y + shift[1], z), abs=1e-3)
    right_place = (CENTRE[0] + 9.0, CENTRE[1])
    assert not believed_parts(knocked(right_place), moment, solids, None, 4.0, view.half_height_mm)


def test_a_believed_tip_is_outlined_when_it_shows() -> None:
    recording = tool_over_stock()
    moment = choose_moment(recording)
    solids = solids_at(recording, moment.t)
    tip = next(s for s in solids if s.look == "tip")
    number = words.NumberOff("Row 3 length", 98.0, 95.0, 3.0, 0.01)
    (part,) = believed_parts(recording, moment, solids, number, 4.0, 60.0)
    # A length that is too long puts the tip too low.
    assert part.solid.bounds[4] == pytest.approx(tip.bounds[4] - 3.0, abs=1e-3)
    small = number._replace(belief=95.12, error=0.12)
    assert believed_parts(recording, moment, solids, small, 4.0, 60.0) == []
    other = number._replace(name="G54 z")
    assert believed_parts(recording, moment, solids, other, 4.0, 60.0) == []


def test_the_whole_view_holds_everything() -> None:
    recording = crushed_pad()
    solids = solids_at(recording, 0.0)
    view = whole_view(solids)
    for solid in solids:
        offset = [m - f for m, f in zip(solid.middle, view.focus, strict=True)]
        assert abs(offset[2]) < view.half_height_mm
    assert whole_view([]).preset == look.WHOLE


def test_a_ring_meets_nothing_under_its_hole() -> None:
    ring = mesh_of(Ring(35.0, 15.0, 2.0))
    face = Solid("s", "spindle", "face", "face", ring, tuple(ring.bounds), 15.0)  # type: ignore[arg-type]
    assert in_bore(block("p", "pad", (0.0, 0.0, 0.0), 29.0), face)
    assert not in_bore(block("p", "pad", (0.0, 0.0, 0.0), 31.0), face)
    assert not in_bore(block("p", "pad", (5.0, 0.0, 0.0), 29.0), face)
    assert not in_bore(block("p", "pad", (0.0, 0.0, 0.0), 29.0), face._replace(bore_mm=0.0))


def test_a_cut_cutter_keeps_its_far_half_and_its_edges() -> None:
    recording = right_touch()
    solids = solids_at(recording, 4.02)
    place = choose_place(solids)
    view = choose_view(solids, place)
    assert opened(solids, place, view, "") == solids
    cut = opened(solids, place, view, "missed-edge")
    changed = {a.look for a, b in zip(solids, cut, strict=True) if a is not b}
    assert changed == {"face", "nose", "head", "holder", "shank"}
    for whole, half in zip(solids, cut, strict=True):
        if whole is not half:
            volume = half.mesh.clean().volume
            assert volume == pytest.approx(whole.mesh.clean().volume / 2, rel=0.02)


@given(
    st.tuples(*[st.floats(-10, 10)] * 3),
    st.tuples(*[st.floats(-10, 10)] * 3),
    st.tuples(*[st.floats(0.5, 5)] * 3),
)
def test_a_segment_crosses_a_box_when_a_sample_of_it_lies_inside(
    start: tuple[float, float, float],
    end: tuple[float, float, float],
    half: tuple[float, float, float],
) -> None:
    box = (-half[0], half[0], -half[1], half[1], -half[2], half[2])
    inside = False
    for k in range(401):
        point = [a + (b - a) * k / 400 for a, b in zip(start, end, strict=True)]
        inside |= all(abs(p) < h * (1 - 1e-9) for p, h in zip(point, half, strict=True))
    if inside:
        assert crosses(start, end, box)
    elif crosses(start, end, box):
        # Samples may miss a corner that is cut by less than their spacing.
        assert min(_outside(start, end, half, k / 400) for k in range(401)) < 0.1


def _outside(start: Any, end: Any, half: Any, share: float) -> float:
    point = [a + (b - a) * share for a, b in zip(start, end, strict=True)]
    return math.sqrt(sum(max(abs(p) - h, 0.0) ** 2 for p, h in zip(point, half, strict=True)))


def test_gaps_of_boxes() -> None:
    one = (0.0, 1.0, 0.0, 1.0, 0.0, 1.0)
    assert box_gap(one, (0.5, 2.0, 0.5, 2.0, 0.5, 2.0)) == 0.0
    assert box_gap(one, (4.0, 5.0, 5.0, 6.0, 0.0, 1.0)) == 5.0


TETRAHEDRON = Mesh(
    ((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    ((0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)),
)


@pytest.mark.parametrize(
    ("shape", "volume", "size"),
    [
        (Box(10.0, 20.0, 30.0), 6000.0, (10.0, 20.0, 30.0)),
        (Cylinder(5.0, 10.0), math.pi * 250, (10.0, 10.0, 10.0)),
        (Cone(0.0, 5.0, 12.0), math.pi * 100, (10.0, 10.0, 12.0)),
        (Cone(3.0, 5.0, 12.0), math.pi * 196, (10.0, 10.0, 12.0)),
        (Sphere(5.0), math.pi * 500 / 3, (10.0, 10.0, 10.0)),
        (Ring(10.0, 6.0, 5.0), math.pi * 320, (20.0, 20.0, 5.0)),
        (TETRAHEDRON, 1 / 6, (1.0, 1.0, 1.0)),
    ],
)
def test_meshes_are_closed_and_as_large_as_their_solids(
    shape: Any, volume: float, size: tuple[float, float, float]
) -> None:
    mesh = mesh_of(shape)
    closed = mesh.clean()
    assert closed.is_manifold
    # Bevels and facets take away a little, and never add.
    assert volume * 0.975 < abs(closed.volume) <= volume * (1 + 1e-6)
    b = mesh.bounds
    assert (b[1] - b[0], b[3] - b[2], b[5] - b[4]) == pytest.approx(size, rel=2e-3)


def test_sentences_figures_and_numbers_as_the_outcome_has_them() -> None:
    told = {
        "what": "the tip met the pad.",
        "why": "",
        "avoid": "Slow down.",
        "figures": {
            "mover": "tip",
            "speed_mm_per_min": 300.0,
            "over_mm": 2.3104,
            "error_um": -12000,
        },
    }
    assert words.sentences(told) == (
        ("What happened", "The tip met the pad."),
        ("On a real machine", "Slow down."),
    )
    assert words.figures(told) == (
        ("speed", "300 mm/min"),
        ("over", "2.310 mm"),
        ("error", "-12.000 mm"),
    )
    assert words.sentences({"sentences": ["a", "b", "c"]})[2] == ("On a real machine", "C")
    assert words.figures({"figures": 3}) == ()
    number = words.worst_number(tool_over_stock())
    assert number is not None
    assert (number.name, number.error, number.tolerance) == ("row 3 length", 0.12, 0.01)
    assert words.worst_number(right_touch()) is None
    assert words.numbers(judged({"numbers": {"a": 1}})) == []
    alarm = judged({"alarms": [{"message": "input 1 stayed off"}, 3]})
    assert words.alarms(alarm) == ["Input 1 stayed off."]


@given(st.text(alphabet="abc mnopq", max_size=200), st.floats(60.0, 600.0))
def test_wrapped_text_keeps_its_words_and_its_room(text: str, room: float) -> None:
    lines = ink.wrap(text, 20.0, room)
    assert " ".join(lines).split() == text.split()
    for line in lines:
        assert ink.width(line, 20.0) <= room or " " not in line


@given(st.text(alphabet="abcdef ", min_size=1, max_size=80), st.floats(40.0, 400.0))
def test_shortened_text_fits(text: str, room: float) -> None:
    short = ink.shorten(text, 20.0, room)
    assert ink.width(short, 20.0) <= room
    assert short == text or short.endswith("…")


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(
    "colour", [look.INK, look.INK_SOFT, look.BELIEF, *(v.colour for v in look.VERDICTS.values())]
)
def test_words_stand_out_from_paper(colour: str) -> None:
    # WCAG 2.1 asks for 4.5; a washed-out projector takes some of it.
    assert 1.05 / (_luminance(colour) + 0.05) > 4.5


def test_verdicts_differ_by_word_and_by_shape_and_every_look_has_a_label() -> None:
    assert len({verdict.word for verdict in look.VERDICTS.values()}) == len(look.VERDICTS)
    assert len({verdict.sign for verdict in look.VERDICTS.values()}) == len(look.VERDICTS)
    assert set(look.MATERIALS) - {"other"} == set(look.LABELS)
    assert look.look_of("tool", "edge 3") == "edge"
    assert look.look_of("stock", "block") == "stock"
    assert look.look_of("setter", "bolt") == "bolt"
    assert look.look_of("", "") == "other"
