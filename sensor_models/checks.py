"""Checks of the numbers given to a sensor; every refusal is one InputError."""

from __future__ import annotations

from typing import Any

import numpy as np

from sensor_models.errors import InputError
from sensor_models.kinds import Floats, Value


def check_number(
    key: str,
    value: Any,
    *,
    above: float | None = None,
    at_least: float | None = None,
    at_most: float | None = None,
    infinite: bool = False,
) -> None:
    """Refuse what is not a finite number, or an (n, 1) array of them, within the bounds.

    Parameters
    ----------
    key : str
        Name for the message, such as ``MagnetSensor.gap_m``.
    value : float or ndarray, shape (n, 1)
        What was given. Booleans are not numbers here.
    above, at_least, at_most : float, optional
        Bounds; ``above`` is exclusive.
    infinite : bool
        Accept infinity as "no limit".

    Raises
    ------
    InputError
        Naming the key, what is accepted and the first offending value.
    """
    array = np.asarray(value)
    if array.dtype.kind not in "iuf":
        raise InputError("must be a number", key=key, got=value)
    if array.ndim and (array.ndim != 2 or array.shape[1] != 1):
        raise InputError("must be a number or an array of shape (n, 1)", key=key, got=array.shape)
    _refuse_where(np.isnan(array) if infinite else ~np.isfinite(array), array, key, "must be a finite number")
    if above is not None:
        _refuse_where(~(array > above), array, key, f"must be above {above:g}")
    if at_least is not None:
        _refuse_where(~(array >= at_least), array, key, f"must be at least {at_least:g}")
    if at_most is not None:
        _refuse_where(~(array <= at_most), array, key, f"must be at most {at_most:g}")


def per_run(value: Value, runs: int) -> Floats:
    """Return a value as one number a run: a float or an (n, 1) or (n,) array becomes (runs,)."""
    flat = np.asarray(value, dtype=np.float64).reshape(-1)
    return np.ascontiguousarray(np.broadcast_to(flat, (runs,)))


def _refuse_where(bad: Any, array: Any, key: str, must: str) -> None:
    if np.any(bad):
        raise InputError(must, key=key, got=float(array[bad].flat[0]) if array.ndim else float(array))
