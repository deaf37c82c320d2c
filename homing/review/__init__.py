"""Review of a routine's table: structural findings, and exhaustive exploration on an abstract lift.

::

    Lift -> setting.prepare -> Table, trip height and so on
        | scene.py: the table surveyed, with the lift's numbers
        v
    checks.py: moving, zeroing, ends       -> findings
        |
    cells.py: zones of height; physics.py: motion and readings; knowledge.py: conditions
        | outcomes.py: all that a loop may bring, worked out once; breaking.py, invariants.py
        | search.py: breadth first, every fault by itself, states as integers (states.py); endless.py
        v
    Exploration; story.py: the shortest way in words; cases.py: the same in the full simulation
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from homing.review.results import Exploration, Finding, Review, Severity, Violation

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Setting

__all__ = ["Exploration", "Finding", "Review", "Severity", "Violation", "review", "review_setting"]


def review(lift: Lift, seed: int = 0) -> Review:
    """Review the table of a lift, its own or the built-in one.

    Raises
    ------
    InputError
        When a phase asks too many conditions, or the lift cannot be set up.
    """
    from homing.setting import prepare

    return review_setting(prepare(lift, seed))


def review_setting(setting: Setting, *, cases: bool = True) -> Review:
    """Review the table of a setting that is at hand."""
    from homing.review.checks import findings, sequence_findings
    from homing.review.explore import explore
    from homing.review.scene import numbers_of

    found = findings(setting.table, numbers_of(setting), setting.lift.source)
    if setting.lift.own_routine is None:
        found += sequence_findings(setting.table)
    return Review(setting.lift, setting.table, found, explore(setting, cases=cases))
