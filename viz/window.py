"""A window on a recording: a time slider, keys, and speeds from real time to a thousandth."""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import sys
import textwrap
import time
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from drytouch.sim.errors import InputError
from drytouch.sim.recording import Recording
from drytouch.viz import look, opengl, words
from drytouch.viz.belief import SHOWS_PIXELS
from drytouch.viz.moment import time_s
from drytouch.viz.opengl import NoPicture
from drytouch.viz.presses import presses_of
from drytouch.viz.units import Units

if TYPE_CHECKING:
    from drytouch.viz.ghosts import Ghost
    from drytouch.viz.view import View

SPEEDS = tuple(1 / n for n in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000))
SIZE = (1280, 800)
TICK_MS = 40
"""Timer's period: 25 pictures a second, as fast as software drawing can follow."""
HOP_S = 0.5
"""Screen time that an arrow key moves by: at 1/1000 speed that is half a millisecond."""
KEYS = (
    ("space", "play or pause"),
    ("left, right", "half a second of screen time back or on"),
    ("up, down", "faster or slower"),
    ("n, b", "next or last finding"),
    ("c", "next contact"),
    ("home, end", "to the start or the end"),
    ("w", "whole machine or close"),
    ("q", "close"),
)


def why_no_window() -> tuple[str, str]:
    """Why no window can open here, and what to do; two empty texts when one can."""
    if not sys.platform.startswith("linux"):
        return "", ""
    if not os.environ.get("DISPLAY") or not _answers():
        name = os.environ.get("DISPLAY")
        which = f"display {name} does not answer" if name else "there is no display"
        return (
            f"{which}: no window can be opened",
            "use --page FILE.html, --movie FILE.mp4 or --still FILE.png, or sit at a desktop",
        )
    return "", ""


def _answers() -> bool:
    """Whether the X display can be opened; VTK would end the process where it can't."""
    library = ctypes.util.find_library("X11")
    if library is None:
        return True  # nobody to ask: VTK brings its own
    x11 = ctypes.CDLL(library)
    x11.XOpenDisplay.restype = ctypes.c_void_p
    x11.XOpenDisplay.argtypes = [ctypes.c_char_p]
    x11.XCloseDisplay.argtypes = [ctypes.c_void_p]
    display = x11.XOpenDisplay(None)
    if display is None:
        return False
    x11.XCloseDisplay(display)
    return True


class Playback:
    """Where the replay is and how fast it runs: no drawing, so that it can be tested alone."""

    def __init__(self, recording: Recording, t: float = 0.0) -> None:
        self.duration_s = recording.duration_s
        self.t = min(max(t, 0.0), self.duration_s)
        self.playing = False
        self.speed = 1.0
        self._findings = sorted(
            min(max(time_s(f, self.duration_s), 0.0), self.duration_s) for f in recording.findings
        )
        self._contacts = [press.contact for press in presses_of(recording)]

    def advance(self, wall_s: float) -> None:
        """Let ``wall_s`` seconds pass before the screen."""
        if not self.playing:
            return
        self.t = min(self.t + wall_s * self.speed, self.duration_s)
        if self.t >= self.duration_s:
            self.playing = False

    def toggle(self) -> None:
        """Play or pause; play from the start when it is at its end."""
        self.playing = not self.playing
        if self.playing and self.t >= self.duration_s:
            self.t = 0.0

    def jump(self, t: float) -> None:
        """Go to ``t`` s and stand there."""
        self.t = min(max(t, 0.0), self.duration_s)
        self.playing = False

    def hop(self, steps: int) -> None:
        """Half a second of screen time on or back."""
        self.jump(self.t + steps * HOP_S * self.speed)

    def change_speed(self, steps: int) -> None:
        """Faster (+) or slower (-), along the list of speeds."""
        index = SPEEDS.index(self.speed) - steps
        self.speed = SPEEDS[min(max(index, 0), len(SPEEDS) - 1)]

    def next_finding(self) -> None:
        """To the next finding's time; from the last to the first."""
        self._next(self._findings)

    def last_finding(self) -> None:
        """To the finding before; from the first to the last."""
        index = bisect_left(self._findings, self.t - 1e-9) - 1
        if self._findings:
            self.jump(self._findings[index])

    def next_contact(self) -> None:
        """To the next contact; from the last to the first."""
        self._next(self._contacts)

    def _next(self, times: Sequence[float]) -> None:
        if times:
            index = bisect_right(times, self.t + 1e-9)
            self.jump(times[index % len(times)])

    @property
    def speed_name(self) -> str:
        """For the screen."""
        return "real time" if self.speed == 1.0 else f"1/{round(1 / self.speed)} speed"


