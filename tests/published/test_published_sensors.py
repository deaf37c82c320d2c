"""Every published number on magnets, Hall switches, infrared parts and contacts, one data file a source.

Each value names the quantity below that is held against it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from published_values import cases, check_origin, files

from sensor_models import (
    Approach,
    BlockMagnet,
    ContactSensor,
    CylinderMagnet,
    MagnetSensor,
    ReflectiveSensor,
    SwitchKind,
    grid_for,
    parts,
    respond,
    zones,
)
from sensor_models.curves import Curve, PeakCurve
from sensor_models.parts import grade, part

GROUPS = ("magnets", "hall", "infrared", "contact")
MM, MT = 1e-3, 1e-3
TRAVEL_M = 0.1


def disc(diameter_mm: float, height_mm: float, remanence_t: float) -> CylinderMagnet:
    return CylinderMagnet(diameter=diameter_mm * MM, height=height_mm * MM, remanence=remanence_t)


def block(size_mm: list[float], remanence_t: float) -> BlockMagnet:
    return BlockMagnet(size=tuple(length * MM for length in size_mm), remanence=remanence_t)


def switch(
    magnet: Any, operate_mt: float = 1.0, release_mt: float | None = None, gap_mm: float = 2.0, **k: Any
) -> MagnetSensor:
    release_t = (operate_mt if release_mt is None else release_mt) * MT * (1.0 if release_mt else 0.9)
    return MagnetSensor(magnet=magnet, gap_m=gap_mm * MM, operate_t=operate_mt * MT, release_t=release_t, **k)


# --- magnets ------------------------------------------------------------------------------------------


def above_face_mt(magnet: Any, at_mm: list[float]) -> Any:
    """Field in mT at (x, y, height above the face)."""
    point = np.array([at_mm]) * MM
    point[0, 2] += magnet.half_height_m
    return magnet.field(point)[0] / MT


def disc_field_mt(radius_mm: float, above_face_mm: float, **magnet: float) -> Any:
    field = above_face_mt(disc(**magnet), [radius_mm, 0.0, above_face_mm])
    assert field[1] == 0.0
    return field[[0, 2]]


def slide_by_mt(gap_mm: float, along_mm: float, **magnet: Any) -> float:
    sensor = switch(block(**magnet), gap_mm=gap_mm, mount_m=0.0, switch=SwitchKind.UNIPOLAR)
    return float(sensor.response(np.array([along_mm * MM]))[0, 0] / MT)


# --- switching, through the whole chain of sensor, grid, table and search ---------------------------------


def head_on(operate_mt: float, release_mt: float | None, magnet: dict[str, float]) -> tuple[float, float]:
    """Face distances [mm] at which a switch is made and lets go, coming head on."""
    sensor = switch(disc(**magnet), operate_mt, release_mt, mount_m=0.0, approach=Approach.HEAD_ON)
    batch = respond(sensor, grid_for(sensor, TRAVEL_M), 1)
    return float(batch.trip_m[0]) / MM + 2.0, float(batch.release_m[0]) / MM + 2.0


def passing(operate_mt: float, gap_mm: float, magnet: dict[str, float]) -> tuple[MagnetSensor, Any]:
    sensor = switch(disc(**magnet), operate_mt, gap_mm=gap_mm, mount_m=0.040)
    return sensor, respond(sensor, grid_for(sensor, TRAVEL_M), 1)


def half_width_mm(operate_mt: float, gap_mm: float, **magnet: float) -> float:
    _, batch = passing(operate_mt, gap_mm, magnet)
    return float(batch.trip_m[0]) / MM - 40.0


def side_zone_mm(operate_mt: float, gap_mm: float, **magnet: float) -> list[float]:
    """Where, past its main window, an omnipolar switch is made again; distances from level [mm]."""
    _, batch = passing(operate_mt, gap_mm, magnet)
    found = zones(batch.signal[0], batch.grid.positions(), operate_mt * MT, batch.two_sided)
    return [end / MM - 40.0 for low, high in found[1:] if low > 0.040 for end in (low, high)]


def side_lobe(gap_mm: float, **magnet: float) -> list[float]:
    """Strongest reversed flux density [mT] beside the magnet and its distance from level [mm]."""
    sensor = switch(disc(**magnet), gap_mm=gap_mm, mount_m=0.0, switch=SwitchKind.UNIPOLAR)
    along = np.arange(0.0, 0.030, 1e-6)
    flux = sensor.response(along)[0]
    return [float(flux.min() / MT), float(along[flux.argmin()] / MM)]


# --- parts --------------------------------------------------------------------------------------------


def spread(fact: Any) -> list[float]:
    return [fact.low, fact.value, fact.high]


def drawn_hysteresis_mt(part: str) -> float:
    """Hysteresis where the two thresholds are drawn towards each other as far as they go."""
    values = parts.part(part).values
    sensor = MagnetSensor(
        magnet=disc(10.0, 3.0, 1.3),
        mount_m=0.0,
        gap_m=0.003,
        operate_t=values["operate_mt"].low * MT,
        release_t=values["release_mt"].high * MT,
        hysteresis_min_t=values["hysteresis_min_mt"].value * MT,
    )
    return float((sensor.operate - sensor.release)[0] / MT)


def curve_of(name: str, far_power: float = 2.0) -> Any:
    values = part(name).values
    if "peak_gap_mm" in values:
        return PeakCurve(values["peak_gap_mm"].value * MM)
    return Curve([(mm * MM, value) for mm, value in values["curve"].value], far_power=far_power)


def reflective_share(part: str, gap_mm: float) -> float:
    """Signal of a white target that fills the beam."""
    sensor = ReflectiveSensor(
        mount_m=0.030,
        target_m=(0.020, 0.020),
        gap_m=gap_mm * MM,
        curve=curve_of(part),
        beam_spot_m=0.003,
        threshold=0.5,
        hysteresis=0.1,
    )
    return float(sensor.response(np.array([0.020]))[0, 0])


GAPS_MM = np.arange(0.0, 15.0, 0.001)


def half_level_gaps_mm(part: str) -> list[float]:
    share = curve_of(part)(GAPS_MM * MM)
    above = GAPS_MM[share >= 0.5 * share.max()]
    return [float(above[0]), float(above[-1])]


def contact_positions_mm(part: str, free_mm: float) -> list[float]:
    """Operating, release and total-travel position, seen from where the free position is ``free_mm``."""
    values = parts.part(part).values
    sensor = ContactSensor(
        mount_m=free_mm * MM,
        pretravel_m=values["pretravel_mm"].value * MM,
        differential_m=values["differential_mm"].value * MM,
        overtravel_to_damage_m=values["overtravel_to_damage_mm"].value * MM,
    )
    batch = respond(sensor, grid_for(sensor, TRAVEL_M), 1)
    total = free_mm - float(sensor.damage_depth_m) / MM
    return [float(batch.trip_m[0]) / MM, float(batch.release_m[0]) / MM, total]


QUANTITIES: dict[str, Callable[..., Any]] = {
    "disc_axis_mt": lambda distance_mm, **m: above_face_mt(disc(**m), [0.0, 0.0, distance_mm])[2],
    "block_axis_mt": lambda distance_mm, **m: above_face_mt(block(**m), [0.0, 0.0, distance_mm])[2],
    "disc_field_mt": disc_field_mt,
    "block_field_mt": lambda at_mm, **m: above_face_mt(block(**m), at_mm),
    "slide_by_mt": slide_by_mt,
    "head_on_trip_mm": lambda operate_mt, **m: head_on(operate_mt, None, m)[0],
    "head_on_release_mm": lambda operate_mt, release_mt, **m: head_on(operate_mt, release_mt, m)[1],
    "half_width_mm": half_width_mm,
    "side_zone_mm": side_zone_mm,
    "side_lobe": side_lobe,
    "grade_remanence_t": lambda grade: spread(parts.grade(grade)["remanence_t"])[::2],
    "part_spread": lambda part, key: spread(parts.part(part)[key]),
    "part_value": lambda part, key: parts.part(part)[key].value,
    "drawn_hysteresis_mt": drawn_hysteresis_mt,
    "sampling_overrun_mm": lambda part, speed_mm_s: (
        speed_mm_s * parts.part(part)["sample_period_ms"].high / 1000.0
    ),
    "reflective_share": reflective_share,
    "peak_gap_mm": lambda part: GAPS_MM[curve_of(part)(GAPS_MM * MM).argmax()],
    "half_level_gaps_mm": half_level_gaps_mm,
    "distance_v": lambda part, distance_mm: curve_of(part, 1.0)(distance_mm * MM),
    "contact_positions_mm": contact_positions_mm,
}


@pytest.mark.parametrize(("value", "tolerances"), cases(*GROUPS))
def test_our_number_meets_the_published_one(value: dict[str, Any], tolerances: dict[str, float]) -> None:
    ours = QUANTITIES[value["quantity"]](**value["inputs"])
    np.testing.assert_allclose(
        ours,
        value["expected"],
        rtol=tolerances.get("relative_tolerance", 0.0),
        atol=tolerances.get("tolerance", 0.0),
    )


@pytest.mark.parametrize("path", files(*GROUPS), ids=lambda path: path.stem)
def test_every_file_says_where_its_numbers_come_from(path: Path) -> None:
    check_origin(path)


def test_remanence_fitted_to_the_published_curve() -> None:
    # least squares over the 12 points of Fig. 8-3 of SLVSDC7H: 1.3211 T, residuals within the printed digits
    values = [case.values[0] for case in cases("magnets_cube")][:12]
    cube = block([10.0, 10.0, 10.0], 1.0)
    shape = np.array([above_face_mt(cube, [0.0, 0.0, v["inputs"]["distance_mm"]])[2] for v in values])
    read = np.array([v["expected"] for v in values])
    fitted = float(shape @ read / (shape @ shape))
    assert fitted == pytest.approx(1.3211, abs=1e-4)
    assert np.abs(fitted * shape - read).max() < 0.015
    assert grade("N42")["remanence_t"].high == pytest.approx(fitted, abs=0.03)
