"""Where the routine decides otherwise than the log, for the JSON; beside the contract's keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from replay.diagnosis import Diagnosis
from replay.routine_on_log import RoutineOnLog, routine_on_log
from replay.track import track_of
from replay.visits import visits_of

if TYPE_CHECKING:
    from homing.liftfile import Lift


def routine_part(diagnosis: Diagnosis, lift: Lift | None) -> dict[str, Any]:
    """Run the routine over the log of a diagnosis: the key ``routine`` of ``replay``'s document."""
    track = track_of(diagnosis.log)
    return {"routine": routine_json(routine_on_log(track, visits_of(track), lift))}


def routine_json(found: RoutineOnLog) -> dict[str, Any]:
    """Differences as plain values; rows are data rows of the file, counted from 0."""
    return {
        "compared": found.compared,
        "differences": [
            {
                "kind": each.kind.value,
                "visit": each.visit,
                "t_s": round(each.t_s, 6),
                "rows": list(each.rows),
                "words": each.words,
            }
            for each in found.differences
        ],
        "notes": list(found.notes),
    }
