"""Records: attempts of trainees in one SQLite file on this machine, and nowhere else.

Write-ahead log and one transaction an attempt: what ``save`` has returned from survives a killed
process. Names are whatever the trainee gave; without one the attempt is anonymous.
"""

from __future__ import annotations

import csv
import io
import json
import os
import sqlite3
import sys
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import InputError

if TYPE_CHECKING:
    from drytouch.sim.bench.session import Session

VERSION = 1
ANONYMOUS = ""
_FILE = "attempts.sqlite3"
# How long a writer waits for another one, s: a room of thirty saves within a fraction of it.
_WAIT_S = 10.0
_TABLES = """
CREATE TABLE IF NOT EXISTS attempts (
    id INTEGER PRIMARY KEY,
    trainee TEXT NOT NULL,
    exercise TEXT NOT NULL,
    machine TEXT NOT NULL,
    seed INTEGER NOT NULL,
    at TEXT NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%SZ', 'now')),
    verdict TEXT NOT NULL,
    passed INTEGER NOT NULL,
    score INTEGER NOT NULL,
    time_s REAL NOT NULL,
    hints INTEGER NOT NULL,
    debrief TEXT NOT NULL,
    scenario TEXT NOT NULL,
    recording BLOB NOT NULL
);
CREATE INDEX IF NOT EXISTS attempts_of ON attempts (trainee, exercise);
CREATE TABLE IF NOT EXISTS failings (
    attempt INTEGER NOT NULL REFERENCES attempts (id) ON DELETE CASCADE,
    kind TEXT NOT NULL,
    code TEXT NOT NULL
);
"""
COLUMNS = (
    "id", "trainee", "exercise", "machine", "seed", "at", "verdict", "passed", "score", "time_s",
    "hints",
)  # fmt: skip


def data_folder() -> Path:
    """Where records live: ``DRYTOUCH_DATA``, or the platform's folder for a user's data."""
    chosen = os.environ.get("DRYTOUCH_DATA")
    if chosen:
        return Path(chosen)
    home = Path.home()
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", home / "AppData" / "Local")) / "drytouch"
    if sys.platform == "darwin":
        return home / "Library" / "Application Support" / "drytouch"
    return Path(os.environ.get("XDG_DATA_HOME", home / ".local" / "share")) / "drytouch"


