"""Old rows packed into a temporary file: nothing is lost, nothing is left behind, bytes stay."""

from __future__ import annotations

import errno
import gc
import math
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_recording_files import busy

from drytouch.sim.errors import InputError
from drytouch.sim.motion.pieces import Piece
from drytouch.sim.recording import LineEntry, Recorder, Recording, Source, recorder, rows
from drytouch.sim.recording.rows import Rows, in_order
from drytouch.sim.recording.spool import Spool
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.twin.twin import Twin

DEMONSTRATIONS = (
    "commissioning-by-face",
    "length-done-right",
    "emergency-stop-mid-touch",
    "loose-setter-slides",
    "noise-on-the-line",
    "turning-against-the-cut-done-right",
    "setter-height-done-right",
)


@pytest.fixture
def few() -> Iterator[None]:
    """Two rows are packed at once, and one is kept: everything crosses the edge."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rows, "TOGETHER", 2)
        patch.setattr(recorder, "KEPT", 1)
        yield


def text(recorder: Recorder) -> str:
    return "".join(recorder.to_json())


# ---- rows ------------------------------------------------------------------------------------


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    data=st.lists(st.tuples(st.floats(-9.0, 9.0), st.integers()), max_size=40),
    keep=st.integers(0, 5),
    together=st.integers(1, 7),
    pack_each=st.integers(1, 9),
    where=st.slices(40),
)
def test_packed_rows_are_a_list(
    monkeypatch: pytest.MonkeyPatch,
    data: list[Any],
    keep: int,
    together: int,
    pack_each: int,
    where: slice,
) -> None:
    monkeypatch.setattr(rows, "TOGETHER", together)
    kept: Rows[Any] = Rows(Spool(), keep, data[:3])
    for number, row in enumerate(data[3:]):
        kept.append(row)
        if number % pack_each == 0:
            kept.pack()
    kept.pack()
    assert len(kept) == len(data)
    assert list(kept) == data == [row for batch in kept.batches() for row in batch]
    assert [kept[at] for at in range(-len(data), len(data))] == data + data
    assert kept[where] == data[where]
    # Times here are in no order at all; real ones are all but sorted.
    assert list(in_order(kept, lambda row: row[0])) == sorted(data, key=lambda row: row[0])
    for beyond in (len(data), -len(data) - 1):
        with pytest.raises(IndexError, match="no row"):
            kept[beyond]


def test_what_comes_while_rows_are_read_is_read_too(few: None) -> None:
    kept: Rows[int] = Rows(Spool(), 1, range(4))
    read = []
    for row in kept:
        read.append(row)
        if row < 20:
            kept.append(len(kept))
            kept.pack()
    assert read == list(range(len(kept))) == list(kept)


def test_a_row_that_may_still_change_waits_with_all_after_it(few: None) -> None:
    held = [1.0]
    kept: Rows[list[float]] = Rows(Spool(), 0, settled=lambda row: row is not held)
    for number in range(6):
        kept.append(held if number == 3 else [0.0])
        kept.pack()
    held[0] = 2.0
    assert kept[3] is held
    held = []
    kept.pack()
    assert list(kept) == [[0.0]] * 3 + [[2.0]] + [[0.0]] * 2


def test_everything_comes_back_as_what_it_was(few: None) -> None:
    pieces = (Piece(0.0, math.inf, 0.1, 0.0, 0.0, 0.0, 0.1), (0.5, 1, 0.1, 0, 0, 0, 0.1))
    entry = LineEntry(
        1, "jog", 0.0, math.inf, (0.1, 0.2, 0.3), (1.0, 0.0, 0.0), None, (0, 0, 0), 0.0, 0.025,
        pieces, None, Source(0, call="wait"),
    )  # fmt: skip
    kept: Rows[Any] = Rows(Spool())
    first = [entry, (True, 1, 1.0, np.float64(1.0), -0.0, None, "x", {"a": (1, [2])})]
    for row in first:
        kept.append(row)
    kept.pack()
    assert kept[0] is not entry
    assert repr(list(kept)) == repr(first)
    assert [type(piece) for piece in kept[0].pieces] == [Piece, tuple]
    assert type(kept[0].source) is Source


# ---- the file --------------------------------------------------------------------------------


def test_no_file_until_one_is_needed_and_none_is_left(
    few: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    recorder = busy(0)
    spool = Spool()
    recorder.spill(spool)
    recorder.pack()
    assert spool.size_bytes == 0
    assert spool._file is None
    for number in range(9):
        recorder.event(float(number), "step", {"index": number})
        recorder.pack()
    file: Any = spool._file
    assert spool.size_bytes == os.fstat(file.fileno()).st_size > 0
    if os.name == "posix":
        # Without a name, the system takes it away even when the process is killed.
        assert list(tmp_path.iterdir()) == []
    del recorder, spool
    gc.collect()
    assert file.closed
    assert list(tmp_path.iterdir()) == []


class Full:
    """A disk that takes so many bytes and no more."""

    def __init__(self, room: int, short: bool) -> None:
        self.file = tempfile.TemporaryFile(buffering=0)  # noqa: SIM115
        self.room, self.short = room, short

    def write(self, data: bytes) -> int:
        if self.file.tell() + len(data) <= self.room:
            return self.file.write(data)
        if not self.short:
            raise OSError(errno.ENOSPC, "no space left on device")
        return self.file.write(data[: max(self.room - self.file.tell(), 0)])

    def __getattr__(self, name: str) -> Any:
        return getattr(self.file, name)


@pytest.mark.parametrize("short", [False, True])
@pytest.mark.parametrize("room", [0, 500])
def test_a_full_disk_costs_memory_and_no_row(
    few: None, monkeypatch: pytest.MonkeyPatch, room: int, short: bool
) -> None:
    monkeypatch.setattr("drytouch.sim.recording.spool.TemporaryFile", lambda **_: Full(room, short))
    plain, packed = busy(), busy()
    spool = Spool()
    packed.spill(spool)
    packed.pack()
    assert spool.size_bytes <= room
    assert text(packed) == text(plain)


def test_no_place_for_a_file_costs_memory_and_no_row(
    few: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nowhere(**_: Any) -> Any:
        raise FileNotFoundError("no usable temporary directory")

    monkeypatch.setattr("drytouch.sim.recording.spool.TemporaryFile", nowhere)
    plain, packed = busy(), busy()
    spool = Spool()
    packed.spill(spool)
    assert spool.size_bytes == 0
    packed.pack()
    assert text(packed) == text(plain)


def test_a_file_that_is_lost_is_said(few: None, monkeypatch: pytest.MonkeyPatch) -> None:
    recorder = busy()
    spool = Spool()
    recorder.spill(spool)
    recorder.pack()
    assert spool._file is not None
    spool._file.truncate(10)
    with pytest.raises(InputError, match=r"temporary file can't be read: \d+ of \d+ bytes"):
        recorder.to_dict()
    monkeypatch.setattr(spool, "_file", Worn())
    with pytest.raises(InputError, match="temporary file can't be read: it is worn"):
        recorder.to_dict()


class Worn:
    """A disk that can't be read any more."""

    def seek(self, offset: int) -> int:
        return offset

    def read(self, length: int) -> bytes:
        raise OSError("it is worn")


