"""An own routine as the lift file gives it: frozen, checked, in the units of the file."""

from __future__ import annotations

from dataclasses import dataclass

from homing.kernel.codes import Order
from homing.own.words import ConditionWord, EffectWord
from homing.routine import Role


@dataclass(frozen=True)
class OwnPhase:
    """A phase; ``value`` is its speed [mm/s, negative inwards] or duty, 0 for a stop."""

    name: str
    role: Role
    order: Order
    value: float
    why: str

    @property
    def key(self) -> str | None:
        """Key of its number in the file; None for a stop."""
        return {Order.SPEED: "speed_mm_s", Order.DUTY: "duty"}.get(self.order)


@dataclass(frozen=True)
class OwnAsk:
    """A condition that a row names, with its number in the unit of its key."""

    word: ConditionWord
    value: float | None

    @property
    def name(self) -> str:
        """Name in the table, made of word and number: ``moved_720_mm``."""
        if self.value is None:
            return self.word.word
        number = f"{self.value:.12g}".replace("-", "minus_").replace("+", "").replace(".", "p")
        head, _, unit = self.word.word.rpartition("_")
        counted = unit in ("times", "used")
        per = "_mm_s" if self.word.word.endswith("_mm_s") else f"_{unit}"
        return f"{self.word.word}_{number}" if counted else f"{head.removesuffix('_mm')}_{number}{per}"


@dataclass(frozen=True)
class OwnRow:
    """A row; its number in the file, from 1, is how messages and keys name it."""

    number: int
    source: str
    when: tuple[OwnAsk, ...]
    unless: tuple[OwnAsk, ...]
    to: str
    effects: tuple[EffectWord, ...]
    why: str


@dataclass(frozen=True)
class OwnRoutine:
    """Phases and rows in the order of the file."""

    phases: tuple[OwnPhase, ...]
    rows: tuple[OwnRow, ...]

    def fastest_mm_s(self, free_speed_mm_s: float) -> float:
        """Fastest way in [mm/s]; duties count as that share of the free speed."""
        return max(self._inward_mm_s(free_speed_mm_s), default=0.0)

    def slowest_mm_s(self, free_speed_mm_s: float) -> float:
        """Slowest way in [mm/s]."""
        return min(self._inward_mm_s(free_speed_mm_s), default=0.0)

    def paces(self, free_speed_mm_s: float) -> dict[str, float]:
        """Its fastest and slowest way in, under the names that the built-in sequence gives them."""
        fast, slow = self.fastest_mm_s(free_speed_mm_s), self.slowest_mm_s(free_speed_mm_s)
        return {"fast_speed_mm_s": fast, "creep_speed_mm_s": slow} if fast > 0.0 else {}

    def _inward_mm_s(self, free_speed_mm_s: float) -> list[float]:
        scale = {Order.SPEED: 1.0, Order.DUTY: free_speed_mm_s}
        return [-phase.value * scale[phase.order] for phase in self.phases if phase.value < 0.0]
