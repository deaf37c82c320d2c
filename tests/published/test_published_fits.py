"""The least-squares paths against published fits, read from one data file a source.

The real-drive data lie beside the checkout, never in it; the tests that need them skip without.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from published_values import HERE, cases, check_origin, files

from replay.dynamics import PARAMETERS, ForceFit, cascade_voltage, fit_force
from replay.least_squares import solve
from replay.reading import read_log
from replay.timing import periods

GROUPS = ("drives", "regression")
EMPS_DATA = HERE.resolve().parents[2] / "shared" / "datasets" / "emps" / "DATA_EMPS.mat"
SAMPLING_S = 1e-3


@pytest.mark.parametrize("path", files(*GROUPS), ids=lambda path: path.stem)
def test_every_file_says_where_its_numbers_come_from(path: Path) -> None:
    check_origin(path)


@pytest.fixture(scope="module")
def emps() -> dict[str, Any]:
    """Columns of the real drive: position, set point [m], voltage [V]; force per volt and loop gains."""
    if not EMPS_DATA.exists():
        pytest.skip("the data sets are not beside this checkout (../shared/datasets)")
    from scipy.io import loadmat

    data = loadmat(EMPS_DATA)
    columns = {name: data[name].ravel() for name in ("qm", "qg", "vir")}
    return columns | {name: float(data[name].ravel()[0]) for name in ("gtau", "kp", "kv")}


@pytest.fixture(scope="module")
def fitted(emps: dict[str, Any]) -> ForceFit:
    """The published fit: Butterworth 4, 100 Hz, both ways; central differences; one equation in ten."""
    return fit_force(emps["qm"], emps["gtau"] * emps["vir"], SAMPLING_S)


@pytest.mark.parametrize(("value", "tolerances"), cases("drives"))
def test_real_drive(
    value: dict[str, Any], tolerances: dict[str, float], fitted: ForceFit, emps: dict[str, Any]
) -> None:
    quantity, expected = value["quantity"], value["expected"]
    if quantity in PARAMETERS:
        got = fitted.values[PARAMETERS.index(quantity)]
        assert abs(got - expected) <= tolerances["tolerance"] * value["published_sd"]
        own_sd = fitted.std_errors[PARAMETERS.index(quantity)]
        assert own_sd == pytest.approx(value["published_sd"], rel=0.02)  # its scatter differs by 1 %
        return
    found: Any
    if quantity == "by_direction":
        force = emps["gtau"] * emps["vir"]
        found = fit_force(emps["qm"], force, SAMPLING_S, by_direction=True).values
    elif quantity == "cascade_rms_v":
        sent = cascade_voltage(emps["qg"], emps["qm"], SAMPLING_S, emps["kp"], emps["kv"])
        found = float(np.sqrt(np.nanmean(np.square(sent - emps["vir"]))))
    else:
        found = getattr(fitted, quantity)
    np.testing.assert_allclose(found, expected, rtol=tolerances["relative_tolerance"])


def test_the_real_drive_is_on_its_encoder_grid(emps: dict[str, Any]) -> None:
    # encoder of 12500 lines read four-fold over a 2.5 mm lead: 0.05 um a count (the authors' report)
    counts = emps["qm"] / 5e-8
    assert np.max(np.abs(counts - np.round(counts))) < 0.01
    assert len(counts) == 24841


@pytest.mark.parametrize("name", ["encoders1.csv", "encoders2.csv"])
def test_the_gearmotor_logs_have_their_period_and_speed_quantum(name: str) -> None:
    # data of a real DC gearmotor (public repository of a small maze robot, CERN-OHL-P v2): rows 5 ms apart,
    # so that one count makes 200 counts/s
    path = EMPS_DATA.parents[1] / "dc_gearmotor_encoder" / name
    if not path.exists():
        pytest.skip("the data sets are not beside this checkout (../shared/datasets)")
    log = read_log(path)
    assert periods(log).median_s == pytest.approx(5e-3, rel=1e-9)
    speed = np.diff(log.counts) / np.diff(log.time_s)
    quanta = speed / 200.0
    np.testing.assert_allclose(quanta, np.round(quanta), atol=1e-6)
    assert np.min(np.abs(speed[speed != 0.0])) == pytest.approx(200.0)


@pytest.mark.parametrize(("value", "tolerances"), cases("regression"))
def test_certified_regression(value: dict[str, Any], tolerances: dict[str, float]) -> None:
    data = tomllib.loads((HERE / "regression_nist_misra1a.toml").read_text(encoding="utf-8"))["data"]
    x, y = np.array(data["x"]), np.array(data["y"])
    start = np.array(value["inputs"]["start"])
    found = solve(lambda b: b[0] * (1.0 - np.exp(-b[1] * x)) - y, start, tolerance=1e-15)
    for name, expected in value["expected"].items():
        np.testing.assert_allclose(getattr(found, name), expected, rtol=tolerances["relative_tolerance"])
    assert not found.at_bound.any()
    assert found.correlations[0, 1] < -0.99  # the two are nearly tied in this problem
