"""Mutated programs and typed lines on a running twin: a result, an alarm or a known error."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from fuzz.fuzz_program import corpus
from program_cases import drain
from twin_cases import case, twin_of

from drytouch.sim.errors import ControllerAlarm, StepError
from drytouch.sim.program import IdealMachine, Interpreter, Options, ProgramError, ProgramErrors
from drytouch.sim.program.machine import ToolRow
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.twin.twin import Twin

LINES = (
    "G91 G38.2 Z-20 F{a}", "G91 G31 Z-{a} F60", "G53 G0 Z-{a}", "G0 X{a} Y-{a}",
    "G91 G1 X-{a} F{b}", "G90", "G91", "G20", "G21", "G92 Z{a}", "G92.1", "G92.2", "G92.3",
    "G43 H{i}", "G49", "G5{i}", "M3 S{b}", "M4 S{b}", "M5", "M19 R{a}", "T{i} M6",
    "G10 L1 P{i} R{a} Q-{a}", "G10 L2 P{i} Z-{a}", "#5841=-{a}", "#5841=#0",
    "#5845={a} #5848={b}", "#{i}=[#5813+#5823]", "G4 P.{i}", "M48", "M49", "G2 X{a} I{a}",
    "G3 X-{a} Y{a} R{b}", "G28", "G30 Z0", "M0", "M2", "G93 G1 X{a} F{b}", "G18", "G17", "Z#{i}",
    "Z[#5866-#5813]", "(ALARM, enough)", "G53 G1 Z#5863 F{b}",
)  # fmt: skip

LINES_TYPED = 200


def sane(values: tuple[float, ...]) -> bool:
    return all(math.isfinite(value) for value in values)


@pytest.mark.parametrize("seed", range(20))
def test_typed_lines_leave_a_machine_that_agrees_with_itself(seed: int) -> None:
    chance = random.Random(seed)
    rows = {"1": {"tool": "pin"}, "2": {"length_mm": 50.0}}
    twin = twin_of(chance=True, seed=seed, controller={"rows": rows}, time_limit_s=1e6)
    face, state = twin.controller.programs.face, twin.controller.programs.interpreter.state
    places = set()
    for _ in range(LINES_TYPED):
        a, b = round(chance.uniform(0, 40), 3), round(chance.uniform(1, 900), 1)
        text = chance.choice(LINES).format(a=a, b=b, i=chance.randint(0, 9))
        try:
            twin.hand.mdi(text)
        except ControllerAlarm:
            twin.controller.reset()
            twin.kernel.powered = True
        except ProgramError as error:
            places.add((error.file, error.line))
        assert sane(twin.controller.position)
        assert twin.tables.shift == state.shift_mm
        assert twin.tables.length_row == state.tool_row
        assert face.work_origins_mm()[state.system - 1] == pytest.approx(state.origin_mm, abs=1e-9)
        assert twin.kernel.line is None
    assert places <= {("typed", 1)}
    twin.outcome()


PLAIN = [
    line
    for line in LINES
    if not any(word in line for word in ("G38", "G31", "M6", "M3", "M4", "M19", "ALARM", "#58"))
]


@pytest.mark.parametrize("seed", range(20))
def test_moves_and_offsets_are_those_of_the_ideal_machine(seed: int) -> None:
    chance = random.Random(1000 + seed)
    rows = {"1": {"tool": "pin", "length_mm": 80.0, "wear_mm": 0.5}, "2": {"length_mm": 50.0}}
    # The ideal machine has nothing to run into: a bare spindle over an empty table has not either.
    data = case(controller={"rows": rows}, time_limit_s=1e6)
    twin = Twin(scenario_from_dict(data | {"spindle_tool": None, "placements": {}}))
    language = twin.controller.programs
    ideal = IdealMachine(
        position=language.face.position_mm,
        travel=language.face.limits_mm,
        homes=language.face.homes_mm(),
        tool_rows={1: ToolRow(80.0, 0.5), 2: ToolRow(50.0, 0.0)},
        slots=language.face.slots,
    )
    paper = Interpreter(ideal)

    def on_paper(text: str) -> None:
        drain(paper.execute_line(text))

    moved = 0
    for run in (twin.hand.mdi, on_paper):
        run("F100")  # a line without a feed is refused on either, in another order of checks
    for _ in range(LINES_TYPED):
        a, b = round(chance.uniform(-40, 40), 3), round(chance.uniform(1, 900), 1)
        text = chance.choice(PLAIN).format(a=a, b=b, i=chance.randint(0, 9)).replace("--", "")
        before = twin.controller.position
        told = [_attempt(run, text) for run in (twin.hand.mdi, on_paper)]
        if told[0] == "soft-limit":
            twin.controller.reset()
            told[0] = "E-TRAVEL"
        assert told[0] == told[1], text
        assert twin.controller.position == pytest.approx(ideal.position, abs=1e-6), text
        live = language.interpreter.state
        assert live.modal == paper.state.modal
        assert live.offset_mm == pytest.approx(paper.state.offset_mm, abs=1e-6)
        for number in (5211, 5221, 5241, 5383):
            wanted = paper.state.parameters.read(number)
            assert live.parameters.read(number) == pytest.approx(wanted)
        moved += twin.controller.position != before
    assert moved > 2


def _attempt(run: Callable[[str], Any], text: str) -> str:
    """Run a line; the code of what it was refused with, or nothing."""
    try:
        run(text)
    except (ControllerAlarm, ProgramError) as error:
        return error.code
    return ""


def test_mutated_programs(tmp_path: Path) -> None:
    late = {True}
    for number, data in enumerate(corpus(99, 60)):
        path = tmp_path / f"p{number}.ngc"
        path.write_bytes(data)
        twin = twin_of(name=f"p{number}")
        options = Options(lines_without_time_limit=200, loop_limit=50)
        try:
            twin.hand.run_program(path, options)
        except (ControllerAlarm, ProgramErrors):
            pass
        except StepError as error:
            late.add("simulated time" in error.message)
        twin.outcome()
    assert late == {True}
