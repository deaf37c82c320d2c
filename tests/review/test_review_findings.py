"""Structural findings: none on sound tables, the right one on each flawed table, each with a way to mend
it.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from flawed import FLAWS, NOT_IN_A_TABLE, flawed
from small_routines import given_with, setting_of, sound

from homing.assembly import assemble
from homing.kernel.codes import Condition
from homing.liftfile import load_lift
from homing.review import Finding, Severity, review_setting
from homing.review.checks import CHECKS, findings
from homing.review.explore import explore
from homing.review.scene import numbers_of
from homing.routine import MOST_CONDITIONS, Ask, Table
from homing.setting import Setting, prepare
from homing.structure.situations import excludes, implies, situations
from sensor_models.errors import InputError

EXAMPLES = sorted((Path(__file__).parents[2] / "examples" / "shelving_robot").glob("*.toml"))


def found_in(setting: Setting) -> tuple[Finding, ...]:
    return findings(setting.table, numbers_of(setting))


@pytest.mark.parametrize(
    "file", [None, *EXAMPLES], ids=lambda file: "built-in" if file is None else file.stem
)
def test_the_built_in_table_gives_no_finding(file: Path | None) -> None:
    assert found_in(prepare(load_lift(file))) == ()


def test_a_small_sound_table_gives_no_finding_and_breaks_nothing() -> None:
    review = review_setting(setting_of(sound()))
    assert review.clean
    assert review.exploration.complete


def test_the_simplest_routine_is_no_danger() -> None:
    """Down until made, stop, stand, take the edge: sound but for a start on the sensor."""
    routine = sound()
    routine["row"] = [row for row in routine["row"] if row["from"] != "leave" and row["to"] != "leave"]
    routine["phase"] = [phase for phase in routine["phase"] if phase["name"] != "leave"]
    found = found_in(setting_of(routine))
    assert {finding.id for finding in found} == {"zero without the sensor ever released"}
    assert {finding.severity for finding in found} == {Severity.DOUBT}


@pytest.mark.parametrize("name", FLAWS)
def test_each_error_is_found_in_a_table_that_has_it(name: str) -> None:
    setting = flawed(name)
    found = {finding.id: finding for finding in found_in(setting)}
    assert FLAWS[name][1] in found
    told = found[FLAWS[name][1]]
    assert told.why
    assert told.mend
    assert told.row.startswith(("row ", "phase ", "table"))


def test_flaws_are_not_found_in_the_sound_table() -> None:
    assert len({ident for _, ident in FLAWS.values()}) > 20
    assert not set(FLAWS) & set(NOT_IN_A_TABLE)


def method_17() -> dict[str, Any]:
    """Drive profile, limit switch without index: fast in until made, slowly out, reference on release.

    Source: ``tests/published/homing_methods_drive_profile.toml``, method 17.
    """
    guards = [{"when": [{"moved_mm": 700}], "to": "off"}, {"when": [{"in_phase_s": 12}], "to": "off"}]
    end = {"when": [{"in_phase_s": 2}], "to": "off"}
    return {
        "phase": [
            {"name": "idle", "role": "start", "command": "stop"},
            {"name": "fast_in", "command": {"speed_mm_s": -150}},
            {"name": "stand", "command": "stop"},
            {"name": "slow_out", "command": {"speed_mm_s": 20}},
            {"name": "rest", "command": "stop"},
            {"name": "home", "role": "zeroed", "command": "stop"},
            {"name": "off", "role": "faulted", "command": "stop"},
        ],
        "row": [
            {"from": "idle", "when": ["start_requested", "made"], "to": "slow_out"},
            {"from": "idle", "when": ["start_requested"], "to": "fast_in"},
            *({"from": "fast_in", **row} for row in (*guards, {"when": ["made"], "to": "stand"})),
            {"from": "stand", "when": [{"standstill_ms": 100}], "to": "slow_out"},
            {"from": "stand", **end},
            *({"from": "slow_out", **row} for row in guards),
            {"from": "slow_out", "when": ["just_released"], "to": "rest", "do": ["capture_edge"]},
            {
                "from": "rest",
                "when": [{"standstill_ms": 100}, {"not_made_times": 2}],
                "to": "home",
                "do": ["zero_at_edge"],
            },
            {"from": "rest", **end},
        ],
    }


def test_the_drive_profiles_method_for_a_limit_switch_passes() -> None:
    review = review_setting(setting_of(method_17()))
    assert review.findings == ()
    assert review.exploration.violations == ()


def test_gravest_first_and_every_check_can_fail() -> None:
    found = found_in(flawed("reset on every loop while pressed"))
    weights = [list(Severity).index(finding.severity) for finding in found]
    assert weights == sorted(weights)
    assert found[0].severity is Severity.DANGER
    assert len(CHECKS) == len({check.__name__ for check in CHECKS})


def asking(asks: list[Ask]) -> tuple[Table, Setting]:
    """The small sound table with a first phase that asks these conditions, a row each."""
    setting = setting_of(sound())
    rows = [replace(setting.table.rows[0], when=(ask.name,)) for ask in asks]
    conditions = (*setting.table.conditions, *asks)
    kept = [row for row in setting.table.rows if row.source != "idle"]
    return replace(setting.table, conditions=conditions, rows=(*rows, *kept)), setting


def test_a_phase_may_ask_many_conditions_that_follow_from_each_other() -> None:
    table, setting = asking([Ask(f"time_{n}", Condition.TIMER_OVER, float(n)) for n in range(40)])
    # over is the longest, hence all, or some first ones of them, or none
    assert len(situations(table, table.phases[0]).holds) == 41
    assert "row shadowed by an earlier one" in {found.id for found in findings(table, numbers_of(setting))}
    assert explore(setting.with_table(table), cases=False).complete


def test_too_many_conditions_in_a_phase_are_refused_in_a_sentence() -> None:
    asks = [Ask(f"asked_{kind}_{a:.0f}", kind, a) for kind in Condition for a in (1.0, 2.0, 3.0)]
    table, setting = asking(asks[: MOST_CONDITIONS - 10])
    with pytest.raises(InputError, match="must ask fewer conditions that do not depend on each other"):
        findings(table, numbers_of(setting))


def plain_listing(asks: tuple[Ask, ...], way: int) -> list[tuple[bool, ...]]:
    """Every set of conditions written down, then those that contradict themselves taken out."""
    never = (Condition.NOT_MOVING, Condition.WRONG_WAY) if way == 0 else ()
    pairs = [(i, j) for i in range(len(asks)) for j in range(len(asks)) if i != j]
    implied = [pair for pair in pairs if implies(asks[pair[0]], asks[pair[1]], way)]
    excluded = [pair for pair in pairs if excludes(asks[pair[0]], asks[pair[1]], way)]
    kept = []
    for bits in range(1 << len(asks)):
        held = tuple(bool(bits >> i & 1) for i in range(len(asks)))
        alone = not any(held[i] and ask.kind in never for i, ask in enumerate(asks))
        if (
            alone
            and all(held[j] for i, j in implied if held[i])
            and not any(held[i] and held[j] for i, j in excluded)
        ):
            kept.append(held)
    return kept


def test_situations_are_those_of_the_plain_listing() -> None:
    table = prepare(load_lift(None)).table
    for phase in table.phases:
        quick = situations(table, phase)
        assert [tuple(held) for held in quick.holds.tolist()] == plain_listing(quick.asks, phase.command.way)
        for held, taken in zip(quick.holds.tolist(), quick.taken.tolist(), strict=True):
            true = {ask.name for ask, holds in zip(quick.asks, held, strict=True) if holds}
            fits = [set(row.when) <= true and not true & set(row.unless) for row in quick.rows]
            assert taken == (fits.index(True) if any(fits) else -1)


def test_an_own_lift_is_reviewed_with_its_numbers() -> None:
    """A start of 200 ms is normal for a slow drive: what counts as standing follows from the lift."""
    given = given_with(FLAWS["spike taken for stall"][0]())
    quick = {**given, "drive": {**given["drive"], "speed_loop_time_constant_ms": 1}}
    quick["controller"] = {**given["controller"], "period_ms": 5, "jitter_ms": 0}
    slow = found_in(prepare(assemble(given, "slow.toml")))
    fast = found_in(prepare(assemble(quick, "quick.toml")))
    told = "starting is taken for standing"
    assert told in {finding.id for finding in slow}
    assert told not in {finding.id for finding in fast}
