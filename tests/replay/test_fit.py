"""Fits of simulated lifts: true numbers come back within their intervals, and what cannot be told is said."""

from __future__ import annotations

import math
import tomllib
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from fitlogs import DUTY_SPREAD, duty_lift, known, parameters, traced
from logfiles import up_and_down, write

from homing.assembly import assemble
from homing.liftfile import Lift
from replay.fit import fit_logs
from replay.fit_channels import RAMP_PIECES, command_rows
from replay.fit_model import LATENCY, Model
from replay.fit_problem import FEWEST_REPEATS, repeats_of, spread
from replay.fit_result import Fit
from replay.fit_segments import moves_of
from replay.least_squares import soft_l1, solve
from replay.reading import read_log
from sensor_models.errors import InputError

SEEDS = 40
FREE_CURRENT = "drive.motor_free_current_a"


@pytest.fixture(scope="module")
def duty_fit(example: Lift, tmp_path_factory: pytest.TempPathFactory) -> tuple[Fit, dict[str, float]]:
    """A fit with its truth, of a lift whose program sends duties."""
    case = known(duty_lift(example), tmp_path_factory.mktemp("fit"), seed=2, spread=DUTY_SPREAD)
    return fit_logs([case.log], case.file), case.true


def test_a_lift_like_its_file_gives_its_numbers_back(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example)
    fit = fit_logs([traced(lift, tmp_path)], lift)
    for each in fit.estimates:
        assert abs(each.value - each.prior) <= 2.0 * each.std_error + 1e-9, each.key
    # a tenth of a millimetre is the rounding of a third of a millimetre's count
    assert fit.error_mm_rms < 0.12
    assert not fit.moves_left_out


def test_errors_are_small_where_the_log_tells(duty_fit: tuple[Fit, dict[str, float]]) -> None:
    fit, true = duty_fit
    mass = fit["lift.moving_mass_kg"]
    assert mass.told
    # the motor's own friction is fitted too, which costs: with it known exactly the mass is told to 1 %
    assert mass.std_error < 0.02 * true[mass.key]
    assert abs(mass.value - true[mass.key]) < 3.0 * mass.std_error
    assert fit[LATENCY].std_error < 1.0


def test_friction_of_carriage_and_motor_is_told_together(duty_fit: tuple[Fit, dict[str, float]]) -> None:
    """Either rubs against the counts in the same way while the string is taut; their sum is well known."""
    fit, true = duty_fit
    share = _motor_friction_n_per_a(fit.lift)
    weights = np.array([{"lift.friction_n": 1.0, FREE_CURRENT: share}.get(key, 0.0) for key in fit.keys])
    sum_n, error_n = float(weights @ fit.values), math.sqrt(float(weights @ fit.covariance @ weights))
    true_n = true["lift.friction_n"] + share * true[FREE_CURRENT]
    assert error_n < 0.5 * fit["lift.friction_n"].std_error
    assert abs(sum_n - true_n) < 3.0 * error_n + 0.03 * true_n
    assert fit[FREE_CURRENT].told or "not identifiable" in fit[FREE_CURRENT].note


def _motor_friction_n_per_a(lift: Lift) -> float:
    """Friction at the carriage for an ampere of free current; the share of one motor times their number."""
    drive = lift.drive
    torque_nm = drive.motor_stall_torque_nm / (drive.motor_stall_current_a - drive.motor_free_current_a)
    radius_m = 0.5e-3 * drive.spool_diameter_mm
    return drive.motors * torque_nm * drive.gear_ratio / (radius_m * drive.travel_per_line)


def test_speed_and_viscous_friction_are_said_to_be_tied(duty_fit: tuple[Fit, dict[str, float]]) -> None:
    fit, _ = duty_fit
    assert "tied to lift.viscous_n_s_per_m" in fit["drive.motor_free_speed_rpm"].note
    place = [fit.keys.index(key) for key in ("drive.motor_free_speed_rpm", "lift.viscous_n_s_per_m")]
    assert fit.correlations[place[0], place[1]] > 0.9


def test_the_calibrated_lift_has_the_fitted_numbers(duty_fit: tuple[Fit, dict[str, float]]) -> None:
    fit, _ = duty_fit
    numbers = fit.calibrated.quantities()
    for each in fit.estimates:
        assert numbers[each.key] == pytest.approx(each.value)


