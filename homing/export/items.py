"""The parts of a routine ready to be written in any language; nothing here knows a language."""

from __future__ import annotations

from dataclasses import dataclass

from homing.export.identifiers import Words
from homing.kernel.codes import Order
from homing.routine import Role


@dataclass(frozen=True)
class Constant:
    """A number of the program with unit and origin; ``literal`` is written as it stands."""

    words: Words
    literal: str
    whole: bool
    comment: str


@dataclass(frozen=True)
class PhaseItem:
    """A phase; ``command`` is in mm/s or a duty, as ``order`` says."""

    words: Words
    text: str
    role: Role
    order: Order
    command: float
    way: int
    comment: str
    rows: tuple[RowItem, ...]


@dataclass(frozen=True)
class ConditionItem:
    """A condition that some row asks: its local name, and the constant that is its number."""

    words: Words
    neutral: str
    constant: Words | None
    comment: str


@dataclass(frozen=True)
class RowItem:
    """A row: names of conditions, neutral effects, the phase it leads to and the reason it reports."""

    when: tuple[Words, ...]
    unless: tuple[Words, ...]
    effects: tuple[str, ...]
    reason: Words | None
    to: Words
    keep_clocks: bool
    comment: str


@dataclass(frozen=True)
class ReasonItem:
    """Why a routine stopped itself."""

    words: Words
    text: str


@dataclass(frozen=True)
class Program:
    """Everything that a template needs."""

    constants: tuple[Constant, ...]
    phases: tuple[PhaseItem, ...]
    shared: tuple[tuple[str, str], ...]
    conditions: tuple[ConditionItem, ...]
    reasons: tuple[ReasonItem, ...]
    stall: bool
    period_ms: float
