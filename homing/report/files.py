"""Writing files whole or not at all.

Everything is written beside its place under a temporary name and moved there by ``os.replace``, which
either happens or does not. What cannot be written is refused as bad input (exit code 2), not as a crash.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from sensor_models.errors import InputError

Writer = Callable[[Path], None]


def check_folder(folder: str | Path, *, key: str = "--out") -> Path:
    """Make a folder (and those above it) and refuse it if no file can be made in it.

    Meant to be asked before a long computation, so that nobody waits for a report that cannot be kept.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        When it cannot be made or written to.
    """
    path = Path(folder)
    made: list[Path] = []
    try:
        _make(path, made)
        with tempfile.TemporaryFile(dir=path):
            pass
    except OSError as problem:
        _unmake(made)
        raise _refusal("must be a folder that can be written to", key, folder, problem) from None
    return path


def check_file(file: str | Path, *, key: str, suffixes: tuple[str, ...] = ()) -> Path:
    """Refuse a file name that cannot be written, before anything is computed.

    Raises
    ------
    InputError
        When the suffix is not one of ``suffixes``, the name is a folder, or its folder cannot be written to.
    """
    path = Path(file)
    if suffixes and path.suffix.lower() not in suffixes:
        raise InputError(f"must end in {' or '.join(suffixes)}", key=key, got=str(file))
    if path.is_dir():
        raise InputError("must be a file; this is a folder", key=key, got=str(file))
    try:
        with tempfile.TemporaryFile(dir=path.parent):
            pass
    except OSError as problem:
        raise _refusal("must be a file that can be written", key, file, problem) from None
    return path


def write_text(file: str | Path, text: str, *, key: str = "--json") -> Path:
    """Write a text file (UTF-8) whole or not at all."""
    return write_file(file, lambda path: _dump(path, text.encode()), key=key)


def write_file(file: str | Path, writer: Writer, *, key: str) -> Path:
    """Let ``writer`` fill a temporary file and move it into place when it is whole."""
    path = check_file(file, key=key)
    try:
        _write_all({path: writer})
    except OSError as problem:
        raise _refusal("must be a file that can be written", key, file, problem) from None
    return path


def write_files(folder: str | Path, contents: Mapping[str, bytes], *, key: str = "--out") -> Path:
    """Write several files into a folder: all are written before the first is moved into place."""
    path = check_folder(folder, key=key)

    def writer(data: bytes) -> Writer:
        return lambda target: _dump(target, data)

    try:
        _write_all({path / name: writer(data) for name, data in contents.items()})
    except OSError as problem:
        raise _refusal("must be a folder that can be written to", key, folder, problem) from None
    return path


def _write_all(jobs: Mapping[Path, Writer]) -> None:
    waiting: dict[Path, Path] = {}
    try:
        for target, writer in jobs.items():
            handle, name = tempfile.mkstemp(prefix=".", suffix=target.suffix, dir=target.parent)
            os.close(handle)
            waiting[target] = Path(name)
            writer(Path(name))
            os.chmod(name, 0o666 & ~_umask())
        for target, temporary in waiting.items():
            os.replace(temporary, target)
    finally:
        # also after Ctrl-C: nothing half-written stays behind
        for temporary in waiting.values():
            temporary.unlink(missing_ok=True)


def _dump(path: Path, data: bytes) -> None:
    path.write_bytes(data)


def _umask() -> int:
    # mkstemp makes files private; a report should be as readable as any other file of this person
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _make(path: Path, made: list[Path]) -> None:
    if not path.is_dir():
        if path.parent != path:
            _make(path.parent, made)
        path.mkdir(exist_ok=True)
        made.append(path)


def _unmake(made: list[Path]) -> None:
    for path in reversed(made):
        with suppress(OSError):
            path.rmdir()


def _refusal(must: str, key: str, got: str | Path, problem: OSError) -> InputError:
    reason = (problem.strerror or type(problem).__name__).lower()
    return InputError(f"{must} ({reason})", key=key, got=str(got))
