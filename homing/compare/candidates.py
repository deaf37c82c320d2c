"""The candidates of a lift file, each as a complete lift whose routine's sensor is the candidate.

Whatever works on a lift then works on a candidate. What becomes of the file:

- ``[[candidate]]`` takes the place of ``[[sensor]]``; without any, the file's own sensors are the candidates
- a span ``[low, high]`` stands at its middle until ``spans.settle`` has chosen within it
- ``"candidate.NAME.key"`` among the tolerances becomes the sensor's; where a candidate has no tolerance
  for a mounting dimension, it takes that of the routine's sensor, since the same hands mount it
- ``[routine] reference_mm`` belongs to the file's own sensor and is left out
"""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from homing.assumed import Assumed
from homing.values import Range, typical
from sensor_models.kinds import Approach, SensorKind

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.sensortables import AnySensor
    from homing.tolerances import Tolerance

#: Dimensions that whoever mounts a sensor decides, whatever its kind.
MOUNTING_KEYS = ("mount_mm", "gap_mm", "side_offset_mm", "tilt_deg")
#: Of these a gap cannot be negative.
_LEAST = {"gap_mm": 0.0}


@dataclass(frozen=True)
class Span:
    """A key of the candidate that may lie anywhere from ``low`` to ``high``, in the key's own unit."""

    key: str
    low: float
    high: float


@dataclass(frozen=True)
class Candidate:
    """One candidate: ``lift`` is complete and checked, and its routine's sensor is the candidate."""

    name: str
    kind: str
    lift: Lift
    spans: tuple[Span, ...] = ()
    assumed: tuple[Assumed, ...] = ()


def candidates_of(lift: Lift) -> tuple[Candidate, ...]:
    """Return the candidates of a lift file in its order.

    Parameters
    ----------
    lift : Lift

    Raises
    ------
    InputError
        When the lift cannot have one of them as its sensor.

    Examples
    --------
    >>> from homing.liftfile import load_lift
    >>> [(candidate.name, candidate.kind) for candidate in candidates_of(load_lift())]
    [('bottom', 'magnet')]
    """
    group, tables = ("candidate", lift.candidates) if lift.candidates else ("sensor", lift.sensors)
    return tuple(_candidate(lift, group, row, table) for row, table in enumerate(tables))


def _candidate(lift: Lift, group: str, row: int, table: AnySensor) -> Candidate:
    from homing.assembly import assemble

    spans = tuple(_spans(table))
    own = copy.deepcopy(lift.given[group][row])
    own["name"] = table.name
    for span in spans:
        _put(own, span.key, (span.low + span.high) / 2)
    given = {key: value for key, value in lift.given.items() if key not in ("sensor", "candidate")}
    routine = {key: value for key, value in given.get("routine", {}).items() if key != "reference_mm"}
    if group == "sensor" and table.name == lift.routine.sensor:
        routine = dict(given.get("routine", {}))
    tolerances, assumed = _tolerances(lift, group, table)
    given |= {
        "sensor": [own],
        "routine": {**routine, "sensor": table.name},
        "tolerances": tolerances,
    }
    return Candidate(table.name, table.kind.name.lower(), assemble(given, lift.source), spans, assumed)


def _spans(table: Any, prefix: str = "") -> Iterator[Span]:
    for key in type(table).model_fields:
        value = getattr(table, key)
        if isinstance(value, Range):
            yield Span(f"{prefix}{key}", value.low, value.high)
        elif key == "magnet":
            yield from _spans(value, "magnet.")


def _put(table: dict[str, Any], key: str, value: float) -> None:
    head, _, last = key.rpartition(".")
    inner = table[head] if head else table
    inner[last] = value


def _tolerances(lift: Lift, group: str, table: AnySensor) -> tuple[dict[str, Any], tuple[Assumed, ...]]:
    """Tolerances of the lift with this candidate, and what of them was not stated but taken over."""
    given: Mapping[str, Any] = lift.given.get("tolerances", {})
    own, name = f"{group}.{table.name}.", table.name
    kept = {key: form for key, form in given.items() if not key.startswith(("sensor.", "candidate."))}
    kept |= {
        f"sensor.{name}.{key.removeprefix(own)}": form for key, form in given.items() if key.startswith(own)
    }
    assumed = []
    if group == "candidate":
        routine = f"sensor.{lift.routine.sensor}."
        of_routine = {
            key: each
            for each in lift.tolerances
            if each.key.startswith(routine) and (key := each.key.removeprefix(routine)) in MOUNTING_KEYS
        }
        for key, low, high in _taken_over(lift, table, of_routine):
            if f"sensor.{name}.{key}" not in kept:
                kept[f"sensor.{name}.{key}"] = {"low": low, "high": high}
                origin = f"mounting tolerance of the routine's sensor, {lift.routine.sensor}"
                assumed.append(Assumed(f"tolerances.candidate.{name}.{key}", [low, high], origin))
    return kept, tuple(assumed)


def _taken_over(
    lift: Lift, table: AnySensor, tolerances: Mapping[str, Tolerance]
) -> Iterator[tuple[str, float, float]]:
    """Key, lowest and highest value of this table for every mounting tolerance that it can take over."""
    numbers = lift.quantities()
    for key, each in tolerances.items():
        if key not in type(table).model_fields or _is_fixed(table, key):
            continue
        nominal, middle = numbers[each.key], typical(getattr(table, key))
        low = max(middle + each.low - nominal, _LEAST.get(key, -math.inf))
        yield key, low, middle + each.high - nominal


def _is_fixed(table: AnySensor, key: str) -> bool:
    """The hard stop is not mounted; head on, mounting height and gap are one dimension, held by the gap."""
    head_on = getattr(table, "approach", None) is Approach.HEAD_ON
    return key == "mount_mm" and (head_on or table.kind is SensorKind.STALL)


def moved(lift: Lift, changes: Mapping[str, float]) -> Lift:
    """Return the lift with keys of its sensor changed, tolerances and reference moving along.

    A tolerance that was stated as absolute bounds keeps its distance from the nominal value; a
    ``reference_mm`` goes with the mounting height, as whoever moves a sensor declares its edge anew.
    """
    from homing.assembly import assemble, changed

    numbers = lift.quantities()
    tables = changed(lift, changes)
    for key, value in changes.items():
        form = tables.get("tolerances", {}).get(key)
        shift, least = value - numbers[key], _LEAST.get(key.rpartition(".")[2], -math.inf)
        if isinstance(form, dict):
            tables["tolerances"][key] = {name: max(bound + shift, least) for name, bound in form.items()}
        if key.endswith(".mount_mm") and lift.routine.reference_mm is not None:
            tables["routine"]["reference_mm"] = lift.routine.reference_mm + shift
    return assemble(tables, lift.source)
