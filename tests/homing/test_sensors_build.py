"""From sensor tables to sensor models: units are converted once, arrays become ensembles."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from liftfiles import SENSORS, lift_with

from homing.sensors import build_sensor
from sensor_models import parts
from sensor_models.errors import InputError
from sensor_models.kinds import Approach, Facing, SensorKind, SwitchKind, Wiring
from sensor_models.magnets import BlockMagnet, CylinderMagnet


def built(kind: str, changes: dict[str, Any] | None = None, values: dict[str, Any] | None = None) -> Any:
    return build_sensor(lift_with({"sensor": [SENSORS[kind] | (changes or {})]}), "bottom", values)


def test_a_magnet_switch_in_si_units() -> None:
    sensor = built("magnet", {"gap_mm": 4, "side_offset_mm": -1, "sample_period_ms": 50, "temperature_c": 40,
                              "facing": "north", "mount_mm": -2, "approach": "head_on"})  # fmt: skip
    assert isinstance(sensor.magnet, CylinderMagnet)
    assert (sensor.magnet.diameter, sensor.magnet.height) == (0.010, 0.003)
    assert sensor.magnet.remanence == 1.30
    assert (sensor.mount_m, sensor.gap_m, sensor.side_offset_m) == (-0.002, 0.004, -0.001)
    assert (sensor.operate_t, sensor.release_t) == pytest.approx((0.003, 0.0015))
    assert (sensor.sample_period_s, sensor.temperature_c) == (0.05, 40.0)
    assert sensor.magnet_coeff_per_k == pytest.approx(-0.0012)
    assert (sensor.switch, sensor.facing, sensor.approach) == (
        SwitchKind.OMNIPOLAR,
        Facing.NORTH,
        Approach.HEAD_ON,
    )


def test_a_block_magnet_lies_along_across_and_thick() -> None:
    sensor = built("magnet", {"magnet": {"shape": "block", "size_mm": [30, 10, 3], "remanence_t": 0.38}})
    assert isinstance(sensor.magnet, BlockMagnet)
    assert sensor.magnet.size == pytest.approx((0.030, 0.010, 0.003))


def test_a_reflective_sensor_in_si_units() -> None:
    sensor = built("reflective", {"part": "reflective-2p5mm", "tilt_deg": 30, "target_mm": [40, 20]})
    assert sensor.target_m == pytest.approx((0.040, 0.020))
    assert sensor.tilt_rad == pytest.approx(np.pi / 6)
    # Vishay 83760: strongest at 2.5 mm, which is also the gap when none is given
    assert sensor.gap_m == pytest.approx(0.0025)
    assert float(sensor.curve(0.0025)) == pytest.approx(0.999)


def test_a_distance_sensor_in_si_units() -> None:
    sensor = built("distance", {"noise_mv": 20, "adc_bits": 12, "update_period_ms": 38})
    assert sensor.noise == pytest.approx(0.020)
    assert sensor.sample_period_s == pytest.approx(0.038)
    assert float(sensor.quantum) == pytest.approx(5 / 4096)
    assert float(sensor.curve(0.1)) == pytest.approx(2.0)


def test_a_contact_switch_in_si_units() -> None:
    sensor = built("contact", {"pretravel_mm": 2, "differential_mm": 0.5, "lever_ratio": 3, "bounce_ms": 4})
    assert (sensor.pretravel_m, sensor.differential_m) == pytest.approx((0.002, 0.0005))
    assert float(sensor.operate[0]) == pytest.approx(0.006)
    assert sensor.longest_bounce_s == pytest.approx(0.004)


def test_no_sensor_is_the_stop_itself() -> None:
    assert built("stall").kind is SensorKind.STALL


@pytest.mark.parametrize(
    ("kind", "changes", "made"),
    [
        ("contact", {}, False),
        ("contact", {"wiring": "normally_closed"}, True),
        ("magnet", {}, False),
        ("magnet", {"active": "high", "open_wire_reads": "high"}, True),
        ("magnet", {"active": "low", "open_wire_reads": "high"}, False),
    ],
)
def test_what_a_broken_wire_reads(kind: str, changes: dict[str, Any], made: bool) -> None:
    assert built(kind, changes).broken_wire_reads_made is made


def test_wiring_reaches_the_model() -> None:
    assert built("contact", {"wiring": "normally_closed"}).wiring is Wiring.NORMALLY_CLOSED


@pytest.mark.parametrize("kind", ["magnet", "reflective", "distance", "contact"])
def test_arrays_make_an_ensemble(kind: str) -> None:
    mounts = np.array([10.0, 12.0, 14.0])
    sensor = built(kind, values={"sensor.bottom.mount_mm": mounts, "lift.friction_n": np.ones(3)})
    assert sensor.mount_m.shape == (3, 1)
    assert sensor.runs == 3
    x_m = np.linspace(0.0, 0.05, 40)
    alone = built(kind, {"mount_mm": 12}).signal(x_m)[0]
    assert sensor.signal(x_m)[1] == pytest.approx(alone, rel=1e-12, abs=1e-15)


def test_a_drawn_operate_point_takes_its_release_along() -> None:
    values = {"sensor.bottom.operate_mt": np.array([1.5, 3.0, 6.0])}
    sensor = built("magnet", values=values)
    assert 1e3 * sensor.release == pytest.approx([0.75, 1.5, 3.0])


def test_a_drawn_release_point_is_taken_as_it_is() -> None:
    values = {
        "sensor.bottom.operate_mt": np.array([3.0, 3.2]),
        "sensor.bottom.release_mt": np.array([1.0, 2.0]),
    }
    assert 1e3 * built("magnet", values=values).release == pytest.approx([1.0, 2.0])


def test_drawn_remanence_and_magnet_size() -> None:
    values = {
        "sensor.bottom.magnet.remanence_t": np.array([1.28, 1.32]),
        "sensor.bottom.magnet.height_mm": np.array([3.0, 4.0]),
    }
    sensor = built("magnet", values=values)
    assert sensor.magnet.remanence.ravel() == pytest.approx([1.28, 1.32])
    assert sensor.magnet.height.ravel() == pytest.approx([0.003, 0.004])


@pytest.mark.parametrize("name", parts.parts())
def test_every_part_makes_a_lift_and_a_sensor(name: str) -> None:
    threshold = {"threshold_v": 1.5} if parts.part(name).kind is SensorKind.DISTANCE else {}
    lift = lift_with({"sensor": [{"part": name, "mount_mm": 15, **threshold}]})
    sensor = build_sensor(lift)
    assert sensor.kind is parts.part(name).kind
    ends = {tolerance.key: np.array([tolerance.low, tolerance.high]) for tolerance in lift.tolerances}
    assert np.all(np.isfinite(build_sensor(lift, values=ends).signal(np.array([0.01, 0.02]))))


@pytest.mark.parametrize("grade", parts.grades())
def test_every_grade_makes_a_magnet(grade: str) -> None:
    sensor = built("magnet", {"magnet": {"shape": "disc", "diameter_mm": 10, "height_mm": 3, "grade": grade}})
    assert 0.1 < sensor.magnet.remanence < 1.6


def test_an_unknown_sensor_is_refused() -> None:
    with pytest.raises(InputError, match='must name one of the sensors "bottom"'):
        build_sensor(lift_with(), "top")


def test_candidates_are_built_too() -> None:
    lift = lift_with({"candidate": [SENSORS["contact"] | {"name": "other", "mount_mm": [5, 15]}]})
    assert build_sensor(lift, "other").mount_m == pytest.approx(0.010)
    assert build_sensor(lift, "other", {"candidate.other.mount_mm": 7.0}).mount_m == pytest.approx(0.007)
