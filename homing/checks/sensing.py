"""Checks of the end sensor: where it trips, how it is mounted, what it reads when it is unplugged."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from homing.checks.items import WATCHED_S, Facts, Item, answer, at_least, at_most, between
from homing.sensors import build_sensor
from sensor_models.kinds import SensorKind

#: Of a contact switch's travel past its operating point, this much must be left. Common practice, no source.
OVERTRAVEL_LEFT = 0.5


def _trip(facts: Facts) -> Item | None:
    view = facts.view
    if view is None:
        return None
    return Item(
        "Trip height",
        "Motor off: push the carriage slowly down by hand until it reads made; ruler from the hard stop.",
        between(*view.trip_band_mm, "mm"),
        25,
        "lowest and highest trip height over the tolerances",
        faults=("sensor moved or lever bent", "weak target", "target dropped off", "magnet turned over"),
        requirements=("overtravel_mm", "impact_speed_mm_s"),
        tolerances=(facts.key("mount_mm"), facts.key("gap_mm"), facts.key("operate_mt")),
    )


def _release(facts: Facts) -> Item | None:
    view = facts.view
    if view is None or not math.isfinite(view.trip_zone_mm[1]):
        return None
    return Item(
        "Release height",
        "Motor off: push the carriage slowly up by hand, until it no longer reads made.",
        between(view.trip_band_mm[0], view.trip_zone_mm[1], "mm"),
        15,
        "lowest trip and highest release height over the tolerances",
        faults=("sensor stuck on",),
        requirements=("zero_error_mm",),
        tolerances=(facts.key("release_mt"),),
    )


def _gap(facts: Facts) -> Item | None:
    band = facts.bands.get(facts.key("gap_mm"))
    if band is None:
        return None
    return Item(
        "Gap to the target",
        "Feeler or ruler between target and sensor where they face each other, carriage amid its play.",
        between(*band, "mm"),
        20,
        "tolerance of gap_mm",
        faults=("weak target", "target dropped off"),
        tolerances=(facts.key("gap_mm"),),
    )


def _play(facts: Facts) -> Item | None:
    _, high = facts.bands.get("lift.sway_mm", (0.0, facts.lift.lift.sway_mm))
    if high <= 0.0 or facts.kind is SensorKind.STALL:
        return None
    return Item(
        "Sideways play",
        "Push the carriage sideways at the sensor, either way from the middle.",
        at_most(high, "mm"),
        15,
        "sway_mm, as simulated",
        faults=("weak target", "sensor moved or lever bent"),
        tolerances=("lift.sway_mm",),
    )


def _unplugged(facts: Facts) -> Item | None:
    if facts.kind is SensorKind.STALL:
        return None
    made = build_sensor(facts.lift).broken_wire_reads_made
    return Item(
        "Sensor unplugged",
        "Pull the sensor's plug, read it in the program, plug it in again and pull at the cable.",
        answer(f"unplugged it reads {'made' if made else 'not made'}; no flicker when pulled"),
        20,
        "open_wire_reads and active (or wiring) of the sensor",
        faults=("wire broken", "worn cable", "reading inverted", "sensor stuck off"),
    )


def _quiet(facts: Facts) -> Item | None:
    if facts.kind is SensorKind.STALL:
        return None
    return Item(
        "Reading quiet",
        f"Watch the reading for {WATCHED_S:g} s at rest while the other motors run; shade and light it.",
        answer("no change of the reading"),
        15,
        "at rest nothing may change it",
        faults=("noise on the wire", "strong light", "worn contact"),
        requirements=("accepted_false_triggers",),
    )


def _contact_room(facts: Facts) -> Item | None:
    room_mm = facts.numbers.get(facts.key("overtravel_to_damage_mm"))
    if room_mm is None:
        return None
    return Item(
        "Switch has room left",
        "Carriage on its stop, power off: how much further can the actuator be pressed?",
        at_least(OVERTRAVEL_LEFT * room_mm, "mm"),
        15,
        "half of overtravel_to_damage_mm (common practice, no source)",
        faults=("worn contact", "sensor moved or lever bent"),
        requirements=("overtravel_mm",),
    )


def _volts(facts: Facts) -> Item | None:
    view = facts.view
    if view is None or view.unit != "V":
        return None
    low, high = (float(np.interp(0.0, view.x_mm, band)) for band in (view.signal_low, view.signal_high))
    return Item(
        "Volts at the stop",
        "Carriage on its stop: meter at the sensor's output.",
        between(low, high, "V"),
        15,
        "response curve at the hard stop over the tolerances",
        faults=("target dropped off", "weak target"),
        requirements=("overtravel_mm",),
    )


SENSING: tuple[Callable[[Facts], Item | None], ...] = (
    _trip,
    _release,
    _gap,
    _play,
    _unplugged,
    _quiet,
    _contact_room,
    _volts,
)