class Records:
    """The attempts on this machine. Each call opens the file anew: any thread may call."""

    def __init__(self, folder: Path | None = None) -> None:
        self.path = (folder or data_folder()) / _FILE
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self._open() as base:
                # The journal's kind is kept in the file; one sync a transaction reaches the disk.
                base.execute("PRAGMA journal_mode = WAL")
                found = base.execute("PRAGMA user_version").fetchone()[0]
                if found not in (0, VERSION):
                    raise InputError(
                        f"records of version {found}; this edition reads {VERSION}",
                        str(self.path),
                        fix="use a newer drytouch, or another folder (DRYTOUCH_DATA)",
                    )
                base.executescript(_TABLES)
                base.execute(f"PRAGMA user_version = {VERSION}")
        except (OSError, sqlite3.Error) as error:
            raise InputError(
                f"records can't be kept: {error}",
                str(self.path),
                fix="set DRYTOUCH_DATA to a folder that can be written",
            ) from None

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        with closing(sqlite3.connect(self.path, timeout=_WAIT_S)) as base, base:
            base.row_factory = sqlite3.Row
            base.execute("PRAGMA synchronous = FULL")
            base.execute("PRAGMA foreign_keys = ON")
            yield base

    # ---- writing -------------------------------------------------------------------------

    def save(self, session: Session) -> int:
        """Keep a judged session; returns the attempt's number. It is on disk then.

        Raises:
            InputError: the session is not judged yet, or the file can't be written.
        """
        from drytouch.sim.scenario.save import scenario_to_toml

        debrief = session.debrief
        if debrief is None or session.outcome is None:
            raise InputError("the session is not judged yet", fix="finish it first")
        scenario = session.live.scenario
        row = (
            session.trainee, session.opened.name or "bench", scenario.machine.name, scenario.seed,
            debrief.verdict, int(debrief.passed), debrief.score, session.outcome.time_s,
            session.hints_used, json.dumps(debrief.to_dict()),
            scenario_to_toml(session.as_scenario()),
            _compressed(session.live.twin.recorder.to_json()),
        )  # fmt: skip
        try:
            with self._open() as base:
                number = base.execute(
                    "INSERT INTO attempts (trainee, exercise, machine, seed, verdict, passed, "
                    "score, time_s, hints, debrief, scenario, recording) "
                    f"VALUES ({', '.join('?' * len(row))})",
                    row,
                ).lastrowid
                base.executemany(
                    "INSERT INTO failings VALUES (?, ?, ?)",
                    [(number, kind, code) for kind, code in _failings(debrief.to_dict())],
                )
        except sqlite3.Error as error:
            raise InputError(f"the attempt can't be kept: {error}", str(self.path)) from None
        assert number is not None
        return number

    def forget(self, trainee: str) -> int:
        """Remove all attempts of a trainee; returns how many there were."""
        with self._open() as base:
            return base.execute("DELETE FROM attempts WHERE trainee = ?", (trainee,)).rowcount

    # ---- reading -------------------------------------------------------------------------

    def attempts(
        self, trainee: str | None = None, exercise: str | None = None
    ) -> list[dict[str, Any]]:
        """Attempts in the order in which they were made, without their recordings."""
        wanted = [("trainee", trainee), ("exercise", exercise)]
        given = [(column, value) for column, value in wanted if value is not None]
        where = " AND ".join(f"{column} = ?" for column, _ in given) or "1"
        return self._rows(
            f"SELECT {', '.join(COLUMNS)} FROM attempts WHERE {where} ORDER BY id",
            [value for _, value in given],
        )

    def attempt(self, number: int) -> dict[str, Any]:
        """One attempt whole: debrief, scenario (TOML) and recording as plain data.

        Raises:
            InputError: there is no such attempt.
        """
        rows = self._rows("SELECT * FROM attempts WHERE id = ?", [number])
        if not rows:
            raise InputError(f"there is no attempt {number}", str(self.path))
        row = rows[0]
        row["debrief"] = json.loads(row["debrief"])
        row["recording"] = json.loads(zlib.decompress(row["recording"]))
        return row

    def findings(self, number: int) -> list[dict[str, Any]]:
        """Code and time (s) of an attempt's findings, in the order of its replay."""
        rows = self._rows("SELECT debrief FROM attempts WHERE id = ?", [number])
        found = json.loads(rows[0]["debrief"])["findings"] if rows else []
        told = [{"code": entry["code"], "time_s": entry["time_s"]} for entry in found]
        return sorted(told, key=lambda entry: float(entry["time_s"]))

    def progress(self, trainee: str) -> list[dict[str, Any]]:
        """Per exercise: attempts, whether passed, best score, shortest passed time."""
        return self._rows(
            "SELECT exercise, COUNT(*) AS attempts, MAX(passed) AS passed, "
            "MAX(score) AS best_score, MIN(CASE WHEN passed THEN time_s END) AS best_time_s, "
            "MAX(at) AS last_at FROM attempts WHERE trainee = ? GROUP BY exercise "
            "ORDER BY exercise",
            [trainee],
        )

    def class_view(self) -> list[dict[str, Any]]:
        """Who has done what: one row a trainee and exercise."""
        return self._rows(
            "SELECT trainee, exercise, COUNT(*) AS attempts, MAX(passed) AS passed, "
            "MAX(score) AS best_score, MAX(id) AS last_attempt FROM attempts "
            "GROUP BY trainee, exercise ORDER BY trainee, exercise",
            [],
        )

    def where_people_fail(self) -> list[dict[str, Any]]:
        """What goes wrong most: exercise, kind, code, in how many attempts, by how many people."""
        return self._rows(
            "SELECT exercise, kind, code, COUNT(DISTINCT attempt) AS attempts, "
            "COUNT(DISTINCT trainee) AS trainees FROM failings "
            "JOIN attempts ON attempts.id = failings.attempt "
            "GROUP BY exercise, kind, code ORDER BY attempts DESC, exercise, kind, code",
            [],
        )

    def as_csv(self, trainee: str | None = None) -> str:
        """Attempts as CSV with a header line."""
        text = io.StringIO()
        writer = csv.DictWriter(text, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(
            {key: _harmless(value) for key, value in row.items()} for row in self.attempts(trainee)
        )
        return text.getvalue()

    def as_json(self, trainee: str | None = None) -> str:
        """Attempts with their debriefs as a JSON list."""
        rows = self.attempts(trainee)
        for row in rows:
            row["debrief"] = self.attempt(row["id"])["debrief"]
        return json.dumps(rows, indent=1)

    def _rows(self, query: str, values: list[Any]) -> list[dict[str, Any]]:
        try:
            with self._open() as base:
                return [dict(row) for row in base.execute(query, values)]
        except sqlite3.Error as error:
            raise InputError(f"records can't be read: {error}", str(self.path)) from None


def _compressed(texts: Iterable[str]) -> bytes:
    """Pieces of a text, compressed one by one: an hour's recording is 7 MB, and never whole."""
    packer = zlib.compressobj()
    return b"".join([*(packer.compress(text.encode()) for text in texts), packer.flush()])


def _failings(debrief: dict[str, Any]) -> list[tuple[str, str]]:
    """What failed in an attempt, as (kind, code), each once."""
    found = [("finding", f["code"]) for f in debrief["findings"] if f["severity"] != "right"]
    found += [("proof", entry["proof"]) for entry in debrief["skipped"]]
    found += [("missing", name) for name in debrief["missing"]]
    found += [("answer", entry["question"]) for entry in debrief["answers"] if not entry["right"]]
    return list(dict.fromkeys(found))


def _harmless(value: Any) -> Any:
    """A name that a spreadsheet would take for a formula, made text."""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return f"'{value}"
    return value
