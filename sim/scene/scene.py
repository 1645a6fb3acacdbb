"""The bodies of a machine and its surroundings, where they hang, and which may touch."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from drytouch.sim.errors import InputError
from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.chain import Chain
from drytouch.sim.scene.flats import Outline
from drytouch.sim.scene.pieces import Piece, prepare
from drytouch.sim.scene.shapes import Vector

ContentKey = tuple[int, int]


class LinkPieces:
    """All pieces on one link, with their bounds at q = 0 in one array for the first sieve."""

    def __init__(self, pieces: list[Piece]) -> None:
        self.pieces = pieces
        self.lows: npt.NDArray[np.float64] = np.array([p.low for p in pieces])
        self.highs: npt.NDArray[np.float64] = np.array([p.high for p in pieces])
        low, high = self.lows.min(axis=0), self.highs.max(axis=0)
        self.low: Vector = (float(low[0]), float(low[1]), float(low[2]))
        self.high: Vector = (float(high[0]), float(high[1]), float(high[2]))


class Scene:
    """Bodies on the links of a chain. Every change raises ``version`` by one.

    Bodies on one link never meet: nothing moves them against each other. ``ignore`` names other
    pairs that never do.
    """

    def __init__(self, chain: Chain) -> None:
        self.chain = chain
        self.version = 0
        self._bodies: dict[str, Body] = {}
        self._prepared: dict[str, list[Piece]] = {}
        self._digests: dict[str, int] = {}
        self._sum = 0
        self._ignored: frozenset[frozenset[str]] = frozenset()
        self._chain_digest = _digest(chain.key)
        self._links: dict[str, LinkPieces] | None = None
        self._key: ContentKey | None = None
        # Widened outlines of pairs of pieces, kept while the pieces stay where they are.
        self.pair_store: dict[tuple[int, int], Outline] = {}

    def copy(self) -> Scene:
        """The same scene for another run: bodies are shared, changes are not."""
        twin = object.__new__(Scene)
        twin.__dict__.update(self.__dict__)
        twin._bodies = dict(self._bodies)
        twin._prepared = dict(self._prepared)
        twin._digests = dict(self._digests)
        twin.pair_store = dict(self.pair_store)
        return twin

    def place(self, body: Body) -> None:
        """Add a body, or put it in the place of the one with the same id."""
        self.chain.factors(body.link)
        self._take(body.id)
        self._bodies[body.id] = body
        self._prepared[body.id] = prepare(body)
        self._digests[body.id] = digest = body.digest()
        self._sum = (self._sum + digest) % (1 << 128)
        self._changed()

    def remove(self, id: str) -> None:
        """Take a body away."""
        self.body(id)
        self._take(id)
        self._changed()

    def move(self, id: str, dx: float, dy: float, dz: float) -> None:
        """Shift a body on its link, mm."""
        self.place(self.body(id).moved(dx, dy, dz))

    def ignore(self, id_a: str, id_b: str) -> None:
        """Let two bodies pass through each other: parts that are joined, or a cover drawn whole."""
        self._ignored |= {frozenset((id_a, id_b))}
        self._changed()

    def ignored(self, id_a: str, id_b: str) -> bool:
        """Whether a pair never meets."""
        return bool(self._ignored) and frozenset((id_a, id_b)) in self._ignored

    def body(self, id: str) -> Body:
        """The body with this id."""
        try:
            return self._bodies[id]
        except KeyError:
            known = ", ".join(sorted(self._bodies)) or "none"
            raise InputError(f"no body {id!r} in the scene; it holds {known}", key="id") from None

    @property
    def bodies(self) -> tuple[Body, ...]:
        """All bodies, by id."""
        return tuple(self._bodies[id] for id in sorted(self._bodies))

    def __contains__(self, id: object) -> bool:
        return id in self._bodies

    def allowed_pairs(self) -> tuple[tuple[str, str], ...]:
        """The pairs of ids that ``ignore`` named."""
        return tuple(sorted((min(pair), max(pair)) for pair in self._ignored))

    @property
    def content_key(self) -> ContentKey:
        """Equal for scenes that hold the same: whoever built them, in whatever order."""
        if self._key is None:
            self._key = (self._sum, self._chain_digest ^ _digest(self.allowed_pairs()))
        return self._key

    def pieces(self, ids: Iterable[str]) -> list[Piece]:
        """The parts of some bodies, ready for contact."""
        return [piece for id in ids if self.body(id) for piece in self._prepared[id]]

    def links(self) -> dict[str, LinkPieces]:
        """Pieces by link, in the chain's order of links and by id."""
        if self._links is None:
            by_link: dict[str, list[Piece]] = {}
            for id in sorted(self._bodies):
                by_link.setdefault(self._bodies[id].link, []).extend(self._prepared[id])
            self._links = {
                link: LinkPieces(by_link[link]) for link in self.chain.order if link in by_link
            }
        return self._links

    def _take(self, id: str) -> None:
        if self._bodies.pop(id, None) is not None:
            del self._prepared[id]
            self._sum = (self._sum - self._digests.pop(id)) % (1 << 128)

    def _changed(self) -> None:
        self.version += 1
        self._links = None
        self._key = None
        self.pair_store.clear()


def _digest(value: object) -> int:
    return int.from_bytes(hashlib.blake2b(repr(value).encode(), digest_size=16).digest(), "big")
