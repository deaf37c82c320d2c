"""How far each number of a lift may stray: stated in the file, or spread by a data sheet.

A tolerance of the file is a half-width in the key's unit (``0.8``), a share (``"30%"``) or absolute
bounds (``{ low = 3, high = 7 }``). It wins over the spread of a data sheet on the same key. Each bound
is tried: a lift at the bound must itself be acceptable.

One rule ties a pair. A switch's release point moves with its operate point (it is the same element):
unless ``release_mt`` has a tolerance of its own or the part states a least hysteresis, it is not drawn
but follows, along its own spread where both are spread, in proportion otherwise (``follow``). With a
least hysteresis both are drawn, and the sensor's model keeps them that far apart.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from homing.sensortables import AnySensor, MagnetTable
from homing.values import Spread, is_number, nearest, typical
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from homing.liftfile import Lift

Attempt = Callable[["Lift", Mapping[str, Any]], "Lift"]

_SHARE = re.compile(r"^\s*([0-9]+(?:\.[0-9]+)?)\s*%\s*$")
_FORMS = 'be a half-width above 0, a share such as "30%", or {low, high}'


@dataclass(frozen=True, slots=True)
class Tolerance:
    """A key that strays evenly between two bounds, in the key's own unit."""

    key: str
    low: float
    high: float
    origin: str


def work_out(lift: Lift, attempt: Attempt) -> tuple[Tolerance, ...]:
    """Return the tolerances of a lift in the order of its keys.

    Parameters
    ----------
    lift : Lift
        Complete but for its tolerances.
    attempt : callable
        Makes the lift with some keys changed, or raises ``InputError``.

    Raises
    ------
    InputError
        For an unknown key, an empty tolerance, or a bound that the lift cannot have.
    """
    stated = {tolerance.key: tolerance for tolerance in _stated(lift, attempt)}
    spreads = {tolerance.key: tolerance for tolerance in _spreads(lift)}
    found = {**spreads, **stated}
    for sensor in lift.sensors:
        if follows(lift, sensor):
            found.pop(f"sensor.{sensor.name}.release_mt", None)
    order = list(lift.quantities())
    return tuple(sorted(found.values(), key=lambda tolerance: order.index(tolerance.key)))


def follows(lift: Lift, sensor: AnySensor) -> bool:
    """True when a magnet switch's release point is not drawn but follows its operate point."""
    own = f"sensor.{sensor.name}.release_mt" in lift.given.get("tolerances", {})
    return isinstance(sensor, MagnetTable) and typical(sensor.hysteresis_min_mt) == 0 and not own


