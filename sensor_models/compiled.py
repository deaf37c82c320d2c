"""The one door to the compiler: how kernels are compiled and where the result is kept.

A compiled kernel is cached under the user's cache folder, in a folder named after the text of this file
and of all kernel sources it may have been built from. Editing any of them therefore never meets a stale
result (numba itself only looks at the file of the entry function), and a package folder that is
read-only does not matter.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., Any])


def cache_folder(sources: tuple[Path, ...]) -> Path:
    """Folder for the compiled form of these sources; its name changes when their text does."""
    digest = hashlib.sha256(f"{numba.__version__} {sys.version}".encode())
    for source in (Path(__file__), *sorted(sources)):
        digest.update(source.read_bytes())
    return _user_cache() / "downstop" / digest.hexdigest()[:16]


def compiler(*sources: Path, inlined: bool = False) -> Callable[[Function], Function]:
    """Return the decorator that compiles a kernel depending on ``sources`` (every file it calls into).

    ``inlined``: for functions inside the innermost loop, whose calls would cost more than what they do.
    """
    folder = cache_folder(sources)
    config: Any = numba.config

    def compiled(function: Function) -> Function:
        previous = config.CACHE_DIR
        config.CACHE_DIR = str(folder)
        try:
            decorator: Any = numba.njit(cache=True, nogil=True, error_model="numpy", forceinline=inlined)
            jitted: Any = decorator(function)
        finally:
            config.CACHE_DIR = previous
        return cast(Function, jitted)

    return compiled


def _user_cache() -> Path:
    named = (
        os.environ.get("DOWNSTOP_CACHE") or os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    )
    return Path(named) if named else Path.home() / ".cache"
