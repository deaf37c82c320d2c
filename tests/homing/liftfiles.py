"""A smallest lift file as tables, and how to bend it, for the tests of this folder."""

from __future__ import annotations

import copy
from typing import Any

from homing.assembly import assemble
from homing.liftfile import Lift

REMOVED = object()

SMALLEST: dict[str, Any] = {
    "lift": {"travel_mm": 640, "incline_deg": 90, "moving_mass_kg": 1.2},
    "drive": {
        "motor": "brushed-36mm-12v",
        "motors": 2,
        "gear_ratio": 19.2,
        "spool_diameter_mm": 38,
        "encoder_counts_per_rev": 28,
    },
    "controller": {"period_ms": 20},
    "sensor": [
        {"kind": "magnet", "mount_mm": 20, "switch": "omnipolar", "operate_mt": 3.0, "release_mt": 1.5}
    ],
}


def bent(changes: dict[str, Any] | None = None) -> dict[str, Any]:
    """The smallest file with keys set or REMOVED; ``sensor.key`` is a key of its one sensor."""
    tables = copy.deepcopy(SMALLEST)
    for path, value in (changes or {}).items():
        section, _, key = path.partition(".")
        table = tables["sensor"][0] if section == "sensor" else tables.setdefault(section, {})
        if not key:
            tables[section] = value
            if value is REMOVED:
                del tables[section]
        elif value is REMOVED:
            table.pop(key, None)
        else:
            table[key] = value
    return tables


def lift_with(changes: dict[str, Any] | None = None) -> Lift:
    """The smallest lift with some keys changed."""
    return assemble(bent(changes), "lift.toml")


#: One working sensor table of each kind.
SENSORS: dict[str, dict[str, Any]] = {
    "magnet": SMALLEST["sensor"][0],
    "reflective": {"kind": "reflective", "mount_mm": 20},
    "distance": {
        "kind": "distance",
        "mount_mm": -60,
        "curve": [[20, 1.2], [60, 3.0], [100, 2.0], [200, 1.0], [300, 0.6]],
        "min_mm": 60,
        "max_mm": 300,
        "threshold_v": 2.2,
    },
    "contact": {"kind": "contact", "mount_mm": 20},
    "stall": {"kind": "stall", "mount_mm": 0},
}