def follow(sensor: AnySensor, operate_mt: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
    """Release point of a magnet switch [mT] for a drawn operate point, by the rule above."""
    assert isinstance(sensor, MagnetTable)
    operate, release = sensor.operate_mt, sensor.release_mt
    if isinstance(operate, Spread) and isinstance(release, Spread):
        x = (operate.low, operate.typ, operate.high)
        drawn = np.interp(operate_mt, x, (release.low, release.typ, release.high))
        beyond = operate_mt - np.clip(operate_mt, operate.low, operate.high)
        return drawn + beyond
    return typical(release) * operate_mt / typical(operate)


def _stated(lift: Lift, attempt: Attempt) -> Iterator[Tolerance]:
    numbers = lift.quantities()
    for given, form in lift.given.get("tolerances", {}).items():
        key = _full_key(given, numbers)
        place = f'tolerances."{given}"'
        if isinstance(form, dict) and not {"low", "high"} & set(form):
            raise InputError(
                f'must {_FORMS[3:]}; a key with dots stands in quotes: "{given}.{next(iter(form), "key")}"',
                file=lift.source,
                key=place,
            )
        if key not in numbers:
            raise InputError(
                f"is not a numeric key of this lift{nearest(key, numbers)}", file=lift.source, key=place
            )
        _refuse_untouchable(lift, key, place)
        low, high = _bounds(form, numbers[key], place, lift.source)
        _try_bounds(lift, attempt, key, (low, high), place)
        yield Tolerance(key, low, high, "lift file")


def _full_key(key: str, numbers: Mapping[str, float]) -> str:
    """``sensor.NAME.remanence_t`` may stand for ``sensor.NAME.magnet.remanence_t``."""
    head, _, last = key.rpartition(".")
    longer = f"{head}.magnet.{last}"
    return longer if key not in numbers and longer in numbers else key


def _refuse_untouchable(lift: Lift, key: str, place: str) -> None:
    if key.startswith("requirements."):
        raise InputError("must not be given: a limit has no tolerance", file=lift.source, key=place)
    if key == "lift.start_mm":
        raise InputError("must not be given: verify draws the start itself", file=lift.source, key=place)
    section, _, name = key.partition(".")
    value = getattr(getattr(lift, section, None), name, None)
    if isinstance(value, int):
        raise InputError("must not be given: a whole number has no tolerance", file=lift.source, key=place)


def _bounds(form: Any, nominal: float, place: str, file: str) -> tuple[float, float]:
    if isinstance(form, dict):
        return _absolute(form, nominal, place, file)
    share = _SHARE.match(form) if isinstance(form, str) else None
    half = abs(nominal) * float(share[1]) / 100 if share else form
    if not is_number(half) or half < 0:
        raise InputError(f"must {_FORMS}", file=file, key=place, got=form)
    if half == 0:
        what = f"a share of {nominal:g}" if share else "a half-width of 0"
        raise InputError(f"must {_FORMS}: {what} leaves nothing to vary", file=file, key=place, got=form)
    return nominal - half, nominal + half


def _absolute(form: Mapping[str, Any], nominal: float, place: str, file: str) -> tuple[float, float]:
    if set(form) != {"low", "high"} or not all(map(is_number, form.values())):
        raise InputError(
            "must have two numbers, low and high, and nothing else", file=file, key=place, got=dict(form)
        )
    low, high = float(form["low"]), float(form["high"])
    if low >= high:
        raise InputError("must have low below high", file=file, key=place, got=dict(form))
    if not low <= nominal <= high:
        raise InputError(f"must hold the nominal value, {nominal:g}", file=file, key=place, got=dict(form))
    return low, high


def _try_bounds(lift: Lift, attempt: Attempt, key: str, bounds: tuple[float, float], place: str) -> None:
    for bound in bounds:
        changes: dict[str, Any] = {key: bound}
        head, _, last = key.rpartition(".")
        if last == "operate_mt":
            changes[f"{head}.release_mt"] = float(follow(lift.sensor(head.partition(".")[2]), bound))
        if key == "lift.friction_n":
            changes |= _with_friction(lift, bound)
        try:
            attempt(lift, changes)
        except InputError as error:
            why = str(error).removeprefix(f"{lift.source}, ")
            raise InputError(
                f"reaches {bound:g}, which the lift cannot have: {why}", file=lift.source, key=place
            ) from error


def _with_friction(lift: Lift, friction_n: float) -> dict[str, float]:
    """Friction at rest goes along with kinetic friction, in proportion."""
    static, kinetic = lift.lift.static_friction_n, lift.lift.friction_n
    return {
        "lift.static_friction_n": max(friction_n * static / kinetic if kinetic > 0 else static, friction_n)
    }


def _spreads(lift: Lift) -> Iterator[Tolerance]:
    assumed = {each.key: each.origin for each in lift.assumed}
    for sensor in lift.sensors:
        tables = [(f"sensor.{sensor.name}", sensor)]
        if isinstance(sensor, MagnetTable):
            tables.append((f"sensor.{sensor.name}.magnet", sensor.magnet))  # type: ignore[arg-type]
        for prefix, table in tables:
            for key in type(table).model_fields:
                value = getattr(table, key)
                if isinstance(value, Spread) and math.isfinite(value.low):
                    path = f"{prefix}.{key}"
                    yield Tolerance(path, value.low, value.high, assumed.get(path, "spread in the lift file"))