class ReplayWindow:
    """The window. ``off_screen``: build it without showing it."""

    def __init__(self, recording: Recording, off_screen: bool = False) -> None:
        if not off_screen:
            reason, fix = why_no_window()
            if reason:
                raise NoPicture(reason, fix)
            if sys.platform.startswith("linux"):
                # Pictures are drawn without a screen, which a window must not be.
                os.environ["VTK_DEFAULT_OPENGL_WINDOW"] = "vtkXOpenGLRenderWindow"
        else:
            opengl.require()
        import pyvista

        from drytouch.viz.camera import aims_of
        from drytouch.viz.moving import MovingStage

        self.recording = recording
        self.units = Units.of(recording.scenario)
        self.playback = Playback(recording)
        self.plotter: Any = pyvista.Plotter(
            off_screen=off_screen, window_size=list(SIZE), lighting="none",
            title=f"drytouch: {words.title(recording)}",
        )  # fmt: skip
        self._stage = MovingStage(SIZE, self.plotter)
        self._aims = aims_of(recording)
        self._whole = False
        self._aim: Any = None
        self._texts: dict[str, str] = {}
        self._moving_slider = False
        self._wall = time.monotonic()
        self._slider = self._make_slider()
        self._bind()
        self.refresh()

    def _make_slider(self) -> Any:
        if self.recording.duration_s <= 0.0:
            return None
        return self.plotter.add_slider_widget(
            self._slid, (0.0, self.recording.duration_s), value=0.0, title="time, s",
            pointa=(0.03, 0.09), pointb=(0.62, 0.09), interaction_event="always",
            fmt="%.3f", color=look.INK, title_height=0.02, style="modern",
        )  # fmt: skip

    def _slid(self, value: float) -> None:
        if not self._moving_slider and abs(value - self.playback.t) > 1e-9:
            self.playback.jump(value)
            self.refresh()

    def _bind(self) -> None:
        p = self.playback
        keys: dict[str, Callable[[], None]] = {
            "space": p.toggle, "Left": lambda: p.hop(-1), "Right": lambda: p.hop(1),
            "Up": lambda: p.change_speed(1), "Down": lambda: p.change_speed(-1),
            "n": p.next_finding, "b": p.last_finding, "c": p.next_contact,
            "Home": lambda: p.jump(0.0), "End": lambda: p.jump(p.duration_s),
            "w": self._toggle_whole,
        }  # fmt: skip
        self._keys = keys
        for key in keys:
            self.plotter.add_key_event(key, lambda key=key: self.press(key))

    def press(self, key: str) -> None:
        """What a key does, by its name ("space", "n", "Left" ...); KeyError for one without use."""
        self._keys[key]()
        self.refresh()

    def _toggle_whole(self) -> None:
        self._whole = not self._whole
        self._aim = None

    def tick(self, wall_s: float) -> None:
        """Let time pass; draw when something has changed."""
        if self.playback.playing:
            self.playback.advance(wall_s)
            self.refresh()

    def refresh(self) -> None:
        """Put everything where it is at the present time."""
        from drytouch.viz.ghosts import ghosts_at
        from drytouch.viz.meshes import solids_at
        from drytouch.viz.poses import poses_at
        from drytouch.viz.view import whole_view

        t = self.playback.t
        index = max(bisect_right([aim.t for aim in self._aims], t) - 1, 0)
        aim = self._aims[index]
        hidden = ("machine",) if aim.close and not self._whole else ()
        key = (index, self._whole)
        view = self._stage.view
        if key != self._aim or view is None:
            # Only a new place moves the camera: in between it is the user's.
            view = whole_view(solids_at(self.recording, t)) if self._whole else aim.view
            self._aim = key
            move: View | None = view
        else:
            move = None
        least = SHOWS_PIXELS * 2.0 * view.half_height_mm / SIZE[1]
        poses = poses_at(self.recording, t)
        ghosts = ghosts_at(self.recording, t, least, poses)
        self._stage.show(poses, move, hidden, [ghost.pose for ghost in ghosts])
        self._write(t, ghosts)
        if self._slider is not None:
            self._moving_slider = True
            self._slider.GetRepresentation().SetValue(t)
            self._moving_slider = False
        self.plotter.render()

    def _write(self, t: float, ghosts: Sequence[Ghost]) -> None:
        recording, units = self.recording, self.units
        state = "playing" if self.playback.playing else "paused"
        x, y, z = (units.length(v) for v in recording.position_at(t))
        rows = [
            f"{t:.4f} s of {recording.duration_s:.3f} s   {self.playback.speed_name}   {state}",
            f"X {x}   Y {y}   Z {z}   {units.feed(recording.speed_at(t))}",
        ]
        for signal in [s for s in recording.signals if s.endswith(".seen")][:2]:
            on = recording.signal_at(signal, t) == 1
            rows.append(f"the controller sees {signal[:-5]}: {'ON' if on else 'off'}")
        for setter in recording.setters:
            depth = recording.pad_depth_at(setter, t)
            if depth > 0.0:
                rows.append(f"pad of {setter} pressed {units.small(depth)}")
        rows += [f"outlined: {ghost.label}" for ghost in ghosts]
        self._text("state", "\n".join(rows), "upper_left", 11)
        shown = [f for f in recording.findings if time_s(f, 0.0) <= t + 1e-9]
        found = ""
        if shown:
            lines = [f"{words.named(shown[-1])} ({shown[-1].get('severity', '')})"]
            for _, sentence in words.sentences(shown[-1]):
                lines += textwrap.wrap(units.text(sentence), 58)
            found = "\n".join(lines)
        self._text("finding", found, "upper_right", 10)
        keys = "\n".join(f"{key}: {what}" for key, what in KEYS)
        self._text("keys", keys, (SIZE[0] - 372, 36), 9)
        self._text("caution", look.CAUTION, (12, 8), 8)

    def _text(self, name: str, text: str, place: Any, size: int) -> None:
        if self._texts.get(name) == text:
            return
        self._texts[name] = text
        actor = self.plotter.add_text(
            text or " ", position=place, font_size=size, color=look.INK, name=name, render=False
        )
        # Words must be readable before whatever stands behind them.
        paper = actor.GetTextProperty()
        paper.SetBackgroundColor(1.0, 1.0, 1.0)
        paper.SetBackgroundOpacity(0.85 if text else 0.0)

    def show(self) -> None:
        """Open the window and stay until it is closed."""
        self.plotter.add_timer_event(2**31 - 1, TICK_MS, self._timed)
        self.plotter.show()

    def _timed(self, _: int) -> None:
        now = time.monotonic()
        # A stalled screen must not leap over a contact.
        self.tick(min(now - self._wall, 0.2))
        self._wall = now

    def close(self) -> None:
        """Close it."""
        self.plotter.close()


def open_window(recording: Recording, at: float | None = None) -> None:
    """Replay in a window; returns when it is closed.

    ``at``: time in s to begin at, paused.

    Raises:
        NoPicture: no display, or no OpenGL; says what to use instead.
        InputError: ``at`` is outside the recording.
    """
    window = ReplayWindow(recording)
    if at is not None:
        if not 0.0 <= at <= recording.duration_s:
            raise InputError(f"the time is {at} s; it lasts {recording.duration_s:g} s", key="at")
        window.playback.jump(at)
        window.refresh()
    else:
        window.playback.toggle()
    try:
        window.show()
    finally:
        window.close()
