"""Fuzz target: whatever the text, reading, checking and running end in a result or a known error.

With the package atheris installed (Linux), ``python tests/fuzz/fuzz_program.py`` looks for new ways
through the code for a minute, or for as long as ``-max_total_time=SECONDS`` says, and ends with an
error at the first defect. The test suite feeds the same function from a seeded corpus of mutated
programs, without that package.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.program import (
    CODES,
    IdealMachine,
    Interpreter,
    Options,
    ProgramError,
    parse_line,
    print_line,
    read_program,
)
from drytouch.sim.program.check import check_program
from drytouch.sim.program.ideal import floor_at
from drytouch.sim.program.line import LINE_LENGTH_LIMIT

SEEDS = (
    "%\nO100 (touch)\nG21 G90 G17 G94\nIF [#5830 EQ 1] GOTO 900\nG43 H4 G0 X1. Y-.5\n"
    "G38.2 Z-5 F100\n#500=[#5063+#5223]\nG10 L2 P1 Z#500\nM2\nN900 (ALARM, on)\n%\n",
    "G20\n#1=0\nWHILE [#1 LT 3] DO 1\n#1=[#1+1]\nG1 X[#1*2] F[10+#1]\nEND 1\n"
    "G65 P110 A1 B[2**3] X#1 L2\nM30\nO110\n#101=ATAN[#1]/[#2]\nG2 X10 Y0 I5 J0 K0\nM99\n",
    "N10 G92 X0 Y0 Z0\n/N20 G91 G28 Z0 (MSG, home)\nG53 G0 Z0\nG3 X10 R5\nG92.1\nM3 S100\n"
    "T4 M6\nM19 R90\nG4 P.5\nG93 G1 X1 F2\nM0\nGOTO 30\nN30 M2\n",
)
_FRAGMENTS = (
    "#", "[", "]", "(", ")", "/", "%", "GOTO", "IF[", "WHILE[", "DO1", "END1", "G65", "M99", "**",
    "MOD", "SIN[", "ATAN[", "=", "-", ".", "N", "G38.2", "G31", "#5061", "99999", "é", "\t", "\x00",
    "1e5", "G10L2P1", "#0", "XOR", "M2", "O7", "\n", "\r",
)  # fmt: skip


def target(data: bytes) -> None:
    """Read, check and run one input; raises only on a defect."""
    text = data.decode("utf-8", "replace")
    for line in text.split("\n"):
        _one_line(line.removesuffix("\r"))
    checked = check_program(text)
    assert all(error.code in CODES for error in checked.errors)
    _run(text)


def _is_known(error: ProgramError) -> None:
    assert error.code in CODES
    assert 0 <= error.column <= max(len(error.text), LINE_LENGTH_LIMIT) + 1
    assert str(error).splitlines()[0].endswith(error.message.split("\n")[0])


def _one_line(text: str) -> None:
    try:
        line = parse_line(text)
    except ProgramError as error:
        _is_known(error)
        return
    printed = print_line(line)
    if len(printed) <= LINE_LENGTH_LIMIT:
        assert parse_line(printed) == line


def _run(text: str) -> None:
    file = read_program(text)
    if file.errors:
        return
    machine = IdealMachine(boxes=(floor_at(-2.0),), logging=False)
    options = Options(
        library=file.library, lines_without_time_limit=200, loop_limit=50, block_delete=True
    )
    process = Interpreter(machine).execute(file.main, options)
    lines = 0

    def count(file: str, line: int, source: str) -> None:
        nonlocal lines
        lines += 1
        if lines > 2000:
            raise TimeoutError

    options.on_line = count
    try:
        for _ in process:
            pass
    except ProgramError as error:
        _is_known(error)
    except (ControllerAlarm, TimeoutError):
        pass


def corpus(seed: int, count: int) -> Iterator[bytes]:
    """Yield ``count`` programs, each a seed with a few random changes."""
    chance = random.Random(seed)
    for _ in range(count):
        text = chance.choice(SEEDS)
        for _ in range(chance.randint(1, 6)):
            text = _mutated(text, chance)
        yield text.encode("utf-8", "replace")


def _mutated(text: str, chance: random.Random) -> str:
    place = chance.randrange(len(text) + 1)
    kind = chance.randrange(5)
    if kind == 0:
        return text[:place] + chance.choice(_FRAGMENTS) + text[place:]
    if kind == 1:
        return text[:place] + text[place + chance.randint(1, 4) :]
    if kind == 2:
        return text[:place] + chr(chance.randrange(32, 127)) + text[place + 1 :]
    lines = text.split("\n")
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[a], lines[b] = (lines[b], lines[a]) if kind == 3 else (lines[a] + lines[b], lines[b])
    return "\n".join(lines)


if __name__ == "__main__":
    try:
        import atheris
    except ImportError:
        sys.exit("this needs the package atheris; the test suite runs the same target without it")
    atheris.instrument_all()
    bounded = any(argument.startswith(("-max_total_time", "-runs")) for argument in sys.argv)
    # A run that nobody bounded would go on until something is found.
    arguments = sys.argv if bounded else [*sys.argv, "-max_total_time=60"]
    with tempfile.TemporaryDirectory() as folder:
        # Whole programs to start from: chance alone would never spell one.
        for number, data in enumerate(corpus(0, 200)):
            (Path(folder) / str(number)).write_bytes(data)
        atheris.Setup([*arguments, "-max_len=600", folder], target)
        atheris.Fuzz()
