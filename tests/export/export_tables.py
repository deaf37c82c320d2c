"""Random tables with every condition, every effect, and names that no language likes."""

from __future__ import annotations

import numpy as np
from export_harness import keyword_names
from export_lifts import settings

from homing.batches import nominal_batch
from homing.export.meanings import measure_of
from homing.kernel.codes import Condition, Effect, Order, Reason
from homing.routine import Ask, Command, Phase, Role, Row, Table
from homing.setting import Setting, prepare

#: Names and texts that break careless program text.
NASTY = (
    "Coming In", "coming_in", "comingIn", "2nd look", "", "__init__", "self", "made", "counts", "reading",
    "phase", "None", "NULL", "EOF", "true", "class", "größe", "日本", 'a "quoted" \\ name', "*/ end",
    "// slash",
    "name", "value", "mro", "k1", "step", "order", "start", "time_s", "moved_m", "height_m", "u0041",
    "\\u000a", "?" + "?/", "x" * 40,
)  # fmt: skip
TEXTS = (
    "", "plain words", "ends in a backslash \\", 'quotes " and """ and \'', "*/ ends a comment /* begins",
    "two\nlines", "tab\tand bell\a", "\\u000a is a line break to some", "?" + "?/",
    "100 % \u2028 üñï \u202e back", "a very long reason " * 12,
)  # fmt: skip
NUMBERS = (0.0, 0.001, 0.02, 0.04, 0.1, 0.3, 1.0, 2.0, 3.0, 1e-7, 12345.678)
#: Loops of this length add up without rounding, so that times meet a condition's number exactly.
LOOP_S = 1 / 64
#: Counts that a lift moves, as ``test_export_agreement.wild`` steps, so that lengths do the same.
STEPS = (0, 1, 2, 3, 30, 31, 60, 300)
HEIGHTS = (Condition.BELOW, Condition.ABOVE, Condition.MADE_ABOVE)
#: Random tables that are exported together.
TABLES = 18
COMMANDS = (
    Command(Order.HOLD), Command(Order.SHORTED), Command(Order.OPEN), Command(Order.SPEED, 0.1),
    Command(Order.SPEED, -0.1), Command(Order.SPEED, 0.0), Command(Order.DUTY, -0.2),
    Command(Order.DUTY, 0.35),
)  # fmt: skip


def tables() -> list[Setting]:
    """Studies with random tables, some without a sensor, and one at the border of each condition."""
    plain, stall = settings()["example"], settings()["stall"]
    eager = prepare(stall.lift.replace({"routine.no_motion_ms": 62.5}))
    assert eager.no_motion_s == 4 * LOOP_S
    made = [(stall if k % 5 == 4 else plain, k) for k in range(TABLES)]
    random = [base.with_table(random_table(k, *_scale(base))) for base, k in made]
    border = [plain.with_table(border_table(kind, *_scale(plain))) for kind in Condition]
    return [*random, *border, eager.with_table(border_table(Condition.MOVED_IN, *_scale(eager)))]


def _scale(setting: Setting) -> tuple[float, float]:
    record = nominal_batch(setting).runs[0]
    return float(record.counts_per_m), float(record.reference_m)


def random_table(seed: int, counts_per_m: float, reference_m: float) -> Table:
    """A table, sound or not; every condition and effect comes up again and again, often at its border."""
    rng = np.random.default_rng(seed)
    pool = list(dict.fromkeys([*NASTY, *keyword_names()]))

    def names(count: int) -> list[str]:
        return [str(each) for each in rng.choice(pool, count, replace=False)]

    def text() -> str:
        return TEXTS[rng.integers(len(TEXTS))]

    roles = list(Role)
    phases = tuple(
        Phase(name, roles[rng.integers(5)], COMMANDS[rng.integers(len(COMMANDS))], text())
        for name in names(int(rng.integers(1, 8)))
    )
    kinds = [*rng.permutation(list(Condition))[:5], *rng.choice(list(Condition), int(rng.integers(1, 12)))]
    asks = tuple(
        Ask(name, Condition(int(kind)), _number(rng, Condition(int(kind)), counts_per_m, reference_m))
        for name, kind in zip(names(len(kinds)), kinds, strict=True)
    )
    rows = tuple(_row(rng, phases, asks, text()) for _ in range(int(rng.integers(0, 30))))
    return Table(phases, asks, rows)


def border_table(kind: Condition, counts_per_m: float, reference_m: float) -> Table:
    """A table that hangs on one condition, whose number small steps and even loops meet exactly, often.

    Zero and edges are set by the way, with the clocks of the phase kept.
    """
    unit = measure_of(kind).unit
    exact = {"m": 2 / counts_per_m, "m/s": 2 / counts_per_m / LOOP_S, "s": 4 * LOOP_S}.get(unit, 2.0)
    asks = (
        Ask("asked", kind, reference_m + 1 / counts_per_m if kind in HEIGHTS else exact),
        Ask("begins", Condition.JUST_MADE),
        Ask("ends", Condition.JUST_RELEASED),
    )
    keep, out = Effect.KEEP_CLOCKS, Command(Order.SPEED, 0.1)
    phases = (
        Phase("in", Role.START, Command(Order.SPEED, -0.1), ""),
        Phase("out", Role.MOVING, out, ""),
        Phase("still", Role.STOPPED, Command(Order.HOLD), ""),
    )
    rows = (
        Row("in", ("begins",), (), "in", (Effect.CAPTURE_EDGE, Effect.ZERO_HERE, keep)),
        Row("in", ("ends",), (), "in", (Effect.KEEP_EDGE, Effect.SET_ZERO, keep)),
        Row("in", ("asked",), (), "out", (Effect.COUNT_RETRY,)),
        Row("out", ("ends",), (), "out", (Effect.CAPTURE_EDGE, keep)),
        Row("out", ("asked",), (), "still", (Effect.COUNT_RETRY,)),
        Row("still", ("asked",), ("begins",), "in", (Effect.FORGET_RETRIES,)),
        Row("still", ("begins",), (), "in", (Effect.KEEP_EDGE, Effect.ZERO_HERE)),
    )
    return Table(phases, asks, rows)


def _number(rng: np.random.Generator, kind: Condition, counts_per_m: float, reference_m: float) -> float:
    """A number for a condition, mostly one that is met exactly."""
    step = float(rng.choice(STEPS))
    unit = measure_of(kind).unit
    if rng.random() < 0.3:
        return float(rng.choice(NUMBERS))
    if kind in HEIGHTS:
        return float(rng.integers(-8, 9)) / 2 / counts_per_m + reference_m
    if unit == "m":
        return step / counts_per_m
    if unit == "m/s":
        return step / counts_per_m / LOOP_S
    return float(rng.choice([0, 1, 2, 4, 8])) * (LOOP_S if unit == "s" else 1.0)


def _row(rng: np.random.Generator, phases: tuple[Phase, ...], asks: tuple[Ask, ...], why: str) -> Row:
    named = [asks[i].name for i in rng.choice(len(asks), int(rng.integers(0, 4)), replace=False)]
    when = int(rng.integers(0, len(named) + 1))
    effects = rng.permutation(list(Effect))[: rng.choice([0, 0, 1, 2, 3])]
    return Row(
        phases[rng.integers(len(phases))].name,
        tuple(named[:when]),
        tuple(named[when:]),
        phases[rng.integers(len(phases))].name,
        tuple(Effect(int(each)) for each in effects),
        Reason(int(rng.choice(list(Reason)))),
        why,
    )
