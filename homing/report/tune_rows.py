"""A tuning as rows of words, used alike by the terminal and by the page."""

from __future__ import annotations

import math
from dataclasses import dataclass

from homing.report import wording
from homing.report.numbers import MISSING, decimals, measure, percent, plain
from homing.report.tune_words import named
from homing.requirements import FIXED_NAMES
from homing.results import RequirementResult
from homing.tuning.margins import margin_of
from homing.tuning.results import Drift, Guard, Proof, Side, Tuning


@dataclass(frozen=True)
class SettingRow:
    """One setting: before, after, how it was set, and how far it may stray."""

    title: str
    unit: str
    meaning: str
    before: str
    after: str
    how: str
    low: str
    high: str


@dataclass(frozen=True)
class ComparedRow:
    """One requirement before and after, over the same fresh runs; 99 % of the runs keep the figure."""

    title: str
    unit: str
    limit: str
    before: str
    after: str
    before_margin: str
    after_margin: str
    before_failures: str
    after_failures: str
    before_verdict: str
    after_verdict: str
    active: bool
    why: str


def headline(tuning: Tuning) -> str:
    """The result as one or two sentences, without the name of the lift."""
    point, count = tuning.after.point, len(tuning.after.requirements)
    if tuning.found:
        return (
            f"These settings hold all {count} requirements on {tuning.runs} fresh runs; the least margin, "
            f"{_margin(point.margin)}, is that of {wording.title(point.active)}."
        )
    blocking = tuning.blocking
    assert blocking is not None
    figure = (
        f"{measure(blocking.p99, blocking.unit)} in 99 % of the runs with a limit of "
        f"{measure(blocking.limit, blocking.unit)}, and "
    )
    return (
        f"Nothing tried meets all requirements. Nearest miss: {wording.title(blocking.name)} blocks, "
        f"{figure if blocking.name in FIXED_NAMES else ''}{percent(blocking.failure_probability)} of "
        f"{blocking.runs} runs fail where {percent(tuning.lift.requirements.allowed_failure_rate)} may."
    )


def search_line(tuning: Tuning) -> str:
    """How the search went, and what it promised."""
    return (
        f"{tuning.evaluations} trials of {tuning.search_runs} runs each; the search ended because "
        f"{tuning.stopped.value}. Margin in the worst requirement: {_margin(tuning.searched_margin)} "
        f"promised by the search, {_margin(tuning.chosen.margin)} on the {tuning.front_runs} runs of the "
        f"choice, and "
        f"{_margin(tuning.after.point.margin)} on {tuning.runs} fresh runs, which alone decide."
    )


def setting_rows(tuning: Tuning) -> tuple[SettingRow, ...]:
    """Every setting that was searched or set by rule."""
    guards = {guard.key: guard for guard in tuning.guards}
    strayed = {each.key: each for each in tuning.drift}
    rows = []
    for keys in tuning.groups:
        name, key = named(tuning, keys), keys[0]
        drift = strayed.get(key)
        rows.append(
            SettingRow(
                title=name.title,
                unit=name.unit,
                meaning=name.meaning,
                before=size(tuning.before.point.settings[key]),
                after=size(tuning.settings[key]),
                how=_rule(guards[key], name.unit) if key in guards else "searched",
                low=_side(drift, low=True),
                high=_side(drift, low=False),
            )
        )
    return tuple(rows)


def _rule(guard: Guard, unit: str) -> str:
    """How a guard came to its value."""
    needed = f"{guard.factor:g} x {guard.needed:.4g} {unit}"
    if guard.by_room:
        needed = f"{guard.needed:.4g} + {guard.room:g} {unit}"
    return f"{'kept, above' if guard.kept else 'by rule:'} {needed}, {guard.words}"


def size(value: float) -> str:
    """A setting without its way: that is in its name."""
    return f"{abs(value):g}"


