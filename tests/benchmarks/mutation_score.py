"""Mutation score: how many single-row mistakes in the built-in table are noticed, and by what.

Each row of the table is deleted, sent to every other phase, made the last of its phase, and stripped of each
effect and each condition (``tests/homing/mutants.py``). Every mutant is put to

- the *findings* that any team's table is held to,
- the *sequence* rules, which a review adds for the built-in table,
- the *exploration*, with every fault,
- the *requirements*: where neither findings nor exploration notice it, a few hundred runs and fault runs of
  the proving ground (``tests/homing/proving.py``), compared with those of the sound table.

Prints a line for each with its share, alone and together, and each survivor with its class. Run it as
``python tests/benchmarks/mutation_score.py [--every N] [--survivors]``; ``--every`` tries every N-th mutant
only. It is no test; a sampled test is under ``tests/review``.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "homing"))

from mutants import Mutant, behaves_alike, caught_by_structure, mutants
from proving import Ground, grounds

from homing.kernel.codes import Condition
from homing.liftfile import load_lift
from homing.review.checks import findings
from homing.review.explore import explore
from homing.review.scene import numbers_of
from homing.routine import Role, Row, Table
from homing.setting import Setting, prepare

#: Lifts of the proving ground that requirements are asked on: the example as it is, and knowing its height.
GROUNDS = 2


@dataclass(frozen=True)
class Judged:
    """What noticed one mutant; ``requirements`` is asked only where the first two did not notice it."""

    mutant: Mutant
    findings: bool
    exploration: bool
    sequence: bool
    requirements: bool


def judge(setting: Setting, ground: Sequence[Ground], mutant: Mutant) -> Judged:
    """Put one mutant to everything."""
    found = bool(findings(mutant.table, numbers_of(setting)))
    explored = explore(setting.with_table(mutant.table), cases=False)
    broken = bool(explored.violations)
    runs = not (found or broken) and any(lift.tells(mutant.table) for lift in ground)
    return Judged(mutant, found, broken, caught_by_structure(mutant), runs)


def survivor_class(table: Table, mutant: Mutant) -> str:
    """Why a mistake may stay unnoticed, by what the mutated row is for."""
    if behaves_alike(table, mutant):
        return "the same in every situation: another row answers alike"
    row = table.rows[mutant.number]
    if table.phase(row.to).role is Role.FAULTED:
        return _of_a_guard(table, row)
    if "unless" in mutant.name and "not excluding" in mutant.name:
        return "a way on that is tried once more or less"
    return f"a way on of {row.source}"


def _of_a_guard(table: Table, row: Row) -> str:
    kinds = {table.condition(name).kind for name in row.when}
    words = {
        Condition.JUMPED: "counts that jump",
        Condition.MOVED: "travel",
        Condition.TIMER_OVER: "time",
        Condition.NOT_MOVING: "standing counts",
        Condition.WRONG_WAY: "direction",
        Condition.RETRIES_USED: "retries",
    }
    told = next((words[kind] for kind in words if kind in kinds), "plausibility")
    return f"a guard among others: {told}"


def _print_scores(judged: Sequence[Judged]) -> None:
    counts = {
        "findings": [each.findings for each in judged],
        "exploration": [each.exploration for each in judged],
        "findings + exploration": [each.findings or each.exploration for each in judged],
        "requirements, of the rest": [each.requirements for each in judged],
        "these three together": [each.findings or each.exploration or each.requirements for each in judged],
        "sequence rules": [each.sequence for each in judged],
        "all together": [
            each.findings or each.exploration or each.requirements or each.sequence for each in judged
        ],
    }
    for name, caught in counts.items():
        print(f"{name:<28}{sum(caught):>6} of {len(judged)}{100 * sum(caught) / len(judged):>8.1f} %")


def _print_survivors(table: Table, judged: Sequence[Judged], names: bool) -> None:
    left = [each for each in judged if not (each.findings or each.exploration or each.requirements)]
    classes = {each.mutant.name: survivor_class(table, each.mutant) for each in left}
    print(f"\nsurvivors of findings, exploration and requirements, by class ({len(left)})")
    for name, number in Counter(classes.values()).most_common():
        print(f"{number:>5}  {name}")
        if names:
            for each in left:
                if classes[each.mutant.name] == name:
                    caught = "" if each.sequence else "  [sequence rules miss it too]"
                    print(f"       - {each.mutant.name}{caught}")


def main() -> None:
    parser = argparse.ArgumentParser(description="mutation score of the built-in table")
    parser.add_argument("--every", type=int, default=1, help="try every N-th mutant only")
    parser.add_argument("--survivors", action="store_true", help="name each survivor")
    asked = parser.parse_args()
    setting, ground = prepare(load_lift(None)), grounds()[:GROUNDS]
    tried = list(mutants(setting.table))[:: asked.every]
    began = time.perf_counter()
    judged = [judge(setting, ground, mutant) for mutant in tried]
    print(f"{len(tried)} mutants in {time.perf_counter() - began:.0f} s\n")
    _print_scores(judged)
    _print_survivors(setting.table, judged, asked.survivors)


if __name__ == "__main__":
    main()
