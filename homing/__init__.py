"""The lift, its routine and the closed loop: verify a retract-and-zero routine off the robot.

``load_lift`` reads a lift file, ``verify`` judges it, ``simulate`` runs it once, ``tune`` finds better
settings. Names are loaded when they are first used, so that importing this package costs nothing.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from homing.bridge.controller import Program
    from homing.liftfile import Lift, load_lift
    from homing.results import Run, Verification
    from homing.simulate import simulate
    from homing.tuning.study import tune
    from homing.verify import verify

__all__ = ["Lift", "Program", "Run", "Verification", "load_lift", "simulate", "tune", "verify"]

_HOMES = {
    "Lift": "homing.liftfile",
    "Program": "homing.bridge.controller",
    "load_lift": "homing.liftfile",
    "Run": "homing.results",
    "Verification": "homing.results",
    "simulate": "homing.simulate",
    "tune": "homing.tuning.study",
    "verify": "homing.verify",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


class _Package(ModuleType):
    """Keeps ``homing.verify`` and ``homing.simulate`` the functions they are promised to be.

    Importing the submodule of the same name would otherwise put the module in the function's place.
    """

    def __setattr__(self, name: str, value: Any) -> None:
        if not (name in _HOMES and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