def _side(drift: Drift | None, *, low: bool) -> str:
    if drift is None:
        return MISSING
    side: Side = drift.low if low else drift.high
    value = rough(abs(side.value))
    if not side.blocks:
        return f"beyond {value}"
    return f"{value} ({wording.title(side.blocks)})"


def compared_rows(tuning: Tuning) -> tuple[ComparedRow, ...]:
    """All requirements, before and after."""
    allowed = tuning.lift.requirements.allowed_failure_rate
    pairs = zip(tuning.before.requirements, tuning.after.requirements, strict=True)
    return tuple(_compared(old, new, allowed, tuning.after.point.active) for old, new in pairs)


def _compared(old: RequirementResult, new: RequirementResult, allowed: float, active: str) -> ComparedRow:
    unit = "" if new.unit in wording.COUNTED else new.unit
    places = decimals(new.limit) if unit else 0
    return ComparedRow(
        title=wording.title(new.name),
        unit=unit,
        limit=plain(new.limit, places),
        before=plain(old.p99, places),
        after=plain(new.p99, places),
        before_margin=_margin(margin_of(old, allowed)),
        after_margin=_margin(margin_of(new, allowed)),
        before_failures=f"{old.failures} of {old.runs}",
        after_failures=f"{new.failures} of {new.runs}",
        before_verdict="holds" if old.passed else "FAILS",
        after_verdict="holds" if new.passed else "FAILS",
        active=new.name == active,
        why=new.why,
    )


def _margin(margin: float) -> str:
    """A margin in whole per cent; far below zero there is nothing to tell apart."""
    return "under -100 %" if margin < -1.0 else f"{100 * margin:.0f} %"


def figure_rows(tuning: Tuning) -> tuple[tuple[str, str, str], ...]:
    """What no requirement tells: title, before, after."""
    before, after = tuning.before, tuning.after

    def row(title: str, unit: str, old: float, new: float) -> tuple[str, str, str]:
        return title, measure(old, unit, 2), measure(new, unit, 2)

    return (
        row("time to zero, half of the runs", "s", before.point.time_to_zero_s, after.point.time_to_zero_s),
        row("time to zero, nominal run", "s", _nominal(before), _nominal(after)),
        row("zero scatter", "mm", before.zero_scatter_mm, after.zero_scatter_mm),
        ("fault runs that end unsafe", percent(before.unsafe_share), percent(after.unsafe_share)),
        ("least margin", _margin(before.point.margin), _margin(after.point.margin)),
    )


def _nominal(proof: Proof) -> float:
    return next(each.nominal for each in proof.requirements if each.name == "time_to_zero_s")


def front_rows(tuning: Tuning) -> tuple[tuple[str, ...], ...]:
    """Points of the front, fastest first: time, 99 %, overtravel, margin, active, then each setting."""
    return tuple(
        (
            plain(point.time_to_zero_s, 2),
            plain(point.time_to_zero_s_p99, 2),
            plain(point.overtravel_mm_p99, 1),
            _margin(point.margin),
            wording.title(point.active),
            *(size(point.settings[keys[0]]) for keys in tuning.groups),
        )
        for point in tuning.front
    )


def fault_rows(tuning: Tuning) -> tuple[tuple[str, str, str], ...]:
    """Faults with unsafe runs before or after, the worst now first: fault, before, after."""
    old = dict(tuning.before.faults)
    told = [(name, old[name], share) for name, share in tuning.after.faults if max(old[name], share) > 0.0]
    told.sort(key=lambda each: (-each[2], -each[1]))
    return tuple((name, percent(before), percent(after)) for name, before, after in told)


def again(tuning: Tuning, written: object) -> str:
    """The command that repeats the confirmation of the written file."""
    if written is None:
        return ""
    return f"downstop verify {written} --runs {tuning.runs} --seed {tuning.after.seed}"


def rough(value: float) -> str:
    """Three figures, without powers of ten."""
    return f"{float(f'{value:.3g}'):g}"


def known(value: float) -> float | None:
    """The value, or None where it does not exist."""
    return value if math.isfinite(value) else None
