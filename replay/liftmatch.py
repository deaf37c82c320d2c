"""Whether a lift file can be the file of the lift that wrote a log."""

from __future__ import annotations

from typing import TYPE_CHECKING

from replay.track import Track
from replay.visits import Visits

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: A carriage cannot come in over more than its travel. Counts give this share more at most: the geometry in
#: a lift file is right to a few per cent, and the string stretches.
LONGEST_SHARE = 1.1
#: Without a visit the way includes what was paid out past the stop; only twice the travel is then too much.
LONGEST_DESCENT_SHARE = 2.0


def against_lift(track: Track, visits: Visits, lift: Lift) -> tuple[str, ...]:
    """What speaks against this lift being the log's own; empty where nothing does.

    Only too much travel tells: a lift that never went far may be any.
    """
    travel = float(lift.lift.travel_mm)
    ways = [float(track.height[each.start]) - each.edge for each in visits.visits]
    longest, most = max(ways, default=0.0), LONGEST_SHARE * travel
    if not ways:
        longest = max((each.drop for each in visits.descents), default=0.0)
        most = LONGEST_DESCENT_SHARE * travel
    if longest <= most:
        return ()
    return (
        f"the lift file does not match this log: the lift comes in over {longest:.0f} mm at "
        f"{track.scale:.4g} mm per count, and the file's travel is {travel:.0f} mm; it is left out",
    )
