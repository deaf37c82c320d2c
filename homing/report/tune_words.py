"""Words for the settings that tuning moves: those of the built-in sequence, and numbers of an own table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from homing.kernel.codes import Order
from homing.own.words import BY_WORD
from homing.routine import Role
from homing.tuning.settings import is_own

if TYPE_CHECKING:
    from homing.own.routine import OwnPhase, OwnRoutine, OwnRow
    from homing.tuning.results import Tuning


@dataclass(frozen=True)
class Named:
    """Words for one setting."""

    title: str
    unit: str
    meaning: str


SETTINGS: dict[str, Named] = {
    "fast_speed_mm_s": Named("fast speed", "mm/s", "first approach"),
    "slow_zone_mm": Named("slow zone", "mm", "declared height below which a referenced lift comes slowly"),
    "creep_speed_mm_s": Named(
        "slow speed", "mm/s", "moves out, and the approach whose edge becomes the zero"
    ),
    "back_off_mm": Named("back-off", "mm", "out past where the sensor let go"),
    "settle_ms": Named("settle", "ms", "standing before readings count"),
    "agree_readings": Named("readings to agree", "", "in a row, before zero is set"),
    "timeout_s": Named("time-out", "s", "of every phase that moves"),
    "travel_guard_mm": Named("travel guard", "mm", "longest move of one phase"),
    "no_motion_ms": Named("no-motion time", "ms", "told to move but standing"),
}
#: What keys of an own table end in, longest first, with the unit as it is written.
_UNITS = (("_mm_s", "mm/s"), ("_mm", "mm"), ("_ms", "ms"), ("_s", "s"), ("_times", ""))
#: Words of an own table whose plain reading would mislead beside a number.
_SPOKEN = {"made_times": "readings to agree", "not_made_times": "readings to agree"}
#: Phases that are named before the rest is only counted.
_MOST_NAMED = 2


def named(tuning: Tuning, keys: Sequence[str]) -> Named:
    """Words for one setting, by all its keys."""
    own = tuning.lift.own_routine
    if own is None or not is_own(keys[0]):
        return SETTINGS[keys[0]]
    if keys[0].startswith("phase."):
        return _pace(own, keys)
    return _asked(own, keys)


def _pace(own: OwnRoutine, keys: Sequence[str]) -> Named:
    """Words for the speed or duty of some phases."""
    names = [key.split(".")[1] for key in keys]
    phases = [phase for phase in own.phases if phase.name in names]
    speed = phases[0].order is Order.SPEED
    way = "in" if phases[0].value < 0.0 else "out"
    return Named(
        f"{_some(names)}: {'speed' if speed else 'duty'} {way}",
        "mm/s" if speed else "",
        _meaning(phases) or f"of {'phase' if len(names) == 1 else 'phases'} {', '.join(names)}",
    )


def _meaning(phases: Sequence[OwnPhase]) -> str:
    return "; ".join(dict.fromkeys(phase.why for phase in phases if phase.why))


def _asked(own: OwnRoutine, keys: Sequence[str]) -> Named:
    """Words for a number that some rows ask for."""
    rows = list(dict.fromkeys(own.rows[int(key.split(".")[1]) - 1] for key in keys))
    word = keys[0].rpartition(".")[2]
    ending, unit = next(((ending, unit) for ending, unit in _UNITS if word.endswith(ending)), ("", ""))
    spoken = _SPOKEN.get(word, word.removesuffix(ending).replace("_", " "))
    numbers = ", ".join(str(row.number) for row in rows)
    faults = {phase.name for phase in own.phases if phase.role is Role.FAULTED}
    guard = "guard: " if all(row.to in faults for row in rows) else ""
    return Named(
        f"{_some(_sources(rows))}: {spoken}",
        unit,
        f"{guard}{BY_WORD[word].means} ({'row' if len(rows) == 1 else 'rows'} {numbers})",
    )


def _sources(rows: Sequence[OwnRow]) -> list[str]:
    return list(dict.fromkeys(row.source for row in rows))


def _some(names: Sequence[str]) -> str:
    """A few names, and how many more there are."""
    rest = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def paces(tuning: Tuning) -> tuple[tuple[str, str], ...]:
    """Key and heading of the fastest and the slowest way in, where there are such."""
    if tuning.lift.own_routine is None:
        return ("fast_speed_mm_s", "fast"), ("creep_speed_mm_s", "slow")
    inwards = [
        keys for keys in tuning.groups if keys[0].startswith("phase.") and tuning.settings[keys[0]] < 0.0
    ]
    inwards.sort(key=lambda keys: tuning.settings[keys[0]])
    ends = [inwards[0], inwards[-1]] if len(inwards) > 1 else inwards
    return tuple((keys[0], keys[0].split(".")[1]) for keys in ends)
