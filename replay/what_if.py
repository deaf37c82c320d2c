"""What would have prevented an overrun: the bad visit simulated again, with one change at a time.

First as it was, with the logged commands: its distance from the log is the error of the model, and it
widens every interval that follows. Then the commands are changed as each change would have changed them.
How long the routine took from the trip to its command is taken from the log, and so are late loops, stale
readings and whatever else kept it: a change helps only if it acts on that time, on the speed, on the way
the lift stops, or on the room below the trip.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from homing.liftfile import Lift
from homing.words import CommandKind
from replay.approach import MM, Arrival, approach_of
from replay.diagnosis import Cause
from replay.fit_channels import channels
from replay.fit_result import Fit
from replay.fit_trip import measured_trip_m
from replay.open_loop import as_logged
from replay.track import Track
from replay.what_if_changes import changes_of
from replay.what_if_limits import lacking, not_tried
from replay.what_if_shown import shown
from replay.what_if_study import WhatIf, WhatIfs, judged, study_of

__all__ = ["WhatIf", "WhatIfs", "what_if"]


def what_if(
    track: Track,
    visit: Arrival,
    lift: Lift,
    *,
    limit_mm: float,
    fit: Fit | None = None,
    cause: Cause | None = None,
    seed: int = 0,
) -> WhatIfs | None:
    """Simulate a visit again with one change at a time.

    Parameters
    ----------
    track : Track
        Of the log.
    visit : Visit
        The bad one.
    lift : Lift
        Uncalibrated; ``fit`` calibrates it.
    limit_mm : float
        Overtravel that is still no overrun [mm].
    fit : Fit, optional
        Of the same log; without it the lift file is taken with the widths of ``fit_model.WIDTHS``.
    cause : Cause, optional
        The finding, where there is one.

    Returns
    -------
    WhatIfs or None
        None where the log has no commands, no scale or no commanded approach.
    """
    found = channels(track.log, lift)
    if found is None or not track.scaled:
        return None
    ramps = lift.drive.command is CommandKind.SPEED
    approach = approach_of(track, visit, found.duty, found.bus_v, ramps=ramps)
    if approach is None:
        return None
    study = study_of(track, lift, approach, fit, limit_mm * MM, cause, seed)
    study = shown(study, measured_trip_m([track.log], lift))
    was = as_logged(study.lifts, study.approach)
    error_m = float(np.median(was.overtravel_m)) - approach.overtravel_m
    as_it_was = replace(judged("as it was", was, study, error_m, as_it_was=True), prevented=False)
    return WhatIfs(
        as_it_was,
        error_m / MM,
        tuple(changes_of(study, was, error_m)),
        not_tried=not_tried(study),
        shown=study.shown,
        lacking=lacking(study, error_m, fit),
    )
