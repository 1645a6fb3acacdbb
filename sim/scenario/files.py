"""Reading TOML with messages that help, and writing files that are never half there."""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
import tomllib
from pathlib import Path
from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.scenario.library import nearest


def read_text(path: Path, what: str = "file") -> str:
    """The text of a UTF-8 file.

    Raises:
        InputError: missing, a folder, unreadable, or not UTF-8.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"there is no such {what}", str(path), fix=_near_files(path)) from None
    except IsADirectoryError:
        raise _is_folder(path, what) from None
    except UnicodeDecodeError as error:
        raise InputError(
            f"byte {error.start} is not UTF-8 text",
            str(path),
            line=error.object.count(b"\n", 0, error.start) + 1,
            fix="save it as plain text in UTF-8",
        ) from None
    except OSError as error:
        if path.is_dir():  # some systems report a folder as a permission error
            raise _is_folder(path, what) from None
        raise InputError(
            f"can't be read: {error.strerror}", str(path), fix="check its name and permissions"
        ) from None


def _is_folder(path: Path, what: str) -> InputError:
    return InputError(f"this is a folder, expected a {what}", str(path), fix="name a file in it")


def _near_files(path: Path) -> str:
    folder = path.parent
    if not folder.is_dir():
        return f"the folder {folder} does not exist; check the path"
    siblings = [entry.name for entry in folder.iterdir() if entry.suffix == path.suffix]
    return nearest(path.name, sorted(siblings)) if siblings else "check the name and the folder"


def read_toml(path: Path, what: str = "file") -> tuple[dict[str, Any], str]:
    """Parsed TOML and its text.

    Raises:
        InputError: as ``read_text``, or the text is not TOML; names the line.
    """
    text = read_text(path, what)
    return parse_toml(text, str(path)), text


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """Parse ``text``; ``name`` stands for the file in messages.

    Raises:
        InputError: it is not TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        found = re.search(r"\(at line (\d+), column (\d+)\)", message)
        line = int(found.group(1)) if found else text.count("\n") + 1
        column = f" (column {found.group(2)})" if found else ""
        said = message.split(" (at ")[0]
        raise InputError(
            f"not TOML: {said[:1].lower()}{said[1:]}{column}",
            name,
            line=line,
            fix="write key = value, text in double quotation marks, tables as [name]",
        ) from None
    except RecursionError:
        raise InputError("nested too deep", name, fix="use fewer brackets") from None


def write_atomically(path: Path | str, content: str | bytes) -> None:
    """Write a file whole or not at all: to a temporary name beside it, then renamed.

    Raises:
        InputError: the folder is missing or can't be written.
    """
    target = Path(path)
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary = ""
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        # mkstemp makes a private file; a result is as readable as any other new file.
        mask = os.umask(0)
        os.umask(mask)
        os.chmod(temporary, 0o666 & ~mask)
        os.replace(temporary, target)
    except BaseException as error:
        if temporary:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
        if isinstance(error, OSError):
            raise InputError(
                f"can't be written: {error.strerror}",
                str(target),
                fix="name a file in a folder that exists and that you may write to",
            ) from None
        raise
