"""From a diagnosis to what would have prevented it: the log's own fit, then one change at a time."""

from __future__ import annotations

from dataclasses import replace

from homing.liftfile import Lift
from replay.diagnosis import Diagnosis, Verdict
from replay.fit import fit_logs
from replay.fit_result import Fit
from replay.track import Track, track_of
from replay.units import Role
from replay.what_if import WhatIfs, what_if
from sensor_models.errors import InputError


def prevention(diagnosis: Diagnosis, lift: Lift | None, seed: int = 0) -> WhatIfs | None:
    """Study what would have prevented the overrun of a log.

    Parameters
    ----------
    diagnosis : Diagnosis
    lift : Lift, optional
        Without one, or with one that is not the log's, there is nothing to simulate.
    seed : int
        Of the draws that carry the fit's uncertainty.

    Returns
    -------
    WhatIfs or None
        None without an overrun, without a lift file, or where the log cannot drive a simulation.
    """
    if lift is None or not diagnosis.lift_fits:
        return None
    if diagnosis.bad_visit is None or diagnosis.verdict is not Verdict.OVERRUN:
        return None
    cause = diagnosis.findings[0].cause if diagnosis.findings else None
    track = track_of(diagnosis.log)
    return what_if(
        track,
        diagnosis.bad_visit,
        lift,
        limit_mm=diagnosis.limit_mm,
        fit=_own_fit(track, lift),
        cause=cause,
        seed=seed,
    )


def _own_fit(track: Track, lift: Lift) -> Fit | None:
    """The lift calibrated by this log; a log that cannot calibrate leaves the lift file's numbers.

    Counts that fall on the way out are turned, as the track has turned them.
    """
    log = track.log
    if track.turned:
        log = replace(log, values={**log.values, Role.COUNTS: -log.counts})
    try:
        return fit_logs([log], lift)
    except InputError:
        return None
