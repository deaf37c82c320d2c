"""What the bad visit shows of the lift that its file says otherwise, before any change is tried.

A lift file may be wrong about how the windings are left, where the sensor trips, how soon a return string
pulls solid; and a drive whose supply dips lets go of its motor whatever it is told. Each of these is tried
on the visit as it was. One is believed only if the simulated heights then follow the logged ones clearly
better, and it is said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from homing.kernel.codes import Mode
from replay.approach import MM
from replay.open_loop import ensemble_of, heights_m
from replay.what_if_study import DRAWS, Study

Floats = NDArray[np.float64]

#: Something is believed where it leaves less than this share of the distance to the logged heights, and
#: that distance is more than this [m]: closer than that, braking lengths scatter by themselves.
LEFT_SHARE, LEAST_M = 0.75, 2e-3
#: So many of the drawn lifts are asked.
ASKED = 5
#: Under-voltage lock-out of motor drives: they let go below the first share of the usual battery voltage and
#: take up again above the second (common practice, no source; data sheets give 5.5 to 7 V for 12 V drives).
LETS_GO, TAKES_UP = 0.5, 0.7
#: A take-up spring this long pulls solid at once [mm].
NO_TAKE_UP_MM = 0.5
#: A trip height measured within this of the lift file's is no news [m].
SAME_TRIP_M = 3e-3

Way = Callable[[Study], "tuple[str, Study] | None"]


def shown(study: Study, measured_trip_m: tuple[float, float] | None) -> Study:
    """The study with everything that the visit shows; in its ``shown`` in words."""

    def other_trip(one: Study) -> tuple[str, Study] | None:
        return _other_trip(one, measured_trip_m)

    left: list[Way] = [_coasting, _letting_go, other_trip, _solid_return]
    misfit_m = misfit(study)
    while left and misfit_m > LEAST_M:
        tried = [(way, found) for way in left if (found := way(study)) is not None]
        if not tried:
            break
        misfits = [misfit(other) for _, (_, other) in tried]
        best = int(np.argmin(misfits))
        if misfits[best] >= LEFT_SHARE * misfit_m:
            break
        way, (words, study) = tried[best]
        study = replace(study, shown=(*study.shown, words))
        misfit_m = misfits[best]
        left.remove(way)
    return study


def misfit(study: Study) -> float:
    """Distance of simulated from logged heights between trip and standstill [m], rms."""
    logged = study.approach.logged[:, 1]
    off = [heights_m(study.lifts, study.approach, k) - logged for k in range(ASKED)]
    return float(np.sqrt(np.mean(np.square(off))))


def _coasting(study: Study) -> tuple[str, Study] | None:
    """Open windings."""
    if study.lifts.off is Mode.OPEN or not (study.approach.commands[:, 1] == 0.0).any():
        return None
    words = "the motor coasts (open windings) in the log, though the lift file says that it brakes"
    return words, replace(study, lifts=study.lifts.with_off(Mode.OPEN), coasts=True)


def _letting_go(study: Study) -> tuple[str, Study] | None:
    """The drive's outputs are off while the supply is too low, and the lift runs down by its weight."""
    volts = study.approach.commands[:, 2]
    usual_v = study.usual_v
    low = volts < LETS_GO * usual_v
    if not study.measured or not low.any():
        return None
    first = int(np.argmax(low))
    back = np.flatnonzero(volts[first:] > TAKES_UP * usual_v)
    last = first + int(back[0]) if len(back) else len(volts)
    commands = study.approach.commands.copy()
    commands[first:last, 1] = 0.0
    words = (
        f"the drive let go of the motor while the battery was low ({float(np.min(volts)):.1f} V), whatever "
        "it was told"
    )
    approach = replace(study.approach, commands=commands)
    return words, replace(study, approach=approach, lifts=study.lifts.with_off(Mode.OPEN))


def _other_trip(study: Study, measured: tuple[float, float] | None) -> tuple[str, Study] | None:
    """The trip height of the log's own edges over its own zero."""
    if measured is None or abs(measured[0] - study.nominal_trip_m) < SAME_TRIP_M:
        return None
    height_m, error_m = measured
    trip_m = height_m + error_m * np.random.default_rng(study.seed).standard_normal(DRAWS)
    words = (
        f"the sensor trips {height_m / MM:.0f} mm above the hard stop by the log's own count, not "
        f"{study.nominal_trip_m / MM:.0f} mm as by the lift file: check mount_mm"
    )
    lifts = replace(study.lifts, trip_m=trip_m)
    return words, replace(study, trip_m=trip_m, lifts=lifts)


def _solid_return(study: Study) -> tuple[str, Study] | None:
    """A return string without a take-up spring to speak of."""
    string = study.lift.string
    if string is None or not string.return_string or string.return_take_up_mm <= NO_TAKE_UP_MM:
        return None
    lift = study.lift.replace({"string.return_take_up_mm": NO_TAKE_UP_MM})
    lifts = ensemble_of(
        lift, study.sets, study.trip_m, study.lifts.edge_m,
        row_before_s=study.row_before_s, measured=study.measured,
    ).with_off(study.lifts.off)  # fmt: skip
    words = (
        "the return string pulls solid at once, not after a take-up of "
        f"{string.return_take_up_mm:.0f} mm: check return_take_up_mm"
    )
    return words, replace(study, lift=lift, lifts=lifts)
