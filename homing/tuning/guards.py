"""The guards, by rule: what the neediest healthy run takes, times a factor.

A longer guard never harms a healthy run and always lets a broken lift go on for longer, so no aim that
counts healthy runs could set it, and one that counts broken runs would cut it to the bone. The rule is that
of the trade: measure what healthy runs need (``needs.py``), add room. ``rules.py`` says which guards.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from typing import TYPE_CHECKING

from homing.tuning.needs import Needs, needs
from homing.tuning.results import Guard
from homing.tuning.rules import Measure, Rule
from homing.tuning.settings import values_of, with_settings

if TYPE_CHECKING:
    from homing.setting import Setting

#: Times that the need is measured again with the guards set.
ROUNDS = 3


def generous(setting: Setting, asked: Sequence[Rule]) -> dict[str, float]:
    """Guards for the time of the search."""
    return {key: rule.generous(setting) for rule in asked for key in (rule.key, *rule.also)}


def guards_for(
    setting: Setting, asked: Sequence[Rule], pool: Executor, written: Mapping[str, float]
) -> tuple[Guard, ...]:
    """Guards of a setting whose own guards are generous; none when no run was healthy.

    A shorter no-motion time changes what runs do that press against the upper stop, and so what they need
    afterwards: the need is measured again with the guards set, until it fits.

    Parameters
    ----------
    setting : Setting
    asked : sequence of Rule
        Told from the lift as written: with other numbers an own table may fall into other groups.
    written : mapping
        What the file has for guards that are only ever raised.
    """
    found = needs(setting, asked, pool)
    if found.runs == 0:
        return ()
    guards = _by_rule(asked, found, written)
    for _ in range(ROUNDS):
        again = needs(with_settings(setting, values(guards)), asked, pool)
        floor = _stopped_at(setting, asked) if again.runs < found.runs else (0.0,) * len(asked)
        most = tuple(max(each) for each in zip(found.most, again.most, floor, strict=True))
        found = Needs(most, found.runs)
        fitting, guards = guards, _by_rule(asked, found, written)
        if guards == fitting:
            break
    return guards


def _stopped_at(setting: Setting, asked: Sequence[Rule]) -> tuple[float, ...]:
    """Least need of standing where guards stopped a run that was healthy without: more than it was given."""
    given = values_of(setting.lift, [rule.key for rule in asked])
    return tuple(
        given[rule.key] * rule.unit / rule.factor if rule.measure is Measure.STANDING else 0.0
        for rule in asked
    )


def _by_rule(asked: Sequence[Rule], found: Needs, written: Mapping[str, float]) -> tuple[Guard, ...]:
    return tuple(
        _guard(rule, most / rule.unit, written) for rule, most in zip(asked, found.most, strict=True)
    )


def _guard(rule: Rule, needed: float, written: Mapping[str, float]) -> Guard:
    wanted = max(needed * rule.factor, needed + rule.room)
    value = max(float(round(math.ceil(wanted / rule.step - 1e-9) * rule.step, 9)), rule.step)
    kept = rule.raised_only and written[rule.key] >= value
    return Guard(
        rule.key,
        needed,
        rule.factor,
        written[rule.key] if kept else value,
        rule.measure.value,
        rule.also,
        rule.room,
        kept,
    )


def values(guards: tuple[Guard, ...]) -> dict[str, float]:
    """The guards as settings."""
    return {key: guard.value for guard in guards for key in guard.keys}
