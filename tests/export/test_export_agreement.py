"""Every exported program decides in every loop what the kernel decides, bit for bit."""

from __future__ import annotations

from collections import Counter
from functools import cache

import numpy as np
import pytest
from export_harness import COLUMNS, Driven, numbers
from export_lifts import settings
from export_manners import PHASE, TAKEN
from export_oracle import Oracle, Story
from export_tables import LOOP_S

from homing.batches import batch, nominal_batch
from homing.export.identifiers import ascii_text
from homing.export.program import program
from homing.faults import FaultPlan, run_numbers
from homing.kernel.codes import Condition, Effect
from homing.kernel.layout import new_scratch
from homing.kernel.setup import set_up
from homing.routine import Role
from homing.setting import Setting
from homing.simulate import traced

NAMES = tuple(settings())
#: Stories with bad manners for each lift, the first ones that are told; of two lifts many more are told, and
#: those kept in which a row is taken that was rarely taken before.
STORIES, SIFTED, RARE = 100, 6000, 5
SIFTED_LIFTS = ("example", "referenced")
DRAWN_RUNS = 6


def assert_agree(driven: Driven, told: list[tuple[int, Oracle, Story]]) -> int:
    """Drive the program through the stories: every output must be the kernel's. Returns how many loops."""
    lines = [line for routine, _, story in told for line in story.lines(routine)]
    given = numbers(driven.drive(lines))
    expected = np.concatenate([oracle.expected(story) for _, oracle, story in told])
    assert given.shape == expected.shape == (len(lines) - len(told), len(COLUMNS))
    same = (given == expected) | (np.isnan(given) & np.isnan(expected))
    if not same.all():
        row, column = np.argwhere(~same)[0]
        loops = np.cumsum([len(story.time_s) for _, _, story in told])
        at = int(np.searchsorted(loops, row, side="right"))
        pytest.fail(
            f"routine {told[at][0]}, loop {row - (loops[at - 1] if at else 0)}, {COLUMNS[column]}: "
            f"program {given[row, column]!r}, kernel {expected[row, column]!r}"
        )
    return len(given)


@cache
def stories(name: str) -> tuple[Oracle, tuple[Story, ...]]:
    oracle = Oracle(settings()[name])
    kept, often = [], Counter[int]()
    for seed in range(SIFTED if name in SIFTED_LIFTS else STORIES):
        story = oracle.misbehaving(seed)
        taken = set(story.kernel[:, TAKEN].astype(int).tolist())
        if seed < STORIES or any(often[row] < RARE for row in taken):
            kept.append(story)
            often.update(taken)
    return oracle, tuple(kept)


@pytest.mark.parametrize("name", NAMES)
def test_programs_agree_on_a_lift_with_bad_manners(of_lifts: Driven, name: str) -> None:
    oracle, told = stories(name)
    loops = assert_agree(of_lifts, [(NAMES.index(name), oracle, story) for story in told])
    assert loops > 50 * len(told)


def test_the_stories_take_nearly_every_row_of_the_built_in_routine() -> None:
    taken: set[int] = set()
    phases: set[int] = set()
    for name in SIFTED_LIFTS:
        for story in stories(name)[1]:
            taken |= set(story.kernel[:, TAKEN].astype(int).tolist())
            phases |= set(story.kernel[:, PHASE].astype(int).tolist())
    table = settings()["example"].table
    assert phases == set(range(len(table.phases)))
    assert len(taken - {-1}) >= 0.9 * len(table.rows)


def test_the_stories_end_in_every_way(random_settings: list[Setting]) -> None:
    roles = set()
    for name in NAMES:
        oracle, told = stories(name)
        ends = {oracle.setting.table.phases[int(story.kernel[-1, PHASE])].role for story in told}
        assert {Role.ZEROED, Role.FAULTED} <= ends, name
        roles |= ends
    assert len(roles) > 2


def run_stories(setting: Setting) -> list[tuple[Oracle, Story, list[str], str]]:
    """Inputs recorded from simulated runs, with the phases and the reason that the simulation had."""
    indices = np.arange(DRAWN_RUNS)
    made = [nominal_batch(setting), *(batch(setting, indices[k : k + 1]) for k in indices)]
    faulty = run_numbers(setting.lift, 1)
    made += [batch(setting, faulty[k : k + 1], FaultPlan()) for k in range(len(faulty))]
    oracle, told = Oracle(setting), []
    for k, each in enumerate(made):
        run = traced(setting, each, None if k == 0 else int(each.indices[0]))
        parts = tuple(records[0] for records in new_scratch())
        set_up(each.runs[0], parts, each.sensor.signal[0], setting.seed, int(each.indices[0]))
        memory, trace = parts[2], run.trace.columns
        reading = trace[f"reading_{setting.lift.routine.sensor}"]
        start = np.zeros(len(reading), dtype=np.int64)
        start[0] = 1
        zero = float(memory.zero_counts) if memory.has_zero else None
        story = oracle.told(int(memory.counts), trace["t_s"], reading, trace["counts"], start, zero)
        told.append((oracle, story, list(trace["state"]), run.reason))
    return told


