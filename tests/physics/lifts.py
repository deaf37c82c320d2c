"""Lifts of every kind for the physics tests; invented, chosen to reach every branch of the equations."""

from __future__ import annotations

import copy
from functools import cache
from typing import Any

from homing.assembly import assemble
from homing.liftfile import Lift, load_lift
from homing.setting import Setting, prepare

BASE: dict[str, Any] = {
    "lift": {
        "name": "test lift",
        "travel_mm": 400,
        "incline_deg": 90,
        "moving_mass_kg": 1.2,
        "slides": "drawer",
    },
    "drive": {
        "motor": "brushed-36mm-12v",
        "motors": 2,
        "gear_ratio": 19.2,
        "spool_diameter_mm": 38,
        "travel_per_line": 2,
        "encoder_counts_per_rev": 28,
    },
    "controller": {"period_ms": 20},
    "sensor": [
        {
            "name": "bottom",
            "kind": "magnet",
            "mount_mm": 15,
            "switch": "unipolar",
            "operate_mt": 12,
            "release_mt": 7,
        }
    ],
    "tolerances": {"lift.friction_n": "30%", "battery.open_circuit_v": 0.8, "sensor.bottom.mount_mm": 0.5},
}

#: What each kind changes in ``BASE``; None takes a key away.
KINDS: dict[str, dict[str, Any]] = {
    "string": {},
    # the sensor sits so low that the fast approach runs into the stop and the spool throws string
    "runs into the stop": {
        "sensor": [{**BASE["sensor"][0], "mount_mm": -4}],
        "routine": {"fast_speed_mm_s": 300},
        "stop": {"restitution": 0.6},
    },
    "winds the wrong way round": {
        "sensor": [{**BASE["sensor"][0], "mount_mm": -4}],
        "routine": {"fast_speed_mm_s": 300},
        "string": {"spare_line_mm": 1},
    },
    "stops with shorted windings": {"routine": {"stop": "shorted"}},
    "power command, windings open": {
        "drive": {"command": "duty", "when_off": "open"},
        "routine": {"stop": "open"},
    },
    "return string, horizontal": {"lift": {"incline_deg": 0}, "string": {"return_string": True}},
    "belt": {
        "drive": {"kind": "belt", "spool_diameter_mm": None, "pulley_diameter_mm": 20, "backlash_mm": 0.3}
    },
    "lead screw": {
        "drive": {"kind": "lead_screw", "spool_diameter_mm": None, "lead_mm": 40, "backlash_mm": 0.1},
        "lift": {"incline_deg": 30},
    },
}


def lift_of(kind: str, *changes: dict[str, Any]) -> Lift:
    """The lift of a kind, with further changes on top."""
    given = copy.deepcopy(BASE)
    for change in (KINDS[kind], *changes):
        for section, keys in change.items():
            if not isinstance(keys, dict):
                given[section] = keys
                continue
            table = {**given.get(section, {}), **keys}
            given[section] = {key: value for key, value in table.items() if value is not None}
    return assemble(given, kind)


@cache
def setting_of(kind: str) -> Setting:
    """Compiled study of a kind; "built-in" is the example that comes with the program."""
    return prepare(load_lift(None) if kind == "built-in" else lift_of(kind), seed=11)
