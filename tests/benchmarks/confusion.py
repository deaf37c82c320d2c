"""How well ``replay`` names causes: confusion table, top 1, top 3, false alarms, overtravel error.

    python tests/benchmarks/confusion.py                      practice logs, and 20 generated logs a cause
    python tests/benchmarks/confusion.py --seeds 8 --without battery_v current_a
    python tests/benchmarks/confusion.py --cause cable_break --list
    python tests/benchmarks/confusion.py --various --seeds 16 --workers 1 --table confusion.txt

Not a test: hundreds of logs. The generated logs come from a simulator that differs from the program's own;
every robot in them is invented. A log counts as right when its true cause comes first; a healthy one when
nothing is found. Logs of a cause that led to no overrun with a seed are left out and counted. Overtravels
whose own interval is wider than what they are judged by are told apart: there the log cannot tell. Judge on
seeds that nothing was tuned on: `--first` begins elsewhere.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from homing.liftfile import load_lift
from homing.report.tracefile import write_trace
from homing.results import Outcome
from homing.setting import prepare
from homing.simulate import simulate
from replay.columns import LogColumns
from replay.diagnosing import diagnose
from replay.diagnosis import Cause, Diagnosis
from replay.reading import read_log
from replay.timing import periods
from replay.units import Role
from sensor_models.kinds import SensorKind

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "replay"))

from matchlogs import Match  # noqa: E402
from matchrun import match_log  # noqa: E402
from matchvariety import NEEDED  # noqa: E402

PRACTICE = ROOT.parent / "shared" / "datasets" / "practice"
HEALTHY = "healthy"
#: Loops of robots that are tuned for control; slower ones log for telemetry.
QUICK_S = 0.034


@dataclass(frozen=True)
class Judged:
    """One log: true cause, causes found, true and measured overtravel with its bounds [mm], period [s]."""

    name: str
    true: str
    also: tuple[str, ...]
    found: tuple[str, ...]
    overtravel: float
    measured: float
    low: float
    high: float
    period_s: float

    @property
    def first(self) -> str:
        return self.found[0] if self.found else HEALTHY

    @property
    def right(self) -> bool:
        return self.first == self.true or self.first in self.also

    @property
    def in_three(self) -> bool:
        if self.true == HEALTHY:
            return not self.found
        return bool({self.true, *self.also} & set(self.found[:3]))

    @property
    def within(self) -> bool | None:
        """Whether the overtravel is within 2 mm or 10 %; None where there is none to compare."""
        if np.isnan(self.overtravel):
            return None
        return abs(self.measured - self.overtravel) <= self.tolerance

    @property
    def tolerance(self) -> float:
        """By what the overtravel is judged [mm]."""
        return max(2.0, 0.1 * self.overtravel)

    @property
    def told(self) -> bool:
        """The log can tell the overtravel that well: its bounds are no further apart."""
        return (self.high - self.low) / 2 <= self.tolerance

    @property
    def held(self) -> bool:
        """The true overtravel lies within the bounds, to half a millimetre."""
        return self.low - 0.5 <= self.overtravel <= self.high + 0.5


def judged(
    name: str, true: Cause | None, found: Diagnosis, overtravel: float, also: Iterable[str] = ()
) -> Judged:
    bad = found.bad_visit
    return Judged(
        name,
        HEALTHY if true is None else true.value,
        tuple(also),
        tuple(each.cause.value for each in found.findings),
        overtravel,
        *((0.0, 0.0, 0.0) if bad is None else (bad.overtravel, bad.overtravel_low, bad.overtravel_high)),
        periods(found.log).median_s,
    )


def generated(job: tuple[Cause | None, int, tuple[Role, ...], bool]) -> Judged | None:
    """One generated log; None when the fault led to nothing."""
    cause, seed, without, various = job
    try:
        match = match_log(cause, seed, various)
    except ValueError:
        return None
    with tempfile.TemporaryDirectory() as folder:
        log = match.log(Path(folder), without)
    found = diagnose(log, None, match.limit, SensorKind[match.robot.kind.upper()])
    over = match.overtravel if match.bad_visit else float("nan")
    lacks = {*match.without, *without} & set(NEEDED.get(cause, ())) if cause else set()
    also = also_right(match, bool(lacks))
    robot = match.robot
    name = f"{cause or HEALTHY}-{seed} {robot.drive} {robot.kind} {robot.period * 1e3:.0f} ms"
    return judged(" ".join([name, *(f"-{role.value}" for role in match.without)]), cause, found, over, also)


#: What a cause cannot be told from by anything in the log, where the columns that tell it are missing.
MERGED = {Cause.SUPPLY_DIP: ("ambient_light", "stale_reading")}


def also_right(match: Match, lacks: bool) -> tuple[str, ...]:
    """Other right answers: a column that would tell is missing, or nothing in a log tells two apart."""
    merged = MERGED.get(match.cause, ()) if match.cause is not None and lacks else ()
    dead = match.cause is Cause.CABLE_BREAK and match.dead and match.robot.kind != "contact"
    return (*merged, *(("cannot_tell",) if lacks else ()), *(("target_lost",) if dead else ()))


def own_traces(runs: int) -> Iterator[Judged]:
    """Healthy runs of the program's own lifts, as ``verify --trace`` writes them; limits kept, zeroed."""
    files = [None, *sorted((ROOT / "examples").glob("*/*.toml"))]
    for file in files:
        lift = load_lift(file)
        setting = prepare(lift)
        for k in range(runs):
            run = simulate(lift, run=k, setting=setting)
            if run.outcome is not Outcome.ZEROED or run.trace is None:
                continue
            with tempfile.TemporaryDirectory() as folder:
                log = read_log(write_trace(run.trace, Path(folder) / "trace.csv"))
            name = f"{'built in' if file is None else file.stem} run {k}"
            yield judged(name, None, diagnose(log, lift), float("nan"))


