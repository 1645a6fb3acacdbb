"""Reading and writing recording files: whole or not at all, and never a traceback for damage."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from pydantic import ValidationError

from drytouch.sim.errors import InputError
from drytouch.sim.recording.encode import FORMAT, VERSION
from drytouch.sim.recording.layout import RecordingLayout

AGAIN = "the file is damaged or not a recording: record the run again, or fetch the file again"


def read(path: str | Path) -> dict[str, Any]:
    """The file's plain values, not yet checked beyond being one JSON table of finite numbers."""
    name = str(path)
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"can't be read: {error.strerror or error}", file=name, fix="check the file's name"
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(f"is not text: {error.reason}", file=name, fix=AGAIN) from error
    try:
        data = json.loads(text, parse_constant=_no_constant, parse_float=_finite, parse_int=_whole)
    except json.JSONDecodeError as error:
        end = " (the file ends too early)" if error.pos >= len(text.rstrip()) else ""
        raise InputError(
            f"is not JSON: {error.msg}{end}", file=name, line=error.lineno, fix=AGAIN
        ) from error
    except (ValueError, RecursionError) as error:
        raise InputError(f"is not a recording: {error}", file=name, fix=AGAIN) from error
    if not isinstance(data, dict):
        raise InputError("is not a recording: expected one JSON table", file=name, fix=AGAIN)
    return data


def check(data: Mapping[str, Any], name: str) -> RecordingLayout:
    """Names, types and references; InputError with the first thing wrong."""
    if data.get("format") != FORMAT:
        raise InputError(
            f"is not a recording: format is {data.get('format')!r}, expected {FORMAT!r}",
            file=name,
            key="format",
            fix="give a .recording.json file that `drytouch run` has written",
        )
    if data.get("version") != VERSION or type(data.get("version")) is not int:
        raise InputError(
            f"has version {data.get('version')!r}; this drytouch reads version {VERSION}",
            file=name,
            key="version",
            fix="read it with the drytouch that wrote it, or record the run again",
        )
    try:
        return RecordingLayout.model_validate(data)
    except (ValidationError, RecursionError) as error:
        if not isinstance(error, ValidationError):
            raise InputError(f"is not a recording: {error}", file=name, fix=AGAIN) from error
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        raise InputError(
            first["msg"].removeprefix("Value error, "), file=name, key=key, fix=AGAIN
        ) from error


def write(path: str | Path, data: Mapping[str, Any]) -> None:
    """Write beside the file, then rename: a reader or a full disk never sees half a recording."""
    text = json.dumps(data, separators=(",", ":"), allow_nan=False) + "\n"
    target = Path(path)
    temporary = ""
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="ascii", dir=target.parent, prefix=f".{target.name}.", delete=False
        ) as file:
            temporary = file.name
            file.write(text)
        # A temporary file is private to its owner; a recording should be as open as any other.
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(temporary, 0o666 & ~umask)
        os.replace(temporary, target)
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        raise InputError(
            f"can't be written: {error.strerror or error}",
            file=str(path),
            fix="choose a folder that exists, with room and leave to write",
        ) from error


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"{text} is not a number that a recording may hold")


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text} is too large")
    return number


def _whole(text: str) -> int:
    # 19 characters hold every 64-bit number; longer ones are damage, and slow to convert.
    if len(text) > 20:
        raise ValueError(f"{text[:12]}... is too large")
    return int(text)
