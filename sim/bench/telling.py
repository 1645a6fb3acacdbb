"""Events for a page: numbered, never dropped, and nothing in them that a person couldn't notice."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import compress, count
from typing import TYPE_CHECKING, Any

from drytouch.sim.bench.programs import renamed
from drytouch.sim.recording.rows import Rows

if TYPE_CHECKING:
    from drytouch.sim.recording import Recorder
    from drytouch.sim.recording.spool import Spool
    from drytouch.sim.twin.twin import Twin

# Findings that are heard and seen by whoever stands there; all others wait for the debrief.
_HEARD = {
    "crash": "a bang: something was hit",
    "runaway": "the axis fed on past the pad",
    "lug-strike": "a drive lug struck something",
    "setter-crushed": "a crunch: the pad was pushed to its stop",
    "tool-overloaded": "a crack: the tool was pressed too hard",
    "spun-into-pad": "a screech: it turned when it met the pad",
    "drive-fault": "a thud, and the drives went off",
    "lost-steps": "a growl from a motor",
}


# Newest events that stay in memory: a page that is new is told 300.
_KEPT = 320


class Teller:
    """Collects a session's events, also those that the twin's recorder took down."""

    def __init__(self, spool: Spool, names: Mapping[str, str]) -> None:
        """``spool``: where old events go; ``names``: of files -> what they are called here."""
        self._names = names
        self.events: Rows[dict[str, Any]] = Rows(spool, _KEPT)
        self._seen = self._edges = 0
        self._inputs: dict[str, int] = {}
        self._ended_well = bytearray(1)  # by the action's number, which begins at 1

    def follow(self, twin: Twin) -> None:
        """Begin after what a twin has recorded while it was made."""
        self._seen, self._edges = len(twin.recorder.events), len(twin.recorder.edges)

    def tell(self, time_s: float, kind: str, **data: Any) -> None:
        """One event."""
        number = len(self.events) + 1
        if self._names:
            data = renamed(data, self._names)
        self.events.append({"n": number, "time_s": round(time_s, 6), "kind": kind, **data})
        if kind == "done" and data["alarm"] is None:
            action = data["action"]
            self._ended_well.extend(bytes(max(action + 1 - len(self._ended_well), 0)))
            self._ended_well[action] = 1

    @property
    def done(self) -> frozenset[int]:
        """Numbers of the actions that came to their end without an alarm."""
        return frozenset(compress(count(), self._ended_well))

    def since(self, number: int) -> list[dict[str, Any]]:
        """Events numbered above ``number``."""
        return self.events[max(number, 0) :]

    def catch_up(self, twin: Twin) -> None:
        """Whatever was recorded since the last call and a person would notice."""
        recorder = twin.recorder
        self._catch_inputs(recorder)
        while self._seen < len(recorder.events):
            t, kind, data = recorder.events[self._seen]
            self._seen += 1
            if kind in _TOLD:
                self.tell(t, _TOLD[kind][0], **dict(zip(_TOLD[kind][1], data, strict=False)))
            elif kind == "finding" and data in _HEARD:
                self.tell(t, "bang", what=_HEARD[data])
            elif kind == "message":
                self.tell(t, "message", text=data)
        # All of it has been seen: what is old may go.
        recorder.pack()
        self.events.pack()

    def _catch_inputs(self, recorder: Recorder) -> None:
        while self._edges < len(recorder.edges):
            t, signal, on = recorder.edges[self._edges]
            self._edges += 1
            if signal.endswith(".seen") and self._inputs.get(signal) != on:
                self._inputs[signal] = on
                number = signal.removeprefix("input ").removesuffix(".seen")
                self.tell(t, "input", number=int(number), on=bool(on))


_TOLD = {
    "alarm": ("alarm", ("code", "message")),
    "feel": ("felt", ("block", "feel")),
    "rule": ("read-rule", ("what", "reading_mm")),
    "jog-back": ("jogged-back", ("system", "reading_mm")),
    "program-line": ("line", ("file", "line", "text")),
}
