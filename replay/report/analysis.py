"""Everything found in one log, gathered for the report."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from replay.diagnosing import followed
from replay.diagnosis import Diagnosis
from replay.report.lengths import shown_diagnosis, shown_track
from replay.routine_on_log import RoutineOnLog, routine_on_log
from replay.summary import Summary
from replay.track import Track

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from replay.what_if import WhatIfs


@dataclass(frozen=True)
class Analysis:
    """One log with everything found in it.

    Parameters
    ----------
    summary, diagnosis : Summary, Diagnosis
    track : Track
        Its motion.
    routine : RoutineOnLog
        The built-in routine run over it.
    what_ifs : WhatIfs or None
        None where there is no overrun, no lift file, or nothing to simulate from.
    """

    summary: Summary
    diagnosis: Diagnosis
    track: Track
    routine: RoutineOnLog
    what_ifs: WhatIfs | None = None

    @property
    def unit(self) -> str:
        """Unit of the lengths shown."""
        return "mm" if self.diagnosis.scaled else "counts"

    @cached_property
    def shown(self) -> Diagnosis:
        """The diagnosis in this unit."""
        return shown_diagnosis(self.diagnosis, self.track.scale)

    @cached_property
    def shown_track(self) -> Track:
        """The motion in this unit."""
        return shown_track(self.track)


def analyse(
    summary: Summary, diagnosis: Diagnosis, lift: Lift | None = None, what_ifs: WhatIfs | None = None
) -> Analysis:
    """Gather what was found in a log, and run the routine over it.

    Parameters
    ----------
    summary, diagnosis : Summary, Diagnosis
        Of the same log.
    lift : Lift, optional
        As it was given to ``diagnose``.
    what_ifs : WhatIfs, optional
        Of the diagnosis' bad visit.
    """
    track, visits, _ = followed(diagnosis.log, lift if diagnosis.lift_fits else None)
    routine = routine_on_log(track, visits, lift)
    return Analysis(summary, diagnosis, track, routine, what_ifs)
