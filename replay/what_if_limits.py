"""What a what-if study cannot do: changes that do not apply, and what is missing where a model fails."""

from __future__ import annotations

import math

from homing.kernel.codes import Mode
from replay.approach import MM
from replay.fit_report import POOR_FIT_MM
from replay.fit_result import Fit
from replay.what_if_study import UNEXPLAINED, Study

#: A model error below this is not worth words [m].
SMALL_M = 3e-3


def not_tried(study: Study) -> tuple[tuple[str, str], ...]:
    """Changes that `what_if_changes.changes_of` leaves out for this lift, each with why."""
    left = []
    if study.lifts.off is not Mode.OPEN:
        left.append(("brake instead of coast", "the motor's windings are shorted at rest already"))
    if study.lift.string is None:
        left.append(("return string", "a belt or screw pushes as well as it pulls"))
    elif study.lift.string.return_string:
        left.append(("return string", "the lift has one already"))
    if math.isinf(study.window_m):
        why = "the sensor stays made from the trip down to the hard stop, so a longer target adds nothing"
        left.append(("wider target", why))
    return tuple(left)


def lacking(study: Study, error_m: float, fit: Fit | None) -> str:
    """What is missing where the simulation does not explain the visit, in a sentence; else empty."""
    was_m = max(study.approach.overtravel_m, 1e-6)
    if abs(error_m) < SMALL_M or abs(error_m) <= UNEXPLAINED * was_m:
        return ""
    reasons = []
    if fit is None:
        reasons.append("the log has no move from which the lift could be fitted")
    elif fit.error_mm_rms > POOR_FIT_MM:
        reasons.append(
            f"the other moves of the log are not explained either ({fit.error_mm_rms:.0f} mm rms), which "
            "points at counts, scale or sign of the command"
        )
    if not study.measured:
        reasons.append("the battery voltage is not in the log")
    if not reasons:
        reasons.append(
            "the visit went another way than a sound lift goes with these commands (string, stop and drive "
            "were looked at)"
        )
    return f"the model is {abs(error_m) / MM:.0f} mm off in this visit, too far to judge by: " + "; ".join(
        reasons
    )
