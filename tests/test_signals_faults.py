"""What each fault of socket, wire, contact and link does to the level and to a touch."""

from __future__ import annotations

from typing import Any

import pytest
from twin_cases import CLOSE_Z, down, events, kinds, truth_z, twin_of

from drytouch.sim.errors import ControllerAlarm
from drytouch.sim.scenario.scenario import Noise
from drytouch.sim.scenario.setter import Setter
from drytouch.sim.signals import Wire, level
from drytouch.sim.twin.twin import Twin

BODY: dict[str, Any] = {
    "base_diameter_mm": 60.0, "base_height_mm": 50.0, "pad_diameter_mm": 30.0,
    "pad_height_mm": 60.0, "pre_travel_mm": 0.1, "overtravel_mm": 5.0,
}  # fmt: skip

# (contact, wire, switch contact) -> circuit closed at the socket: (rest, pressed).
CIRCUITS = {
    ("NO", "sound", "sound"): (False, True),
    ("NC", "sound", "sound"): (True, False),
    ("NO", "broken", "sound"): (False, False),
    ("NC", "broken", "sound"): (False, False),
    ("NO", "shorted", "sound"): (True, True),
    ("NC", "shorted", "sound"): (True, True),
    ("NO", "reversed", "sound"): (True, False),
    ("NC", "reversed", "sound"): (False, True),
    ("NO", "sound", "stuck-closed"): (True, True),
    ("NC", "sound", "stuck-closed"): (True, True),
    ("NO", "sound", "stuck-open"): (False, False),
    ("NC", "sound", "stuck-open"): (False, False),
}


@pytest.mark.parametrize(("case", "expected"), CIRCUITS.items())
def test_the_circuit_of_every_contact_and_wire(case: Any, expected: tuple[bool, bool]) -> None:
    contact, wire_state, stuck = case
    wire = Wire("main", Setter(contact=contact, **BODY), Noise(wire=wire_state, contact=stuck))
    found = []
    for pressed in (False, True):
        wire.pressed = pressed
        found.append(wire.circuit(1.0))
    assert tuple(found) == expected


def test_a_wire_is_sound_before_its_fault_and_an_intermittent_one_between_gaps() -> None:
    late = Wire("main", Setter(contact="NC", **BODY), Noise(wire="broken", wire_since_s=2.0))
    assert late.circuit(1.999)
    assert not late.circuit(2.0)
    loose = Wire("main", Setter(contact="NC", **BODY), Noise(wire="intermittent"))
    assert loose.circuit(1.0)
    loose.broken = True
    assert not loose.circuit(1.0)


@pytest.mark.parametrize("contact", ["NO", "NC"])
@pytest.mark.parametrize("change", [{"battery": False}, {"blocked": True}])
def test_a_silent_radio_rests_at_not_pressed(contact: str, change: dict[str, bool]) -> None:
    setter = Setter(contact=contact, link={"kind": "radio", **change}, **BODY)
    wire = Wire("main", setter, Noise())
    rest = wire.circuit(0.0)
    wire.pressed = True
    assert wire.circuit(0.0) is rest


def test_levels() -> None:
    assert [level(c, h) for c in (False, True) for h in (False, True)] == [
        True, False, False, True,
    ]  # fmt: skip


# ---- in a touch -----------------------------------------------------------------------------

NC: dict[str, Any] = {}
# Normally open on a plain input: a closed contact reads as on.
NO: dict[str, Any] = {
    "setter": {"main": {"contact": "NO"}},
    "machine": {"sockets": {"setter": {"active_high": True}}},
}


def runs_away(twin: Twin) -> None:
    with pytest.raises(ControllerAlarm) as caught:
        down(twin, 300.0, depth=60.0)
    assert caught.value.code == "following-error"
    assert "latch" not in kinds(twin)
    assert kinds(twin)[-2:] == ["drive-fault", "alarm"]
    # The pad is solid at 0.1 + 6 mm.
    assert truth_z(twin) == pytest.approx(CLOSE_Z - 6.0, abs=1e-9)
    assert {"runaway", "setter-crushed", "drive-fault"} <= {f.code for f in twin.judge.findings}


def tripped_before(twin: Twin) -> None:
    with pytest.raises(ControllerAlarm) as caught:
        down(twin, 300.0, depth=60.0)
    assert caught.value.code == "already-tripped"
    assert twin.recorder.lines == []


@pytest.mark.parametrize(
    ("kind", "noise", "outcome"),
    [
        (NC, {"wire": "broken"}, tripped_before),  # shows at once
        (NO, {"wire": "broken"}, runs_away),  # hides until the crash
        (NC, {"wire": "shorted"}, runs_away),
        (NO, {"wire": "shorted"}, tripped_before),
        (NC, {"wire": "reversed"}, tripped_before),
        (NO, {"wire": "reversed"}, tripped_before),
        (NC, {"contact": "stuck-closed"}, runs_away),
        (NC, {"contact": "stuck-open"}, tripped_before),
        (NO, {"contact": "stuck-closed"}, tripped_before),
        (NO, {"contact": "stuck-open"}, runs_away),
    ],
)
def test_what_a_fault_does_to_a_touch(kind: Any, noise: Any, outcome: Any) -> None:
    outcome(twin_of(truth={"noise": noise}, **kind))


