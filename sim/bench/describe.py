"""What the state messages of a session hold, for whoever writes a page."""

from __future__ import annotations

from typing import Any

STATE: dict[str, str] = {
    "format": "version of this message: 1",
    "time_s": "simulated time, s",
    "pace": "how fast time goes: 0, 0.1, 1 or 10",
    "frozen": "an instructor has stopped everybody",
    "over": "the exercise is judged; nothing can be done",
    "display": "unit of the shown positions: mm or inch",
    "position.machine": "[x, y, z] machine readout, display unit",
    "position.work": "[x, y, z] in the active work system and length, display unit",
    "position.machine_mm": "[x, y, z] machine readout, mm",
    "position.decimals": "digits after the point that the display has",
    "modes.drives": "drives are on",
    "modes.homed": "the controller knows where it is",
    "modes.e_stop": "the emergency stop is pressed",
    "modes.hold": "feed hold is on",
    "modes.rapid_override": "1 is 100 %",
    "modes.feed_override": "1 is 100 %",
    "modes.system": "active work system",
    "modes.length_row": "row whose length is active; 0: none",
    "modes.slot": "row that the controller takes to be in the spindle; 0: none",
    "modes.tool": "what you see in the spindle; null: bare",
    "modes.units": "units of programs: mm or inch",
    "modes.incremental": "programs count from where the axis is",
    "modes.spindle_rpm": "1/min; negative turns against the cut",
    "modes.spindle_deg": "angle at which it stands",
    "modes.selected": "setter whose input a touch watches",
    "modes.hand": "where a hand is inside, or null",
    "inputs": "list: number, socket, on (as the controller sees it), proved, watched, plug",
    "alarm": "null, or code and message",
    "moving": "null, or what kind of move runs: jog, step, rapid, feed, touch, home ...",
    "speed_mm_per_min": "speed of the axis now",
    "running": "what holds the machine: n, do, name, since_s, line; or null",
    "running.line": "running line of a program: file, line, text; or null",
    "hands": "what takes the hands: n, do, since_s; or null",
    "key": "jog key that is held: axis, towards; or null",
    "tables.rows": "list: row, length_mm, wear_mm, diameter_mm, tool, place",
    "tables.systems": "work systems by name: [x, y, z] origin in machine mm",
    "tables.shift_mm": "shift of all work systems (G92)",
    "tables.records": "what is stored about each setter, by name",
    "tables.noted": "heights that were noted, by block, machine mm",
    "crib": "names of the tools that can be loaded, with titles",
    "items": "list: item, kind, standing, on, x_mm, y_mm, as put down",
    "sockets": "sockets of the machine, with their input",
    "scene_version": "grows when bodies come, go or change: ask for bodies() again",
    "poses.axes": "[x, y, z] where the spindle face really is, mm",
    "poses.spindle_deg": "angle of the spindle now",
    "poses.pads": "how far each pad is pressed, mm",
    "outline": "belief outline is shown (after the end only)",
    "belief": "after the end, with the outline on: where tip, pads and stock are believed to be",
    "programs": "names of the programs that can be run",
    "exercise": "name, title, goal, targets, questions, answers, hints (given and left), proofs",
    "events": "list: n, time_s, kind, and what the kind holds",
}

EVENTS: dict[str, str] = {
    "did": "an action was accepted: action (its number), do",
    "done": "an action has ended: action, do, result",
    "refused": "an action could not be done to its end: action, do, why, fix",
    "alarm": "the controller stopped: code, message",
    "bang": "something was hit: what",
    "felt": "the block: block, feel (slides, drags or wont-go)",
    "read-rule": "a rule was read: what, reading_mm",
    "jogged-back": "with the tip on the surface the work position reads: system, reading_mm",
    "input": "an input changed: number, on",
    "line": "a program line begins: file, line, text",
    "key-lost": "a key counted as let go because no beat came",
    "page-lost": "the page was gone: motion was stopped",
    "hint": "text, cost",
    "bad-message": "a message was refused: why",
    "instructor": "the instructor did something: do",
    "judged": "the exercise is over: verdict, score",
}


def describe_state() -> dict[str, Any]:
    """Every key of a state message and every kind of event, in words."""
    return {"state": dict(STATE), "events": dict(EVENTS)}
