"""One candidate, from its lift to its figures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from homing.compare.candidates import Candidate
from homing.compare.falsetrigger import false_places_mm, false_trigger_probability
from homing.compare.judged import Judged, Means, judged
from homing.compare.ranking import remarks, why_failed, why_passed
from homing.compare.responses import (
    Responses,
    nearest_gap_mm,
    responses_of,
    stack,
    strong_low_m,
    sway_mm_per_mm,
    temperature_mm_per_k,
    tolerance_shifts_mm,
)
from homing.compare.results import Band, CandidateResult, DesignRule, Press, StopDistance
from homing.compare.seen import Loops, dwell_s, loops_of, seen_in_one_pass
from homing.compare.spans import settle
from homing.ensemble import as_ensemble, run_many
from homing.lift import MM
from homing.sensorview import view_of
from homing.setting import prepare
from homing.statistics import scatter
from homing.values import typical
from sensor_models.kinds import SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.results import SensorView
    from homing.setting import Setting

Floats = NDArray[np.float64]

#: Runs of one and the same lift from which the repeatability of the edge comes: its error is then 6 %.
EDGE_RUNS = 128
#: Approach speeds for "will it be seen", as multiples of the routine's.
SPEED_MULTIPLES = (0.5, 1.0, 1.5, 2.0, 3.0)
NOTHING = float("nan")
MT = 1e-3


@dataclass(frozen=True)
class Studied:
    """A candidate's result, with what it was made from for whoever goes on with it."""

    result: CandidateResult
    responses: Responses
    judged: Judged | None


def study_candidate(candidate: Candidate, runs: int, means: Means) -> Studied:
    """Study one candidate over its tolerances.

    Raises
    ------
    InputError
        When no value within its spans gives a lift that can exist.
    """
    lift, chosen = settle(candidate, means)
    responses = responses_of(lift, means.seed)
    if responses.tells_nothing:
        result = replace(_tells_nothing(candidate, lift, responses), chosen=chosen)
        return Studied(result, responses, None)
    setting = prepare(lift, means.seed, means.periods_s, (responses.nominal, responses.drawn))
    whole = judged(lift, runs, means, setting)
    result = _figures(candidate, lift, responses, whole, means)
    result = replace(result, chosen=chosen)
    return Studied(replace(result, remarks=remarks(result)), responses, whole)


def _figures(
    candidate: Candidate, lift: Lift, responses: Responses, whole: Judged, means: Means
) -> CandidateResult:
    loops, speed_m_s = loops_of(lift, means.periods_s), lift.routine.fast_speed_mm_s * MM
    seen = seen_at(responses, speed_m_s, loops)
    stops, shifts = whole.ensemble.metrics["stop_distance_mm"], tolerance_shifts_mm(lift, responses)
    worst, likely = stack([shift for _, shift in shifts])
    setting, stall = whole.setting, responses.sensor.kind is SensorKind.STALL
    press = _press(lift, responses)
    crushed = press is not None and press.crushed
    told = (why_passed if whole.passed else why_failed)(whole.requirements)
    if press is not None and crushed:
        told = f"{press.words}; {told}"
    return replace(
        _heights(candidate, lift, responses, setting.zone_m[1]),
        seen=_seen_over_speeds(lift, responses, loops),
        seen_probability=float(seen.mean()),
        seen_at_worst=float(seen.min()),
        false_trigger_probability=0.0
        if stall
        else false_trigger_probability(responses, setting.zone_m[1], speed_m_s, loops),
        repeatability_mm=edge_repeatability_mm(setting, means),
        stop_distance_mm=StopDistance(float(whole.nominal.metrics["stop_distance_mm"][0]), _largest(stops)),
        room_mm=-_largest(-whole.clearance_mm),
        margin_mm=whole.margin_mm,
        least_margin=whole.least_margin,
        sway_mm_per_mm=sway_mm_per_mm(lift, responses),
        temperature_mm_per_k=temperature_mm_per_k(lift, responses),
        requirements=whole.requirements,
        passed=whole.passed and not crushed,
        why=told,
        tolerance_shifts_mm=shifts,
        stack_worst_mm=worst,
        stack_rss_mm=likely,
        design_rule=_design_rule(lift, responses),
        press=press,
    )


def _heights(candidate: Candidate, lift: Lift, responses: Responses, zone_high_m: float) -> CandidateResult:
    """A result with what the response alone tells; the rest is not there yet."""
    table, sensor, stall = lift.sensor(), responses.sensor, responses.sensor.kind is SensorKind.STALL
    trip, release = responses.band("trip_m"), responses.band("release_m")
    wire = "reads made" if sensor.broken_wire_reads_made else "reads not made"
    return CandidateResult(
        name=candidate.name,
        kind=candidate.kind,
        lift=lift,
        mount_mm=typical(table.mount_mm),
        gap_mm=typical(table.gap_mm) if hasattr(table, "gap_mm") else NOTHING,
        trip_mm=trip,
        release_mm=release,
        hysteresis_mm=release.nominal - trip.nominal,
        window_mm=responses.window_mm,
        seen=(),
        seen_probability=0.0,
        false_trigger_probability=NOTHING,
        false_places_mm=() if stall else false_places_mm(responses),
        repeatability_mm=NOTHING,
        stop_distance_mm=StopDistance(NOTHING, NOTHING),
        room_mm=NOTHING,
        margin_mm=NOTHING,
        least_margin=NOTHING,
        sway_mm_per_mm=NOTHING,
        temperature_mm_per_k=NOTHING,
        broken_wire="none" if stall else wire,
        view=_view(table.name, responses, zone_high_m),
        requirements=(),
        passed=False,
        rank=0,
        why="",
    )


