"""The lift, its routine and the closed loop: verify a retract-and-zero routine off the robot.

``load_lift`` reads a lift file, ``verify`` judges it, ``simulate`` runs it once. Names are loaded when
they are first used, so that importing this package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from homing.liftfile import Lift, load_lift
    from homing.results import Run, Verification
    from homing.simulate import simulate
    from homing.verify import verify

__all__ = ["Lift", "Run", "Verification", "load_lift", "simulate", "verify"]

_HOMES = {
    "Lift": "homing.liftfile",
    "load_lift": "homing.liftfile",
    "Run": "homing.results",
    "Verification": "homing.results",
    "simulate": "homing.simulate",
    "verify": "homing.verify",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
