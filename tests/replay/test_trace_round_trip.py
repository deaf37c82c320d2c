"""A trace that the program wrote itself, replayed: trip and overtravel come back.

What comes back is the way of the spool from where the carriage passed the trip. The trace's metrics count
from the trip height itself, which is a height of the carriage: the two differ by what the string is stretched
or slack in that moment, which no log without the carriage's height can show.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import homing
import replay
from homing.liftfile import load_lift
from homing.report.tracefile import write_trace
from homing.results import Run

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
LIFTS = [None, *sorted(EXAMPLES.glob("*/*.toml"))]
#: Starts from which the first way in passes the whole window.
RUNS = [None, 0, 3, 4, 7]


@pytest.mark.parametrize("file", LIFTS, ids=lambda file: "built-in" if file is None else file.stem)
@pytest.mark.parametrize("run", RUNS)
def test_trip_and_overtravel_come_back(tmp_path: Path, file: Path | None, run: int | None) -> None:
    lift = load_lift(file)
    made = homing.simulate(lift, 0, run)
    found = replay.diagnose(replay.read_log(write_trace(made.trace, tmp_path / "trace.csv")), lift)
    visit = found.visits[0]
    stop = made.stops[0]
    row, trip = _spool_at_trip(made, stop.trip_mm)
    step_s = float(np.max(np.diff(made.trace["t_s"][row - 2 : row + 3])))
    tolerance = lift.drive.mm_per_count + visit.approach_speed * step_s
    past = trip - float(np.min(made.trace["spool_mm"][row : visit.stand + 1]))
    assert visit.edge == pytest.approx(trip, abs=tolerance)
    assert visit.overtravel == pytest.approx(past, abs=tolerance)
    # what the metrics say beyond that is the string at the trip; between rows the spool goes a little deeper
    deeper = 0.5 * lift.drive.deceleration_mm_s2 * (step_s / 2) ** 2
    beyond = made.metrics["overtravel_mm"] - past - (stop.trip_mm - trip)
    assert beyond == pytest.approx(0.0, abs=lift.drive.mm_per_count + deeper)


def _spool_at_trip(made: Run, trip_mm: float) -> tuple[int, float]:
    """Row after the carriage passed the trip, and the spool's height as it did [mm]."""
    carriage, spool = made.trace["carriage_mm"], made.trace["spool_mm"]
    row = int(np.flatnonzero((carriage[1:] <= trip_mm) & (carriage[:-1] > trip_mm))[0]) + 1
    share = (carriage[row - 1] - trip_mm) / (carriage[row - 1] - carriage[row])
    return row, float(spool[row - 1] + share * (spool[row] - spool[row - 1]))
