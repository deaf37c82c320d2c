"""How the files of the corpus are read: maps, and how long a refusal may be."""

from __future__ import annotations

from typing import Any

#: A refusal names the columns of the log, but never prints a whole file.
LONGEST_MESSAGE = 2000

#: Maps that fit the columns of most files in the corpus, each in its own way.
MAPS: tuple[dict[str, Any], ...] = (
    {"time": {"column": "t_ms", "unit": "ms"}, "counts": {"column": "counts"}},
    {"time": {"column": "time", "unit": "s"}, "counts": {"column": "pos", "unit": "mm", "invert": True}},
    {"time": {"column": "time_us"}, "name": {"column": "name"}, "value": {"column": "value"}, "hold_s": 0.5},
    {
        "time": {"column": "t"},
        "counts": {"column": "counts"},
        "sensor": {"column": "limit", "active": "low"},
        "state": {"column": "mode"},
        "command": {"column": "out", "unit": "percent"},
    },
    {"mm_per_count": 0.44, "sensor": {"column": "limit"}, "battery_v": {"column": "vbat", "unit": "mV"}},
)
