"""Checks that come first, whatever the lift: before anybody reaches in and before anything moves."""

from __future__ import annotations

from collections.abc import Callable

from homing.checks.items import COMPARED_MM, WATCHED_S, Facts, Item, answer, at_most
from homing.kernel.watch import STANDSTILL_M_S
from homing.lift import MM


def _power_off(facts: Facts) -> Item:
    return Item(
        "Power off, lift down",
        "Switch off at the main switch, lower the carriage onto its stop or pin it; then hands may go in.",
        answer("off, down, nobody reaching in"),
        15,
        "common practice in workshops, no source",
        safety=True,
    )


def _mechanics(facts: Facts) -> Item:
    pulls = "String whole, in every pulley, wound one way" if facts.lift.string else "Belt or screw whole"
    return Item(
        "Stops and string" if facts.lift.string else "Stops and drive",
        f"{pulls}; hard stops tight; set screws tight, pen marks across hub and shaft in line.",
        answer("all sound and tight"),
        25,
        "common practice in workshops, no source",
        faults=("string off its pulley", "string broken", "hub slipped"),
        safety=True,
    )


def _sag(facts: Facts) -> Item:
    sag_mm = STANDSTILL_M_S / MM * WATCHED_S
    return Item(
        "Holds without power",
        f"Soft block below. Raise it by {COMPARED_MM:g} mm, switch off, watch it for {WATCHED_S:g} s.",
        at_most(sag_mm, "mm"),
        20,
        f"slower than {STANDSTILL_M_S / MM:g} mm/s counts as standing, over {WATCHED_S:g} s",
        faults=("brake lost",),
        requirements=("moving_at_end",),
        safety=True,
    )


def _direction(facts: Facts) -> Item | None:
    limit_ms = facts.numbers.get("routine.no_motion_ms")
    if limit_ms is None:
        return None
    return Item(
        "Direction",
        "Soft block below, low power: command slowly out. Carriage goes out and counts rise.",
        at_most(limit_ms, "ms"),
        15,
        "no_motion_ms: later than that the routine gives up",
        faults=("drive reversed", "motors opposed", "one motor dead", "encoder unplugged"),
        safety=True,
    )


SAFETY: tuple[Callable[[Facts], Item | None], ...] = (
    _power_off,
    _mechanics,
    _sag,
    _direction,
)
