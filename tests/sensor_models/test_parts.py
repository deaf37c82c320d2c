"""The parts lists: every value has a source, and every part makes a working sensor."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from sensor_examples import contact_sensor, distance_sensor, magnet_sensor, reflective_sensor, responded

from sensor_models.curves import Curve, PeakCurve
from sensor_models.errors import InputError
from sensor_models.kinds import SensorKind, SwitchKind
from sensor_models.parts import grade, grades, part, parts

#: Keys of the contract's section 4 (and the least hysteresis) that a part may fill.
KEYS = {
    SensorKind.MAGNET: {"switch", "operate_mt", "release_mt", "hysteresis_min_mt", "sample_period_ms"},
    SensorKind.REFLECTIVE: {"curve", "peak_gap_mm"},
    SensorKind.DISTANCE: {"curve", "min_mm", "max_mm", "update_period_ms"},
    SensorKind.CONTACT: {
        "pretravel_mm", "differential_mm", "overtravel_to_damage_mm", "operating_force_n", "lever_ratio",
        "bounce_ms",
    },
}  # fmt: skip


@pytest.mark.parametrize("name", parts())
def test_every_value_has_document_revision_and_place(name: str) -> None:
    record = part(name)
    assert record.about
    assert record.values.keys() <= KEYS[record.kind]
    for fact in record.values.values():
        assert fact.obtained in {"read", "from memory"}
        for word in (fact.document, fact.revision, fact.place):
            assert word.strip()
            assert word in fact.origin
        assert fact.origin.startswith("from memory") == (fact.obtained == "from memory")
        if fact.low is not None:
            assert fact.low <= fact.value <= fact.high


@pytest.mark.parametrize("name", grades())
def test_every_grade_has_a_spread_of_remanence(name: str) -> None:
    remanence = grade(name)["remanence_t"]
    assert 0.1 < remanence.low < remanence.value < remanence.high < 1.6
    assert -0.3 < grade(name)["magnet_temp_coeff_pct_per_k"].value < 0.0


def test_parts_by_kind() -> None:
    by_kind = [parts(kind) for kind in SensorKind]
    assert sorted(name for names in by_kind for name in names) == sorted(parts())
    assert parts(SensorKind.STALL) == ()
    assert all(part(name).kind is SensorKind.CONTACT for name in parts(SensorKind.CONTACT))


def build(name: str) -> Any:
    """The part's typical values in an ordinary mounting."""
    record = part(name)
    v = {key: fact.value for key, fact in record.values.items()}
    if record.kind is SensorKind.MAGNET:
        return magnet_sensor(
            switch=SwitchKind[v["switch"].upper()],
            operate_t=v["operate_mt"] / 1000,
            release_t=v["release_mt"] / 1000,
            hysteresis_min_t=v.get("hysteresis_min_mt", 0.0) / 1000,
        )
    if record.kind is SensorKind.REFLECTIVE:
        if "peak_gap_mm" in v:
            return reflective_sensor(curve=PeakCurve(v["peak_gap_mm"] / 1000), gap_m=v["peak_gap_mm"] / 1000)
        points = [(mm / 1000, share) for mm, share in v["curve"]]
        return reflective_sensor(curve=Curve(points, far_power=2.0), gap_m=0.001)
    if record.kind is SensorKind.DISTANCE:
        points = [(mm / 1000, volt) for mm, volt in v["curve"]]
        curve = Curve(points, far_power=1.0)
        limits = {"min_m": v["min_mm"] / 1000, "max_m": v["max_mm"] / 1000}
        return distance_sensor(curve=curve, threshold_v=1.0, **limits)
    lengths = ("pretravel", "differential", "overtravel_to_damage")
    return contact_sensor(**{f"{key}_m": v[f"{key}_mm"] / 1000 for key in lengths})


@pytest.mark.parametrize("name", parts())
def test_every_part_is_made_somewhere(name: str) -> None:
    assert np.isfinite(responded(build(name)).trip_m[0])


@pytest.mark.parametrize("name", parts(SensorKind.DISTANCE))
def test_distance_parts_fold_back_nearer_than_their_range(name: str) -> None:
    sensor = build(name)
    distances = np.linspace(0.0, sensor.max_m, 2001)
    peak = distances[sensor.curve(distances).argmax()]
    assert 0.0 < peak < sensor.min_m
    assert (np.diff(sensor.curve(distances[distances >= sensor.min_m])) < 0.0).all()


def test_an_unknown_part_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(InputError, match='did you mean "hall-omnipolar-3mt-20hz"'):
        part("hall-omnipolar-3mt-20h")
    with pytest.raises(InputError, match='did you mean "N42"'):
        grade("N42H")
    with pytest.raises(InputError, match="grade must be one of N35"):
        grade("wood")


def test_common_practice_no_source_a_magnet_must_be_strong() -> None:
    switch = part("hall-omnipolar-3mt-20hz")["operate_mt"]
    from sensor_models.magnets import CylinderMagnet

    def seen(grade_name: str, height_m: float, gap_m: float) -> bool:
        # data sheet DRV5032, 8.2.1.2: the field at the closest point must exceed the largest BOP
        remanence = grade(grade_name)["remanence_t"].low
        magnet = CylinderMagnet(diameter=0.005, height=height_m, remanence=remanence)
        sensor = magnet_sensor(magnet=magnet, gap_m=gap_m, operate_t=switch.high / 1000)
        return bool(np.isfinite(responded(sensor).trip_m[0]))

    assert seen("N42", 0.003, 0.005)
    assert not seen("ferrite", 0.001, 0.005)
    assert not seen("N42", 0.003, 0.015)
