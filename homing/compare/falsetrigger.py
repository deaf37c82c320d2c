"""The probability that one passage over the whole travel brings a made reading outside the trip zone.

At approach speed, from the top of the travel down to the top of the trip zone (the window over the
tolerances, ``Setting.zone_m``). Three causes, independent of each other:

- *places*: heights at which the drawn sensor really is made, such as side lobes, other things in front of a
  reflective sensor, or light; each counts with the probability of being seen (``seen``);
- *flips*: every reading is inverted with ``noise_flip_probability``;
- *noise*: at every sample the signal is a little off; the sum of three uniforms, as in the simulation, has
  the tail (3 - z)^3 / 48 beyond z standard deviations for z >= 1.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.compare.responses import Responses, rising_columns
from homing.compare.seen import Loops, seen_in_one_pass
from homing.lift import MM
from sensor_models.mounting import SensorBatch, zones

if TYPE_CHECKING:
    from sensor_models.sensor import Sensor

Floats = NDArray[np.float64]

#: Step at which a response with other things than the target is looked through [m].
STEP_M = 0.001


def false_trigger_probability(
    responses: Responses, zone_high_m: float, speed_m_s: float, loops: Loops
) -> float:
    """Mean over the drawn sensors.

    Parameters
    ----------
    responses : Responses
    zone_high_m : float
        Top of the trip zone [m].
    speed_m_s : float
        Approach speed [m/s].
    loops : Loops
    """
    drawn, sensor = responses.drawn, responses.drawn_sensor
    x_m, signal = _above(sensor, drawn, zone_high_m)
    if len(x_m) < 2:
        return 0.0
    sample_s = np.broadcast_to(np.ravel(sensor.sample_period_s), len(drawn))
    kept = 1.0 - _places(x_m, signal, drawn, sample_s, speed_m_s, loops)
    readings = (x_m[-1] - x_m[0]) / (speed_m_s * loops.mean_s)
    kept = kept * (1.0 - np.ravel(sensor.flip_probability)) ** readings
    noise = np.broadcast_to(np.ravel(sensor.noise), len(drawn))
    if np.any(noise > 0.0):
        quantum = np.broadcast_to(np.ravel(sensor.quantum), len(drawn))
        kept = kept * (1.0 - _noise(x_m, signal, drawn, sample_s, speed_m_s, loops, noise, quantum))
    return float(np.mean(1.0 - kept))


def false_places_mm(responses: Responses) -> tuple[tuple[float, float], ...]:
    """Other places than the main window where the nominal sensor would be made [mm]."""
    nominal, travel_m = responses.nominal, responses.grid.travel_m
    x_m, signal = responses.grid.positions(), nominal.signal[0]
    if getattr(responses.sensor, "others", ()):
        x_m = np.arange(responses.grid.coarse_low_m, travel_m + STEP_M, STEP_M)
        signal = responses.sensor.response(x_m)[0]
    found = zones(signal, x_m, float(nominal.operate[0]), two_sided=nominal.two_sided)
    trip_m = float(nominal.trip_m[0])
    main = min(found, key=lambda zone: abs(zone[1] - trip_m), default=None)
    return tuple(
        (low / MM, high / MM) for low, high in found if (low, high) != main and high > 0.0 and low < travel_m
    )


def _above(sensor: Sensor, batch: SensorBatch, zone_high_m: float) -> tuple[Floats, Floats]:
    """Heights from the trip zone to the top of the travel (m,), rising, and the signal there (n, m).

    From the table; where other things than the target may be narrower than its steps, from the equation.
    """
    if getattr(sensor, "others", ()):
        x_m = np.arange(zone_high_m + STEP_M, batch.grid.travel_m, STEP_M)
        return x_m, np.broadcast_to(sensor.signal(x_m), (len(batch), len(x_m)))
    x_m, columns = rising_columns(batch.grid)
    wanted = (x_m > zone_high_m) & (x_m <= batch.grid.travel_m)
    signal = batch.signal[:, columns[wanted]]
    return x_m[wanted], np.abs(signal) if batch.two_sided else signal


def _places(
    x_m: Floats, signal: Floats, batch: SensorBatch, sample_s: Floats, speed_m_s: float, loops: Loops
) -> Floats:
    """Probability of being seen at any false place, (n,)."""
    missed = np.ones(len(batch))
    for run in np.flatnonzero((signal >= batch.operate[:, None]).any(axis=1)).tolist():
        operate, release = float(batch.operate[run]), float(batch.release[run])
        widths, strong = _widths(x_m, signal[run], operate, release)
        seen = seen_in_one_pass(widths / speed_m_s, float(sample_s[run]), loops, strong / speed_m_s)
        missed[run] = np.prod(1.0 - seen)
    return 1.0 - missed


def _widths(x_m: Floats, signal: Floats, operate: float, release: float) -> tuple[Floats, Floats]:
    """Of each false place on the way in [m]: travel from operate down to release, and that over operate."""
    made, strong = [], []
    top: float | None = None
    low = 0.0
    for i in range(len(x_m) - 1, -1, -1):
        if top is None and signal[i] >= operate:
            top = _between(x_m, signal, i, i + 1, operate)
        if top is None:
            continue
        if signal[i] >= operate:
            low = (
                _between(x_m, signal, i, i - 1, operate)
                if i > 0 and signal[i - 1] < operate
                else float(x_m[i])
            )
        elif signal[i] <= release:
            made.append(top - _between(x_m, signal, i + 1, i, release))
            strong.append(top - low)
            top = None
    if top is not None:
        made.append(top - float(x_m[0]))
        strong.append(top - low)
    return np.array(made), np.array(strong)


def _between(x_m: Floats, signal: Floats, strong: int, weak: int, level: float) -> float:
    """Height between two neighbouring samples at which the signal is at ``level`` [m]."""
    if not 0 <= weak < len(x_m) or signal[strong] == signal[weak]:
        return float(x_m[strong])
    share = (signal[strong] - level) / (signal[strong] - signal[weak])
    return float(x_m[strong] + share * (x_m[weak] - x_m[strong]))


def _noise(
    x_m: Floats, signal: Floats, batch: SensorBatch, sample_s: Floats, speed_m_s: float, loops: Loops,
    noise: Floats, quantum: Floats,
) -> Floats:  # fmt: skip
    """Probability that noise alone lifts a sample over the threshold and a reading meets it, (n,)."""
    step = np.where(quantum > 0.0, quantum, 1.0)
    # what is rounded down reaches the threshold only from the next whole step on
    level = np.where(quantum > 0.0, np.ceil(batch.operate / step) * step, batch.operate)
    z = (level[:, None] - signal) / np.where(noise > 0.0, noise, np.inf)[:, None]
    # where it is made without noise it is a place, counted above
    beyond = np.where(signal >= batch.operate[:, None], 0.0, bell_tail(z))
    pace_s = np.where(sample_s > 0.0, sample_s, loops.mean_s)
    met = np.where(sample_s > 0.0, loops.caught(sample_s), 1.0)
    rate = -np.log1p(-np.minimum(beyond * met[:, None], 1.0 - 1e-12)) / (speed_m_s * pace_s)[:, None]
    expected = np.sum(0.5 * (rate[:, 1:] + rate[:, :-1]) * np.diff(x_m), axis=1)
    return np.asarray(-np.expm1(-expected))


def bell_tail(z: Floats) -> Floats:
    """Probability that the sum of three uniforms on (-1, 1) exceeds z, any shape.

    Examples
    --------
    >>> bell_tail(np.array([-3.0, 0.0, 1.0, 3.0])).round(6).tolist()
    [1.0, 0.5, 0.166667, 0.0]
    """
    upper = np.clip(np.abs(z), 0.0, 3.0)
    outer = (3.0 - upper) ** 3 / 48.0
    inner = 0.5 - (9.0 * upper - upper**3) / 24.0
    tail = np.where(upper >= 1.0, outer, inner)
    return np.where(z >= 0.0, tail, 1.0 - tail)