def practice() -> Iterator[Judged]:
    """The practice logs that lie beside the checkout."""
    for name, truth in json.loads((PRACTICE / "truth.json").read_text()).items():
        lift = load_lift(PRACTICE / truth["lift"])
        log = read_log(PRACTICE / truth["log"], LogColumns.from_lift(lift.log, truth["lift"]))
        cause = None if truth["cause"] is None else Cause(truth["cause"])
        over = truth["overtravel_mm"] if truth["score_overtravel"] else float("nan")
        yield judged(name, cause, diagnose(log, lift), over, truth["alternates"])


def table(results: list[Judged], show: bool) -> str:
    """Confusion by cause, and the sums."""
    lines = [f"{'true cause':<20} {'logs':>4} {'first':>6} {'in 3':>6} {'mm ok':>6}   taken for"]
    for true in dict.fromkeys(each.true for each in results):
        rows = [each for each in results if each.true == true]
        wrong = Counter(each.first for each in rows if not each.right)
        measured = [each.within for each in rows if each.within is not None]
        fits = f"{np.mean(measured):6.0%}" if measured else "     -"
        taken = ", ".join(f"{count} {word}" for word, count in wrong.most_common())
        lines.append(
            f"{true:<20} {len(rows):>4} {np.mean([each.right for each in rows]):>6.0%} "
            f"{np.mean([each.in_three for each in rows]):>6.0%} {fits}   {taken}"
        )
        lines += [f"    {each.name} {each.found[:3]}" for each in rows if show and not each.right]
    return "\n".join([*lines, *_sums(results)])


def _sums(results: list[Judged]) -> Iterator[str]:
    faulty = [each for each in results if each.true != HEALTHY]
    healthy = [each for each in results if each.true == HEALTHY]
    measured = [each.within for each in faulty if each.within is not None]
    if faulty:
        yield (
            f"{len(faulty)} logs with a cause: first {np.mean([each.right for each in faulty]):.1%}, "
            f"in three {np.mean([each.in_three for each in faulty]):.1%}"
        )
    if measured:
        yield f"overtravel within 2 mm or 10 %: {np.mean(measured):.1%} of {len(measured)}"
        yield from _overtravels([each for each in faulty if each.within is not None])
    if healthy:
        yield f"false alarms: {sum(not each.right for each in healthy)} of {len(healthy)} healthy logs"


def _overtravels(results: list[Judged]) -> Iterator[str]:
    """Overtravel by how fast the rows come, and by whether the log can tell it."""
    quick = [each for each in results if each.period_s <= QUICK_S]
    slow = [each for each in results if each.period_s > QUICK_S]
    told = [each for each in results if each.told]
    vague = [each for each in results if not each.told]
    for words, rows in (
        (f"loops up to {QUICK_S * 1e3:.0f} ms", quick),
        ("slower loops", slow),
        ("the log can tell it", told),
        ("its own interval is wider", vague),
    ):
        if rows:
            within, held = np.mean([each.within for each in rows]), np.mean([each.held for each in rows])
            yield f"  {words:<26} {len(rows):>4} logs: {within:6.1%} within, {held:6.1%} inside the interval"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--healthy", type=int, help="seeds of healthy logs, where other than --seeds")
    parser.add_argument("--cause", nargs="*", default=[])
    parser.add_argument("--without", nargs="*", default=[])
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--various", action="store_true", help="other lifts, loops, dialects, lost columns")
    parser.add_argument("--table", type=Path, help="write the tables into this file too")
    parser.add_argument("--list", action="store_true", help="list what was taken for something else")
    parser.add_argument("--traces", type=int, default=0, help="healthy runs of each of the program's lifts")
    chosen = parser.parse_args()
    parts = []
    causes = [None, *(each for each in Cause if each is not Cause.CANNOT_TELL)]
    if chosen.cause:
        causes = [each for each in causes if (HEALTHY if each is None else each.value) in chosen.cause]
    elif PRACTICE.is_dir():
        parts.append(f"practice logs\n{table(list(practice()), chosen.list)}\n")
    if chosen.traces:
        parts.append(f"the program's own traces\n{table(list(own_traces(chosen.traces)), chosen.list)}\n")
    without = tuple(Role(word) for word in chosen.without)
    jobs = [(cause, seed, without, chosen.various) for cause in causes for seed in seeds_of(cause, chosen)]
    # a fresh process each: polars' threads do not survive a fork
    with ProcessPoolExecutor(chosen.workers, get_context("spawn")) as pool:
        results = list(pool.map(generated, jobs, chunksize=4))
    parts.append(f"generated logs, {sum(each is None for each in results)} without effect left out")
    parts.append(table([each for each in results if each is not None], chosen.list))
    print("\n".join(parts))
    if chosen.table is not None:
        chosen.table.write_text("\n".join(parts) + "\n")


def seeds_of(cause: Cause | None, chosen: argparse.Namespace) -> range:
    """Seeds of one cause; healthy logs may be asked for in another number."""
    count = chosen.healthy if cause is None and chosen.healthy else chosen.seeds
    return range(chosen.first, chosen.first + count)


if __name__ == "__main__":
    main()
