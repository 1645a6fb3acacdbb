"""The reference cases of the language, on the ideal machine with the default settings.

Each starts from: G21 G90 G94 G17 G54 G1 F100, no offsets, P = (0, 0, 0), spindle off, and a length
of 75.5 in row 4. Steps of one case continue each other.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from drytouch.sim.program import IdealMachine, Interpreter, Options, ProgramError, read_program
from drytouch.sim.program.ideal import floor_at
from drytouch.sim.program.machine import ToolRow, Vector
from drytouch.sim.program.state import add, take_from_machine


def drain(process: Generator[Any, Any, Any]) -> Any:
    try:
        while True:
            next(process)
    except StopIteration as done:
        return done.value


def bench(
    position: Vector = (0.0, 0.0, 0.0),
    parameters: dict[int, float] | None = None,
    contact_z: float | None = None,
    tool_length: float = 0.0,
) -> Interpreter:
    """An interpreter in the state that every case starts from."""
    machine = IdealMachine(
        position=position,
        boxes=() if contact_z is None else (floor_at(contact_z),),
        true_length_mm={1: tool_length},
        tool=1,
        tool_rows={4: ToolRow(75.5, 0.0), 5: ToolRow(tool_length, 0.0)},
    )
    interpreter = Interpreter(machine)
    state = interpreter.state
    state.modal = replace(state.modal, motion=10)
    state.feed_mm_per_min = 100.0
    state.parameters.common.update(parameters or {})
    return interpreter


@dataclass
class Step:
    text: str
    position: Vector | None = None  # P, in program units
    machine: Vector | None = None  # A, in mm
    parameters: dict[int, float] = field(default_factory=dict)
    error: str = ""
    also: Callable[[Interpreter], None] | None = None


def near(values: tuple[float, ...]) -> Any:
    return pytest.approx(values, abs=1e-9)


def arc_is(centre: tuple[float, float], degrees: float) -> Callable[[Interpreter], None]:
    def check(interpreter: Interpreter) -> None:
        kind, arc, _ = interpreter.machine.log[-1]  # type: ignore[attr-defined]
        assert kind == "arc"
        assert arc.centre_mm[:2] == pytest.approx(centre, abs=5e-5)
        assert abs(arc.turn_rad) * 180 / 3.141592653589793 == pytest.approx(degrees)

    return check


def events_are(*kinds: str) -> Callable[[Interpreter], None]:
    def check(interpreter: Interpreter) -> None:
        assert [event[0] for event in interpreter.machine.log] == list(kinds)  # type: ignore[attr-defined]

    return check


# Number, start, steps. Where the list gives a value in mm of travel, "machine" holds it.
CASES: list[tuple[str, dict[str, Any], list[Step]]] = [
    ("1", {}, [Step("g1x - 1. 2 5y0 7", position=(-1.25, 7, 0))]),
    ("3", {}, [Step("N000010 G1 X1", error="E-LINE")]),
    ("4", {}, [Step("G1 X1 (a(b))", error="E-COMMENT")]),
    ("5", {}, [Step("G1 X.", error="E-NUM")]),
    ("6", {}, [Step("G1 X1 X2", error="E-REPEAT")]),
    ("7", {}, [Step("#1=#2+3", error="E-CHAR")]),
    ("8", {}, [Step("#1=[2**3**2]", parameters={1: 64})]),
    ("9", {}, [Step("#1=[10-6/4*2+7 MOD 4]", parameters={1: 10})]),
    ("10", {}, [Step("#1=[1 OR 0-1]", parameters={1: 0})]),
    ("11", {}, [Step("#1=[-7 MOD 3]", parameters={1: 2})]),
    (
        "12",
        {},
        [Step("#1=FIX[-2.3] #2=FUP[-2.3] #3=ROUND[-2.5]", parameters={1: -3, 2: -2, 3: -3})],
    ),
    ("13", {}, [Step("#1=ATAN[-1]/[-1]", parameters={1: -135})]),
    ("14", {"parameters": {2: 7.0, 7: 4.5}}, [Step("#1=##2", parameters={1: 4.5})]),
    (
        "15",
        {"parameters": {5: 2.0}},
        [Step("#5=[#5+1] G1 X#5 Y[#5*2]", position=(2, 4, 0), parameters={5: 3})],
    ),
    ("16", {"parameters": {8: 1.0, 9: 2.0}}, [Step("#8=#9 #9=#8", parameters={8: 2, 9: 1})]),
    ("17", {}, [Step("#1=5 G1 X[1/0]", error="E-DOMAIN", parameters={1: 0})]),
    (
        "18-24",
        {"position": (100.0, 50.0, -20.0)},
        [
            Step("G10 L2 P1 X60 Y-10 Z-30", position=(40, 60, 10)),
            Step("G91 X5 Z-2", position=(45, 60, 8), machine=(105, 50, -22)),
            Step("G90 G92 X0 Z1", position=(0, 60, 1), parameters={5211: 45, 5213: 7}),
            Step("G0 G53 X10 Z0", machine=(10, 50, 0), position=(-95, 60, 23)),
            Step("G92.2", position=(-50, 60, 30), parameters={5211: 45}),
            Step("G92.3", position=(-95, 60, 23)),
            Step("G92.1 G43 H4", position=(-50, 60, -45.5), parameters={5211: 0}),
            Step("Z5", machine=(10, 50, 50.5)),
        ],
    ),
    (
        "25",
        {"position": (25.4, 0.0, 0.0)},
        [Step("G20", position=(1, 0, 0)), Step("G91 X0.5", machine=(38.1, 0, 0))],
    ),
    (
        "26",
        {},
        [
            Step("G20"),
            Step("G10 L2 P2 X2.5"),
            Step("F4"),
            Step("G55 X-0.75", machine=(44.45, 0, 0)),
        ],
    ),
    ("27", {}, [Step("G21 G20", error="E-MODAL")]),
    ("28", {}, [Step("G4 P0.5 X1", position=(1, 0, 0), also=events_are("dwell", "feed"))]),
    ("29a", {}, [Step("G1 G92 X0", error="E-MODAL")]),
    ("29b", {}, [Step("G92 X0", machine=(0, 0, 0), also=events_are())]),
    ("30", {}, [Step("G80"), Step("X5", error="E-STATE")]),
    ("31", {}, [Step("G93 X5", error="E-FEED")]),
    ("32a", {}, [Step("G3 X10 Y10 J10", position=(10, 10, 0), also=arc_is((0, 10), 90))]),
    ("32b", {}, [Step("G3 X10.003 Y10 J10", error="E-ARC", position=(0, 0, 0))]),
    ("33", {}, [Step("G2 X10 R-10", position=(10, 0, 0), also=arc_is((5, 8.6603), 300))]),
    (
        "34-35",
        {"position": (0.0, 0.0, 10.0), "contact_z": 2.0},
        [
            Step("G38.2 Z-5", position=(0, 0, 2), parameters={5063: 2}),
            Step("Z-5", error="E-PROBE"),
        ],
    ),
    ("36a", {"position": (0.0, 0.0, 10.0)}, [Step("G38.2 Z9.8", error="E-PROBE")]),
    (
        "36b",
        {"position": (0.0, 0.0, 10.0), "parameters": {5063: 1.5}},
        [Step("G38.2 Z-5", error="E-MISS", parameters={5063: 1.5})],
    ),
    (
        "36c",
        {"position": (0.0, 0.0, 10.0)},
        [Step("G31 Z-5", position=(0, 0, -5), parameters={5063: -5})],
    ),
    ("37", {}, [Step("M3 S100 G38.2 Z-5", error="E-STATE")]),
    (
        "38",
        {"position": (0.0, 0.0, 20.0), "contact_z": -38.0, "tool_length": 50.0},
        [
            Step("G10 L2 P1 Z-40 (origin)"),
            Step("G43 H5", position=(0, 0, 10)),
            Step("G38.2 Z-5", machine=(0, 0, 12), parameters={5063: 2}),
            Step("G10 L2 P1 Z[#5223+#5063]", position=(0, 0, 0), parameters={5223: -38}),
        ],
    ),
]


@pytest.mark.parametrize(("number", "start", "steps"), CASES, ids=[case[0] for case in CASES])
def test_reference_case(number: str, start: dict[str, Any], steps: list[Step]) -> None:
    interpreter = bench(**start)
    machine = interpreter.machine
    for step in steps:
        if step.error:
            with pytest.raises(ProgramError) as caught:
                drain(interpreter.execute_line(step.text))
            assert caught.value.code == step.error
            assert caught.value.text == step.text
        else:
            drain(interpreter.execute_line(step.text))
        if step.position is not None:
            assert interpreter.state.program_position == near(step.position)
        if step.machine is not None:
            assert machine.position_mm == near(step.machine)
            assert interpreter.state.position_mm == near(step.machine)
        for index, value in step.parameters.items():
            assert interpreter.state.parameters.read(index) == pytest.approx(value, abs=1e-9)
        if step.also is not None:
            step.also(interpreter)


def test_reference_case_2_deleted_line_changes_nothing() -> None:
    interpreter = bench()
    drain(interpreter.execute_line("/#1=5", Options(block_delete=True)))
    assert interpreter.state.parameters.read(1) == 0
    drain(interpreter.execute_line("/#1=5"))
    assert interpreter.state.parameters.read(1) == 5


def test_reference_case_39_loop() -> None:
    interpreter = bench(parameters={1: 1.0, 2: 0.0})
    file = read_program(
        "WHILE [#1 LE 4] DO 1\n#2=[#2+#1*#1]\n#1=[#1+1]\nEND 1\nM30\n", "squares.ngc"
    )
    drain(interpreter.execute(file.main))
    assert interpreter.state.parameters.read(2) == 30
    assert interpreter.state.parameters.read(1) == 5


def test_reference_case_40_call() -> None:
    interpreter = bench(parameters={1: 7.0})
    file = read_program(
        "%\nO100\nG65 P110 A2.5 X10 Z-3\nM30\nO110\n#101=#1 #102=#24 #103=#26\n#1=99\nM99\n%\n",
        "call.ngc",
    )
    drain(interpreter.execute(file.main, Options(library=file.library)))
    assert [interpreter.state.parameters.read(k) for k in (101, 102, 103)] == [2.5, 10, -3]
    assert interpreter.state.parameters.read(1) == 7


def test_program_position_is_machine_position_minus_offsets() -> None:
    interpreter = bench(position=(1.0, 2.0, 3.0))
    state = interpreter.state
    state.origin_mm, state.shift_mm, state.tool_length_mm = (1, 1, 1), (0.5, 0, 0), 10
    take_from_machine(state, interpreter.machine)
    assert add(state.program_position, state.offset_mm) == state.position_mm
