"""Sessions driven without a page: act, wait until it is over, look."""

from __future__ import annotations

from typing import Any

from drytouch.sim.bench import Session
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.scenario.save import scenario_to_toml
from drytouch.sim.twin.outcome import Outcome
from drytouch.sim.twin.twin import Twin

LONGEST_S = 600.0
# What physics makes pointless: exercise and machine -> what the refusal says.
REFUSED = {
    ("reference-between-the-lugs", "bed-mill"): "no drive lugs",
    ("reference-between-the-lugs", "gantry-router"): "no drive lugs",
    ("reference-between-the-lugs", "large-centre"): "can't reach the pad",
    ("recover-after-an-emergency-stop", "machining-centre"): "keeps its references",
    ("recover-after-an-emergency-stop", "large-centre"): "keeps its references",
}


def do(session: Session, action: str, /, **figures: Any) -> dict[str, Any]:
    """One action, accepted and waited for."""
    reply = session.act({"do": action, **figures})
    assert reply["ok"], reply
    wait(session)
    return reply


def wait(session: Session, at_most_s: float = LONGEST_S) -> None:
    """Let time pass until machine and hands are free."""
    waited = 0.0
    while (session.live.machine or session.live.hands) and waited < at_most_s:
        session.tick(0.25)
        waited += 0.25
    assert waited < at_most_s, session.state()["running"]
    session.tick(0.05)


def routine(session: Session, name: str, /, **arguments: Any) -> None:
    do(session, "routine", name=name, **{"with": arguments})


def prove(session: Session, back_on: bool = True) -> None:
    """Drives off, press, drives on."""
    do(session, "drives", on=False)
    do(session, "press-pad", setter="setter")
    if back_on:
        do(session, "drives", on=True)


def pad(session: Session, item: str = "setter") -> tuple[float, float]:
    placed = session.live.twin.stage.placements[item]
    return placed.x_mm, placed.y_mm


def over(session: Session, item: str = "setter", dx: float = 0.0, dy: float = 0.0) -> None:
    """Right up, then across."""
    x, y = pad(session, item)
    do(session, "move", z_mm=session.live.twin.controller.top)
    do(session, "move", x_mm=x + dx, y_mm=y + dy)


def down_to(session: Session, z_mm: float) -> None:
    do(session, "move", z_mm=z_mm)


def table(session: Session) -> float:
    """Machine Z of the table's top."""
    return session.live.scenario.machine.table.top_z_mm


def codes(session: Session) -> tuple[str, ...]:
    assert session.outcome is not None
    return session.outcome.codes


def replayed(session: Session) -> Outcome:
    """The session's scenario, written, read and run."""
    import tomllib

    return Twin(
        scenario_from_dict(tomllib.loads(scenario_to_toml(session.as_scenario())))
    ).run_steps()


def same(session: Session) -> None:
    """The replay comes to the same outcome, to the last bit."""
    assert session.outcome is not None
    again, first = replayed(session).to_dict(), session.outcome.to_dict()
    again.pop("scenario")
    first.pop("scenario")
    assert again == first
