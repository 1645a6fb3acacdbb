"""Can this machine draw? Asked once, in another process, because a bad OpenGL kills the asker.

On a bare Linux server ``import pyvista`` works and the first picture ends the process with a
segmentation fault, which no ``try`` can catch. So a child draws a tiny picture first.
"""

from __future__ import annotations

import os
import subprocess
import sys
from functools import cache
from importlib.util import find_spec

from drytouch.sim.errors import DrytouchError
from drytouch.sim.extras import install_hint

APT_LINE = "apt-get install --no-install-recommends libegl1 libgl1-mesa-dri"
PROBE_TIMEOUT_S = 120.0
"""A first import of VTK from a cold disk takes some 10 s; a hung driver never ends."""

_PROBE = """
import pyvista
plotter = pyvista.Plotter(off_screen=True, window_size=(32, 32), lighting="none")
plotter.background_color = "black"
plotter.add_mesh(pyvista.Cube(), color="white", lighting=False)
picture = plotter.screenshot(return_img=True)
assert picture.max() > 200, "the picture stays black"
"""


class NoPicture(DrytouchError):
    """Pictures can't be drawn here. Arguments: ``reason`` and ``fix``."""

    def __init__(self, reason: str, fix: str = "") -> None:
        super().__init__(reason, fix)
        self.reason = reason
        self.fix = fix

    def __str__(self) -> str:
        return f"{self.reason}\n  fix: {self.fix}" if self.fix else self.reason


def choose_window() -> None:
    """Draw without a screen on Linux; must come before the first import of VTK."""
    if sys.platform.startswith("linux"):
        # Skips the attempt to reach an X server and its warning; a user's own choice stays.
        os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")


@cache
def why_not() -> tuple[str, str]:
    """Why no picture can be drawn and what to do; two empty texts when all is well."""
    if find_spec("pyvista") is None or find_spec("PIL") is None:
        return "pictures need PyVista, which is not installed", install_hint("pictures")
    choose_window()
    try:
        done = subprocess.run(
            [sys.executable, "-c", _PROBE],
            capture_output=True,
            text=True,
            errors="replace",
            timeout=PROBE_TIMEOUT_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return f"OpenGL did not draw within {PROBE_TIMEOUT_S:g} s", _cure()
    except OSError as error:
        return f"the OpenGL probe could not be started: {error}", _cure()
    if done.returncode == 0:
        return "", ""
    return _reason(done.returncode, done.stderr), _cure()


def require() -> None:
    """Do nothing where pictures can be drawn; else raise ``NoPicture`` with reason and fix."""
    reason, fix = why_not()
    if reason:
        raise NoPicture(reason, fix)
    choose_window()


def _reason(code: int, errors: str) -> str:
    last = (errors.strip().splitlines() or [""])[-1].strip()
    if code < 0 or code >= 128:
        signal = -code if code < 0 else code - 128
        return f"OpenGL crashed the drawing process (signal {signal})"
    return f"OpenGL does not work here: {last or f'exit code {code}'}"


def _cure() -> str:
    if sys.platform.startswith("linux"):
        return f"install software OpenGL: {APT_LINE}"
    return "install the graphics driver of this machine, or draw on another one"