def test_draws_have_the_covariance_of_the_fit(duty_fit: tuple[Fit, dict[str, float]]) -> None:
    fit, _ = duty_fit
    drawn = fit.draw(4000, seed=1)
    for i, key in enumerate(fit.keys[:4]):
        values = np.array([each[key] for each in drawn])
        assert np.mean(values) == pytest.approx(fit[key].value, abs=0.1 * fit[key].std_error)
        # those of viscous friction are cut at 0
        assert np.std(values) == pytest.approx(math.sqrt(fit.covariance[i, i]), rel=0.3)


@pytest.mark.slow
@pytest.mark.parametrize("duties", [True, False], ids=["duty", "speed"])
def test_intervals_hold_the_truth_at_the_stated_rate(example: Lift, tmp_path: Path, duties: bool) -> None:
    lift = duty_lift(example) if duties else example
    inside: dict[str, list[bool]] = {}
    for seed in range(SEEDS):
        case = known(lift, tmp_path, seed, DUTY_SPREAD if duties else None)
        for each in fit_logs([case.log], lift).estimates:
            low, high = each.interval
            slack = 1e-9 * abs(case.true[each.key])
            inside.setdefault(each.key, []).append(low - slack <= case.true[each.key] <= high + slack)
    assert set(inside) >= {each.key for each in parameters(lift)}
    for key, hits in inside.items():
        # 95 % intervals: 33 or fewer of 40 would have a chance of 0.3 %
        assert sum(hits) >= 34, (key, sum(hits))
    every = [hit for hits in inside.values() for hit in hits]
    assert np.mean(every) > 0.93


def test_two_logs_tell_more_than_one(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example)
    logs = [traced(lift, tmp_path), traced(lift.replace({"routine.fast_speed_mm_s": 120.0}), tmp_path, 1)]
    one, two = fit_logs(logs[:1], lift), fit_logs(logs, lift)
    assert two.moves_used > one.moves_used
    assert two["drive.motor_free_speed_rpm"].std_error < one["drive.motor_free_speed_rpm"].std_error


@pytest.mark.parametrize("kind", ["belt", "lead_screw"])
@pytest.mark.parametrize("duties", [True, False], ids=["duty", "speed"])
def test_belts_and_screws_give_their_numbers_back(tmp_path: Path, kind: str, duties: bool) -> None:
    lift = _without_string(kind)
    lift = duty_lift(lift) if duties else lift
    fit = fit_logs([traced(lift, tmp_path)], lift)
    for each in fit.estimates:
        assert abs(each.value - each.prior) <= 2.5 * each.std_error + 1e-9, each.key
    assert "drive.backlash_mm" in fit
    assert fit["drive.motor_free_speed_rpm"].told


