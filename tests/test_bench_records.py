"""Records on disk: kept, counted, exported, and there after the process was killed."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from bench_cases import do, prove

from drytouch.sim.bench import Session
from drytouch.sim.bench.records import Records, data_folder
from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording


def attempt(trainee: str, good: bool) -> Session:
    session = Session.open("prove-the-input", trainee=trainee)
    if good:
        do(session, "plug-in", setter="setter", socket="setter")
        prove(session)
    session.finish()
    return session


def test_who_did_what_and_where_they_fail(tmp_path: Path) -> None:
    records = Records(tmp_path)
    for trainee, good in (("Ada", False), ("Ada", True), ("Ben", False), ("", True)):
        records.save(attempt(trainee, good))
    (row,) = records.progress("Ada")
    assert (row["exercise"], row["attempts"], row["passed"]) == ("prove-the-input", 2, 1)
    assert row["best_time_s"] is not None
    assert [(r["trainee"], r["attempts"], r["passed"]) for r in records.class_view()] == [
        ("", 1, 1), ("Ada", 2, 1), ("Ben", 1, 0),
    ]  # fmt: skip
    failing = {(r["kind"], r["code"]): r for r in records.where_people_fail()}
    assert failing["missing", "input-proved"]["attempts"] == 2
    assert failing["missing", "input-proved"]["trainees"] == 2
    assert records.forget("Ada") == 2
    assert len(records.attempts()) == 2
    assert failing["missing", "input-proved"] not in records.where_people_fail()


def test_an_attempt_comes_back_whole(tmp_path: Path) -> None:
    records, session = Records(tmp_path), attempt("Ada", True)
    whole = records.attempt(records.save(session))
    assert whole["recording"] == json.loads(json.dumps(session.recording()))
    assert session.debrief is not None
    assert whole["debrief"] == json.loads(json.dumps(session.debrief.to_dict()))
    assert Recording.from_dict(whole["recording"]).duration_s == session.outcome.time_s  # type: ignore[union-attr]
    with pytest.raises(InputError, match="no attempt 77"):
        records.attempt(77)


def test_exports_agree_and_no_name_becomes_a_formula(tmp_path: Path) -> None:
    records = Records(tmp_path)
    records.save(attempt("=cmd()", False))
    records.save(attempt('Ben, the "second"', True))
    rows = list(csv.DictReader(io.StringIO(records.as_csv())))
    assert [row["trainee"] for row in rows] == ["'=cmd()", 'Ben, the "second"']
    data = json.loads(records.as_json())
    assert [str(row["score"]) for row in data] == [row["score"] for row in rows]
    assert data[0]["debrief"]["missing"]


def test_a_session_that_is_not_judged_is_not_kept(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not judged"):
        Records(tmp_path).save(Session.open("prove-the-input"))


_WRITER = """
import os, signal, sys
from pathlib import Path
from drytouch.sim.bench import Session
from drytouch.sim.bench.records import Records
records = Records(Path(sys.argv[1]))
for number in range(3):
    session = Session.open("prove-the-input", trainee=f"t{number}")
    session.finish()
    records.save(session)
# A transaction that was never committed, then no chance to clean up.
import sqlite3
base = sqlite3.connect(records.path)
base.execute("INSERT INTO failings VALUES (1, 'half', 'done')")
os.kill(os.getpid(), signal.SIGKILL if hasattr(signal, "SIGKILL") else signal.SIGTERM)
"""


def test_what_was_saved_survives_a_kill(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", _WRITER, str(tmp_path)], check=False)
    assert done.returncode != 0
    if hasattr(signal, "SIGKILL"):
        assert done.returncode == -signal.SIGKILL
    records = Records(tmp_path)
    assert [row["trainee"] for row in records.attempts()] == ["t0", "t1", "t2"]
    assert all(row["kind"] != "half" for row in records.where_people_fail())
    with sqlite3.connect(records.path) as base:
        assert base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert base.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    base.close()


def test_records_of_a_later_version_are_refused(tmp_path: Path) -> None:
    path = Records(tmp_path).path
    base = sqlite3.connect(path)
    base.execute("PRAGMA user_version = 99")
    base.commit()
    base.close()
    with pytest.raises(InputError, match="version 99"):
        Records(tmp_path)


def test_the_folder_can_be_chosen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("DRYTOUCH_DATA", str(tmp_path / "deep" / "er"))
    assert data_folder() == tmp_path / "deep" / "er"
    assert Records().path.is_file()
    monkeypatch.delenv("DRYTOUCH_DATA")
    assert data_folder().name == "drytouch"
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    with pytest.raises(InputError, match="DRYTOUCH_DATA"):
        Records(blocked / "below")
    assert os.path.isfile(blocked)
