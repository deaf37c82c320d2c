"""Checks of supply, controller and motion."""

from __future__ import annotations

import math
from collections.abc import Callable

from homing.checks.items import COMPARED_MM, Facts, Item, answer, at_least, at_most, between

#: Jitter is drawn within this many standard deviations.
JITTER_ENDS = 3.0


def _battery(facts: Facts) -> Item | None:
    band = facts.bands.get("battery.open_circuit_v")
    if band is None:
        return None
    return Item(
        "Battery at rest",
        "Meter at the battery, nothing running.",
        between(*band, "V"),
        15,
        "tolerance of open_circuit_v",
        faults=("supply dip",),
        requirements=("peak_current_a",),
        tolerances=("battery.open_circuit_v",),
    )


def _battery_loaded(facts: Facts) -> Item | None:
    band, current = facts.bands.get("battery.open_circuit_v"), facts.results.get("peak_current_a")
    if band is None or current is None or not math.isfinite(current.p99):
        return None
    ohm = facts.lift.battery.resistance_ohm
    return Item(
        "Battery under load",
        "Meter at the battery while the lift moves out: the lowest it shows.",
        at_least(band[0] - ohm * current.p99, "V"),
        15,
        f"lowest voltage at rest less {ohm:g} ohm x {current.p99:.1f} A, which 99 % of the runs keep",
        faults=("supply dip", "one motor dead", "motors opposed"),
        requirements=("peak_current_a",),
        tolerances=("battery.resistance_ohm",),
    )


def _loop(facts: Facts) -> Item:
    controller = facts.lift.controller
    spread = min(JITTER_ENDS * controller.jitter_ms, controller.period_ms / 2)
    return Item(
        "Loop time, usual",
        "Log the loop's period for 10 s with everything running; look at the middle value.",
        between(controller.period_ms - spread, controller.period_ms + spread, "ms"),
        20,
        "period_ms with three times jitter_ms either way",
        faults=("late loop of 50 ms",),
        requirements=("overtravel_mm",),
        tolerances=("controller.period_ms",),
    )


def _late_loop(facts: Facts) -> Item:
    return Item(
        "Loop time, longest",
        "Log the loop's period for 10 s with everything running; look at the longest.",
        at_most(facts.lift.controller.late_loop_ms, "ms"),
        10,
        "late_loop_ms: the longest that was simulated",
        faults=("late loop of 100 ms", "late loop of 200 ms", "stale readings"),
        requirements=("overtravel_mm",),
    )


def _by_hand(facts: Facts) -> Item:
    return Item(
        "Slides by hand",
        "Power off: move the carriage over the whole travel.",
        answer("even all the way, no sticky spot"),
        15,
        "a sticky spot is not in the model of a healthy lift",
        faults=("sticky spot",),
        tolerances=("lift.friction_n", "lift.viscous_n_s_per_m"),
    )


def _past_edge(facts: Facts) -> Item | None:
    result = facts.results.get("overtravel_mm")
    usual = facts.from_start("overtravel_mm")
    if result is None or not math.isfinite(usual):
        return None
    return Item(
        "Run past the edge",
        "Zero from the usual start with a log: trip height less the lowest height told.",
        at_most(usual, "mm"),
        20,
        f"99 % of the runs from the usual start keep it; the requirement is {result.limit:g} mm",
        faults=("late loop of 50 ms", "brake lost"),
        requirements=("overtravel_mm", "impact_speed_mm_s"),
        tolerances=("lift.moving_mass_kg", "drive.deceleration_mm_s2"),
    )


def _slack(facts: Facts) -> Item | None:
    result = facts.results.get("slack_mm")
    if result is None:
        return None
    return Item(
        "Loose string",
        "After zeroing, power off: gather the loose string at the spool by hand.",
        at_most(result.limit, "mm"),
        15,
        "slack_mm of the requirements",
        faults=("string off its pulley", "string broken"),
        requirements=("slack_mm",),
    )


def _ruler(facts: Facts) -> Item:
    limit = facts.results["zero_error_mm"].limit
    place = min(COMPARED_MM, facts.lift.lift.travel_mm / 4)
    return Item(
        "Height told against ruler",
        f"After zeroing, command {place:g} mm and measure the carriage from the hard stop.",
        between(place - limit, place + limit, "mm"),
        25,
        "zero_error_mm of the requirements, either way",
        faults=("count loss", "count reset", "encoder unplugged", "hub slipped"),
        requirements=("zero_error_mm",),
    )


def _twice(facts: Facts) -> Item | None:
    limit = facts.numbers.get("routine.recheck_tolerance_mm")
    if limit is None:
        return None
    return Item(
        "Zero twice",
        "Zero, note the edge, zero again: difference between the two edges.",
        at_most(limit, "mm"),
        25,
        "recheck_tolerance_mm of the routine",
        faults=("hub slipped", "sensor moved or lever bent", "count loss"),
        requirements=("zero_error_mm",),
    )


def _time(facts: Facts) -> Item | None:
    usual_s = facts.from_start("time_to_zero_s")
    if not math.isfinite(usual_s):
        return None
    return Item(
        "Time to zero",
        "Zero from the usual start; from start until zero is told, by log or watch.",
        at_most(1000.0 * usual_s, "ms"),
        20,
        "99 % of the runs from the usual start keep it",
        faults=("sticky spot", "one motor dead"),
        requirements=("time_to_zero_s",),
        tolerances=("lift.friction_n", "lift.moving_mass_kg"),
    )


RUNNING: tuple[Callable[[Facts], Item | None], ...] = (
    _battery,
    _battery_loaded,
    _loop,
    _late_loop,
    _by_hand,
    _past_edge,
    _slack,
    _ruler,
    _twice,
    _time,
)
