"""What has to be said beside tuned settings: the first run on the robot, and what they cannot do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from homing.own.numbers import numbers
from homing.requirements import FIXED_NAMES
from homing.tuning.margins import margin_of
from homing.tuning.trials import OWN_RUNS
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.own.routine import OwnRoutine
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


def notes(
    lift: Lift, before: Proof, after: Proof, fixed: Sequence[str], groups: Sequence[tuple[str, ...]]
) -> tuple[str, ...]:
    """What a reader must know about the result."""
    own = _of_own_table(lift.own_routine, groups) if lift.own_routine is not None else _of_builtin(lift)
    return (*_of_search(after, fixed), *_of_own_requirements(after), *own, *_of_result(before, after))


def _of_search(after: Proof, fixed: Sequence[str]) -> Iterator[str]:
    from homing.report.wording import title

    allowed = after.lift.requirements.allowed_failure_rate
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


def _of_own_requirements(after: Proof) -> Iterator[str]:
    own = [result for result in after.requirements if result.name not in FIXED_NAMES]
    if own:
        yield (
            f"Requirements of your own ({', '.join(result.name for result in own)}) had to hold on the "
            f"nominal run and {OWN_RUNS} drawn runs of every trial that held the others, and on the first "
            f"{own[0].runs} of the fresh runs; the figure is by how much a run breaks one, below 0 it holds. "
            "They do not count towards the margin: what their robustness "
            "would be a share of nobody can tell."
        )


def _of_own_table(own: OwnRoutine, groups: Sequence[tuple[str, ...]]) -> Iterator[str]:
    yield "Equal numbers of one kind in your table were taken as one setting, and are equal still."
    moved = {f"routine.{key}" for group in groups for key in group}
    left: dict[str, dict[str, None]] = {}
    for key, value in numbers(own):
        if key not in moved:
            left.setdefault(key.rpartition(".")[2], {})[f"{value:g}"] = None
    if left:
        named = "; ".join(f"{word} {', '.join(values)}" for word, values in left.items())
        yield (
            f"Left as written: {named}. They help against faults only, or have no effect yet, so that no "
            "search can tell what they are worth."
        )


def _of_builtin(lift: Lift) -> Iterator[str]:
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
        # a routine that gives up in most runs ends safely, too: nothing was bought there
        why = "Time was bought with them" if before.passed else "The old settings fail even without a fault"
        yield (
            f"More fault runs end unsafe than before ({100 * before.unsafe_share:.1f} % to "
            f"{100 * after.unsafe_share:.1f} %): {named}. {why}."
        )
