"""How far a lift runs on after its sensor: the pencil-and-paper form, and what each part of it means.

With speed v, delays that add up to t, and a constant deceleration a::

    S = v t + v^2 / (2 a)

The simulation is what decides; this form explains the millimetres, gives a first guess when advice is
sought ("slow to ..."), and ties the simulation to rules found in standards. It leaves out stretch and
slack of the string, gravity, and the drive's own time constant, which the budget of a run contains.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BudgetTerm:
    """One part of the stop budget: its formula in the symbols of the lift file, and its meaning."""

    part: str
    formula: str
    meaning: str


#: The parts of the stop budget in the order in which they are spent (``homing.results.BUDGET_PARTS``).
BUDGET_TERMS: tuple[BudgetTerm, ...] = (
    BudgetTerm(
        "sensor_age",
        "v x (time from the trip height to the next sample of the sensor)",
        "a sensor that sleeps between samples goes on showing its last output: up to one sample period",
    ),
    BudgetTerm("reading_delay", "v x sensor_latency_ms", "the reading is on its way to the controller"),
    BudgetTerm(
        "loop_wait",
        "v x (time to the next control loop, up to period_ms)",
        "the reading has arrived and waits until the program looks at it",
    ),
    BudgetTerm(
        "late_loop",
        "v x (length of that loop beyond period_ms)",
        "the loop that should have looked ran long",
    ),
    BudgetTerm("drive_delay", "v x drive_latency_ms", "the stop command is on its way to the drive"),
    BudgetTerm(
        "braking",
        "v^2 / (2 a), with the drive's time constant",
        "the spool slows down until it stands",
    ),
    BudgetTerm(
        "string",
        "carriage travel minus spool travel",
        "stretch, slack and backlash between spool and carriage; negative if the carriage lags behind",
    ),
)


def stop_distance_m(speed_m_per_s: ArrayLike, delay_s: ArrayLike, deceleration_m_per_s2: ArrayLike) -> Floats:
    """Distance run from the trip height to standstill: S = v t + v^2/(2 a) [m].

    Parameters
    ----------
    speed_m_per_s : array_like
        Speed at the trip height [m/s], 0 or more.
    delay_s : array_like
        Sum of all delays until the drive begins to brake [s].
    deceleration_m_per_s2 : array_like
        Constant deceleration [m/s2]; ``inf`` leaves the braking out.

    Returns
    -------
    ndarray, broadcast shape
        Distance [m].

    Examples
    --------
    >>> float(stop_distance_m(0.8, 0.05, 4.0).round(6))
    0.12
    """
    v = np.asarray(speed_m_per_s, dtype=np.float64)
    delay = np.asarray(delay_s, dtype=np.float64)
    deceleration = np.asarray(deceleration_m_per_s2, dtype=np.float64)
    return np.asarray(v * delay + v**2 / (2.0 * deceleration))


def fastest_speed_m_per_s(room_m: ArrayLike, delay_s: ArrayLike, deceleration_m_per_s2: ArrayLike) -> Floats:
    """Fastest speed that still stops within the room: the inverse of :func:`stop_distance_m`.

    Parameters
    ----------
    room_m : array_like
        Distance there is from the trip height to where the lift must stand [m], 0 or more.
    delay_s, deceleration_m_per_s2 : array_like
        As in :func:`stop_distance_m`; not both 0 and ``inf``.

    Returns
    -------
    ndarray, broadcast shape
        Speed [m/s].

    Notes
    -----
    The positive root of v^2/(2a) + v t - S = 0 as ``2 S / (t + sqrt(t^2 + 2 S/a))``, which loses no
    digits when the delay takes nearly all the room.

    Examples
    --------
    >>> float(fastest_speed_m_per_s(0.12, 0.05, 4.0).round(6))
    0.8
    """
    room = np.asarray(room_m, dtype=np.float64)
    delay = np.asarray(delay_s, dtype=np.float64)
    deceleration = np.asarray(deceleration_m_per_s2, dtype=np.float64)
    return np.asarray(2.0 * room / (delay + np.sqrt(delay**2 + 2.0 * room / deceleration)))
