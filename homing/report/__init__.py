"""Reports: what ``homing`` found, shown to people and handed to scripts.

One call, in order: the results (``homing.results``) are turned into rows of words (``rows``), the rows
are printed (``terminal``) or set on one page (``page``) beside the pictures (``figures``); both are
written whole or not at all (``files``). Results do not know any of this.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from homing.report.files import check_file, check_folder, write_text
    from homing.report.jsonform import run_json, to_text, verification_json
    from homing.report.page import write_report
    from homing.report.terminal import console, show, show_run
    from homing.report.tracefile import write_trace

_HOME = {
    "check_file": "files",
    "check_folder": "files",
    "console": "terminal",
    "write_text": "files",
    "write_report": "page",
    "run_json": "jsonform",
    "to_text": "jsonform",
    "verification_json": "jsonform",
    "show": "terminal",
    "show_run": "terminal",
    "write_trace": "tracefile",
}

__all__ = [
    "check_file",
    "check_folder",
    "console",
    "run_json",
    "show",
    "show_run",
    "to_text",
    "verification_json",
    "write_report",
    "write_text",
    "write_trace",
]


def __getattr__(name: str) -> Any:
    """Import the module of a public name when it is first asked for: rich and matplotlib are slow."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
