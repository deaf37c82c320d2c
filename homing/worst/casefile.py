"""Reading a case file: every key checked, then held against the lift that is to play it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from homing.draws import Start
from homing.faults import faults_for
from homing.values import is_number, nearest
from homing.worst.case import SHARES, Case
from homing.worst.cube import RUN_NUMBERS
from homing.worst.timing import LateLoop, Timing
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift

#: Sections of a case file, those that it always has first, and their keys beside the shares.
ALWAYS = ("case", "start", "sway", "values")
KNOWN = (*ALWAYS, "timing", "fault")
REQUIRED: Mapping[str, tuple[str, ...]] = {
    "case": ("lift", "lift_mark", "seed", "requirement", "margin"),
    "start": ("kind",),
    "timing": ("late_loop",),
    "fault": ("name",),
}
OPTIONAL: Mapping[str, tuple[str, ...]] = {"case": ("run_number", "timing_mark")}


def read_case(file: str | Path) -> Mapping[str, Any]:
    """Tables of a case file, its sections and keys checked; ``as_case`` then holds them against a lift."""
    from homing.liftfile import parse

    try:
        given = parse(Path(file).read_text(encoding="utf-8"), str(file))
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "not UTF-8 text"
        raise InputError(f"cannot be read as a case file ({why.lower()})", file=str(file)) from None
    for section, table in given.items():
        _check_section(section, table, str(file))
    for section in (*ALWAYS, *(each for each in ("timing", "fault") if each in given)):
        for key in (*REQUIRED.get(section, ()), *SHARES.get(section, ())):
            if key not in given.get(section, {}):
                raise InputError("must be given", file=str(file), key=f"{section}.{key}")
    return given


def _check_section(section: str, table: Any, file: str) -> None:
    """Refuse what no case file has."""
    if section not in KNOWN or not isinstance(table, dict):
        raise InputError(f"is not a section of a case file{nearest(section, KNOWN)}", file=file, key=section)
    keys = (*REQUIRED.get(section, ()), *OPTIONAL.get(section, ()), *SHARES.get(section, ()))
    for key in table if section != "values" else ():
        if key not in keys:
            raise InputError(f"is not a known key{nearest(key, keys)}", file=file, key=f"{section}.{key}")


def as_case(given: Mapping[str, Any], lift: Lift, file: str) -> Case:
    """Case from the tables of its file, held against the lift that is to play it."""
    head, start = given["case"], given["start"]
    starts = {each.words: each for each in Start}
    if not isinstance(start["kind"], str) or start["kind"] not in starts:
        raise InputError(
            f"must be one of {', '.join(starts)}", file=file, key="start.kind", got=start["kind"]
        )
    fault = given.get("fault")
    return Case(
        lift=str(head["lift"]),
        lift_mark=str(head["lift_mark"]),
        seed=_whole(head["seed"], file, "case.seed", 2**63),
        requirement=str(head["requirement"]),
        margin=_number(head["margin"], file, "case.margin"),
        run_number=_whole(head["run_number"], file, "case.run_number", RUN_NUMBERS)
        if "run_number" in head
        else None,
        start=starts[start["kind"]],
        start_place=_share(start["place"], file, "start.place"),
        count_phase=_share(start["count_phase"], file, "start.count_phase"),
        sway=(
            _share(given["sway"]["towards"], file, "sway.towards"),
            _share(given["sway"]["sideways"], file, "sway.sideways"),
        ),
        values=_values(given.get("values", {}), lift, file),
        fault=None if fault is None else _fault(fault, lift, file),
        fault_shares=(0.0, 0.0, 0.0) if fault is None else _fault_shares(fault, file),
        timing=_timing(given["timing"], file) if "timing" in given else Timing(),
        timing_mark=str(head["timing_mark"]) if "timing_mark" in head else None,
    )


def _timing(table: Mapping[str, Any], file: str) -> Timing:
    kinds = {each.words: each for each in LateLoop}
    late = table["late_loop"]
    if not isinstance(late, str) or late not in kinds:
        must = f"must be one of {', '.join(kinds)}"
        raise InputError(must, file=file, key="timing.late_loop", got=late)
    shares = {key: _share(table[key], file, f"timing.{key}") for key in SHARES["timing"]}
    return Timing(late_loop=kinds[late], **shares)


def _values(table: Mapping[str, Any], lift: Lift, file: str) -> dict[str, float]:
    bounds = {tolerance.key: tolerance for tolerance in lift.tolerances}
    for key, value in table.items():
        if key not in bounds:
            must = f"must be a tolerance of the lift{nearest(key, bounds)}"
            raise InputError(must, file=file, key=f"values.{key}")
        low, high = bounds[key].low, bounds[key].high
        if not is_number(value) or not low <= value <= high:
            raise InputError(f"must be {low:g} to {high:g}", file=file, key=f"values.{key}", got=value)
    missing = next((key for key in bounds if key not in table), None)
    if missing is not None:
        raise InputError("must be given: the lift has a tolerance for it", file=file, key=f"values.{missing}")
    return {key: float(table[key]) for key in bounds}


def _fault(table: Mapping[str, Any], lift: Lift, file: str) -> str:
    names = [kind.name for kind in faults_for(lift)]
    name = table.get("name")
    if name not in names:
        hint = nearest(str(name), names)
        raise InputError(f"must be a fault of this lift{hint}", file=file, key="fault.name", got=name)
    return str(name)


def _fault_shares(table: Mapping[str, Any], file: str) -> tuple[float, float, float]:
    when, size, place = (_share(table.get(key), file, f"fault.{key}") for key in SHARES["fault"])
    return when, size, place


def _number(value: Any, file: str, key: str) -> float:
    if not is_number(value) or not math.isfinite(value):
        raise InputError("must be a number", file=file, key=key, got=value)
    return float(value)


def _share(value: Any, file: str, key: str) -> float:
    if not is_number(value) or not 0.0 <= value <= 1.0:
        raise InputError("must be a number from 0 to 1", file=file, key=key, got=value)
    return float(value)


def _whole(value: Any, file: str, key: str, below: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < below:
        raise InputError(f"must be a whole number from 0 to {below - 1}", file=file, key=key, got=value)
    return value
