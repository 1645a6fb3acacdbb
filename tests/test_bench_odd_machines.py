"""Exercises on machines that nobody built: drawn at random, wide apart in everything that differs.

Each exercise ends right there, with the same trainee and the same replay as on the library's
machines, or is refused in one sentence. A machine that fails is shown whole.
"""

from __future__ import annotations

import tomllib
from random import Random
from typing import Any

import pytest
from bench_cases import codes, same
from bench_trainee import SOLUTIONS, Trainee
from test_bench_machines import OWN_MACHINE

from drytouch.sim.bench import Session
from drytouch.sim.bench.fitting import fitted
from drytouch.sim.errors import InputError
from drytouch.sim.scenario.load import load_scenario
from drytouch.sim.scenario.machine import Machine
from drytouch.sim.scenario.scenario import Scenario

SEEDS = range(200, 208)


def odd_machine(seed: int) -> dict[str, Any]:
    """A machine's data: travel, table, nose, lugs, sockets, habits and drives drawn apart."""
    draw = Random(seed)
    data = tomllib.loads(OWN_MACHINE)
    x, y, z = (draw.choice(s) for s in ((-900, 0, 40, -123.4), (-600, 500, 0), (0, 220, -50)))
    long_x, long_y = draw.choice((200, 250, 300, 400, 1000)), draw.choice((150, 200, 300, 500))
    long_z, gap = draw.choice((150, 200, 250, 300, 600)), draw.choice((-20, 0, 8, 20, 80, 160))
    ends = {"x": (x, x + long_x), "y": (y, y + long_y), "z": (z - long_z, z)}
    for name, (low, high) in ends.items():
        axis = data["axes"][name]
        home = high if name == "z" else draw.choice((low, high))
        axis |= {"min_mm": low, "max_mm": high, "home_mm": home}
        axis["encoder_step_mm"] = draw.choice((0.0001, 0.001, 0.0025, 0.005))
        axis["backlash_mm"] = draw.choice((0.0, 0.002, 0.01, 0.02))
    data["table"] = {
        "centre_x_mm": x + long_x / 2 + draw.choice((0, 20, -30)),
        "centre_y_mm": y + long_y / 2 + draw.choice((0, 10, -20)),
        "top_z_mm": z - long_z - gap,
        "size_x_mm": long_x * draw.choice((0.8, 1.0, 1.4)),
        "size_y_mm": long_y * draw.choice((0.8, 1.0, 1.3)),
    }
    data["bodies"] = []
    _nose(data, draw)
    data["sockets"] = {
        f"socket-{i}": {
            "input": 10 * i + draw.randint(1, 4),
            "active_high": draw.random() < 0.5,
            "filter_s": draw.choice((0.0, 0.001, 0.004)),
            "scan_s": draw.choice((0.0, 0.001, 0.004)),
        }
        for i in range(draw.choice((1, 1, 2, 3)))
    }
    data["habits"] = {
        "latch": draw.choice(("edge", "filter", "scan")),
        "latch_source": draw.choice(("encoder", "command")),
        "length_convention": draw.choice(("face", "difference", "table", "work")),
        "after_touch": draw.choice(("return", "stay")),
        "rows": draw.choice((3, 8, 60)),
    }
    if draw.random() < 0.3:
        last = list(data["sockets"].values())[-1]
        data["habits"] |= {"watches": "fixed", "fixed_input": last["input"]}
    data["absolute_encoders"] = draw.random() < 0.5
    data["rapids"] = draw.choice(("straight", "each-axis"))
    data["emergency_stop"]["keeps_reference"] = draw.random() < 0.3
    if draw.random() < 0.3:
        data["servo"] = {"drive": "stepper", "position_gain_per_s": 400.0}
    data["tool_change"] = {"by": draw.choice(("hand", "arm")), "time_s": 10.0}
    return data


def _nose(data: dict[str, Any], draw: Random) -> None:
    face = draw.choice((40.0, 54.0, 88.9, 128.6))
    bore = face * draw.choice((0.35, 0.45, 0.5))
    turned = draw.choice((0, 30, 90, 137))
    height = draw.choice((3.0, 5.0, 8.0))
    data["spindle"] |= {
        "face_diameter_mm": face,
        "bore_diameter_mm": bore,
        "nose_length_mm": draw.choice((40.0, 70.0, 120.0)),
        "head_width_mm": draw.choice((face + 20.0, 160.0, 300.0)),
        "lugs": [
            {
                "angle_deg": turned + half,
                "height_mm": height,
                "width_mm": 8.0,
                "inner_radius_mm": bore / 2 + 2.0,
                "outer_radius_mm": face / 2 - 1.0,
            }
            for half in (0, 180)[: draw.choice((0, 2))]
        ],
    }


def _on(exercise: str, machine: Machine) -> Scenario | InputError:
    """The exercise fitted to a machine, or why it is refused."""
    try:
        return fitted(load_scenario(exercise), machine)
    except InputError as error:
        return error


@pytest.mark.parametrize("seed", SEEDS)
def test_every_exercise_ends_right_or_is_refused_in_a_sentence(seed: int) -> None:
    data = odd_machine(seed)
    machine = Machine.model_validate(data)
    ended = 0
    for name, way in SOLUTIONS.items():
        scenario = _on(name, machine)
        if isinstance(scenario, InputError):
            assert ". " not in scenario.message, scenario
            assert scenario.fix.startswith("choose a"), scenario
            continue
        session = Session.open(scenario, seed=seed)
        way(Trainee(session))
        debrief = session.finish()
        told = (name, debrief.data["missing"], debrief.data["skipped"], codes(session),
                debrief.data["alarms"])  # fmt: skip
        assert debrief.verdict == "right", (told, data)
        assert debrief.score >= 90, (debrief.data["score_lines"], name, data)
        same(session)
        ended += 1
    assert ended, data
