"""How fast a movie is drawn at 1280 x 720, and what a ten-minute recording costs in memory.

Run: python benchmarks/movie_speed.py. At least 20 frames a second are wanted where everything
moves; frames that stay the same cost only their way into the encoder.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

from drytouch.sim.recording import Recording
from drytouch.sim.scenario import library
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.twin.twin import Twin
from drytouch.viz.captions import cues_of
from drytouch.viz.film import Film
from drytouch.viz.movie import DRAWN, FRAMES_PER_S, SHOWN, MovieArtist, make_movie
from drytouch.viz.pace import Stretch, pace, shots

NAME = "length-done-right"
LONG_S = 600.0


def recorded(name: str) -> Recording:
    scenario = load_scenario(library.path("demonstration", name))
    return Recording.from_outcome(Twin(scenario).run_steps())


def memory_mb() -> float:
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0**2 if sys.platform == "darwin" else 1024.0)


def long_run(recording: Recording) -> Recording:
    """The same run again and again until it has lasted ten minutes."""
    data = dict(recording.data)
    times = int(LONG_S / recording.duration_s) + 1
    lines = []
    for n in range(times):
        late = n * recording.duration_s
        for line in data["lines"]:
            moved = dict(line)
            moved["id"] = line["id"] + 10_000 * n
            moved["t"] = [t + late for t in line["t"]]
            moved["pieces"] = [[p[0] + late, p[1] + late, *p[2:]] for p in line["pieces"]]
            lines.append(moved)
    return Recording.from_dict(
        {
            **data, "lines": lines, "duration_s": recording.duration_s * times,
            "pads": [], "events": [], "edges": [], "outcome": None,
        }
    )  # fmt: skip


def whole_movie(recording: Recording, folder: Path) -> None:
    start = time.perf_counter()
    made = make_movie(recording, folder / "whole.mp4")
    took = time.perf_counter() - start
    print(
        f"{NAME}: {made.frames} frames in {took:.1f} s, {made.frames / took:.0f} a second "
        f"({made.drawn} drawn anew)"
    )


def all_moving(recording: Recording, folder: Path) -> None:
    """Two seconds of rapid and touch on screen, each frame a new picture."""
    stretches = [Stretch("run", 0.0, 4.0, 6.0)]
    with (
        Film(folder / "moving.mp4", DRAWN, SHOWN, FRAMES_PER_S) as film,
        MovieArtist(recording, stretches, cues_of(recording, stretches)) as artist,
    ):
        start = time.perf_counter()
        for shot in shots(stretches, FRAMES_PER_S):
            film.add(artist.frame(shot))
        took = time.perf_counter() - start
        print(f"all moving: {film.frames / took:.0f} frames a second ({artist.drawn} drawn anew)")


def ten_minutes(recording: Recording) -> None:
    """In real time at a frame a second: memory after a minute and at the end."""
    long = long_run(recording)
    stretches = [Stretch("run", 0.0, long.duration_s, long.duration_s)]
    early = 0.0
    with MovieArtist(long, stretches, ()) as artist:
        for shot in shots(stretches, 1.0):
            artist.frame(shot)
            if not early and shot.t > 60.0:
                early = memory_mb()
    print(f"ten minutes: {early:.0f} MB after one minute, {memory_mb():.0f} MB at the end")


def main() -> None:
    recording = recorded(NAME)
    print(f"pace: {sum(s.lasts for s in pace(recording)):.0f} s on screen")
    with tempfile.TemporaryDirectory() as folder:
        all_moving(recording, Path(folder))
        whole_movie(recording, Path(folder))
    ten_minutes(recording)


if __name__ == "__main__":
    main()
