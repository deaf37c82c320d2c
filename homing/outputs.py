"""What commands share: results refused before anybody waits for them and cleared up, and a log's timing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from tempfile import mkdtemp
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from homing.liftfile import Lift

STANDARD_OUTPUT = "-"
#: Where the periods of a real log come from; named, not imported, since ``homing`` stands below ``replay``.
MEASURED_PERIODS = "replay.timing:measured_periods"


@contextmanager
def checked_outputs(json: str | None, out: str | None, show: bool) -> Iterator[Path | None]:
    """Refuse what cannot be written; give the folder of the report, if there is to be one.

    A folder that was made for a report which then cannot be had is taken away again.

    Parameters
    ----------
    json : str, optional
        File of the JSON; ``-`` is standard output.
    out : str, optional
        Folder of the report.
    show : bool
        The report is to be shown: without ``out`` it goes into a passing folder.
    """
    from homing.report.files import check_file, check_folder

    if json is not None and json != STANDARD_OUTPUT:
        check_file(json, key="--json")
    folder = Path(out) if out is not None else Path(mkdtemp(prefix="downstop-")) if show else None
    new = [each for each in (folder, *folder.parents) if not each.exists()] if folder is not None else []
    if folder is not None:
        check_folder(folder, key="--out")
    try:
        yield folder
    except BaseException:
        for each in new:
            with suppress(OSError):  # not empty: something was written, which stays
                each.rmdir()
        raise


def hand_over_json(document: Mapping[str, Any], file: str) -> None:
    """Write a JSON document whole, or to standard output in UTF-8 whatever the terminal's encoding."""
    from homing.report.files import write_text
    from homing.report.jsonform import to_text

    if file == STANDARD_OUTPUT:
        click.echo(to_text(document).encode(), nl=False)
    else:
        write_text(file, to_text(document), key="--json")


def measured_periods(log: str | None, lift: Lift) -> NDArray[np.float64] | None:
    """Loop periods [s] measured in a log; its columns as the lift file's ``[log]`` says, if it does."""
    if log is None:
        return None
    module, _, name = MEASURED_PERIODS.partition(":")
    periods_s: NDArray[np.float64] = getattr(import_module(module), name)(log, lift.given.get("log"))
    return periods_s
