"""What a mounting sketch has to show: heights and sizes of one candidate, each kind with its own mark.

All heights are those of a mark on the carriage, above where that mark is when the carriage rests on its hard
stop; for each kind the mark is such that ``mount_mm`` is the height at which it is level with the sensor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from homing.report.numbers import plain
from homing.sensortables import ContactTable, DistanceTable, MagnetTable, ReflectiveTable
from homing.values import typical
from homing.words import MagnetShape
from sensor_models.kinds import Approach

if TYPE_CHECKING:
    from homing.compare.results import CandidateResult, MountAdvice

NOTHING = math.nan
#: Drawn thickness of a target whose thickness nobody states [mm].
SOME_THICKNESS_MM = 2.0
#: More of a plate has no room on the sheet.
WIDEST_PLATE_MM = 48.0


@dataclass(frozen=True)
class Target:
    """What the carriage carries: its extent along the travel from the mark, its depth, and its words."""

    below: float
    above: float
    depth: float
    words: str


@dataclass(frozen=True)
class Height:
    """A height worth a line on the sheet [mm], and what it is."""

    mm: float
    words: str
    dashed: bool = True


@dataclass(frozen=True)
class Plan:
    """All that a sketch shows, in millimetres; NaN: there is none.

    ``level`` is the height of the sensing spot, ``body`` that of the sensor's front; ``ahead``: the sensor
    looks, or is pressed, along the travel.
    """

    title: str
    lift: str
    mark: str
    sensor: str
    target: Target
    mount: float
    level: float
    body: float
    gap: float
    ahead: bool
    trip: float
    trip_low: float
    trip_high: float
    heights: tuple[Height, ...]
    upper: float
    allowed: tuple[float, float]
    needed: float
    notes: tuple[str, ...]


def plan_of(result: CandidateResult, advice: MountAdvice | None = None) -> Plan | None:
    """What to draw of a candidate; None where there is nothing to mount, or it is never made.

    Parameters
    ----------
    result : CandidateResult
    advice : MountAdvice, optional
        Of this candidate: the sensor is then drawn at the advised height. Moving a sensor along the
        travel moves its trip and release heights by as much.
    """
    table: Any = result.lift.sensor()
    made = _BUILDERS.get(type(table))
    if made is None or result.miss:
        return None
    advised = advice is not None and math.isfinite(advice.best_mm)
    moved = advice.best_mm - result.mount_mm if advice is not None and advised else 0.0
    allowed = (advice.lowest_mm, advice.highest_mm) if advice is not None else (NOTHING, NOTHING)
    return _plan(
        result,
        made(table),
        moved,
        title=f"Sensor {result.name} ({result.kind}), mounted {'as advised' if advised else 'as compared'}",
        allowed=allowed,
        needed=advice.needed_mm if advice is not None else NOTHING,
    )


def _plan(result: CandidateResult, carried: tuple[Target, str, bool], moved: float, **more: Any) -> Plan:
    """The plan with the sensor moved by so much; ``more`` is what the advice has to say."""
    table: Any = result.lift.sensor()
    target, mark, ahead = carried
    head_on, mount = isinstance(table, MagnetTable) and ahead, result.mount_mm + moved
    level = mount - result.gap_mm if head_on else mount
    trip, release = result.trip_mm, result.release_mm
    return Plan(
        lift=result.lift.name,
        mark=mark,
        sensor=table.part or result.kind,
        target=target,
        mount=mount,
        level=level,
        body=_damaged_at(table, mount) if isinstance(table, ContactTable) else level,
        gap=NOTHING if ahead else result.gap_mm,
        ahead=ahead,
        trip=trip.nominal + moved,
        trip_low=trip.low + moved,
        trip_high=trip.high + moved,
        heights=tuple(_heights(result, table, mount, moved, release.nominal + moved)),
        upper=result.lift.lift.travel_mm,
        notes=tuple(_notes(result, table, head_on)),
        **more,
    )


def _heights(result: CandidateResult, table: Any, mount: float, moved: float, release: float) -> list[Height]:
    trip = result.trip_mm
    found = [
        Height(0.0, "carriage on its hard stop", dashed=False),
        Height(trip.nominal + moved, "trips on the way in", dashed=False),
        Height(trip.low + moved, "trips at the lowest (95 % band)"),
        Height(trip.high + moved, "trips at the highest (95 % band)"),
    ]
    found.append(Height(result.lift.lift.travel_mm, "upper stop", dashed=False))
    if math.isfinite(release):
        found.append(Height(release, "lets go on the way out"))
    if isinstance(table, ContactTable):
        found.append(Height(mount, "first touch of the actuator"))
        found.append(Height(_damaged_at(table, mount), "pressed so far it is damaged"))
    elif isinstance(table, DistanceTable):
        found.append(Height(mount, "front of the sensor"))
    elif isinstance(table, MagnetTable) and table.approach is Approach.HEAD_ON:
        found.append(Height(mount - result.gap_mm, "sensing spot"))
    else:
        found.append(Height(mount, "sensing spot: mount_mm"))
    return found


def _damaged_at(table: ContactTable, mount: float) -> float:
    plunger = typical(table.pretravel_mm) + typical(table.overtravel_to_damage_mm)
    return mount - plunger * typical(table.lever_ratio)


def _notes(result: CandidateResult, table: Any, head_on: bool) -> list[str]:
    notes = ["Heights are those of the mark on the carriage, above where it is on the hard stop."]
    if head_on:
        notes.append(
            f"On the hard stop the magnet's face is {plain(result.gap_mm, 1)} mm from the sensing spot."
        )
    if isinstance(table, ContactTable) and typical(table.lever_ratio) != 1.0:
        ratio = f"{typical(table.lever_ratio):g}"
        notes.append(f"Lever or ramp: {ratio} mm of carriage for 1 mm at the switch; drawn as if straight.")
    if result.kind == "magnet":
        notes.append("Sensing spot: where the data sheet puts it inside the part. No steel near the magnet.")
    notes.append("Sensor body, carriage and frame are not to scale; drill after checking on the real lift.")
    return notes


def _magnet(table: MagnetTable) -> tuple[Target, str, bool]:
    magnet = table.magnet
    if magnet.shape is MagnetShape.DISC:
        along, depth = typical(magnet.diameter_mm or 0.0), typical(magnet.height_mm or 0.0)
        words = f"disc magnet {along:g} x {depth:g}"
    else:
        assert magnet.size_mm is not None
        along, across, depth = magnet.size_mm
        words = f"magnet {along:g} x {across:g} x {depth:g}"
    words += f", {table.facing.name.lower()} pole to the sensor"
    if table.approach is Approach.HEAD_ON:
        return Target(0.0, depth, along, words), "face of the magnet", True
    return Target(along / 2, along / 2, depth, words), "middle of the magnet", False


def _reflective(table: ReflectiveTable) -> tuple[Target, str, bool]:
    along, across = table.target_mm
    words = f"bright target {along:g} x {across:g}"
    return Target(0.0, along, SOME_THICKNESS_MM, words), "lower edge of the target", False


def _distance(table: DistanceTable) -> tuple[Target, str, bool]:
    along, across = table.target_mm
    words = f"plate {along:g} x {across:g}" + (" (drawn shorter)" if along > WIDEST_PLATE_MM else "")
    plate = Target(0.0, SOME_THICKNESS_MM, min(along, WIDEST_PLATE_MM), words)
    return plate, "lower face of the plate", True


def _contact(table: ContactTable) -> tuple[Target, str, bool]:
    return Target(0.0, 10.0, 16.0, "presses the actuator"), "edge that presses the actuator", True


_BUILDERS: dict[type[Any], Any] = {
    MagnetTable: _magnet,
    ReflectiveTable: _reflective,
    DistanceTable: _distance,
    ContactTable: _contact,
}
