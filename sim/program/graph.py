"""Which line may follow which."""

from __future__ import annotations

from drytouch.sim.program.flow import Program, constant, is_end
from drytouch.sim.program.line import Line, comment_kind


def successors(program: Program, index: int) -> tuple[int, ...]:
    """Return the lines that may follow line ``index``; one past the last means: off the end."""
    entry = program.entries[index]
    if not isinstance(entry, Line):
        return (index + 1,)
    flow = entry.flow
    follow: tuple[int, ...] = (index + 1,)
    if flow is None:
        raises = bool(entry.comments) and comment_kind(entry.comments[-1]) == "ALARM"
        follow = () if raises or is_end(entry) else follow
    elif flow.kind in ("WHILE", "END"):
        partner = program.partners.get(index)
        if partner is not None:
            follow = (index + 1, partner + 1) if flow.kind == "WHILE" else (partner,)
    else:
        landing = jump_targets(program, index)
        follow = landing if flow.kind == "GOTO" else (index + 1, *landing)
    # A line that may be deleted may also do nothing.
    return (*follow, index + 1) if entry.block_delete and index + 1 not in follow else follow


def jump_targets(program: Program, index: int) -> tuple[int, ...]:
    """Return where GOTO or IF on line ``index`` may land: every label if it is computed."""
    entry = program.entries[index]
    assert isinstance(entry, Line)
    assert entry.flow is not None
    label = constant(entry.flow.target)
    if label is None:
        return tuple(sorted({place for places in program.labels.values() for place in places}))
    places = program.labels.get(label, [])
    return tuple([next((place for place in places if place > index), places[0])] if places else [])


def leaders(program: Program) -> set[int]:
    """Return the lines at which ways may meet or part."""
    found = {0}
    for index, entry in enumerate(program.entries):
        if isinstance(entry, Line) and (
            entry.flow is not None or entry.block_delete or entry.comments
        ):
            following = successors(program, index)
            if following != (index + 1,):
                found.update(following)
    return found