def _view(name: str, responses: Responses, zone_high_m: float) -> SensorView | None:
    if responses.sensor.kind is SensorKind.STALL:
        return None
    nominal, drawn = (responses.sensor, responses.nominal), (responses.drawn_sensor, responses.drawn)
    return view_of(name, nominal, drawn, zone_high_m)


def _tells_nothing(candidate: Candidate, lift: Lift, responses: Responses) -> CandidateResult:
    """A candidate that is made nowhere, or everywhere: what it lacks in its own unit and in millimetres."""
    everywhere = bool(np.isposinf(responses.nominal.trip_m[0]))
    miss, gap_mm = responses.miss, NOTHING if everywhere else nearest_gap_mm(responses)
    if not np.isnan(gap_mm):
        own_mm = float(np.asarray(getattr(responses.sensor, "gap_m", NOTHING))) / MM
        way = "nearer" if gap_mm < own_mm else "farther away"
        miss += f"; it would be made with a gap of {gap_mm:.1f} mm, {abs(gap_mm - own_mm):.1f} mm {way}"
    loops = loops_of(lift)
    nothing = Band(NOTHING, NOTHING, NOTHING)
    return replace(
        _heights(candidate, lift, responses, NOTHING),
        trip_mm=nothing,
        release_mm=nothing,
        window_mm=NOTHING if everywhere else 0.0,
        false_places_mm=(),
        seen=() if everywhere else _seen_over_speeds(lift, responses, loops),
        design_rule=_design_rule(lift, responses),
        why=f"{'made everywhere' if everywhere else 'never made'}: {miss}",
        miss=miss,
    )


def seen_at(responses: Responses, speed_m_s: float, loops: Loops) -> Floats:
    """Probability of every drawn sensor that one pass at this speed is seen, (n,)."""
    drawn = responses.drawn
    if responses.sensor.kind is SensorKind.STALL:
        return np.ones(len(drawn))
    sample_s = np.ravel(responses.drawn_sensor.sample_period_s)
    dwell = dwell_s(drawn.trip_m, drawn.window_low_m, speed_m_s)
    return seen_in_one_pass(dwell, sample_s, loops, dwell_s(drawn.trip_m, strong_low_m(drawn), speed_m_s))


def _seen_over_speeds(lift: Lift, responses: Responses, loops: Loops) -> tuple[tuple[float, float], ...]:
    fast, creep, free = (
        lift.routine.fast_speed_mm_s,
        lift.routine.creep_speed_mm_s,
        lift.drive.free_speed_mm_s,
    )
    speeds = sorted({creep, *(each for each in (fast * many for many in SPEED_MULTIPLES) if each <= free)})
    return tuple((speed, float(seen_at(responses, speed * MM, loops).mean())) for speed in speeds)


def edge_repeatability_mm(setting: Setting, means: Means) -> float:
    """Standard deviation of the zero over runs of one and the same lift [mm].

    Its tolerances stand still; start, loop, sample instants, noise, encoder phase and sway are drawn.
    """
    still = replace(setting, lift=replace(setting.lift, tolerances=()))
    indices = np.arange(EDGE_RUNS, dtype=np.int64)
    rows = run_many(still, indices, executor=means.executor, workers=means.workers)
    return float(scatter(as_ensemble(still, indices, rows).metrics["zero_error_mm"]))


def _design_rule(lift: Lift, responses: Responses) -> DesignRule | None:
    if responses.sensor.kind is not SensorKind.MAGNET:
        return None
    drawn, positions = responses.drawn, responses.grid.positions()
    on_travel = (positions >= 0.0) & (positions <= responses.grid.travel_m)
    signal = np.abs(drawn.signal) if drawn.two_sided else drawn.signal
    top = np.flatnonzero(on_travel)[np.argmax(positions[on_travel])]
    table: Any = lift.sensor()
    bounds = {each.key.rpartition(".")[2]: each for each in lift.tolerances}
    operate = bounds["operate_mt"].high if "operate_mt" in bounds else typical(table.operate_mt)
    release = bounds["release_mt"].low if "release_mt" in bounds else float(drawn.release.min()) / MT
    return DesignRule(
        closest_mt=float(signal[:, on_travel].max(axis=1).min()) / MT,
        operate_max_mt=operate,
        away_mt=float(np.abs(signal[:, top]).max()) / MT,
        release_min_mt=min(release, typical(table.release_mt)),
    )


def _press(lift: Lift, responses: Responses) -> Press | None:
    if responses.sensor.kind is not SensorKind.CONTACT:
        return None
    table: Any = lift.sensor()
    damage_mm = typical(table.overtravel_to_damage_mm) * typical(table.lever_ratio)
    return Press(max(responses.band("trip_m").nominal, 0.0), damage_mm)


def _largest(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(known.max()) if len(known) else NOTHING
