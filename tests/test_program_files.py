"""Parameter file and tool table: there and back, and every way in which they can be wrong."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drytouch.sim.program import IdealMachine, ProgramError, start_state
from drytouch.sim.program.files import (
    PocketRow,
    load_parameters,
    load_tools,
    save_parameters,
    save_tools,
)
from drytouch.sim.program.parameters import REQUIRED, Parameters


def written(path: Path, **values: float) -> Path:
    """A parameter file with all that is required, and ``values`` as ``p5221=3``."""
    rows = dict.fromkeys(sorted(REQUIRED), 0.0) | {5220: 1.0}
    rows |= {int(name[1:]): value for name, value in values.items()}
    path.write_text(
        "head\nmore\n\n" + "".join(f"{k} {v:g} note\n" for k, v in sorted(rows.items()))
    )
    return path


@given(
    st.dictionaries(
        st.integers(1, 5060), st.floats(allow_nan=False, allow_infinity=False), max_size=8
    )
)
def test_parameters_there_and_back(tmp_path_factory: pytest.TempPathFactory, values) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path_factory.mktemp("p") / "kept.var"
    save_parameters(path, Parameters(values))
    again = load_parameters(path).common
    assert {k: again[k] for k in values} == values
    assert again.keys() == REQUIRED | values.keys()


def test_vacant_parameters_are_left_out(tmp_path: Path) -> None:
    kept = Parameters({100: 1.0})
    kept.write(101, None)
    save_parameters(tmp_path / "p", kept)
    assert 101 not in load_parameters(tmp_path / "p").common


def test_stored_shift_and_system_are_in_force_at_the_start(tmp_path: Path) -> None:
    path = written(tmp_path / "p", p5211=4, p5220=2)
    state = start_state(
        IdealMachine(origins=((0.0, 0.0, 0.0), (9.0, 0.0, 0.0)) + ((0.0,) * 3,) * 7),
        load_parameters(path),
    )
    assert state.system == 2
    assert state.program_position == (-13, 0, 0)


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("head\n1 2\n", 2, "empty line"),
        ("\n1 2\n1 3\n", 3, "must ascend"),
        ("\n5 2\n3 1\n", 3, "must ascend"),
        ("\n5401 2\n", 2, "1 to 5400"),
        ("\nx 2\n", 2, "no unsigned integer"),
        ("\n-1 2\n", 2, "no unsigned integer"),
        ("\n1 x\n", 2, "no number"),
        ("\n1 nan\n", 2, "no number"),
        ("\n1 1e999\n", 2, "no number"),
        ("\n1\n", 2, "has 2 numbers"),
        ("\n5220 10\n", 2, "1 to 9"),
        ("\n5220 1.5\n", 2, "1 to 9"),
        ("\n1 2\n", 0, "5161, 5162"),
    ],
)
def test_wrong_parameter_file(tmp_path: Path, text: str, line: int, message: str) -> None:
    path = tmp_path / "p"
    path.write_text(text)
    with pytest.raises(ProgramError, match=message) as caught:
        load_parameters(path)
    assert (caught.value.code, caught.value.line, caught.value.file) == ("E-FILE", line, str(path))


def test_unreadable_files(tmp_path: Path) -> None:
    with pytest.raises(ProgramError, match="E-FILE can't be read"):
        load_parameters(tmp_path / "missing")
    (tmp_path / "raw").write_bytes(b"\xff\xfe\n\n")
    with pytest.raises(ProgramError, match="UTF-8"):
        load_tools(tmp_path / "raw")


comment = st.text("abc (1)/", max_size=9).map(lambda text: " ".join(text.split()))
lengths = st.floats(-1e6, 1e6)


@given(
    st.lists(
        st.builds(PocketRow, st.integers(0, 99), st.integers(0, 999), lengths, lengths, comment),
        max_size=6, unique_by=lambda row: row.pocket,
    )
)  # fmt: skip
def test_tools_there_and_back(
    tmp_path_factory: pytest.TempPathFactory, rows: list[PocketRow]
) -> None:
    path = tmp_path_factory.mktemp("t") / "tools.tbl"
    save_tools(path, rows)
    assert load_tools(path) == rows


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("\n1 1 5 6\n1 2 5 6\n", 3, "twice"),
        ("\n1 1 5\n", 2, "has 4 numbers"),
        ("\n-1 1 5 6\n", 2, "unsigned"),
        ("\n1 1.5 5 6\n", 2, "unsigned"),
        ("\n1 1 long 6\n", 2, "no number"),
        ("1 1 5 6\n", 1, "empty line"),
    ],
)
def test_wrong_tool_table(tmp_path: Path, text: str, line: int, message: str) -> None:
    path = tmp_path / "t"
    path.write_text(text)
    with pytest.raises(ProgramError, match=message) as caught:
        load_tools(path)
    assert (caught.value.code, caught.value.line) == ("E-FILE", line)


def test_failed_save_leaves_the_old_file_and_no_litter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "t"
    save_tools(path, [PocketRow(1, 1, 5, 6)])
    before = path.read_text()

    def refuse(source: str, target: str) -> None:
        raise OSError(28, "no space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(ProgramError, match="E-FILE can't be written: no space"):
        save_tools(path, [PocketRow(2, 2, 5, 6)])
    assert path.read_text() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["t"]


def test_save_into_a_missing_folder(tmp_path: Path) -> None:
    with pytest.raises(ProgramError, match="E-FILE can't be written"):
        save_parameters(tmp_path / "no" / "p", Parameters())
