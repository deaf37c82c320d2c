"""What the checks of a review look at: the table surveyed, with the few numbers of the lift they need."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from homing.kernel.codes import Condition, Effect, Order
from homing.lift import MM, MS
from homing.review.results import Finding
from homing.routine import Phase, Role, Row, Table
from homing.structure.survey import Survey

if TYPE_CHECKING:
    from homing.setting import Setting

ZEROING = (Effect.SET_ZERO, Effect.ZERO_HERE)
MADE_KINDS = (Condition.MADE, Condition.MADE_RUN, Condition.JUST_MADE, Condition.MADE_ABOVE)
CLEAR_KINDS = (Condition.CLEAR_RUN, Condition.CLEAR_BY, Condition.JUST_RELEASED)
#: Time constants of the drive's loop until it follows; two of them leave 13 per cent. Own choice.
CONSTANTS = 2.0
#: Counts that must pass before the encoder is seen to move: beyond the flicker of one.
SEEN_COUNTS = 2.0


@dataclass(frozen=True)
class Numbers:
    """Numbers of the lift [s, m/s, m]."""

    period_s: float
    follows_s: float
    deceleration_m_s2: float
    acceleration_m_s2: float
    free_m_s: float
    count_m: float

    def speed_m_s(self, phase: Phase) -> float:
        """Size of the speed that a phase asks for; a duty counts as that share of the free speed."""
        value = abs(phase.command.value)
        return value * self.free_m_s if phase.command.order is Order.DUTY else value

    def stopping_s(self, speed_m_s: float) -> float:
        """Longest time from the decision to stop until it stands."""
        return self.period_s + self.follows_s + speed_m_s / self.deceleration_m_s2

    def stopping_m(self, speed_m_s: float) -> float:
        """Longest way from the decision to stop until it stands."""
        return speed_m_s * self.follows_s + speed_m_s**2 / (2.0 * self.deceleration_m_s2)

    @property
    def starting_s(self) -> float:
        """Longest time until the counts of a healthy lift are seen to move."""
        moving = float((2.0 * SEEN_COUNTS * self.count_m / self.acceleration_m_s2) ** 0.5)
        return 2.0 * self.period_s + self.follows_s + moving


def numbers_of(setting: Setting) -> Numbers:
    """The numbers that a review takes from a lift."""
    lift = setting.lift
    drive, controller = lift.drive, lift.controller
    return Numbers(
        period_s=controller.period_ms * MS,
        follows_s=controller.drive_latency_ms * MS + CONSTANTS * drive.speed_loop_time_constant_ms * MS,
        deceleration_m_s2=drive.deceleration_mm_s2 * MM,
        acceleration_m_s2=drive.acceleration_mm_s2 * MM,
        free_m_s=drive.free_speed_mm_s * MM,
        count_m=drive.mm_per_count * MM,
    )


class Scene(Survey):
    """A surveyed table with its lift's numbers."""

    def __init__(self, table: Table, numbers: Numbers) -> None:
        super().__init__(table)
        self.numbers = numbers

    def named(self, row: Row) -> str:
        """A row as findings name it: its number in the table and its way."""
        return f"row {self.table.rows.index(row) + 1} ({row.source} -> {row.to})"

    def role(self, name: str) -> Role:
        return self.table.phase(name).role

    def way(self, name: str) -> int:
        return self.table.phase(name).command.way

    def speed_from(self, row: Row) -> float:
        """Speed of the phase that a row leaves."""
        return self.numbers.speed_m_s(self.table.phase(row.source))

    def smallest(self, row: Row, kind: Condition) -> float | None:
        """Smallest number that a row asks of a kind; None if it does not ask."""
        asked = [ask.a for ask in map(self.table.condition, row.when) if ask.kind == kind]
        return min(asked, default=None)

    @cached_property
    def zeroing(self) -> tuple[Row, ...]:
        return tuple(row for row in self.table.rows if set(row.effects) & set(ZEROING))

    @cached_property
    def reached(self) -> frozenset[str]:
        """Phases that can be entered from the start, by rows that can be taken."""
        found, fresh = {self.start.name}, {self.start.name}
        while fresh:
            fresh = {row.to for row in self.live if row.source in fresh} - found
            found |= fresh
        return frozenset(found)

    @cached_property
    def live(self) -> tuple[Row, ...]:
        """Rows that are taken in some situation."""
        found = []
        for phase in self.table.phases:
            s = self.situations(phase)
            found += [row for number, row in enumerate(s.rows) if (s.taken == number).any()]
        return tuple(found)


Check = Callable[[Scene], Iterator[Finding]]
