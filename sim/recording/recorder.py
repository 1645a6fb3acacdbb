"""The recorder that a running twin writes to: cheap while it runs, exact afterwards.

The calls only append tuples, because they sit in the kernel's hot path; whatever costs time
(geometry, sorting, dictionaries) waits for ``to_dict``. docs/recording-format.md describes the
result. A run that may last for hours is told to ``spill``: its memory stays flat then, and whoever
reads its rows still sees all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from drytouch.sim.motion.pieces import Piece
from drytouch.sim.recording.rows import Entries, Rows
from drytouch.sim.recording.spool import Spool
from drytouch.sim.scene.bodies import Body

Vector = tuple[float, float, float]
Arc = tuple[Vector, float, float, float, str]
"""Centre (mm), radius (mm), start angle (rad), sweep (rad, signed), plane ("xy", "zx", "yz")."""


Facts = Mapping[str, Any] | Callable[[], Mapping[str, Any]]


class Source(NamedTuple):
    """Who asked for a line; ``None`` where it doesn't apply."""

    step: int | None = None
    file: str | None = None
    program_line: int | None = None
    call: str | None = None


class LineEntry(NamedTuple):
    """One line (or arc) from rest to rest, as it was really run.

    Physical position at t in [t0, t1]: ``s = clamp(S(t - delay_s) - dead_mm, 0, block_mm)`` along
    ``direction`` (unit vector) from ``start``, S being the pieces' path position. ``start`` and
    ``command_start``: axis positions, mm, which is where the middle of the spindle face is;
    ``dead_mm``: lost motion taken up first; ``block_mm``: where a body stopped it, or None.
    Along an ``arc`` the part of ``direction`` normal to the plane is the helix's rise per mm.
    """

    id: int
    kind: str
    t0: float
    t1: float
    start: Vector
    direction: Vector
    arc: Arc | None
    command_start: Vector
    dead_mm: float
    delay_s: float
    pieces: tuple[Piece | tuple[float, float, float, float, float, float, float], ...]
    block_mm: float | None
    source: tuple[int | None, str | None, int | None, str | None] = (None, None, None, None)


# Newest rows that are never packed: what has just happened is looked at again and again.
KEPT = 32


class Recorder:
    """Takes down one run. Call ``begin`` once, the rest as it happens, ``end`` when it is over."""

    def __init__(self) -> None:
        self.facts: Facts = {}
        self.links: Mapping[str, Vector] = {}
        self.start: Vector = (0.0, 0.0, 0.0)
        self.seed = 0
        self.ended_s: float | None = None
        self.outcome: Mapping[str, Any] | None = None
        self.lines: Entries[LineEntry] = []
        self.pads: Entries[tuple[str, float, int, float, float, float, float]] = []
        self.edges: Entries[tuple[float, str, int]] = []
        self.events: Entries[tuple[float, str, Any]] = []
        self.beliefs: Entries[tuple[float, str, Any]] = []
        self.turns: Entries[tuple[float, float, float]] = []
        self.scenes: list[tuple[float, str, str, Any]] = []
        self._packed: list[Rows[Any]] = []
        self._alike: dict[Body, Body] = {}
        self._scenes_seen = 0

    def begin(
        self,
        scenario_facts: Facts,
        links: Mapping[str, Vector],
        seed: int,
        start: Vector = (0.0, 0.0, 0.0),
    ) -> None:
        """Start: facts for people (name, title, unit ...), link factors as ``Chain`` has them.

        Facts may be a function that gives them, called when the recording is written.
        ``start``: axis positions in mm before the first line.
        """
        self.facts, self.links, self.seed, self.start = scenario_facts, links, seed, start

    def body(self, body: Body) -> None:
        """Register a body's geometry; the next "place" of its id uses it.

        A body that is registered and never placed counts as there from the start.
        """
        self.scenes.append((0.0, "body", body.id, body))

    def scene(self, t: float, action: str, body_id: str, data: Any = None) -> None:
        """A body comes ("place"), goes ("remove") or is elsewhere ("move"), at ``t`` (s).

        ``data``: a ``Body`` (its link, offset and geometry count from now on), or its new offset
        in mm (x, y, z), or (x, y, z, turn in degrees about z), or None.
        """
        self.scenes.append((t, action, body_id, data))

    def line(self, entry: LineEntry) -> None:
        """A line has ended."""
        self.lines.append(entry)

    def pad(
        self,
        setter: str,
        t0: float,
        line_id: int,
        s_from: float,
        depth0: float,
        rate: float,
        cap: float,
    ) -> None:
        """From ``t0``, while the line runs, the pad is ``depth0 + rate*(s - s_from)`` mm deep.

        Clamped to 0..``cap`` (mm); ``rate`` in mm per mm of physical path.
        """
        self.pads.append((setter, t0, line_id, s_from, depth0, rate, cap))

    def edge(self, signal: str, t: float, level: int) -> None:
        """A signal changes to ``level`` (0 or 1)."""
        self.edges.append((t, signal, level))

    def event(self, t: float, kind: str, data: Any = None) -> None:
        """Something happened; ``data`` must be what JSON can hold and must not change later."""
        self.events.append((t, kind, data))

    def belief(self, t: float, key: str, value: Any) -> None:
        """An entry of the controller's tables changes."""
        self.beliefs.append((t, key, value))

    def spindle(self, t: float, angle_rad: float, rpm: float) -> None:
        """From ``t`` the spindle turns from ``angle_rad`` at ``rpm`` (0: it stands there)."""
        self.turns.append((t, angle_rad, rpm))

    def end(self, t: float, outcome: Mapping[str, Any] | None = None) -> None:
        """The run is over at ``t``; ``outcome`` as the outcome file has it."""
        self.ended_s = t
        if outcome is not None:
            self.outcome = outcome

    def spill(self, spool: Spool) -> None:
        """From now on ``pack`` moves old rows out of memory, into the spool."""

        def packed(rows: Entries[Any]) -> Rows[Any]:
            self._packed.append(Rows(spool, KEPT, rows))
            return self._packed[-1]

        self.lines, self.pads, self.edges = map(packed, (self.lines, self.pads, self.edges))
        self.events, self.beliefs = map(packed, (self.events, self.beliefs))
        self.turns = packed(self.turns)

    def pack(self) -> None:
        """Move old rows out of memory, if ``spill`` was called; to be called now and then."""
        for rows in self._packed:
            rows.pack()
        if self._packed and self._scenes_seen < len(self.scenes):
            self._share_bodies()

    def _share_bodies(self) -> None:
        """A tool that is loaded again is the same body again: one object will do for both.

        Scene changes stay in memory, because each is an act of somebody's hands, and bodies that
        are packed would no longer share their meshes.
        """
        scenes, alike = self.scenes, self._alike
        for index in range(self._scenes_seen, len(scenes)):
            t, action, body_id, data = scenes[index]
            if isinstance(data, Body):
                scenes[index] = (t, action, body_id, alike.setdefault(data, data))
        self._scenes_seen = len(scenes)

    def to_dict(self) -> dict[str, Any]:
        """Everything as plain data, in the recording format."""
        from drytouch.sim.recording.encode import encode

        return encode(self)

    def to_json(self) -> Iterator[str]:
        """The text of the recording's file, piece by piece: never all of it in memory."""
        from drytouch.sim.recording.encode import encode_json

        return encode_json(self)
