"""What has to be said beside tuned settings: the first run on the robot, and what they cannot do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from homing.tuning.margins import margin_of
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.tuning.results import Proof

#: The first run with new settings; customary in workshops (common practice, no source).
FIRST_RUN: tuple[str, ...] = (
    "First run with these settings: the carriage within hand's breadth of the stop, a soft block under it, "
    "hands off, one person on the switch that cuts the power.",
    "Begin at low power and with the fast speed cut to a third; raise both only after it has stopped on the "
    "sensor three times running.",
    "Then a short travel, then the whole. Stop at once if it passes the sensor, throws string or meets the "
    "stop, and look at the sensor before trying again.",
)
#: A share of unsafe fault runs that grew by more than this is told.
WORSE = 0.005
#: Faults named at most.
NAMED = 3


def cautions(lift: Lift) -> tuple[str, ...]:
    """Cautions for the first run on the robot, then those of every report."""
    from homing.report.cautions import cautions as common

    return (*FIRST_RUN, *common(magnet=lift.sensor().kind is SensorKind.MAGNET))


def notes(lift: Lift, before: Proof, after: Proof, fixed: Sequence[str]) -> tuple[str, ...]:
    """What a reader must know about the result."""
    return (*_of_search(lift, after, fixed), *_of_result(before, after))


def _of_search(lift: Lift, after: Proof, fixed: Sequence[str]) -> Iterator[str]:
    from homing.report.wording import title

    allowed = lift.requirements.allowed_failure_rate
    own = [
        result
        for result in after.requirements
        if result.name in fixed and margin_of(result, allowed) < after.point.margin
    ]
    for result in own:
        yield (
            f"Hardly any setting moves {title(result.name)} (99 % of the runs keep {result.p99:.3g} of "
            f"{result.limit:g} {result.unit}); it must hold, and does not count towards the margin."
        )
    if lift.own_requirements:
        yield "Requirements of your own were not part of the search: verify the new file before trusting it."
    if not lift.routine.referenced_at_start:
        yield (
            "slow_zone_mm was left alone: before the first zero no height is known, so that the zone has no "
            "effect on this routine (referenced_at_start = false)."
        )


def _of_result(before: Proof, after: Proof) -> Iterator[str]:
    if after.passed and before.passed and before.point.margin >= after.point.margin:
        yield "The settings of the file have as much margin already: there is no need to change them."
    if after.unsafe_share > before.unsafe_share + WORSE:
        old = dict(before.faults)
        worse = sorted(after.faults, key=lambda each: old[each[0]] - each[1])[:NAMED]
        named = "; ".join(
            f"{name} {100 * old[name]:.0f} % to {100 * share:.0f} %"
            for name, share in worse
            if share > old[name]
        )
        yield (
            f"More fault runs end unsafe than before ({100 * before.unsafe_share:.1f} % to "
            f"{100 * after.unsafe_share:.1f} %): {named}. Time was bought with them."
        )
