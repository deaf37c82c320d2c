"""A small lift as tables, and lifts with other sensors made of it, for the tests of this folder."""

from __future__ import annotations

import copy
from typing import Any

from homing.assembly import assemble
from homing.liftfile import Lift

TABLES: dict[str, Any] = {
    "lift": {"name": "test lift", "travel_mm": 400, "incline_deg": 90, "moving_mass_kg": 1.0, "sway_mm": 0.5},
    "drive": {
        "motor": "brushed-36mm-12v",
        "motors": 2,
        "gear_ratio": 26,
        "spool_diameter_mm": 40,
        "encoder_counts_per_rev": 28,
        "deceleration_mm_s2": 4000,
        "current_limit_a": 15,
    },
    "string": {"type": "braided"},
    "controller": {"period_ms": 20, "jitter_ms": 3, "late_loop_probability": 0.0005, "late_loop_ms": 100},
    "sensor": [{"name": "bottom", "kind": "contact", "mount_mm": 20, "overtravel_to_damage_mm": 40}],
    "routine": {"fast_speed_mm_s": 150, "creep_speed_mm_s": 30, "timeout_s": 9},
    "requirements": {
        "overtravel_mm": 20,
        "impact_speed_mm_s": 40,
        "slack_mm": 8,
        "zero_error_mm": 3.0,
        "time_to_zero_s": 12,
        "peak_current_a": 20,
    },
    "tolerances": {"lift.friction_n": "30%", "sensor.bottom.mount_mm": 0.5},
}

BAR = {
    "kind": "magnet",
    "part": "hall-unipolar-12mt",
    "magnet": {"shape": "block", "size_mm": [30, 10, 3], "grade": "N42"},
    "mount_mm": 20,
    "gap_mm": 3,
}
DISC = {
    "kind": "magnet",
    "part": "hall-omnipolar-3mt-20hz",
    "magnet": {"shape": "disc", "diameter_mm": 10, "height_mm": 3, "grade": "N42"},
    "mount_mm": 30,
    "gap_mm": 3,
}
STRIP = {
    "kind": "reflective",
    "part": "reflective-2p5mm",
    "mount_mm": 26,
    "target_mm": [40, 20],
    "gap_mm": 3,
    "reflectance": 0.85,
    "threshold": 0.5,
    "hysteresis": 0.1,
    "ambient": 0.05,
}
DISTANCE = {
    "kind": "distance",
    "part": "distance-40-300mm",
    "mount_mm": -50,
    "threshold_v": 1.4,
    "hysteresis_v": 0.15,
    "noise_mv": 5,
    "target_mm": [60, 60],
    "beam_spot_mm": 15,
}
SWITCH = {"kind": "contact", "mount_mm": 20, "overtravel_to_damage_mm": 40}


def tables(changes: dict[str, Any] | None = None) -> dict[str, Any]:
    """The test lift with keys ``section.key`` or whole sections set."""
    made = copy.deepcopy(TABLES)
    for path, value in (changes or {}).items():
        section, _, key = path.partition(".")
        if section == "tolerances" and key:
            made["tolerances"][key] = value
        elif key:
            made.setdefault(section, {})[key] = value
        else:
            made[section] = copy.deepcopy(value)
    return made


def lift_with(changes: dict[str, Any] | None = None) -> Lift:
    """The checked test lift."""
    return assemble(tables(changes), "lift.toml")


def lift_of(sensor: dict[str, Any], changes: dict[str, Any] | None = None) -> Lift:
    """The test lift with one sensor of another kind and no tolerance for it but its part's spread."""
    own = {"sensor": [{"name": "bottom", **sensor}], "tolerances": {"lift.friction_n": "30%"}}
    return lift_with({**own, **(changes or {})})


def lift_comparing(*candidates: dict[str, Any], changes: dict[str, Any] | None = None) -> Lift:
    """The test lift with candidates."""
    return lift_with({"candidate": list(candidates), **(changes or {})})
