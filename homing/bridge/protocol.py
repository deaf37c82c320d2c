"""One loop as a line of JSON, and the program's answer checked; fields as the contract names them.

In, once a loop::

    {"t_s": 0.02, "start": true, "readings": {"bottom": false}, "counts": 0,
     "battery_v": 12.9, "current_a": 1.2}

and between runs ``{"reset": seed}``, which gets no answer. Out, once a loop::

    {"command": -0.4, "stop": null, "state": "down", "zero_at_counts": null, "done": false, "fault": null}

Only ``command`` or ``stop`` must be there. ``command`` is a share of the battery voltage, -1 to 1, or a
speed in mm/s, as ``drive.command`` of the lift file says.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from homing.kernel.codes import Order
from homing.values import nearest
from sensor_models.errors import InputError

KEYS = ("command", "stop", "state", "zero_at_counts", "done", "fault")
STOPS = {"hold": Order.HOLD, "shorted": Order.SHORTED, "open": Order.OPEN}
#: A press of a start button lasts so long [s]; common practice, no source.
START_HELD_S = 0.2
#: An answer is a short line; a longer one is no answer [bytes].
LONGEST_LINE = 10_000
#: No lift is told to move faster than this [mm/s]; own choice, far beyond any, so that numbers stay finite.
FASTEST_MM_S = 1.0e6
#: Of what was found, so many characters are told.
TOLD = 60
#: Counts that a controller can hold.
MOST_COUNTS = 2**53


@dataclass(frozen=True, slots=True)
class Answer:
    """What a controller wants in this loop; ``value`` in SI (m/s or duty), 0 for a stop."""

    order: Order
    value: float
    state: str
    zero_at_counts: float | None
    done: bool
    fault: str | None

    @property
    def ends(self) -> bool:
        """The controller has done its work or stopped itself."""
        return self.done or self.fault is not None


@dataclass(frozen=True)
class Rules:
    """What an answer may be on one lift.

    ``hold_allowed``: the drive has a loop of its own that can hold a place.
    """

    who: str
    order: Order
    hold_allowed: bool

    def refuse(self, must: str, got: object, key: str = "") -> InputError:
        told = got if got is None or len(repr(got)) <= TOLD else f"{repr(got)[:TOLD]}..."
        return InputError(must, file=self.who, key=f"answer.{key}" if key else "answer", got=told)


def message(t_s: float, reading: str, counts: int, battery_v: float, current_a: float) -> bytes:
    """One loop as a line; ``reading`` is the JSON text of the readings."""
    start = "true" if t_s <= START_HELD_S else "false"
    return (
        f'{{"t_s":{t_s:.6f},"start":{start},"readings":{reading},"counts":{counts},'
        f'"battery_v":{battery_v:.4f},"current_a":{current_a:.4f}}}\n'
    ).encode()


def reset_message(seed: int) -> bytes:
    """The line between two runs."""
    return f'{{"reset":{seed}}}\n'.encode()


def read_answer(line: bytes, rules: Rules) -> Answer:
    """An answer from its line.

    Raises
    ------
    InputError
        When it is no JSON object, or says what cannot be done.
    """
    try:
        given = json.loads(line)
    except (ValueError, RecursionError) as error:  # the latter: brackets nested thousands deep
        raise rules.refuse("must be one line of JSON (RFC 8259)", _shown(line)) from error
    return check_answer(given, rules)


def check_answer(given: Any, rules: Rules) -> Answer:
    """An answer from its object; every key is judged, and an unknown one refused."""
    if not isinstance(given, Mapping):
        raise rules.refuse("must be a JSON object", given)
    for key in given:
        if key not in KEYS:
            hint = nearest(key, KEYS) or "; known are " + ", ".join(KEYS)
            raise rules.refuse(f"has a key that is not known{hint}", key)
    order, value = _command(given, rules)
    state, fault, done, zero = (given.get(key) for key in ("state", "fault", "done", "zero_at_counts"))
    if state is not None and not isinstance(state, str):
        raise rules.refuse("must be a text or null", state, "state")
    if fault is not None and (not isinstance(fault, str) or not fault.strip()):
        raise rules.refuse("must be a text that is not empty, or null", fault, "fault")
    if done is not None and not isinstance(done, bool):
        raise rules.refuse("must be true, false or null", done, "done")
    if zero is not None and not (_is_number(zero) and abs(zero) < MOST_COUNTS):
        raise rules.refuse("must be a number of counts or null", zero, "zero_at_counts")
    counts = None if zero is None else float(zero)
    return Answer(order, value, state or "", counts, bool(done), fault)


def _command(given: Mapping[str, Any], rules: Rules) -> tuple[Order, float]:
    stop, command = given.get("stop"), given.get("command")
    if stop is not None:
        if not isinstance(stop, str) or stop not in STOPS:
            raise rules.refuse('must be "hold", "shorted", "open" or null', stop, "stop")
        if stop == "hold" and not rules.hold_allowed:
            raise rules.refuse(
                'must be "shorted" or "open": this drive takes duties and has no loop to hold', stop, "stop"
            )
        return STOPS[stop], 0.0
    if command is None:
        raise rules.refuse("must be given when stop is null", None, "command")
    if not _is_number(command):
        raise rules.refuse("must be a finite number", command, "command")
    if rules.order is Order.DUTY:
        if abs(command) > 1.0:
            raise rules.refuse("must lie within -1 to 1 (share of the battery voltage)", command, "command")
        return Order.DUTY, float(command)
    if abs(command) > FASTEST_MM_S:
        raise rules.refuse(f"must lie within {FASTEST_MM_S:g} mm/s either way", command, "command")
    return Order.SPEED, 1e-3 * float(command)


def _is_number(value: Any) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return isinstance(value, int) or math.isfinite(value)  # an integer may be too long for a float


def _shown(line: bytes) -> str:
    text = line.decode("utf-8", errors="replace").strip()
    return text if len(text) <= TOLD else f"{text[:TOLD]}..."
