"""Faults of what is in the spindle."""

from __future__ import annotations

from drytouch.sim.faults.change import (
    setter_in_use,
    tool_in_spindle,
    with_controller,
    with_tool,
)
from drytouch.sim.faults.entry import NotHere, fault
from drytouch.sim.scenario.scenario import Scenario
from drytouch.sim.scenario.tool import Inserts, Segment

_EXPECTED = "Compare the length with what is expected of this tool, by set-up sheet or rule."
# A ring of edges of this depth hangs below what is left of the tool's body.
_EDGE_DEPTH_MM = 5.0


@fault("tool", "Another tool is in the spindle", f"Read the tool before each touch. {_EXPECTED}")
def wrong_tool(scenario: Scenario, *, tool: str | None = None) -> Scenario:
    """Two holders look alike, and the wrong one was put in."""
    now, _ = tool_in_spindle(scenario)
    others = [name for name in scenario.tools if name != now]
    if not others:
        raise NotHere("the crib holds no other tool")
    new = tool or others[0]
    if new not in others:
        raise NotHere(f"the crib holds no other tool '{new}'")
    return scenario.model_copy(update={"spindle_tool": new})


@fault(
    "tool",
    "The tool is far longer than expected",
    "Right up before moving across, and down at rapid only above what the longest tool needs.",
)
def tool_too_long(scenario: Scenario, *, by_mm: float = 30.0) -> Scenario:
    """It was clamped in an extension, as it was needed for the last job."""
    name, tool = tool_in_spindle(scenario)
    return with_tool(scenario, name, pulled_out_mm=tool.pulled_out_mm + by_mm)


@fault("tool", "The tool has slipped out of its holder", _EXPECTED)
def tool_slipped(scenario: Scenario, *, by_mm: float = 0.4) -> Scenario:
    """The helix has pulled the cutter out of a dry collet during the last cut."""
    name, tool = tool_in_spindle(scenario)
    return with_tool(scenario, name, pulled_out_mm=tool.pulled_out_mm + by_mm)


@fault("tool", "The tool was pushed into its holder", _EXPECTED)
def tool_pushed_in(scenario: Scenario, *, by_mm: float = 0.4) -> Scenario:
    """The tip met the stock by jog, and the collet gave way."""
    name, tool = tool_in_spindle(scenario)
    pulled = tool.pulled_out_mm - by_mm
    if tool.nominal_length_mm + pulled - tool.worn_mm <= 0.0:
        raise NotHere("nothing of the tool would be left")
    return with_tool(scenario, name, pulled_out_mm=pulled)


@fault("tool", "The tip is broken off", f"A search little deeper than expected. {_EXPECTED}")
def tip_broken(scenario: Scenario, *, by_mm: float = 4.0) -> Scenario:
    """The tip stayed in the last hole."""
    name, tool = tool_in_spindle(scenario)
    below = tool.inserts.depth_mm if tool.inserts else tool.nominal_length_mm
    # A break leaves a stump; whatever was worn before went with the tip.
    worn = max(tool.worn_mm, min(by_mm, below - 1.0))
    if worn <= tool.worn_mm:
        raise NotHere("as much of the tip is gone already")
    return with_tool(scenario, name, worn_mm=worn)


@fault("tool", "The tool is worn", "Measure again after long cuts, with a limit for shorter.")
def tool_worn(scenario: Scenario, *, by_mm: float = 0.06) -> Scenario:
    """Its corners have rounded over a long run in hard stock."""
    name, tool = tool_in_spindle(scenario)
    return with_tool(scenario, name, worn_mm=tool.worn_mm + by_mm)


@fault(
    "tool",
    "The cutter is hollow in the middle",
    "Measure wide and hollow cutters beside the pad's centre, with an edge over the pad.",
)
def hollow_centre(scenario: Scenario, *, circle_mm: float = 63.0) -> Scenario:
    """A cutter with inserts round an open middle stands in for the solid one."""
    name, tool = tool_in_spindle(scenario)
    if tool.inserts is not None:
        raise NotHere("the cutter is hollow already")
    last = tool.stack[-1]
    if last.length_mm is None or last.length_mm <= _EDGE_DEPTH_MM:
        raise NotHere("the tool's last part is too short to take inserts")
    kept: Segment = last.model_copy(
        update={"length_mm": last.length_mm - _EDGE_DEPTH_MM, "part": "shank"}
    )
    inserts = Inserts.model_construct(
        count=4,
        circle_diameter_mm=circle_mm,
        edge_width_mm=4.0,
        edge_thickness_mm=3.0,
        depth_mm=_EDGE_DEPTH_MM,
        axial_errors_um=(),
    )
    return with_tool(scenario, name, stack=(*tool.stack[:-1], kept), inserts=inserts)


@fault(
    "tool",
    "The tool is coated and does not conduct",
    "Touch the plate with the tool by hand and see the input; use a switch for coated tools.",
)
def tool_coated(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """Its diamond coating keeps current from the conductive plate."""
    name, tool = tool_in_spindle(scenario)
    if scenario.setter[setter_in_use(scenario, setter)].kind != "plate":
        raise NotHere("the setter is a switch: a coating does not matter to it")
    if tool.coated:
        raise NotHere("the tool is coated already")
    return with_tool(scenario, name, coated=True)


@fault(
    "tool",
    "The tool bears very little",
    "Know what a tool bears; a soft pad and a slow feed for tiny ones.",
    unseen=True,
)
def tool_fragile(scenario: Scenario, *, force_limit_N: float = 1.0) -> Scenario:
    """The sturdy cutter was replaced by a hair-thin one of the same length."""
    name, _ = tool_in_spindle(scenario)
    return with_tool(scenario, name, force_limit_N=force_limit_N)


@fault(
    "tool",
    "No tool is in the spindle",
    "A search that ends a little below the expected trip; a look before the first touch.",
)
def no_tool(scenario: Scenario) -> Scenario:
    """The tool was taken out for a look and the controller still has it in the spindle."""
    tool_in_spindle(scenario)
    return scenario.model_copy(update={"spindle_tool": None})


@fault(
    "tool",
    "A tool is still in the spindle",
    "A look at the spindle before a reference by its face.",
)
def tool_left_in(scenario: Scenario, *, tool: str | None = None) -> Scenario:
    """The controller has a bare spindle, and the last job's tool is still in it."""
    if scenario.spindle_tool is not None:
        raise NotHere("a tool belongs in the spindle here")
    new = tool or next(iter(scenario.tools), None)
    if new is None or new not in scenario.tools:
        raise NotHere("the crib holds no such tool" if tool else "the crib is empty")
    return scenario.model_copy(update={"spindle_tool": new})


@fault(
    "tool",
    "The spindle stands turned",
    "Orient the spindle and look: the pad must lie between the lugs, an edge over the pad.",
)
def spindle_turned(scenario: Scenario, *, by_deg: float = 90.0) -> Scenario:
    """It was turned by hand while the tool was changed, and nobody turned it back."""
    if not scenario.machine.spindle.lugs and not any(t.inserts for t in scenario.tools.values()):
        raise NotHere("nothing on this spindle depends on its angle")
    angle = scenario.controller.spindle_angle_deg + by_deg
    return with_controller(scenario, spindle_angle_deg=angle)
