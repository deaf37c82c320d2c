"""What must hold in every loop of every run of the abstract lift."""

from __future__ import annotations

from enum import Enum

from homing.review.physics import Broken


class Invariant(Enum):
    """Named invariants; the value is how they are told."""

    MADE = "read as made, it is not driven in for more than one loop"
    STOP = "it is not driven in on the hard stop"
    GUARD = "no phase moves further than a quarter more than the whole travel"
    FAULTED = "faulted stands, and is left by a request only"
    STANDING = "zero is set standing"
    IN_ZONE = "zero is set inside the trip zone"
    HAS_ZERO = "zeroed has a zero that was set in this run"
    ENDS = "it always comes to zeroed or faulted"


#: Invariants that no table can keep with a broken lift: only the sound one is held to them.
SOUND_LIFT_ONLY = frozenset((Invariant.STOP, Invariant.IN_ZONE))


#: Invariants that no table can keep with a certain fault. A reversed drive is driven in when it is told to
#: leave the sensor, until that is noticed; a travel guard measures with counts.
NOT_WITH = {
    Invariant.MADE: (Broken.REVERSED,),
    Invariant.GUARD: (Broken.COUNTS_JUMP, Broken.COUNTS_LOST),
}


def applies(invariant: Invariant, broken: Broken) -> bool:
    """Whether an invariant is asked for with this fault."""
    if broken is Broken.NOTHING:
        return True
    return invariant not in SOUND_LIFT_ONLY and broken not in NOT_WITH.get(invariant, ())
