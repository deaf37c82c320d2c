"""What a log did in a visit, to hold against a decision of the routine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from replay.diagnosis import Visit
from replay.track import Track
from replay.units import Role
from replay.visits import Visits

#: The command has left its approach when it has gone this share of the way to what holds the lift.
LEFT_SHARE = 0.25


@dataclass(frozen=True)
class Answer:
    """What the log did: its command, or its state where it has no command."""

    track: Track
    visits: Visits
    visit: Visit

    def inward(self, index: int) -> bool:
        """The command of a row is still that of the approach."""
        command = self.track.command
        if command is None:
            return False
        approach = self.approach
        return bool(command[index] < approach + LEFT_SHARE * (max(self.visits.hold, approach) - approach))

    @property
    def approach(self) -> float:
        """Median command over the rows in front of the trip or, if it was read above it, of the reading."""
        command, visit = self.track.command, self.visit
        assert command is not None
        last = max(visit.at if visit.seen is None else min(visit.at, visit.seen), visit.start + 1)
        return float(np.median(command[max(visit.start, last - 4) : last]))

    @property
    def drives_in(self) -> bool:
        """The approach has a command of its own: it is lower than what holds the lift."""
        return self.track.command is not None and self.approach < self.visits.hold - 0.01

    def leaves(self) -> int | None:
        """First row past the trip in which the command is no longer that of the approach."""
        if not self.drives_in:
            return None
        rows = range(self.visit.at, self.visit.end + 1)
        return next((row for row in rows if not self.inward(row)), None)

    def kept(self, index: int) -> int:
        """Rows from ``index`` on in which the log goes on as before."""
        end = self.visit.end
        if self.drives_in:
            row = index
            while row <= end and self.inward(row):
                row += 1
            return row - index
        if self.track.command is not None or Role.STATE not in self.track.log:
            return 0
        states = self.track.log[Role.STATE]
        other = np.flatnonzero(states[index : end + 1] != states[max(index - 1, 0)])
        return int(other[0]) if len(other) else end + 1 - index

    def words(self, index: int) -> str:
        """What the log went on with."""
        log = self.track.log
        state = f' in state "{log[Role.STATE][index]}"' if Role.STATE in log else ""
        if self.track.command is None:
            return f"stayed{state}"
        unit = log.unit(Role.COMMAND)
        volts = "" if unit is None or unit.word == "fraction" else f" {unit.word}"
        return f"kept commanding {float(log[Role.COMMAND][index]):.2f}{volts}{state}"
