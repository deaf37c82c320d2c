"""Logs of a real lift: read, checked and summed up.

``read_log(path, columns=None)`` gives a `Log`; ``measured_periods(path)`` the loop periods in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from replay.columns import ColumnSpec, LogColumns
    from replay.defects import Defect, DefectKind
    from replay.diagnosing import diagnose
    from replay.diagnosis import Cause, Diagnosis, Finding, Verdict, Visit
    from replay.log import Log
    from replay.reading import read_log
    from replay.timing import measured_periods
    from replay.units import Role, Unit

__all__ = [
    "Cause",
    "ColumnSpec",
    "Defect",
    "DefectKind",
    "Diagnosis",
    "Finding",
    "Log",
    "LogColumns",
    "Role",
    "Unit",
    "Verdict",
    "Visit",
    "diagnose",
    "measured_periods",
    "read_log",
]

_PLACES = {
    "Cause": "replay.diagnosis",
    "ColumnSpec": "replay.columns",
    "Defect": "replay.defects",
    "DefectKind": "replay.defects",
    "Diagnosis": "replay.diagnosis",
    "Finding": "replay.diagnosis",
    "Log": "replay.log",
    "LogColumns": "replay.columns",
    "Role": "replay.units",
    "Unit": "replay.units",
    "Verdict": "replay.diagnosis",
    "Visit": "replay.diagnosis",
    "diagnose": "replay.diagnosing",
    "measured_periods": "replay.timing",
    "read_log": "replay.reading",
}


def __getattr__(name: str) -> Any:
    # loaded when asked for (PEP 562), so that the command line starts without polars
    if name not in _PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_PLACES[name]), name)


def __dir__() -> list[str]:
    return __all__