def _without_string(kind: str) -> Lift:
    tables = tomllib.loads(files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8"))
    del tables["string"]
    drive = tables["drive"]
    diameter_mm = drive.pop("spool_diameter_mm")
    own = {"pulley_diameter_mm": diameter_mm} if kind == "belt" else {"lead_mm": 60.0, "gear_ratio": 5.0}
    drive |= {"kind": kind, "travel_per_line": 1} | own
    return assemble(tables, kind)


def test_a_move_that_the_lift_cannot_have_made_is_left_out(example: Lift, tmp_path: Path) -> None:
    lift = duty_lift(example)
    good = [traced(lift, tmp_path), traced(lift.replace({"routine.fast_speed_mm_s": 120.0}), tmp_path, 1)]
    slipping = _slipping(tmp_path / "trace_0.csv", tmp_path / "slipping.csv")
    fit = fit_logs([*good, read_log(slipping)], lift)
    assert len(fit.moves_left_out) >= 1
    assert abs(fit["lift.friction_n"].value - lift.lift.friction_n) < 3.0 * fit["lift.friction_n"].std_error


def _slipping(file: Path, new: Path) -> Path:
    """A trace whose count runs away by two counts a row in its second half."""
    lines = file.read_text().splitlines()
    place, half = lines[0].split(",").index("counts"), len(lines) // 2
    for row in range(half, len(lines)):
        cells = lines[row].split(",")
        cells[place] = str(int(cells[place]) - 2 * (row - half))
        lines[row] = ",".join(cells)
    new.write_text("\n".join(lines) + "\n")
    return new


def test_a_log_without_commands_is_refused(example: Lift, tmp_path: Path) -> None:
    log = read_log(write(tmp_path, up_and_down().text()))
    with pytest.raises(InputError, match='must hold the commands \\(role "command"\\)'):
        fit_logs([log], example)


def test_a_log_at_rest_is_refused(example: Lift, tmp_path: Path) -> None:
    rows = "".join(f"{20 * i},100,0\n" for i in range(200))
    log = read_log(write(tmp_path, "t_ms,counts,command\n" + rows))
    with pytest.raises(InputError, match="at least one move that begins at rest"):
        fit_logs([log], example)


def test_counts_repeat_exactly_along_the_same_commands(example: Lift, tmp_path: Path) -> None:
    # the trace's own plant, driven by its logged duties, from the true numbers: only rounding is left
    lift = duty_lift(example)
    moves = moves_of(traced(lift, tmp_path), lift)
    model = Model(lift, parameters(lift), moves, measured_supply=True, row_before=True)
    values = np.array([each.prior for each in model.parameters])
    off = np.concatenate([each - np.mean(each) for each in model.counts_off(values)])
    assert np.sqrt(np.mean(np.square(off))) < 0.5
    assert np.max(np.abs(off)) < 1.6


# --- the pieces ---------------------------------------------------------------------------------------


def test_ramps_follow_straight_lines() -> None:
    time, duty = np.array([0.0, 1.0, 2.0]), np.array([0.0, 0.4, 0.4])
    rows = command_rows(time, duty, np.full(3, 12.0), ramps=True)
    assert rows.shape == (2 * RAMP_PIECES, 3)
    np.testing.assert_allclose(np.mean(rows[:RAMP_PIECES, 1]), 0.2)
    held = command_rows(time, duty, np.full(3, 12.0), ramps=False)
    np.testing.assert_array_equal(held[:, 1], duty)


def test_repeats_of_independent_and_of_repeated_residuals() -> None:
    noise = np.random.default_rng(3).standard_normal(4000)
    assert repeats_of([noise]) < 1.3
    # each value held for ten rows: the sum of the triangle 1 + 2 (0.9 + ... + 0.1)
    assert repeats_of([np.repeat(noise[:400], 10)]) == pytest.approx(10.0, rel=0.15)
    assert FEWEST_REPEATS > 1.0


def test_spread_shrugs_off_a_few_wild_residuals() -> None:
    noise = np.random.default_rng(4).standard_normal(2000)
    wild = noise.copy()
    wild[:20] = 50.0
    assert spread([noise]) == pytest.approx(1.0, rel=0.05)
    # twenty of fifty each would make it 5
    assert spread([wild]) < 2.0


def test_robust_line_shrugs_off_outliers() -> None:
    x = np.linspace(0.0, 1.0, 50)
    y = 2.0 + 3.0 * x
    y[::10] += 20.0
    plain = solve(lambda p: p[0] + p[1] * x - y, np.array([1.0, 1.0]))
    robust = solve(lambda p: p[0] + p[1] * x - y, np.array([1.0, 1.0]), robust_from=np.full(50, 0.1))
    assert abs(robust.values[0] - 2.0) < 0.05 < abs(plain.values[0] - 2.0)


def test_soft_l1_is_the_square_for_small_residuals_and_the_size_for_large() -> None:
    loss = soft_l1(np.array([1.0, 1.0, np.inf]))(np.array([1e-6, 1e6, 1e6]))
    # 2 (sqrt(1 + z) - 1): definition of the loss
    np.testing.assert_allclose(loss[0], [1e-6, 2.0 * (math.sqrt(1.0 + 1e6) - 1.0), 1e6], rtol=1e-6)


def test_a_value_at_its_bound_is_told() -> None:
    x = np.linspace(0.0, 1.0, 20)
    found = solve(
        lambda p: p[0] * x + 1.0,
        np.array([0.5]),
        low=np.zeros(1),
        high=np.ones(1),
        jacobian=lambda _: x[:, None],
    )
    assert found.at_bound.tolist() == [True]
