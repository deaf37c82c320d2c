"""What an end sensor reads, given where its target is.

The names below are loaded when first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_PLACES = {
    "CylinderMagnet": "magnets",
    "BlockMagnet": "magnets",
    "MagnetSensor": "hall",
    "ReflectiveSensor": "reflective",
    "DistanceSensor": "distance",
    "ContactSensor": "contact",
    "StallSensor": "stall",
    "Sensor": "sensor",
    "SensorKind": "kinds",
    "SwitchKind": "kinds",
    "Facing": "kinds",
    "Approach": "kinds",
    "Wiring": "kinds",
    "Grid": "mounting",
    "SensorBatch": "mounting",
    "grid_for": "mounting",
    "respond": "mounting",
    "interpolate": "mounting",
    "zones": "mounting",
    "shortfall": "mounting",
    "PartRecord": "parts",
    "part": "parts",
    "parts": "parts",
    "InputError": "errors",
}

__all__ = sorted(_PLACES)


def __getattr__(name: str) -> Any:
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_PLACES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