@cache
def recorded(name: str) -> list[tuple[Oracle, Story, list[str], str]]:
    return run_stories(settings()[name])


@pytest.mark.parametrize("name", NAMES)
def test_programs_agree_over_whole_simulated_runs(of_lifts: Driven, name: str) -> None:
    told = recorded(name)
    # the nominal run, drawn ones, and one for every fault that this lift can have
    assert len(told) > 1 + DRAWN_RUNS + 10
    assert_agree(of_lifts, [(NAMES.index(name), oracle, story) for oracle, story, _, _ in told])
    lines = [line for _, story, _, _ in told for line in story.lines(NAMES.index(name))]
    given = numbers(of_lifts.drive(lines))
    phases = [phase.name for phase in settings()[name].table.phases]
    reasons = [reason.text for reason in program(settings()[name]).reasons]
    first = 0
    for _, story, states, reason in told:
        part = given[first : first + len(story.time_s)]
        first += len(part)
        # a trace shows the phase in which a loop began
        assert [phases[int(each)] for each in part[:-1, PHASE]] == states[1:]
        assert reasons[int(part[-1, 6])] == reason


def test_programs_agree_on_random_tables(of_tables: Driven, random_settings: list[Setting]) -> None:
    told = []
    for k, setting in enumerate(random_settings):
        oracle = Oracle(setting)
        told += [(k, oracle, oracle.misbehaving(1000 * k + seed, loops=150)) for seed in range(10)]
        told += [(k, oracle, wild(oracle, 1000 * k + seed)) for seed in range(25)]
    assert assert_agree(of_tables, told) > 60_000


def wild(oracle: Oracle, seed: int, loops: int = 120) -> Story:
    """Inputs without any lift behind them: steps of counts and times, flickering readings, many starts."""
    rng = np.random.default_rng(seed)
    exact, rough = LOOP_S * np.array([1, 1, 1, 2, 4]), [0.0, 0.001, 0.02, 0.03, 0.031, 0.1, 2.0]
    lengths = rng.choice(exact if rng.random() < 0.6 else [*exact, *rough], loops)
    small, large = [0, 0, 0, 0, 1, -1, 2, -2, 3, -3], [30, -30, 60, 300, -300, 2**40, -(2**40)]
    steps = rng.choice(small if rng.random() < 0.5 else [*small, *large], loops)
    first = int(rng.integers(-(2**33), 2**33))
    chance = rng.choice([0.02, 0.5, 0.98])
    reading = (rng.random(loops) < chance).astype(np.int64)
    start = (rng.random(loops) < 0.3).astype(np.int64)
    zero = first + float(rng.integers(-9, 9)) / 2 if rng.random() < 0.4 else None
    return oracle.told(first, np.cumsum(lengths), reading, first + np.cumsum(steps), start, zero)


@pytest.mark.parametrize("name", ["example", "referenced", "stall", "own"])
def test_programs_agree_on_inputs_without_any_lift(of_lifts: Driven, name: str) -> None:
    oracle = Oracle(settings()[name])
    told = [(NAMES.index(name), oracle, wild(oracle, seed)) for seed in range(300)]
    assert_agree(of_lifts, told)


def test_every_condition_and_effect_is_in_the_random_tables(random_settings: list[Setting]) -> None:
    kinds, effects = set(), set()
    for setting in random_settings:
        table = setting.table
        kinds |= {table.condition(name).kind for row in table.rows for name in (*row.when, *row.unless)}
        effects |= {effect for row in table.rows for effect in row.effects}
    assert kinds == set(Condition)
    assert effects == set(Effect)


def test_time_counts_from_the_reset(of_lifts: Driven) -> None:
    oracle, told = stories("example")
    story = next(
        each for each in told if oracle.setting.table.phases[int(each.kernel[-1, PHASE])].name == "zeroed"
    )
    # a power of two well above the times: adding it loses bits, so take times that bear it
    time_s = np.round(story.time_s * 2**20) / 2**20
    plain = oracle.told(story.first_counts, time_s, story.reading, story.counts, story.start)
    for began_s in (-4096.0, 65536.0):
        later = Story(
            began_s, plain.first_counts, None, time_s + began_s, plain.reading, plain.counts, plain.start,
            plain.kernel,
        )  # fmt: skip
        assert_agree(of_lifts, [(0, oracle, later)])


def test_a_reset_forgets_everything(of_lifts: Driven) -> None:
    _, told = stories("example")
    lines = [line for story in told[:20] for line in story.lines(0)]
    once = of_lifts.drive(lines)
    # the same routine object is begun anew by the driver for every story; alone each gives the same
    alone = [line for story in told[:20] for line in of_lifts.drive(story.lines(0))]
    assert once == alone


def test_programs_tell_phases_and_reasons_in_words(
    of_lifts: Driven, of_tables: Driven, random_settings: list[Setting]
) -> None:
    for driven, made in ((of_lifts, list(settings().values())), (of_tables, random_settings)):
        said = driven.drive([f"T {k}" for k in range(len(made))])
        expected = [
            ascii_text(each.text)
            for setting in made
            for each in (*program(setting).phases, *program(setting).reasons)
        ]
        assert said == expected
