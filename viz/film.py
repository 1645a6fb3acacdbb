"""Frames into a movie file: raw pixels down a pipe to ffmpeg, which scales and packs them."""

from __future__ import annotations

import os
import subprocess
import tempfile
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any

from drytouch.sim.errors import InputError
from drytouch.sim.extras import install_hint
from drytouch.viz.opengl import NoPicture

ENDINGS = (".mp4", ".gif")
GIF_WIDTH, GIF_FRAMES_PER_S = 720, 10
"""A picture format for mail and slides: smaller and fewer, or it grows past what these take."""
NO_ROOM = "choose a folder that exists, with room and leave to write"


def require_encoder() -> str:
    """The path of ffmpeg; raises ``NoPicture`` with the fix where there is none."""
    try:
        from imageio_ffmpeg import get_ffmpeg_exe

        return str(get_ffmpeg_exe())
    except (ImportError, RuntimeError):
        raise NoPicture(
            "movies need imageio-ffmpeg, which is not installed", install_hint("movie")
        ) from None


class Film:
    """Takes frames in order; the file appears under its name only when it is whole.

    ``size``: width and height of the frames; ``scaled``: of the movie (area-averaged).

    Raises:
        NoPicture: ffmpeg is missing.
        InputError: the file can't be written, or its ending is none that is known.
    """

    def __init__(
        self, path: str | Path, size: tuple[int, int], scaled: tuple[int, int], frames_per_s: int
    ) -> None:
        self.path = Path(path)
        ending = self.path.suffix.lower()
        if ending not in ENDINGS:
            raise InputError(
                f"a movie can't end in '{ending}'", file=str(path), fix="name it .mp4 or .gif"
            )
        program = require_encoder()
        self.frames = 0
        try:
            handle, name = tempfile.mkstemp(
                dir=self.path.parent, prefix=f".{self.path.name}.", suffix=ending
            )
        except OSError as error:
            raise InputError(
                f"can't be written: {error.strerror}", file=str(path), fix=NO_ROOM
            ) from error
        os.close(handle)
        self._temporary = Path(name)
        self._log = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the film
        self._process = subprocess.Popen(
            [
                program, "-y", "-loglevel", "error", "-f", "rawvideo", "-pix_fmt", "rgb24",
                "-s", f"{size[0]}x{size[1]}", "-r", str(frames_per_s), "-i", "-", "-an",
                *_recipe(ending, scaled), str(self._temporary),
            ],
            stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=self._log,
        )  # fmt: skip

    def add(self, frame: Any) -> None:
        """One frame: a C-ordered array (height, width, 3) of bytes."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(memoryview(frame).cast("B"))
        except OSError:
            raise self._failed() from None
        self.frames += 1

    def __enter__(self) -> Film:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        assert self._process.stdin is not None
        try:
            with suppress(OSError):
                self._process.stdin.close()
            if kind is not None:
                self._process.kill()
            code = self._process.wait()
            if kind is not None:
                return
            if code != 0:
                raise self._failed()
            mask = os.umask(0)
            os.umask(mask)
            os.chmod(self._temporary, 0o666 & ~mask)
            os.replace(self._temporary, self.path)
        finally:
            self._log.close()
            self._temporary.unlink(missing_ok=True)

    def _failed(self) -> InputError:
        self._process.wait()
        self._log.seek(0)
        said = self._log.read().decode("utf-8", "replace").strip().splitlines()
        reason = said[-1] if said else "ffmpeg stopped"
        return InputError(f"the movie can't be written: {reason}", file=str(self.path), fix=NO_ROOM)


def _recipe(ending: str, scaled: tuple[int, int]) -> list[str]:
    """ffmpeg's options for a kind of file."""
    if ending == ".gif":
        height = round(GIF_WIDTH * scaled[1] / scaled[0])
        colours = (
            "split[a][b];[a]palettegen=max_colors=96:stats_mode=diff[p];"
            "[b][p]paletteuse=dither=none"
        )
        return ["-vf", f"fps={GIF_FRAMES_PER_S},scale={GIF_WIDTH}:{height}:flags=area,{colours}"]
    return [
        "-vf", f"scale={scaled[0]}:{scaled[1]}:flags=area", "-c:v", "libx264",
        # Flat colours and sharp text: quality 20 shows no ringing, and the fast preset keeps pace.
        "-preset", "veryfast", "-crf", "20", "-pix_fmt", "yuv420p", "-movflags", "+faststart",
    ]  # fmt: skip