def test_what_no_file_can_hold_is_refused_as_ever(few: None) -> None:
    recorder = busy(1)
    recorder.spill(Spool())
    recorder.event(9.0, "odd", lambda: None)
    for _ in range(4):
        recorder.event(9.5, "plain", None)
    recorder.pack()
    with pytest.raises(InputError, match="can't hold a function"):
        recorder.to_dict()
    with pytest.raises(InputError, match="can't hold a function"):
        text(recorder)


# ---- recordings ------------------------------------------------------------------------------


def test_an_ordinary_run_keeps_plain_lists() -> None:
    recorder = Recorder()
    recorder.pack()
    kinds = {type(value) for name, value in vars(recorder).items() if name in _ROWS}
    assert kinds == {list}


_ROWS = ("lines", "pads", "edges", "events", "beliefs", "turns", "scenes")


def test_the_text_in_pieces_is_the_text_of_the_file(tmp_path: Path) -> None:
    for made in (busy(), busy(0), Recorder()):
        Recording.from_recorder(made).save(tmp_path / "a.json")
        assert text(made) + "\n" == (tmp_path / "a.json").read_text()


@pytest.mark.parametrize("name", DEMONSTRATIONS)
def test_the_same_run_gives_the_same_bytes_packed_or_not(
    few: None, name: str, tmp_path: Path
) -> None:
    for packs in (False, True):
        twin = Twin(load_scenario(name))
        if packs:
            spool = Spool()
            twin.recorder.spill(spool)
            twin.kernel.observers.append(lambda *_, r=twin.recorder: r.pack())
        outcome = twin.run_steps()
        twin.recorder.pack()
        Recording.from_outcome(outcome).save(tmp_path / f"{packs}.json")
        whole = text(twin.recorder)
        assert whole + "\n" == (tmp_path / f"{packs}.json").read_text()
    assert spool.size_bytes > 0
    assert (tmp_path / "True.json").read_bytes() == (tmp_path / "False.json").read_bytes()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    times=st.lists(st.floats(0.0, 20.0), max_size=30),
    together=st.integers(1, 5),
    kept=st.integers(0, 3),
)
def test_rows_out_of_time_come_in_order_packed_or_not(
    monkeypatch: pytest.MonkeyPatch, times: list[float], together: int, kept: int
) -> None:
    monkeypatch.setattr(rows, "TOGETHER", together)
    monkeypatch.setattr(recorder, "KEPT", kept)
    texts = []
    for packs in (False, True):
        made = busy(1)
        made.ended_s = None  # the end is then that of the last row
        if packs:
            made.spill(Spool())
        for number, t in enumerate(times):
            made.event(t, "step", number)
            made.edge("input 1.seen", t, number % 2)
            made.pad("main", t, 1, 0.5, 0.0, 1.0, math.inf)
            made.belief(t, "row 1 length", number)
            made.spindle(t, 0.0, float(number))
            made.pack()
        texts.append(text(made))
    assert texts[0] == texts[1]


def test_a_body_that_comes_again_is_kept_once(few: None) -> None:
    twin = Twin(load_scenario("length-done-right"))
    tool = twin.scenario.spindle_tool
    assert tool is not None
    twin.recorder.spill(Spool())
    for number in range(8):
        twin.stage.load(tool, twin.recorder, float(number))
        twin.recorder.pack()
    bodies = [data for _, _, body, data in twin.recorder.scenes if body == "tool"]
    assert len(bodies) == 9
    assert len({id(body) for body in bodies}) == 1
