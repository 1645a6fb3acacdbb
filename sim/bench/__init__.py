"""The bench: one trainee, one live twin, an exercise or none; everything without a page.

A page, a test or a script uses one object::

    session = Session.open("touch-off-three-tools", machine="bed-mill", seed=7)
    reply = session.act({"do": "jog-press", "axis": "z", "towards": "-"})
    session.act({"do": "beat"})          # at least every 0.1 s of wall time while a key is down
    session.tick(0.02)                   # wall seconds since the last tick
    page_data = session.state(since=0)   # plain data, ready for JSON
    session.lost()                       # the page is gone: motion stops, keys are up
    debrief = session.finish()           # judged once; nothing can be done afterwards
    session.as_scenario()                # a scenario that replays to the same outcome

**Actions** are JSON objects: ``do`` names it, the other keys are its figures, each with its unit in
the key (``by_mm`` may be written ``by_in``). ``describe_actions()`` lists every action with
fields, units, limits and defaults. All steps of a scenario are actions; the bench adds keys, the
wheel, pace, units, hints, answers. An action may carry ``id``, which the reply repeats.

**Replies**: ``{"ok": true, "n": 12, "time_s": 3.2, "do": ..., "id": ...}``; or ``{"ok": false,
"code": ..., "why": ..., "fix": ...}``. ``act`` never raises. Codes of refusals:

- ``bad-message``: no such action, or figures that make no sense
- ``not-allowed``: this exercise, or this role, may not do it
- ``busy``: the machine, or your hands, are doing something else
- ``not-now``: it can't be done as things stand
- ``over``: the exercise is finished
- ``frozen``: the instructor has stopped everybody

An action that takes time is accepted at once; its end comes as an event ``done``.

**State** is described by ``describe_state()``; ``state(since=n)`` holds the events numbered above
``n`` and never drops one. Numbers of positions come in mm and, where shown, in the display unit.
``session.scene_version`` grows when bodies come, go or change; ``session.bodies()`` then gives the
bodies that are there, for triangles. Between changes ``state()["poses"]`` is all that moves.

**Time**: ``tick`` runs the twin at the session's pace: 1, 0.1, 0 (paused) or 10 (waiting only; a
key that is pressed brings it back to 1). A key needs a beat within 0.1 s; without one it counts as
let go. Wall time enters through ``tick`` alone, so that a test decides what time it is.

**Roles**: ``act(action, role="instructor")`` may also do ``fault``, ``nudge`` and ``freeze``.
"""

from drytouch.sim.bench.actions import describe_actions
from drytouch.sim.bench.describe import describe_state
from drytouch.sim.bench.session import Session

__all__ = ["Session", "describe_actions", "describe_state"]
