"""The built-in routine run over a log, tick by tick, and where it decides otherwise than the log.

Its table, its conditions and its choice of rows are those that ``verify`` simulates: the same compiled
``observe`` and ``choose_row`` (`replay.routine_ticks`). Two ways:

- a log whose states are the routine's own phases (a trace) is followed from its first row to its last, and
  compared phase by phase;
- any other log has no start of a routine in it. There the routine is put into its approach wherever the
  lift sets out inwards, referenced where an earlier visit has shown the trip, and its first decision to
  stop is compared with the logged command, and its conditions for a zero with the logged zeros.

Without a lift file the limits of the guards are not known: then the table is run without its guards.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from homing.routine import Table
from replay.diagnosis import Visit
from replay.routine_answer import Answer
from replay.routine_player import Played, Player, player_of
from replay.track import Track
from replay.units import Role
from replay.visits import Visits

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Rows by which a logged command may follow the reading: it may be logged before it is decided.
ALLOWED_ROWS = 1
#: An approach is faster than the routine's slow zone when it is this many times its creep speed.
FASTER = 1.5
NO_SENSOR = "the routine was not run over the log: it has no sensor column"
NO_ANSWER = "the log has neither command nor state: what the lift did can only be seen from its motion"
NO_LIFT = "without a lift file the routine was run without its guards: their limits are not known"


class Kind(StrEnum):
    """How log and routine differ."""

    KEPT_ON = "kept_on"
    STOPPED_ITSELF = "stopped_itself"
    STOPPED_EARLIER = "stopped_earlier"
    FASTER = "faster"
    ZEROED_EARLY = "zeroed_early"
    OTHER_PHASE = "other_phase"


@dataclass(frozen=True, slots=True)
class Difference:
    """One place where routine and log differ.

    Parameters
    ----------
    kind : Kind
    visit : int or None
        Visit to which it belongs; None for a trace.
    t_s, rows : float, (int, int)
        Stamp [s], first and last data row.
    words : str
        What the routine does and what the log did, in a sentence.
    """

    kind: Kind
    visit: int | None
    t_s: float
    rows: tuple[int, int]
    words: str


@dataclass(frozen=True)
class RoutineOnLog:
    """All differences of one log, how many decisions were compared, and what has to be said about it."""

    differences: tuple[Difference, ...]
    compared: int
    notes: tuple[str, ...]

    def of(self, visit: int | None) -> tuple[Difference, ...]:
        """Differences of one visit."""
        return tuple(each for each in self.differences if each.visit == visit)


def routine_on_log(track: Track, visits: Visits, lift: Lift | None = None) -> RoutineOnLog:
    """Run the built-in routine over a log.

    Parameters
    ----------
    track, visits : Track, Visits
        Of the log.
    lift : Lift, optional
        Gives the settings, the trip zone and so the guards.

    Returns
    -------
    RoutineOnLog
    """
    if track.made is None:
        return RoutineOnLog((), 0, (NO_SENSOR,))
    player = player_of(track, lift)
    notes = () if lift is not None else (NO_LIFT,)
    phases = _phases(track, player.table)
    if phases is not None and lift is not None:
        return RoutineOnLog(_trace_differences(track, player, phases), len(track), notes)
    if track.command is None and Role.STATE not in track.log:
        notes = (*notes, NO_ANSWER)
    found: list[Difference] = []
    for visit in visits.visits:
        found += _visit_differences(track, visits, visit, player)
    return RoutineOnLog(tuple(found), len(visits.visits), notes)


def _phases(track: Track, table: Table) -> list[str] | None:
    """States of the log if all of them are phases of the table."""
    if Role.STATE not in track.log:
        return None
    states: list[str] = track.log[Role.STATE].tolist()
    known = {phase.name for phase in table.phases}
    return states if set(states) <= known and len(set(states)) > 1 else None


def _trace_differences(track: Track, player: Player, phases: list[str]) -> tuple[Difference, ...]:
    """Stretches of rows in which routine and log are in different phases."""
    played = player.whole(player.table.phase_index(phases[0]))
    differs = np.array([player.table.phases[k].name for k in played.phases]) != np.array(phases)
    found = []
    for first in np.flatnonzero(differs & ~np.concatenate([[False], differs[:-1]])):
        rest = np.flatnonzero(~differs[first:])
        last = int(first + rest[0] - 1) if len(rest) else len(differs) - 1
        rows = track.rows(int(first), last)
        own, logged = player.table.phases[played.phases[first]].name, phases[first]
        words = f"{_rows(rows)}: the routine is in {own}, the log in {logged}"
        found.append(Difference(Kind.OTHER_PHASE, None, float(track.log.time_s[first]), rows, words))
    return tuple(found)


def _visit_differences(track: Track, visits: Visits, visit: Visit, player: Player) -> list[Difference]:
    played = player.visit(visits, visit)
    answer = Answer(track, visits, visit)
    found = _faster(track, visit, player, played)
    stop = played.stop
    left = answer.leaves()
    if left is not None and (stop is None or left + ALLOWED_ROWS < stop):
        found.append(_stopped_earlier(track, visit, left))
    elif stop is not None:
        found += _kept_on(track, visit, played, answer)
    return found + _zeroed_early(track, visit, player, played)


def _kept_on(track: Track, visit: Visit, played: Played, answer: Answer) -> list[Difference]:
    stop = played.stop
    assert stop is not None
    after = stop + ALLOWED_ROWS
    kept = answer.kept(after) if after <= visit.end else 0
    if kept == 0:
        return []
    rows = track.rows(stop, after + kept - 1)
    for_ = f"{answer.words(after)} for {kept} more row{'s' if kept > 1 else ''}"
    kind = Kind.STOPPED_ITSELF if played.faulted else Kind.KEPT_ON
    does = f"stops itself ({played.why})" if played.faulted else "stops"
    cause = "" if played.faulted else "reading made, "
    words = f"row {rows[0]}: {cause}the routine {does}; the log {for_}"
    return [Difference(kind, visit.number, float(track.log.time_s[stop]), rows, words)]


def _stopped_earlier(track: Track, visit: Visit, left: int) -> Difference:
    """The routine saw no reason to stop, and the log stopped."""
    rows = track.rows(left, left)
    words = f"row {rows[0]}: the log leaves its approach; the routine goes on, since the sensor is not made"
    return Difference(Kind.STOPPED_EARLIER, visit.number, float(track.log.time_s[left]), rows, words)


def _faster(track: Track, visit: Visit, player: Player, played: Played) -> list[Difference]:
    """The routine, referenced, slows down in its slow zone."""
    creep = player.creep_mm_s
    if played.eased is None or creep is None or visit.approach_speed < FASTER * creep:
        return []
    rows = track.rows(played.eased, visit.at)
    words = (
        f"row {rows[0]}: the routine, which knows its height, goes on at {creep:.0f} mm/s; "
        f"the log came in at {visit.approach_speed:.0f} mm/s"
    )
    return [Difference(Kind.FASTER, visit.number, float(track.log.time_s[played.eased]), rows, words)]


def _zeroed_early(track: Track, visit: Visit, player: Player, played: Played) -> list[Difference]:
    found = []
    for index in visit.zeros:
        lacking = played.lacking(player.table, index - 1)
        if lacking:
            row = track.rows(index, index)
            words = f"row {row[0]}: the log sets the count; the routine waits for {' and '.join(lacking)}"
            found.append(
                Difference(Kind.ZEROED_EARLY, visit.number, float(track.log.time_s[index]), row, words)
            )
    return found


def _rows(rows: tuple[int, int]) -> str:
    return f"row {rows[0]}" if rows[0] == rows[1] else f"rows {rows[0]}-{rows[1]}"
