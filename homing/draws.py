"""What is drawn for each run: tolerances, sway, start height, encoder phase.

Every number comes from (seed, run, stream, column) alone, so a run is the same whoever computes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.kernel.random import TOLERANCE_STREAM, fill_uniforms

if TYPE_CHECKING:
    from homing.liftfile import Lift

Floats = NDArray[np.float64]


class Start(IntEnum):
    """Where a run starts."""

    NOMINAL = 0
    AT_STOP = 1
    BELOW_WINDOW = 2
    INSIDE_WINDOW = 3
    ABOVE_WINDOW = 4
    ANYWHERE = 5
    AT_TOP = 6

    @property
    def words(self) -> str:
        return self.name.lower().replace("_", " ")


#: Columns before the tolerances: kind of start, place, count phase, two of sway.
FIRST_COLUMNS = 5
#: A start above the window lies within this of it [m].
JUST_ABOVE_M = 0.05


@dataclass(frozen=True)
class Draws:
    """Drawn numbers of n runs.

    ``values`` maps ``section.key`` to (n,) arrays in the file's unit; ``start_kind`` is a ``Start``,
    ``start_share`` the place within its range, both (n,).
    """

    values: dict[str, Floats]
    start_kind: NDArray[np.int64]
    start_share: Floats
    count_phase: Floats


def draw(lift: Lift, seed: int, indices: NDArray[np.int64]) -> Draws:
    """Draw the runs with these numbers.

    Parameters
    ----------
    lift : Lift
        Its tolerances are drawn evenly between their bounds; sway moves gap and side offset either way.
    seed : int
    indices : ndarray, shape (n,)

    Returns
    -------
    Draws
    """
    u = np.empty((len(indices), columns_of(lift)))
    fill_uniforms(seed, indices, TOLERANCE_STREAM, columns_of(lift), u)
    return from_uniforms(lift, u)


def columns_of(lift: Lift) -> int:
    """How many numbers are drawn for a run."""
    return FIRST_COLUMNS + len(lift.tolerances)


def from_uniforms(lift: Lift, u: Floats) -> Draws:
    """What the numbers of n runs, each even between 0 and 1, stand for.

    Parameters
    ----------
    lift : Lift
    u : ndarray, shape (n, columns)
        Kind of start, place of it, count phase, sway towards and sideways, then the tolerances in the order
        of the lift's.
    """
    values = {
        tolerance.key: tolerance.low + (tolerance.high - tolerance.low) * u[:, FIRST_COLUMNS + i]
        for i, tolerance in enumerate(lift.tolerances)
    }
    add_sway(lift, values, u[:, 3], u[:, 4])
    kinds = np.minimum((u[:, 0] * len(Start)).astype(np.int64), len(Start) - 1)
    return Draws(values, kinds, u[:, 1], u[:, 2])


def add_sway(lift: Lift, values: dict[str, Floats], towards: Floats, sideways: Floats) -> None:
    """Sway moves the target away from the sensor and sideways, by up to ``sway_mm`` either way.

    A target cannot come closer than touching.
    """
    sensor = lift.sensor()
    sway = values.get("lift.sway_mm", lift.lift.sway_mm)
    for key, share in (("gap_mm", towards), ("side_offset_mm", sideways)):
        nominal = lift.quantities().get(f"sensor.{sensor.name}.{key}")
        if nominal is None:
            continue
        moved = values.get(f"sensor.{sensor.name}.{key}", nominal) + sway * (2.0 * share - 1.0)
        values[f"sensor.{sensor.name}.{key}"] = np.maximum(moved, 0.0) if key == "gap_mm" else moved


def start_heights(
    draws: Draws, nominal_m: float, travel_m: float, trip_m: Floats, window_low_m: Floats
) -> Floats:
    """Start height of each run [m], (n,).

    Parameters
    ----------
    trip_m, window_low_m : ndarray, shape (n,)
        Ends of each run's sensor window.
    """
    share = draws.start_share
    low = np.clip(window_low_m, 0.0, travel_m)
    top = np.clip(trip_m, 0.0, travel_m)
    heights = np.full(len(share), nominal_m)
    places = {
        Start.AT_STOP: np.zeros_like(share),
        Start.BELOW_WINDOW: share * low,
        Start.INSIDE_WINDOW: low + share * (top - low),
        Start.ABOVE_WINDOW: np.minimum(top + share * JUST_ABOVE_M, travel_m),
        Start.ANYWHERE: share * travel_m,
        Start.AT_TOP: np.full_like(share, travel_m),
    }
    for kind, place in places.items():
        heights = np.where(draws.start_kind == kind, place, heights)
    return np.asarray(heights, dtype=np.float64)
