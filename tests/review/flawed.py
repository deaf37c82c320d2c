"""A small sound routine, and routines that each hold one error people really make (trade notes, logical
errors).

``FLAWS`` maps a name to the table and to the finding that must be there. Errors that a table cannot express
belong to programs; ``NOT_IN_A_TABLE`` says why.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from functools import cache
from typing import Any

from small_routines import Routine, rows, setting_of, sound

from homing.setting import Setting


def _with(source: str, *changed: dict[str, Any], guards: bool = True) -> Routine:
    """The sound routine with other rows for one phase."""
    routine = copy.deepcopy(sound())
    kept = [row for row in routine["row"] if row["from"] != source]
    return {**routine, "row": kept + rows(source, *changed, guards=guards)}


def _and(routine: Routine, phase: dict[str, Any] | None, *more: dict[str, Any]) -> Routine:
    phases = [*routine["phase"], *([phase] if phase else [])]
    return {"phase": phases, "row": [*routine["row"], *more]}


CAPTURE = {"when": ["made"], "to": "rest", "do": ["capture_edge"]}
ZERO = {"when": [{"standstill_ms": 100}, {"made_times": 2}], "to": "home", "do": ["zero_at_edge"]}
TIME = {"when": [{"in_phase_s": 2}], "to": "off"}


def retry_without_end() -> Routine:
    """Reading lost at standstill: down again, as often as it likes."""
    again = {"when": [{"standstill_ms": 100}, {"not_made_times": 2}], "to": "leave", "do": ["count_retry"]}
    return _with("rest", ZERO, again, TIME, guards=False)


def limit_not_last() -> Routine:
    """Slows down first, and looks at the sensor after that."""
    routine = _with("down", {"when": [{"moved_in_mm": 50}], "to": "slow"}, CAPTURE)
    slow = {"name": "slow", "command": {"speed_mm_s": -30}}
    return _and(routine, slow, *rows("slow", CAPTURE, guards=True))


def drives_to_zero() -> Routine:
    """Drives to the old zero in place of homing."""
    routine = _with("down", {"when": [{"below_mm": 35}], "to": "stand"}, CAPTURE)
    stand = rows("stand", {"when": [{"standstill_ms": 100}], "to": "home"}, TIME)
    return {**_and(routine, {"name": "stand", "command": "stop"}, *stand), "referenced_at_start": True}


def one_more_push() -> Routine:
    """The reading is judged in one loop, the drive told in the next."""
    routine = _with("down", {"when": ["made"], "to": "push"})
    push = {"name": "push", "command": {"speed_mm_s": -60}}
    return _and(
        routine,
        push,
        *rows("push", {"when": [{"made_times": 2}], "to": "rest", "do": ["capture_edge"]}, guards=True),
    )


def forgotten_limit() -> Routine:
    """The automatic way in lacks the limit that the other one has."""
    routine = copy.deepcopy(sound())
    routine["row"][1] = {"from": "idle", "when": ["start_requested"], "to": "auto_down"}
    auto = {"name": "auto_down", "command": {"speed_mm_s": -60}}
    return _and(
        routine, auto, *rows("auto_down", {"when": [{"moved_in_mm": 500}], "to": "down"}, guards=True)
    )


def start_again_with_retries() -> Routine:
    counted = {
        "when": [{"standstill_ms": 100}, {"not_made_times": 2}], "unless": [{"retries_used": 2}],
        "to": "leave", "do": ["count_retry"],
    }  # fmt: skip
    routine = _with("rest", ZERO, counted, TIME, guards=False)
    return _and(routine, None, *rows("home", {"when": ["start_requested"], "to": "down"}))


def old_height() -> Routine:
    routine = _with("down", {"when": [{"below_mm": -20}], "to": "off"}, CAPTURE)
    return _and(routine, None, *rows("off", {"when": ["start_requested"], "to": "down"}))


def dead_end() -> Routine:
    routine = _with("rest", {**ZERO, "to": "thinking", "do": []}, TIME, guards=False)
    return _and(routine, {"name": "thinking", "command": "stop"})


def timer_runs_on() -> Routine:
    return _with("down", {**CAPTURE, "do": ["capture_edge", "keep_clocks"]})


def self_willed_fault() -> Routine:
    return _and(sound(), None, *rows("off", {"when": ["made"], "to": "leave"}))


#: Name of the error -> its table and the finding that tells it.
FLAWS: dict[str, tuple[Callable[[], Routine], str]] = {
    "limit not last": (
        limit_not_last,
        "made does not always stop it",
    ),
    "stops both directions": (
        lambda: _with("leave", CAPTURE, {"when": [{"released_by_mm": 10}], "to": "down"}),
        "blocked outwards at the sensor",
    ),
    "disabled lift moves": (self_willed_fault, "faulted is left without a request"),
    "target at or beyond the limit": (
        lambda: _with("down", {"when": [{"below_mm": 0}], "to": "rest"}),
        "moves in without asking the sensor",
    ),
    "drives to zero in place of homing": (drives_to_zero, "zeroed without a zero"),
    "reset accepted low down": (
        lambda: _with(
            "rest",
            {"when": [{"standstill_ms": 100}, {"below_mm": 30}], "to": "home", "do": ["zero_here"]},
            ZERO,
            TIME,
            guards=False,
        ),
        "zero without asking the sensor",
    ),
    "reset on every loop while pressed": (
        lambda: _with(
            "rest", {"when": ["made"], "to": "rest", "do": ["zero_here"]}, ZERO, TIME, guards=False
        ),
        "zero again in every loop",
    ),
    "reset while coasting": (
        lambda: _with(
            "rest", {"when": [{"made_times": 2}], "to": "home", "do": ["zero_here"]}, TIME, guards=False
        ),
        "zero while moving",
    ),
    "no time-out, no travel guard": (
        lambda: _with("down", CAPTURE, guards=False),
        "moves without a time-out or a travel guard",
    ),
    "one more push": (one_more_push, "made does not always stop it"),
    "timed lowering": (
        lambda: _with("down", {"when": [{"in_phase_s": 3}], "to": "rest"}, CAPTURE),
        "lowers by time",
    ),
    "polarity flipped": (
        lambda: _with("down", {"when": ["not_made"], "to": "rest", "do": ["capture_edge"]}),
        "moves in without asking the sensor",
    ),
    "edge-triggered start on the sensor": (
        lambda: {
            **_with("down", {**CAPTURE, "when": ["just_made"]}),
            "row": [
                row
                for row in _with("down", {**CAPTURE, "when": ["just_made"]})["row"]
                if (row["from"], row["to"]) != ("idle", "leave")
            ],
        },
        "start on the sensor is not handled",
    ),
    "next stage before release": (
        lambda: _with("leave", {"when": [{"moved_out_mm": 3}], "to": "down"}),
        "comes back in before the sensor has let go",
    ),
    "one-sided tolerance": (
        lambda: _with(
            "down",
            {"when": [{"moved_out_mm": 700}], "to": "off"},
            {"when": [{"in_phase_s": 12}], "to": "off"},
            CAPTURE,
            guards=False,
        ),
        "moves without a travel guard",
    ),
    "timer not reset": (timer_runs_on, "timer not restarted on entry"),
    "old zero trusted": (old_height, "old zero trusted after a fault"),
    "retries never cleared": (start_again_with_retries, "retries never forgotten"),
    "missing branch": (dead_end, "phase without a way out"),
    "spike taken for stall": (
        lambda: _with(
            "down",
            CAPTURE,
            {"when": [{"not_moving_ms": 40}], "to": "home", "do": ["zero_here"]},
        ),
        "starting is taken for standing",
    ),
    "stopped judged too soon": (
        lambda: _with(
            "rest", {**ZERO, "when": [{"standstill_ms": 10}, {"made_times": 2}]}, TIME, guards=False
        ),
        "standstill judged too soon",
    ),
    "limit of the other mode forgotten": (forgotten_limit, "moves in without asking the sensor"),
    "stop waits for agreement": (
        lambda: _with("down", {**CAPTURE, "when": [{"made_times": 3}]}),
        "stop waits for readings to agree",
    ),
    "retries without end": (retry_without_end, "retries without end"),
    "waits without a time limit": (
        lambda: _with("rest", ZERO, guards=False),
        "no way out: sensor stuck off",
    ),
    "trouble passed over": (
        lambda: _with("down", {"when": [{"wrong_way_mm": 20}], "to": "leave"}, CAPTURE),
        "trouble does not lead to a fault",
    ),
    "moving while told to stand passed over": (
        lambda: _with("rest", {"when": [{"moved_mm": 50}], "to": "leave"}, ZERO, TIME, guards=False),
        "trouble does not lead to a fault",
    ),
    "made too high passed over": (
        lambda: _with("down", {"when": ["made", {"above_mm": 200}], "to": "leave"}, CAPTURE),
        "trouble does not lead to a fault",
    ),
    "two rows disagree": (
        lambda: _with("down", CAPTURE, {"when": ["made"], "to": "off"}),
        "two rows disagree",
    ),
    "zero on a first reading": (
        lambda: _with("rest", {**ZERO, "when": [{"standstill_ms": 100}, "made"]}, TIME, guards=False),
        "zero on a first reading",
    ),
}

#: Errors of the trade notes' list that a table cannot express, and why.
NOT_IN_A_TABLE = {
    "stop, then the output is written again": "a phase has one command; its likeness here: limit not last",
    "precedence of a guard": "conditions are lists, not formulas; its likeness here: disabled lift moves",
    "cached reading never refreshed": "readings are taken in every loop",
    "sleep inside reset": "a row takes no time",
    "start flag held high": "a request is used up by the row that asks for it",
    "soft limits not restored": "a table has no limits besides its rows",
    "output left from the old state": "the command belongs to the phase",
}


@cache
def flawed(name: str) -> Setting:
    return setting_of(FLAWS[name][0]())
