"""The touch-off programs of the library against the Python routines, to the nanometre."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from program_twins import alarm_of, run_file, with_settings
from routine_cases import BENCHES, CENTRE, LARGE, ROUTER, Bench, build, do, load, true_pad

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program.check import check_program
from drytouch.sim.scenario import library
from drytouch.sim.twin.twin import Twin

NM = 1e-6
SEEDS = (1, 7, 23)


def pair(bench: Bench, seed: int, **more: Any) -> tuple[Twin, Twin]:
    """Two twins of one scenario and one seed, with chance at work."""
    first, second = (build(bench, chance=True, seed=seed, **more) for _ in range(2))
    return first, second


def reference(twin: Twin) -> dict[str, Any]:
    return {"record": {"reference_z_mm": true_pad(twin), "reference_valid": True}}


def base_of(bench: Bench) -> dict[str, Any]:
    """A record that makes lengths measurable on this machine, whatever it counts them from."""
    z = true_pad(build(bench))
    return {
        "reference_z_mm": z,
        "reference_valid": True,
        "height_mm": 59.9 if bench.setter == "bolted-nc" else 49.85,
        "master_length_mm": 125.004,
        "clearance_z_mm": z + 20.0,
    }


def same_rows(first: Twin, second: Twin) -> None:
    assert first.tables.rows.keys() == second.tables.rows.keys()
    for number, row in first.tables.rows.items():
        other = second.tables.rows[number]
        assert (row.length_mm is None) == (other.length_mm is None)
        assert other.effective_mm == pytest.approx(row.effective_mm, abs=NM)


def same_records(first: Twin, second: Twin) -> None:
    a, b = first.tables.records["main"], second.tables.records["main"]
    for name in ("x_mm", "y_mm", "clearance_z_mm", "height_mm", "reference_z_mm"):
        assert getattr(b, name) == pytest.approx(getattr(a, name), abs=NM), name
    assert a.reference_valid == b.reference_valid
    assert a.reference_by == b.reference_by
    assert a.master_length_mm == b.master_length_mm
    assert a.stale == b.stale


def same_end(first: Twin, second: Twin) -> None:
    """Where the axes are, what time it is and what was found are the same."""
    assert second.controller.position == pytest.approx(first.controller.position, abs=NM)
    assert second.controller.time == pytest.approx(first.controller.time, abs=1e-6)
    a, b = first.outcome(), second.outcome()
    assert a.verdict == b.verdict
    assert a.codes == b.codes


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("bench", BENCHES, ids=lambda b: b.machine)
@pytest.mark.parametrize("expected", [True, False])
def test_length(bench: Bench, seed: int, expected: bool, tmp_path: Path) -> None:
    tool = bench.tools[0]
    python, program = pair(bench, seed, tool=tool, record=base_of(bench))
    true = program.scenario.tools[tool].true_length_mm
    length = round(true) if expected else None
    do(python, "measure-length", row=1, expected_length_mm=length)
    run_file(program, with_settings("measure-length", tmp_path, p101=length or 0))
    same_rows(python, program)
    same_end(python, program)
    assert program.tables.rows[1].length_mm is not None


def test_the_length_is_right_and_the_old_wear_is_gone(tmp_path: Path) -> None:
    rows = {"1": {"tool": "end-mill-10", "length_mm": 119.0, "wear_mm": -0.5}}
    twin = build(CENTRE, tool="end-mill-10", record=base_of(CENTRE), controller={"rows": rows})
    run_file(twin, with_settings("measure-length", tmp_path))
    assert twin.tables.rows[1].wear_mm == 0.0
    assert twin.outcome().verdict == "right"
    assert twin.outcome().numbers["row 1 length"].error == pytest.approx(0.0, abs=0.002)


@pytest.mark.parametrize("seed", SEEDS)
def test_length_beside_the_centre(seed: int, tmp_path: Path) -> None:
    python, program = pair(
        CENTRE, seed, tool="face-mill-50", record=base_of(CENTRE), tools=("face-mill-50",)
    )
    do(python, "measure-length", row=4, beside_x_mm=-23.0)
    run_file(program, with_settings("measure-beside-centre", tmp_path, p106=-23.0))
    same_rows(python, program)
    same_end(python, program)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("bench", [b for b in BENCHES if b.by_face], ids=lambda b: b.machine)
def test_reference_by_face(bench: Bench, seed: int, tmp_path: Path) -> None:
    python, program = pair(bench, seed)
    pad = true_pad(python) + 1.0
    do(python, "reference-by-face", expected_pad_z_mm=pad, beside_y_mm=bench.beside_y_mm)
    path = with_settings("reference-by-face", tmp_path, p103=pad, p107=bench.beside_y_mm)
    run_file(program, path)
    same_records(python, program)
    same_end(python, program)
    assert program.tables.records["main"].reference_valid


@pytest.mark.parametrize("bench", [CENTRE, LARGE], ids=lambda b: b.machine)
def test_reference_by_master(bench: Bench, tmp_path: Path) -> None:
    python, program = pair(bench, 5, tool="master-tool")
    pad = true_pad(python) - 1.0
    do(python, "reference-by-master", master_length_mm=125.004, expected_pad_z_mm=pad)
    run_file(program, with_settings("reference-by-master", tmp_path, p103=pad))
    same_records(python, program)
    same_end(python, program)
    assert program.tables.records["main"].master_length_mm == 125.004


@pytest.mark.parametrize(
    ("off", "verdict"), [(0.0, "right"), (0.03, "right"), (0.08, "stopped"), (-0.06, "stopped")]
)
@pytest.mark.parametrize("bench", BENCHES, ids=lambda b: b.machine)
def test_recheck(bench: Bench, off: float, verdict: str, tmp_path: Path) -> None:
    tool, record = bench.tools[0], base_of(bench)
    probe = build(bench, tool=tool, record=record)
    stored = probe.scenario.tools[tool].true_length_mm + probe.controller.base_for_lengths() - off
    rows = {"1": {"tool": tool, "length_mm": stored + 0.01, "wear_mm": -0.01}}
    outcomes = []
    for twin in pair(bench, 3, tool=tool, record=record, controller=_proved(rows)):
        before = repr(twin.tables)
        if not outcomes:
            outcomes.append(_python_recheck(twin))
        else:
            outcomes.append(_program_recheck(twin, tmp_path))
        assert repr(twin.tables).replace("length_row=0", "") == before.replace("length_row=0", "")
    assert outcomes == [verdict, verdict]


def _proved(rows: dict[str, Any]) -> dict[str, Any]:
    return {"rows": rows}


def _python_recheck(twin: Twin) -> str:
    with suppress(ControllerAlarm):
        do(twin, "recheck-length", row=1, longer_limit_mm=0.05, shorter_limit_mm=0.03)
    return _how(twin, "out-of-limit")


def _program_recheck(twin: Twin, folder: Path) -> str:
    with suppress(ControllerAlarm):
        run_file(twin, with_settings("recheck-length", folder))
    return _how(twin, "program")


def _how(twin: Twin, code: str) -> str:
    """The verdict, once no other alarm than this has come."""
    assert {alarm.code for _, alarm in twin.judge.alarms} <= {code}
    return twin.outcome().verdict


@pytest.mark.parametrize("seed", SEEDS)
def test_setter_height_and_stock_top(seed: int, tmp_path: Path) -> None:
    pad = true_pad(build(CENTRE))
    start = [CENTRE.x_mm, CENTRE.y_mm, pad + 125.0]
    rows = {"1": {"tool": "end-mill-10", "length_mm": 119.9, "wear_mm": 0.1}}
    python, program = pair(
        CENTRE, seed, tool="end-mill-10", controller={"position_mm": start, "rows": rows}
    )
    block = python.controller.position[2] - 60.0
    do(python, "measure-setter-height", face_on_block_z_mm=block)
    program.hand.mdi(f"#150={block!r}")
    run_file(program, library.path("program", "setter-height"))
    same_records(python, program)
    for twin in (python, program):
        twin.hand.rapid(z=pad + 125.0, frame="machine")
    do(python, "set-work-z", system="G55", row=1)
    run_file(program, with_settings("stock-top", tmp_path, p115=2))
    assert program.tables.systems == pytest.approx(
        {k: pytest.approx(v, abs=NM) for k, v in python.tables.systems.items()}
    )
    assert program.tables.systems["G55"][2] != 0.0
    same_end(python, program)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("bench", [CENTRE, ROUTER], ids=lambda b: b.machine)
def test_ten_touches(bench: Bench, seed: int, tmp_path: Path) -> None:
    python, program = pair(bench, seed, tool=bench.tools[0], record=base_of(bench))
    found = do(python, "ten-touch-repeatability", limit_mm=0.05)
    run_file(program, with_settings("ten-touches", tmp_path, p117=0.05))
    read = program.controller.programs.interpreter.read
    assert read(130) == pytest.approx(found.mean_mm, abs=NM)
    assert read(131) == pytest.approx(found.range_mm, abs=NM)
    assert read(132) == pytest.approx(found.deviation_mm, abs=NM)
    assert found.range_mm > 0.0
    same_end(python, program)


def test_ten_touches_that_spread_too_far_are_an_alarm(tmp_path: Path) -> None:
    twin = build(ROUTER, chance=True, seed=1, tool="router-bit-6", record=base_of(ROUTER))
    alarm = alarm_of(twin, with_settings("ten-touches", tmp_path, p117=0.00001))
    assert (alarm.code, twin.outcome().verdict) == ("program", "stopped")


SOUND = [path.stem for path in sorted((library.root() / "programs").glob("*.ngc"))]


@pytest.mark.parametrize("name", SOUND)
def test_every_sound_program_is_free_of_errors_and_doubts(name: str) -> None:
    checked = check_program(library.path("program", name).read_text("utf-8"), name)
    assert checked.errors == ()
    serious = {w.code for w in checked.warnings} - {"setting"}
    assert serious == set()


REFUSALS = [
    ("measure-length", {"proved": []}, "was not seen off, on and off"),
    ("measure-length", {"slot": 0}, "no tool in the spindle"),
    ("reference-by-face", {}, "a tool should be in the spindle"),
    ("stock-top", {"shift_mm": [0.0, 0.0, 1.0]}, "G92 shift"),
    ("setter-height", {}, "no height of the face"),
    ("recheck-length", {}, "never measured"),
]


@pytest.mark.parametrize(("name", "start", "says"), REFUSALS, ids=lambda v: str(v)[:24])
def test_what_a_program_must_refuse_before_it_moves(
    name: str, start: dict[str, Any], says: str
) -> None:
    rows = {"1": {"tool": "end-mill-10"}}
    if name == "stock-top":
        rows["1"]["length_mm"] = 120.0  # type: ignore[assignment]
    twin = build(
        CENTRE, tool="end-mill-10", record=base_of(CENTRE), controller={"rows": rows, **start}
    )
    before = twin.controller.position
    alarm = alarm_of(twin, library.path("program", name))
    assert alarm.code == "program"
    assert says in alarm.message
    assert twin.controller.position == before
    assert twin.outcome().verdict == "stopped"


def test_a_reference_that_is_flagged_stale_is_refused() -> None:
    record = base_of(CENTRE) | {"reference_valid": False}
    twin = build(CENTRE, tool="end-mill-10", record=record)
    assert (
        "reference is not valid"
        in alarm_of(twin, library.path("program", "measure-length")).message
    )


def test_an_input_that_is_on_stops_a_program_before_it_moves() -> None:
    twin = build(CENTRE, tool="end-mill-10", record=base_of(CENTRE), controller={"plugs": {}})
    load(twin, "end-mill-10")
    twin.kernel.inputs[1].proof = 3
    alarm = alarm_of(twin, library.path("program", "measure-length"))
    assert "the input is on" in alarm.message
