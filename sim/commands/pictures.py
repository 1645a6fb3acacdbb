"""Pictures for the commands: drawn where that works, and a reason in words where it doesn't."""

from __future__ import annotations

from types import TracebackType
from typing import TYPE_CHECKING

from drytouch.sim.commands.results import renamed_when_whole
from drytouch.sim.errors import DrytouchError

if TYPE_CHECKING:
    from pathlib import Path

    from drytouch.sim.recording import Recording
    from drytouch.viz.still import StillArtist


class Pictures:
    """Draws one picture after another; after the first failure ``reason`` says why there is none.

    The drawing room is loaded at the first picture: the twin itself never needs it.
    """

    def __init__(self, wanted: bool) -> None:
        self.wanted = wanted
        self.reason = ""
        self._artist: StillArtist | None = None

    def draw(self, recording: Recording, path: Path) -> Path | None:
        """Draw one picture to ``path``; None where it could not be."""
        if not self.wanted or self.reason:
            return None
        try:
            if self._artist is None:
                self._artist = _new_artist()
            with renamed_when_whole(path) as temporary:
                self._artist.draw(recording, temporary)
        except DrytouchError as error:
            self.reason = str(error)
            return None
        except Exception as error:  # a picture is an extra: its failure must not hide the verdict
            self.reason = f"drawing failed: {type(error).__name__}: {error}"
            return None
        return path

    def __enter__(self) -> Pictures:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._artist is not None:
            self._artist.__exit__(kind, error, trace)


def _new_artist() -> StillArtist:
    from drytouch.viz import opengl

    opengl.require()
    from drytouch.viz.still import StillArtist

    return StillArtist().__enter__()
