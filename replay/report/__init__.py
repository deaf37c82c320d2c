"""The report of replay: an `Analysis` holds everything found in one log, ``figures`` draws it.

``rows`` puts it into words, ``page`` sets words and pictures on one page and ``notebook`` on one sheet.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from replay.report.analysis import Analysis, analyse
    from replay.report.page import write_report

_HOME = {"Analysis": "analysis", "analyse": "analysis", "write_report": "page"}

__all__ = ["Analysis", "analyse", "write_report"]


def __getattr__(name: str) -> Any:
    """Import the module of a public name when it is first asked for: matplotlib is slow."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