@pytest.mark.parametrize("kind", [NC, NO])
def test_a_sound_wire_touches_with_either_contact(kind: Any) -> None:
    assert down(twin_of(**kind), 300.0).contact


@pytest.mark.parametrize("change", [{"battery": False}, {"blocked": True}])
def test_a_silent_radio_runs_away(change: dict[str, bool]) -> None:
    runs_away(twin_of(setter={"main": {"link": {"kind": "radio", **change}}}))


def test_the_other_socket_and_no_socket() -> None:
    tripped_before(twin_of(controller={"plugs": {"main": "spindle-probe"}}))
    unplugged = twin_of()
    unplugged.kernel.plug("main", None)
    tripped_before(unplugged)
    # Where an empty socket reads as off, the touch runs away.
    high = {"sockets": {"setter": {"active_high": True}}}
    runs_away(twin_of(machine=high, controller={"plugs": {"main": "spindle-probe"}}))
    empty = twin_of(machine=high)
    empty.kernel.plug("main", None)
    runs_away(empty)


def test_a_normally_closed_wire_that_breaks_in_a_touch_stops_it() -> None:
    twin = twin_of(truth={"noise": {"wire": "broken", "wire_since_s": 1.0}})
    found = down(twin, 300.0)
    assert found.contact
    assert [e[1] for e in events(twin)] == ["latch"]
    assert events(twin, "latch")[0][2][0] == 1.0
    assert [f.code for f in twin.judge.findings] == ["false-trigger"]


def test_an_intermittent_wire_triggers_falsely_unless_the_filter_outlasts_its_gaps() -> None:
    noise = {"wire": "intermittent", "gaps_per_s": 2.0, "gap_s": 0.005}
    bare = twin_of(truth={"noise": noise})
    down(bare, 300.0)
    # By its mean times with chance off: broken from 0.5 s for 5 ms.
    assert events(bare, "latch")[0][0] == 0.5
    filtered = twin_of(truth={"noise": noise}, machine={"sockets": {"setter": {"filter_s": 0.006}}})
    down(filtered, 300.0)
    assert [e[1] for e in events(filtered)] == ["contact", "close", "latch"]


def test_spikes_pass_a_fast_input_and_no_filter() -> None:
    noise = {"spikes_per_s": 50.0, "spike_s": 20e-6}
    fast = twin_of(
        truth={"noise": noise}, machine={"sockets": {"setter": {"filter_s": 0.0, "scan_s": 0.0}}}
    )
    down(fast, 300.0)
    assert [e[1] for e in events(fast)] == ["latch"]
    slow = twin_of(
        truth={"noise": noise},
        machine={
            "sockets": {"setter": {"filter_s": 0.001, "scan_s": 0.0}},
            "habits": {"latch": "edge"},
        },
    )
    found = down(slow, 300.0)
    assert [e[1] for e in events(slow)] == ["contact", "close", "latch"]
    assert found.z == pytest.approx(CLOSE_Z, abs=1e-5)


def test_a_spike_does_not_hurry_a_slow_radio() -> None:
    """Edges on their way through the link keep their own time."""
    link = {"kind": "radio", "delay_s": 0.015}
    noise = {"spikes_per_s": 211.0, "spike_s": 20e-6}
    machine = {
        "sockets": {"setter": {"filter_s": 0.001, "scan_s": 0.0}}, "habits": {"latch": "edge"},
    }  # fmt: skip
    twin = twin_of(setter={"main": {"link": link}}, truth={"noise": noise}, machine=machine)
    found = down(twin, 300.0)
    assert found.z == pytest.approx(CLOSE_Z - 5.0 * 0.015, abs=1e-5 + 5.0 * 20e-6)


# ---- plates ---------------------------------------------------------------------------------

PLATE = {
    "setter": {"main": {"kind": "plate", "contact": "NO", "pre_travel_mm": 0.0,
                        "hysteresis_mm": 0.0, "overtravel_mm": 0.5}},
    "machine": {"sockets": {"setter": {"active_high": True}}},
}  # fmt: skip


def test_a_plate_trips_where_it_is_touched() -> None:
    twin = twin_of(**PLATE)
    assert down(twin, 60.0).z == pytest.approx(-380.0, abs=1e-5)
    assert kinds(twin) == ["contact", "close", "latch"]


@pytest.mark.parametrize(
    "change",
    [
        {"truth": {"noise": {"return_lead": False}}},
        {"truth": {"noise": {"spindle_isolated": True}}},
        {"tools": {"pin": {"coated": True}}},
    ],
)
def test_a_plate_that_sees_no_circuit_is_crushed(change: dict[str, Any]) -> None:
    twin = twin_of(**PLATE, **change)
    with pytest.raises(ControllerAlarm):
        down(twin, 60.0, depth=60.0)
    assert "close" not in kinds(twin)
    assert truth_z(twin) == pytest.approx(-380.5, abs=1e-9)
    assert "runaway" in {f.code for f in twin.judge.findings}


def test_a_hand_on_a_plate_closes_it_only_with_its_return_lead() -> None:
    for lead, isolated, expected in ((True, True, True), (False, False, False)):
        noise = {"return_lead": lead, "spindle_isolated": isolated}
        twin = twin_of(**PLATE, truth={"noise": noise})
        twin.kernel.press_by_hand("main", True)
        twin.advance(0.1)
        assert twin.controller.input_on() is expected
