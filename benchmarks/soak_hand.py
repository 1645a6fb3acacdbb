"""Somebody who works at a bench session without a pause: keys, wheel, and a bit of everything.

The same seed does the same, so that a session can be compared with another one, action by action.
"""

from __future__ import annotations

import random
from typing import Any

from drytouch.sim.bench import Session
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.scenario.scenario import Scenario

X, Y = -600.0, -200.0
STOCK_X = -300.0
# A server's tick, and how often a page beats while a key is down.
TICK_S, BEAT_S = 0.02, 0.04
# Keys are pressed in this much room around the middle of the travel, mm.
ROOM_MM = 150.0
# Of a hundred things done: keys, wheel, and one of the others.
KEYS, WHEELS = 55, 35


def scenario(seed: int = 1) -> Scenario:
    """A machining centre whose setter is proved and referenced, a tool, stock and a gauge block."""
    return scenario_from_dict(
        {
            "name": "soak",
            "seed": seed,
            "machine": "machining-centre",
            "setter": {"setter": "bolted-nc"},
            "tools": ["end-mill-10", "end-mill-6"],
            "spindle_tool": "end-mill-10",
            "stock": ["aluminium-block"],
            "blocks": ["block-50"],
            "placements": {
                "setter": {"x_mm": X, "y_mm": Y},
                "aluminium-block": {"x_mm": STOCK_X, "y_mm": Y},
            },
            "controller": {
                "slot": 1,
                "proved": ["setter"],
                "plugs": {"setter": "setter"},
                "rows": {"1": {"tool": "end-mill-10"}, "2": {"tool": "end-mill-6"}},
                "records": {
                    "setter": {
                        "x_mm": X,
                        "y_mm": Y,
                        "clearance_z_mm": -440.0,
                        "height_mm": 59.9,
                        "reference_z_mm": -480.1,
                        "reference_valid": True,
                    }
                },
            },
        }
    )


class Hand:
    """Works at one session; ``pages``: a page looks on at each tick, as at a real bench."""

    def __init__(self, session: Session, seed: int = 1, pages: bool = True) -> None:
        self.session = session
        self.random = random.Random(seed)
        self.pages = pages
        self.done = 0
        self.told = 0
        self.refused: dict[str, int] = {}

    def work(self, actions: int | None = None, until_s: float = float("inf")) -> None:
        """Do so many things, or work until that time of the session."""
        end = float("inf") if actions is None else self.done + actions
        while self.done < end and self.session.live.time < until_s:
            self.one()

    def one(self) -> None:
        """One thing, waited for."""
        self.done += 1
        dice = self.random.randrange(100)
        if dice < KEYS:
            self._key()
        elif dice < KEYS + WHEELS:
            self._wheel()
        else:
            self.random.choice(
                (self._feel, self._touch, self._typed, self._measure, self._look, self._knobs)
            )()
        self.wait()

    def act(self, do: str, /, **figures: Any) -> dict[str, Any]:
        reply = self.session.act({"do": do, **figures})
        if not reply["ok"]:
            self.refused[reply["code"]] = self.refused.get(reply["code"], 0) + 1
        return reply

    def tick(self, seconds: float = TICK_S) -> None:
        self.session.tick(seconds)
        if self.pages:
            events = self.session.state(self.told)["events"]
            self.told += len(events)

    def wait(self) -> None:
        """Until machine and hands are free."""
        live = self.session.live
        while (live.machine is not None or live.hands is not None) and not live.broken:
            self.tick(TICK_S if live.machine is not None and live.machine.do in _SHORT else 0.25)

    # ---- what is done --------------------------------------------------------------------

    def _key(self) -> None:
        axis = self.random.choice("xyz")
        here = self.session.live.twin.controller.position["xyz".index(axis)]
        middle = (X / 2, Y, -ROOM_MM)["xyz".index(axis)]
        away = here - middle
        towards = self.random.choice("+-") if abs(away) < ROOM_MM else "-" if away > 0 else "+"
        speed = self.random.choice((100.0, 500.0, 2000.0))
        self.act("jog-press", axis=axis, towards=towards, speed_mm_per_min=speed)
        for _ in range(self.random.randint(2, 20)):
            self.act("beat")
            self.tick(BEAT_S)
        self.act("jog-release")

    def _wheel(self) -> None:
        axis, size = self.random.choice("xyz"), self.random.choice((0.001, 0.01, 0.1))
        for _ in range(self.random.randint(1, 8)):
            by = size if self.random.random() < 0.5 else -size
            self.act("wheel", axis=axis, by_mm=by, detents=self.random.randint(1, 3))
            self.tick()
        self.tick(self.random.uniform(0.0, 0.5))

    def _up_and_over(self, x: float) -> None:
        self.act("move", z_mm=self.session.live.twin.controller.top)
        self.wait()
        self.act("move", x_mm=x, y_mm=Y)
        self.wait()

    def _feel(self) -> None:
        self._up_and_over(STOCK_X)
        self.act("feel-block", block="block-50", on="aluminium-block", hand_ok=True)

    def _touch(self) -> None:
        self._up_and_over(X)
        self.act("move", z_mm=-350.0)
        self.wait()
        self.act("touch", z_mm=-370.0, feed_mm_per_min=100.0, store="length", row=1)
        self.wait()
        self.act("move", z_mm=-300.0)

    def _typed(self) -> None:
        self.act("mdi", line=self.random.choice(_LINES))
        self.wait()
        self.act("mdi", line="G90")

    def _measure(self) -> None:
        self.act(
            "routine", name="measure-length", **{"with": {"row": 1, "expected_length_mm": 120.0}}
        )

    def _look(self) -> None:
        self.act("rule", what="tool-length", row=1)

    def _knobs(self) -> None:
        self.act("override", rapid=self.random.choice((0.25, 1.0)), feed=1.0)


_SHORT = ("jog-press", "wheel")
_LINES = ("G53 G0 Z-20", "G91 G1 Z-5 F300", "G91 G0 X5", "G4 P0.5", "G90 G54")
