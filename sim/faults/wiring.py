"""Faults between the setter's contact and the controller's input."""

from __future__ import annotations

from drytouch.sim.faults.change import (
    plugged,
    setter_in_use,
    with_controller,
    with_link,
    with_machine,
    with_noise,
)
from drytouch.sim.faults.entry import NotHere, fault
from drytouch.sim.scenario.scenario import Scenario

_PROVE = "Press the pad by hand with drives off and see the very input go off, on, off."


@fault("wiring", "The plug sits in another socket", _PROVE)
def other_socket(
    scenario: Scenario, *, setter: str | None = None, socket: str | None = None
) -> Scenario:
    """Somebody pulled the plug to clean and put it back one socket further along."""
    name, now = plugged(scenario, setter)
    sockets = scenario.machine.sockets
    others = [s for s in sockets if sockets[s].input != sockets[now].input]
    if not others:
        raise NotHere("the machine has no other socket")
    new = socket or others[0]
    if new not in sockets or new == now:
        raise NotHere(f"the machine has no other socket '{new}'")
    plugs = {s: now if p == new else p for s, p in scenario.controller.plugs.items()}
    # A plug that was moved makes every earlier proof void, as the controller knows too.
    return with_controller(scenario, plugs={**plugs, name: new}, proved=())


@fault("wiring", "The plug is out", _PROVE)
def unplugged(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """The plug was pulled for cleaning and hangs beside its socket."""
    name, _ = plugged(scenario, setter)
    plugs = {s: p for s, p in scenario.controller.plugs.items() if s != name}
    return with_controller(scenario, plugs=plugs, proved=())


@fault(
    "wiring",
    "The wire is broken",
    "A normally closed contact shows it at once; with a normally open one, prove the input "
    "right before each use.",
)
def wire_broken(scenario: Scenario, *, since_s: float = 0.0) -> Scenario:
    """A chip has cut the cable where it runs through the chip tray."""
    return with_noise(_plugged_in(scenario), wire="broken", wire_since_s=since_s)


@fault(
    "wiring",
    "The wire is shorted",
    "Prove the input by hand right before each use: a shorted wire of a normally closed contact "
    "never comes on.",
)
def wire_shorted(scenario: Scenario, *, since_s: float = 0.0) -> Scenario:
    """Coolant and chips have joined the two cores of the cable."""
    return with_noise(_plugged_in(scenario), wire="shorted", wire_since_s=since_s)


@fault("wiring", "The contact is wired the wrong way round", _PROVE)
def polarity_reversed(scenario: Scenario) -> Scenario:
    """The new cable was soldered to the other contact of the switch."""
    return with_controller(with_noise(_plugged_in(scenario), wire="reversed"), proved=())


@fault("wiring", "The input is set the wrong way round", _PROVE)
def input_set_inverted(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """Settings were loaded from the sister machine, whose input is wired the other way."""
    _, socket = plugged(scenario, setter)
    sockets = scenario.machine.sockets
    changed = sockets[socket].model_copy(update={"active_high": not sockets[socket].active_high})
    inverted = with_machine(scenario, sockets={**sockets, socket: changed})
    return with_controller(inverted, proved=())


@fault(
    "wiring",
    "The wire breaks and heals by itself",
    "Two slow touches that must agree, and a look at the input before each of them.",
)
def wire_intermittent(
    scenario: Scenario, *, gaps_per_s: float = 4.0, gap_s: float = 0.02
) -> Scenario:
    """A core is broken inside its insulation and makes contact as the cable moves."""
    return with_noise(
        _plugged_in(scenario), wire="intermittent", gaps_per_s=gaps_per_s, gap_s=gap_s
    )


@fault(
    "wiring",
    "Bursts of noise on the line",
    "A filter longer than a burst, two touches that must agree, and never one touch alone.",
)
def line_noisy(
    scenario: Scenario, *, spikes_per_s: float = 5.0, spike_s: float = 0.002
) -> Scenario:
    """The cable lies beside the coolant pump's and its shield is not earthed."""
    return with_noise(_plugged_in(scenario), spikes_per_s=spikes_per_s, spike_s=spike_s)


@fault("wiring", "The setter's battery is flat", _PROVE)
def radio_battery_flat(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """The wireless setter lay in the drawer for months with its battery in."""
    return with_link(scenario, _radio(scenario, setter), battery=False)


@fault("wiring", "The radio path is blocked", _PROVE)
def radio_blocked(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """A steel angle plate stands between setter and receiver."""
    return with_link(scenario, _radio(scenario, setter), blocked=True)


@fault(
    "wiring",
    "The radio answers late",
    "Slow touches that must agree; feeds that leave the overtravel for the whole delay.",
)
def radio_late(
    scenario: Scenario,
    *,
    setter: str | None = None,
    delay_s: float = 0.1,
    jitter_s: float = 0.02,
) -> Scenario:
    """The link is disturbed and sends each word several times until one gets through."""
    return with_link(scenario, _radio(scenario, setter), delay_s=delay_s, jitter_s=jitter_s)


@fault(
    "wiring",
    "The return lead is off",
    "Touch the plate to the spindle by hand and see the input, each time it is put down.",
)
def return_lead_lost(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """The clip of the conductive plate has come off the spindle."""
    _plate(scenario, setter)
    return with_noise(scenario, return_lead=False)


@fault(
    "wiring",
    "The spindle's bearings isolate it",
    "Touch the plate with the tool itself by hand and see the input.",
)
def spindle_isolated(scenario: Scenario, *, setter: str | None = None) -> Scenario:
    """The spindle was rebuilt with ceramic balls, and no current passes them."""
    _plate(scenario, setter)
    return with_noise(scenario, spindle_isolated=True)


def _plugged_in(scenario: Scenario) -> Scenario:
    """The scenario itself, if a wire's fault can show in it."""
    if not scenario.setter:
        raise NotHere("there is no setter")
    if not scenario.controller.plugs and not any(s.do == "plug-in" for s in scenario.steps):
        raise NotHere("no plug is in a socket")
    return scenario


def _radio(scenario: Scenario, setter: str | None) -> str:
    name = setter_in_use(scenario, setter)
    if scenario.setter[name].link.kind != "radio":
        raise NotHere(f"{name} has no radio link")
    return name


def _plate(scenario: Scenario, setter: str | None) -> str:
    name = setter_in_use(scenario, setter)
    if scenario.setter[name].kind != "plate":
        raise NotHere(f"{name} is a switch, no conductive plate")
    return name
