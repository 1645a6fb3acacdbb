"""What the program tests share: a bench, and one smallest wrong line for each error."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from typing import Any

from drytouch.sim.program import Finished, IdealMachine, Interpreter, Options, read_program


def drain(process: Generator[Any, Any, Any]) -> Any:
    """Run a process whose machine takes no simulated waiting."""
    try:
        while True:
            next(process)
    except StopIteration as done:
        return done.value


def bench(**machine: Any) -> Interpreter:
    """An interpreter with G1 and F100 in force."""
    interpreter = Interpreter(IdealMachine(**machine))
    state = interpreter.state
    state.modal = replace(state.modal, motion=10)
    state.feed_mm_per_min = 100.0
    return interpreter


def run(
    interpreter: Interpreter, text: str, options: Options | None = None, file: str = "case.ngc"
) -> Finished:
    """Read and run a text."""
    read = read_program(text, file)
    options = options or Options()
    options.library = {**read.library, **options.library}
    return drain(interpreter.execute(read.main, options))  # type: ignore[no-any-return]


def typed(interpreter: Interpreter, *lines: str) -> None:
    """Run lines as typed by hand."""
    for line in lines:
        drain(interpreter.execute_line(line))


def events(interpreter: Interpreter) -> list[tuple[Any, ...]]:
    """Return what the ideal machine was told to do."""
    machine = interpreter.machine
    assert isinstance(machine, IdealMachine)
    return machine.log


WRONG_LINES: list[tuple[str, str]] = [
    ("E-CHAR", "G1 X1 ; old"),
    ("E-CHAR", "G1 U1"),
    ("E-CHAR", "#1 X2"),
    ("E-CHAR", "G1 X1 %"),
    ("E-NUM", "G1 X"),
    ("E-NUM", "G1 X1.2.3"),
    ("E-NUM", "G1 X--1"),
    ("E-EXPR", "G1 X[1+]"),
    ("E-EXPR", "G1 X[1"),
    ("E-EXPR", "G1 XHYP[1]"),
    ("E-DOMAIN", "#1=[1/0]"),
    ("E-DOMAIN", "#1=[1 MOD 0]"),
    ("E-DOMAIN", "#1=SQRT[-1]"),
    ("E-DOMAIN", "#1=LN[0]"),
    ("E-DOMAIN", "#1=ASIN[1.1]"),
    ("E-DOMAIN", "#1=ACOS[-1.1]"),
    ("E-DOMAIN", "#1=[[0-8]**0.5]"),
    ("E-DOMAIN", "#1=[0**-1]"),
    ("E-DOMAIN", "#1=EXP[1000]"),
    ("E-DOMAIN", "#1=[10**200*10**200]"),
    ("E-PARAM", "#5400=1"),
    ("E-PARAM", "#0=1"),
    ("E-PARAM", "#1.5=1"),
    ("E-PARAM", "X#"),
    ("E-PARAM", "#1=#5500"),
    ("E-PARAM", "#5601=80"),
    ("E-PARAM", "#5221=#0"),
    ("E-COMMENT", "G1 X1 (open"),
    ("E-COMMENT", "G1 X1 )"),
    ("E-COMMENT", "(a (b))"),
    ("E-LINE", "N123456"),
    ("E-LINE", "N-1 X1"),
    ("E-LINE", "X1 N5"),
    ("E-LINE", "X1" + " " * 255),
    ("E-REPEAT", "X1 X2"),
    ("E-REPEAT", "M3 M6 M8 M48 M0"),
    ("E-MODAL", "G0 G1 X1"),
    ("E-MODAL", "M3 M5"),
    ("E-MODAL", "M7 M8"),
    ("E-MODAL", "G1 G28 X1"),
    ("E-MODAL", "G1 G31 Z-1"),
    ("E-MODAL", "G65 P100 G90"),
    ("E-UNKNOWN", "G5"),
    ("E-UNKNOWN", "G1.5 X1"),
    ("E-UNKNOWN", "M47"),
    ("E-UNSUPPORTED", "G41 D1"),
    ("E-UNSUPPORTED", "G81 Z-5 R1"),
    ("E-UNSUPPORTED", "G1 A90"),
    ("E-MISSING", "G0"),
    ("E-MISSING", "G4"),
    ("E-MISSING", "G43"),
    ("E-MISSING", "G10 L2 X1"),
    ("E-MISSING", "G10 P1 X1"),
    ("E-MISSING", "G10 L1 P1"),
    ("E-MISSING", "G92"),
    ("E-MISSING", "G31 F10"),
    ("E-MISSING", "G38.2 F10"),
    ("E-MISSING", "G53 G0"),
    ("E-MISSING", "G65"),
    ("E-MISSING", "G2 Z1 I1"),
    ("E-MISSING", "G2 X1"),
    ("E-STRAY", "G1 X1 I5"),
    ("E-STRAY", "P5"),
    ("E-STRAY", "H1"),
    ("E-STRAY", "D1"),
    ("E-STRAY", "G10 L2 P1 X1 R5"),
    ("E-STRAY", "G10 L1 P1 R1 X5"),
    ("E-RANGE", "G4 P-1"),
    ("E-RANGE", "F-1"),
    ("E-RANGE", "S-1"),
    ("E-RANGE", "T1.5"),
    ("E-RANGE", "T100"),
    ("E-RANGE", "G43 H100"),
    ("E-RANGE", "G10 L2 P10 X1"),
    ("E-RANGE", "G10 L3 P1 X1"),
    ("E-RANGE", "#5220=10"),
    ("E-ARC", "G2 X10 I3"),
    ("E-ARC", "G2 X10 R1"),
    ("E-ARC", "G2 X0 Y0 R5"),
    ("E-ARC", "G2 X10 I5 R5"),
    ("E-ARC", "G2 X10 I5 K1"),
    ("E-STATE", "G80 X1"),
    ("E-STATE", "G53 G2 X1 I1"),
    ("E-STATE", "G93 G38.2 Z-5"),
    ("E-STATE", "M4 S10 G38.2 Z-5"),
    ("E-FEED", "G1 X1 F0"),
    ("E-FEED", "G93 G1 X1"),
    ("E-PROBE", "G38.2 Z0.1"),
    ("E-MISS", "G38.2 Z-5"),
    ("E-FLOW", "GOTO 10"),
    ("E-FLOW", "G1 X1 GOTO 10"),
    ("E-FLOW", "M99"),
    ("E-FLOW", "G65 P555"),
    ("E-FLOW", "O100"),
    ("E-TRAVEL", "X600"),
]
"""Typed with G1 and F100 in force on a machine that travels 500 mm either way."""
