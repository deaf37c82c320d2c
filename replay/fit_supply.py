"""Battery voltage at rest and its resistance, from logged voltages and currents."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from homing.liftfile import Lift
from replay.fit_problem import repeats_of
from replay.fit_result import UNTOLD, Estimate
from replay.least_squares import Solution, solve
from replay.log import Log
from replay.units import Quantity, Role

Floats = NDArray[np.float64]

#: Fewer rows with voltage and current than this tell nothing.
FEWEST_ROWS = 50
#: Voltages further off than this count in proportion: dips, and samples of another instant [V].
ODD_V = 0.3
#: How far a lift file's numbers of the battery are commonly off, as a share; own estimate.
WIDTH_SHARE = 0.5
#: Rows over which a running mean is the slow part.
SLOW_ROWS = 61

BATTERY_CURRENT = "logged current taken as the battery's"
MOTOR_CURRENT = "logged current taken as the motors', the battery's being duty times it"


def fit_supply(logs: Sequence[Log], lift: Lift) -> list[Estimate]:
    """Open-circuit voltage and resistance of the battery; empty without voltages and currents.

    Changes of the voltage against changes of the current, both after the slow part is taken off (a
    battery runs down and recovers): U' = -Rb I'. I is the logged current, or duty times it where the log
    has the motors' current instead of the battery's: whichever explains the voltages better.
    """
    parts = [part for log in logs if (part := _columns(log, lift)) is not None]
    if not parts:
        return []
    ways = {
        BATTERY_CURRENT: [(u, i) for u, i, _ in parts],
        MOTOR_CURRENT: [(u, np.abs(duty) * i) for u, i, duty in parts],
    }
    fits = {words: _slope(rows) for words, rows in ways.items()}
    words = min(fits, key=lambda each: fits[each].sum_of_squares)
    chosen = fits[words]
    widen = repeats_of(np.split(chosen.residuals, np.cumsum([len(u) for u, *_ in parts])[:-1])) ** 0.5
    ohm, error = float(chosen.values[0]), float(chosen.std_errors[0]) * widen
    other_a = 0.0 if words == BATTERY_CURRENT else lift.battery.other_load_a
    resting = np.concatenate([u + max(ohm, 0.0) * (i + other_a) for u, i in ways[words]])
    known = lift.battery
    # half the spread of a resting voltage is not noise: the battery runs down while it is logged
    return [
        _estimate("battery.resistance_ohm", "ohm", ohm, error, known.resistance_ohm, words),
        _estimate(
            "battery.open_circuit_v", "V", float(np.median(resting)), float(np.std(resting)),
            known.open_circuit_v, "median over the logs, its error the spread",
        ),
    ]  # fmt: skip


def _estimate(key: str, unit: str, value: float, error: float, prior: float, words: str) -> Estimate:
    notes: tuple[str, ...] = (words,)
    if value < 0.0:
        value, notes = 0.0, (*notes, "at its lowest bound, 0: the voltage does not fall with the current")
    told = error < UNTOLD * WIDTH_SHARE * prior
    return Estimate(key, float(value), unit, float(error), prior, told=told, notes=notes)


def _columns(log: Log, lift: Lift) -> tuple[Floats, Floats, Floats] | None:
    """Voltage, size of the current and duty of the readable rows."""
    if Role.BATTERY not in log or Role.CURRENT not in log:
        return None
    volts, amps = log[Role.BATTERY], np.abs(log[Role.CURRENT])
    if Role.CURRENT_2 in log:
        amps = amps + np.abs(log[Role.CURRENT_2])
    duty = log[Role.COMMAND]
    unit = log.unit(Role.COMMAND)
    if unit is not None and unit.quantity is Quantity.VOLTAGE:
        duty = duty / lift.battery.open_circuit_v
    known = np.isfinite(volts) & np.isfinite(amps) & np.isfinite(duty)
    if int(known.sum()) < FEWEST_ROWS or float(np.ptp(amps[known])) <= 0.0:
        return None
    return volts[known], amps[known], duty[known]


def _slope(rows: Sequence[tuple[Floats, Floats]]) -> Solution:
    """Resistance from the quick part of voltage and current."""
    volts = np.concatenate([_quick(u) for u, _ in rows])
    amps = np.concatenate([_quick(i) for _, i in rows])
    return solve(
        lambda ohm: volts + ohm[0] * amps,
        np.zeros(1),
        robust_from=np.full(len(volts), ODD_V),
        jacobian=lambda _: amps[:, None],
    )


def _quick(values: Floats) -> Floats:
    """What is left after a running mean is taken off."""
    width = min(SLOW_ROWS, len(values))
    total = np.cumsum(np.concatenate([[0.0], values]))
    low = np.maximum(np.arange(len(values)) - width // 2, 0)
    high = np.minimum(low + width, len(values))
    quick: Floats = values - (total[high] - total[low]) / (high - low)
    return quick
