"""Result files: each is written under another name and renamed, so that none is ever half there."""

from __future__ import annotations

import json
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.sim.recording.encode import plain
from drytouch.sim.scenario.files import write_atomically
from drytouch.sim.twin.outcome import Outcome


class Files(NamedTuple):
    """Where one run's results go."""

    outcome: Path
    recording: Path
    picture: Path


def files_for(folder: Path, name: str) -> Files:
    """The paths for a run; characters that no file name can hold become dashes."""
    stem = re.sub(r"[^A-Za-z0-9._-]+", "-", name).strip(".-") or "run"
    return Files(
        folder / f"{stem}.outcome.json",
        folder / f"{stem}.recording.json",
        folder / f"{stem}.png",
    )


@contextmanager
def results_folder(folder: Path) -> Iterator[None]:
    """Make the folder for results before the run, so that no work is lost for want of it.

    A folder that was made for nothing goes away again.

    Raises:
        InputError: it can't be made or written to.
    """
    new = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        raise InputError(
            f"results can't be written here: {error.strerror}",
            str(folder),
            fix="name another folder with --out",
        ) from None
    try:
        yield
    finally:
        with suppress(OSError):  # not empty: it holds results
            for path in new:
                path.rmdir()


def as_json(data: Any) -> str:
    """One JSON object as text, the same for screen and file."""
    return json.dumps(plain(data), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def keep(outcome: Outcome, files: Files) -> Recording:
    """Write outcome and recording; gives back the recording.

    Raises:
        InputError: a file can't be written.
    """
    assert outcome.recorder is not None  # a twin's outcome always has one
    outcome.recorder.end(outcome.time_s, outcome.to_dict())
    recording = Recording.from_recorder(outcome.recorder)
    write_atomically(files.recording, json.dumps(recording.data, separators=(",", ":")) + "\n")
    write_atomically(files.outcome, as_json(outcome.to_dict()))
    return recording


@contextmanager
def renamed_when_whole(target: Path) -> Iterator[Path]:
    """Give a temporary path beside ``target``; it takes that name when the block ends well."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=".", suffix=target.suffix)
    os.close(handle)
    try:
        yield Path(name)
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(name, 0o666 & ~mask)
        os.replace(name, target)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise
