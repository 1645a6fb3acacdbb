"""Benches for the touch-off routines: each machine of the library with a setter, proved."""

from __future__ import annotations

from typing import Any, NamedTuple

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.recording import Source
from drytouch.sim.routines import routine_by_name
from drytouch.sim.scenario.load import scenario_from_dict
from drytouch.sim.scenario.steps import LoadTool
from drytouch.sim.steps import do_step
from drytouch.sim.twin.twin import Twin


class Bench(NamedTuple):
    """A machine with what suits it: where its setter stands, and how its face reaches the pad."""

    machine: str
    setter: str
    x_mm: float
    y_mm: float
    # How far the face stands beside the pad: between the lugs, the ring over the pad.
    beside_y_mm: float
    tools: tuple[str, ...]

    @property
    def by_face(self) -> bool:
        """Whether the bare face reaches the pad inside the soft limits."""
        return self.machine != "large-centre"


BENCHES = (
    Bench("machining-centre", "bolted-nc", -380.0, -200.0, 33.0, ("end-mill-10", "drill-8")),
    Bench("bed-mill", "bolted-nc", -350.0, -175.0, 0.0, ("end-mill-6", "chamfer-mill-12")),
    Bench("gantry-router", "magnetic-no", 650.0, 1250.0, 0.0, ("router-bit-6", "router-bit-12")),
    Bench("large-centre", "bolted-nc", -600.0, -300.0, 0.0, ("end-mill-10", "drill-8")),
)
CENTRE, BED_MILL, ROUTER, LARGE = BENCHES


def build(bench: Bench, *, tool: str | None = None, **more: Any) -> Twin:
    """A twin without chance; rows 1 and on belong to the bench's tools, in order.

    ``record`` adds to the setter's record; ``controller`` and the rest to the scenario.
    """
    record = {"x_mm": bench.x_mm, "y_mm": bench.y_mm} | more.pop("record", {})
    tools = list(dict.fromkeys((*bench.tools, "master-tool", *more.pop("tools", ()))))
    rows = {str(i): {"tool": name} for i, name in enumerate(tools, 1)}
    controller: dict[str, Any] = {
        "plugs": {"main": "setter"},
        "proved": ["main"],
        "records": {"main": record},
        "rows": rows,
        "slot": tools.index(tool) + 1 if tool else 0,
    } | more.pop("controller", {})
    data: dict[str, Any] = {
        "machine": bench.machine,
        "tools": tools,
        "chance": False,
        "setter": {"main": more.pop("setter", bench.setter)},
        "placements": {"main": {"x_mm": bench.x_mm, "y_mm": bench.y_mm}},
        "controller": controller,
    } | more
    if tool is not None:
        data["spindle_tool"] = tool
    return Twin(scenario_from_dict(data))


def perform(twin: Twin, calls: Any, name: str = "test") -> Any:
    """Run calls to their end; an alarm is raised here."""
    before = len(twin.judge.alarms)
    result = twin.perform(calls, Source(call=name))
    if len(twin.judge.alarms) > before:
        raise ControllerAlarm(*twin.judge.alarms[-1][1].args)
    return result


def do(twin: Twin, routine: str, **arguments: Any) -> Any:
    """Run a built-in routine by its name."""
    entry = routine_by_name(routine)
    return perform(twin, entry.call(twin.controller, arguments), routine)


def load(twin: Twin, tool: str | None) -> int:
    """Change the tool as a person or an arm does; returns its row (0: bare)."""
    perform(twin, do_step(twin, LoadTool(do="load-tool", tool=tool)))
    return twin.tables.slot


def true_pad(twin: Twin) -> float:
    """World height of the pad's trip, mm."""
    z = twin.stage.pad_trip_z("main")
    assert z is not None
    return z


def late_mm(twin: Twin, feed_mm_per_min: float = 25.0) -> tuple[float, float]:
    """Least and most that a latch lies past the trip along its way, mm, from the signal's path.

    The input's filter and, where the position is noted at the scan, up to one scan; nothing where
    it is noted at the edge. An encoder is read where it is: following error does not enter.
    """
    socket = twin.scenario.machine.sockets["setter"]
    speed = feed_mm_per_min / 60.0
    latch = twin.scenario.machine.habits.latch
    if latch == "edge":
        return 0.0, 0.0
    least = speed * socket.filter_s
    return least, least + (speed * socket.scan_s if latch == "scan" else 0.0)


def step_mm(twin: Twin) -> float:
    """One count of Z, mm."""
    return twin.scenario.machine.axes.z.encoder_step_mm


def tables_of(twin: Twin) -> str:
    """Everything that the controller has stored, to be compared."""
    return repr(twin.tables)


def zero_length(twin: Twin, bench: Bench) -> float:
    """Reference the setter in the way that suits the machine; the master is taken out again."""
    if bench.by_face:
        z: float = do(
            twin,
            "reference-by-face",
            expected_pad_z_mm=true_pad(twin) + 1.0,
            beside_y_mm=bench.beside_y_mm,
        )
        return z
    load(twin, "master-tool")
    z = do(
        twin,
        "reference-by-master",
        master_length_mm=125.004,
        expected_pad_z_mm=true_pad(twin) - 1.0,
    )
    load(twin, None)
    return z
