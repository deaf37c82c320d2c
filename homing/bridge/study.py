"""Many runs with the team's controller, over the cores, with results that do not depend on their number.

A command line is run in worker processes, each with a few copies of the program; a Python object is called
in this process, one run after the other.
"""

from __future__ import annotations

import atexit
import os
import signal
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from threading import RLock, Thread
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from homing.batches import batch, nominal_batch
from homing.bridge.controller import Program, Seat
from homing.bridge.play import FIRST_REASON, Game, play_batch, rules_for
from homing.kernel.layout import RESULT_COLUMNS
from homing.setting import Setting

if TYPE_CHECKING:
    from homing.faults import FaultPlan

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]
Progress = Callable[[int, int], None]

#: Copies of a program that one worker keeps busy: while one thinks, the other's lift moves on.
COPIES = 2
#: Runs in a block.
BLOCK_RUNS = 64
_REASON = RESULT_COLUMNS.index("reason")


@dataclass
class Played:
    """Result rows (n, columns) in SI, and the reasons that their numbers stand for."""

    rows: Floats
    reasons: dict[int, str] = field(default_factory=dict)


def play_many(
    setting: Setting,
    program: Program,
    indices: Indices,
    *,
    faults: FaultPlan | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Played:
    """Play the runs with these numbers; the same rows for any number of workers.

    Raises
    ------
    InputError
        When the program cannot be started, ends, hangs, or answers what cannot be done.
    """
    blocks = [indices[i : i + BLOCK_RUNS] for i in range(0, len(indices), BLOCK_RUNS)]
    if not isinstance(program.source, str):
        return _gathered([_play_here(setting, program, block, faults) for block in blocks], progress)
    count = min(workers or os.cpu_count() or 1, len(blocks))
    if count == 1:
        seats = [program.open() for _ in range(COPIES)]
        try:
            parts = [_play_in(setting, program, seats, block, faults) for block in blocks]
        finally:
            _close(seats)
        return _gathered(parts, progress)
    return _gathered(_over_cores(setting, program, blocks, faults, count, progress), None)


def _over_cores(
    setting: Setting, program: Program, blocks: Sequence[Indices], faults: FaultPlan | None, workers: int,
    progress: Progress | None,
) -> list[tuple[Floats, list[str]]]:  # fmt: skip
    parts: list[tuple[Floats, list[str]] | None] = [None] * len(blocks)
    done, of = 0, sum(map(len, blocks))
    # a fresh interpreter a worker: a fork would carry threads and locks of this one along
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin_work)
    try:
        waiting = {
            pool.submit(_play_at_work, setting, program, block, faults): number
            for number, block in enumerate(blocks)
        }
        for future in as_completed(waiting):
            number = waiting[future]
            parts[number] = future.result()
            done += len(blocks[number])
            if progress is not None:
                progress(done, of)
    except BaseException:
        # nobody waits for blocks that are no longer wanted; each worker ends its programs first
        for worker in list((pool._processes or {}).values()):
            worker.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
    return [part for part in parts if part is not None]


#: In a worker: the copies of the program that it keeps, by command line.
_AT_WORK: dict[str, list[Seat]] = {}
#: Held by whoever starts or ends copies; a worker that is ending keeps it, so that none starts any more.
_DOOR = RLock()


def _play_at_work(
    setting: Setting, program: Program, block: Indices, faults: FaultPlan | None
) -> tuple[Floats, list[str]]:
    """Play a block in a worker process, whose copies of the program stay for the next one."""
    try:
        return _play_in(setting, program, _seats_at_work(program), block, faults)
    except BaseException:
        _leave()
        raise


def _seats_at_work(program: Program) -> list[Seat]:
    with _DOOR:
        if not _AT_WORK:
            atexit.register(_leave)
        seats = _AT_WORK.setdefault(program.name, [])
        while len(seats) < COPIES:
            seats.append(program.open())
        return seats


def _begin_work() -> None:
    """A worker leaves the interrupt key to the main process, and ends its programs when it is told to end.

    Or when the main process is gone without a word: a pool's workers would wait for it for ever.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _end_work)
    Thread(target=_end_work_with_parent, daemon=True).start()


def _end_work_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        _end_work()


def _end_work(*_: object) -> None:
    """End the programs and this worker, even while the worker's other thread plays with them."""
    with _DOOR:
        try:
            _leave()
        finally:
            os._exit(1)


def _leave() -> None:
    with _DOOR:
        for seats in _AT_WORK.values():
            _close(seats)
        _AT_WORK.clear()


def _close(seats: Sequence[Seat]) -> None:
    for seat in seats:
        seat.close()


def _play_here(
    setting: Setting, program: Program, block: Indices, faults: FaultPlan | None
) -> tuple[Floats, list[str]]:
    seat = program.open()
    try:
        return _play_in(setting, program, [seat], block, faults)
    finally:
        seat.close()


def _play_in(
    setting: Setting, program: Program, seats: list[Seat], block: Indices, faults: FaultPlan | None
) -> tuple[Floats, list[str]]:
    reasons: dict[str, int] = {}
    made = batch(setting, block, faults)
    rows = play_batch(setting, made, seats, rules_for(setting, f'program "{program.name}"'), reasons)
    return rows, list(reasons)


def _gathered(parts: Sequence[tuple[Floats, list[str]]], progress: Progress | None) -> Played:
    """Put blocks together; their own numbers of reasons become those of all."""
    numbers: dict[str, int] = {}
    for rows, reasons in parts:
        own = rows[:, _REASON].copy()
        for code, text in enumerate(reasons, start=FIRST_REASON):
            rows[own == code, _REASON] = numbers.setdefault(text, FIRST_REASON + len(numbers))
    rows = np.concatenate([rows for rows, _ in parts])
    if progress is not None:
        progress(len(rows), len(rows))
    return Played(rows, {number: text for text, number in numbers.items()})


def play_traced(setting: Setting, program: Program, run: int | None, faults: FaultPlan | None = None) -> Game:
    """Play one run, nominal or drawn, with its trace."""
    made = nominal_batch(setting) if run is None else batch(setting, np.array([run], dtype=np.int64), faults)
    periods_s = np.empty(0) if run is None else setting.periods_s
    rules = rules_for(setting, f'program "{program.name}"')
    seat = program.open()
    try:
        game = Game(
            setting, made.runs[0], made.sensor.signal[0], int(made.indices[0]), {}, periods_s, traced=True
        )
        seat.reset(game.index)
        while (line := game.hear()) is not None:
            seat.tell(line)
            game.obey(seat.answer(rules))
        seat.rest()
        return game
    finally:
        seat.close()
