"""Settings by their key below ``[routine]``, alike for the built-in sequence and for an own table."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from homing.builtin import builtin_table
from homing.lift import MS
from homing.own.numbers import numbers, with_numbers
from homing.own.table import own_table
from homing.own.words import BY_WORD
from homing.routine import Table, compile_table
from homing.setting import Setting
from homing.settings import routine_settings

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: What keys of an own table begin with; all others are settings.
_OWN = ("phase.", "row.")


def is_own(key: str) -> bool:
    """Whether a key is that of a number of an own table."""
    return key.startswith(_OWN)


def is_counted(lift: Lift, key: str) -> bool:
    """Whether a setting is a whole number."""
    if not is_own(key):
        return isinstance(getattr(lift.routine, key), int)
    known = BY_WORD.get(key.rpartition(".")[2])
    return known is not None and known.bounds is not None and known.bounds.whole


def values_of(lift: Lift, keys: Iterable[str]) -> dict[str, float]:
    """What the lift has for some settings."""
    own = {} if lift.own_routine is None else dict(numbers(lift.own_routine))
    return {key: own[f"routine.{key}"] if is_own(key) else float(getattr(lift.routine, key)) for key in keys}


def typed(lift: Lift, settings: Mapping[str, float]) -> dict[str, float]:
    """Settings as their keys want them: whole numbers where they are counted."""
    return {key: int(value) if is_counted(lift, key) else float(value) for key, value in settings.items()}


def with_settings(setting: Setting, settings: Mapping[str, float]) -> Setting:
    """The same study with other settings; values are not checked again."""
    lift = replace_routine(setting.lift, settings)
    table = _table(setting, lift)
    return replace(
        setting,
        lift=lift,
        table=table,
        compiled=compile_table(table),
        no_motion_s=lift.routine.no_motion_ms * MS,
    )


def _table(setting: Setting, lift: Lift) -> Table:
    told_by_standing = setting.table.told_by_standing
    if lift.own_routine is not None:
        return own_table(lift.own_routine, told_by_standing=told_by_standing)
    return builtin_table(routine_settings(lift, setting.zone_m, setting.trip_m, told_by_standing))


def replace_routine(lift: Lift, settings: Mapping[str, float]) -> Lift:
    """The lift with some settings changed, unchecked: a hundred times faster than ``Lift.replace``."""
    changes = typed(lift, settings)
    plain = {key: value for key, value in changes.items() if not is_own(key)}
    own = lift.own_routine
    if own is not None:
        own = with_numbers(own, {f"routine.{key}": value for key, value in changes.items() if is_own(key)})
        plain |= own.paces(lift.drive.free_speed_mm_s)
    return replace(lift, own_routine=own, routine=lift.routine.model_copy(update=plain))
