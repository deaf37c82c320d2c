"""Lifts of every kind behave as builders know them to: sag, stick, bounce, throw string, zero."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from liftfiles import REMOVED, lift_with
from runs import made_with, phase_rows, readings, run_faulted, run_with

from homing.kernel.codes import Fault
from homing.liftfile import Lift
from homing.results import Run
from homing.setting import Setting, prepare
from sensor_models.errors import InputError

UNIPOLAR = {"sensor.switch": "unipolar", "sensor.operate_mt": 12, "sensor.release_mt": 7}
BELT = {"drive.kind": "belt", "drive.spool_diameter_mm": REMOVED, "drive.pulley_diameter_mm": 20}
SCREW = {"drive.kind": "lead_screw", "drive.spool_diameter_mm": REMOVED, "drive.lead_mm": 40}
LEVEL = {"lift.incline_deg": 0}
RETURN = {"string.return_string": True, "string.return_preload_n": 8}
STALL = {"sensor": [{"kind": "stall", "name": "bottom"}]}
#: Eight kilograms on a gear of 8: the load turns the motor.
HEAVY = {**UNIPOLAR, "lift.moving_mass_kg": 8.0, "drive.gear_ratio": 8}


def run_of(*changes: dict[str, Any], **fields: Any) -> Run:
    return run_with(
        prepare(lift_with({key: value for each in changes for key, value in each.items()})), **fields
    )


def power_off(windings: str) -> Run:
    return run_of(HEAVY, {"routine.stop": windings, "drive.when_off": windings})


def test_a_heavy_lift_sags_with_shorted_windings_at_the_speed_of_its_motor_line() -> None:
    run = power_off("shorted")
    plant = made_with(prepare(lift_with({**HEAVY, "routine.stop": "shorted"}))).runs[0]
    # weight less friction, through the gear (the load drives: times eta), less motor friction, is what
    # the shorted motors hold at k u; equations (1), (7) and (9) of homing/lift.py solved for the speed
    k = plant.force_n_per_a * plant.back_emf_v_s * plant.ratio_rad_per_m / plant.resistance_ohm
    load_n = plant.efficiency * (plant.gravity_n - plant.friction_n) - plant.motor_friction_n
    sag_m_per_s = load_n / (k + plant.efficiency * plant.viscous_n_s_per_m)
    falling = run.trace["carriage_mm"] > 1.0
    fastest_mm_s = -run.trace["carriage_mm_s"][falling].min()
    assert fastest_mm_s == pytest.approx(sag_m_per_s * 1e3, rel=0.005)


def test_it_sags_faster_with_open_windings() -> None:
    shorted, opened = power_off("shorted"), power_off("open")
    row = 6  # 140 ms after power-up
    sunk_mm = [320.0 - run.trace["carriage_mm"][row] for run in (shorted, opened)]
    assert sunk_mm[0] > 30.0
    assert sunk_mm[1] > 1.5 * sunk_mm[0]


def test_a_lift_that_sags_is_never_called_safe() -> None:
    for windings in ("shorted", "open"):
        assert power_off(windings).outcome.word == "unsafe"


def test_friction_above_the_weight_holds_without_power() -> None:
    run = run_of(HEAVY, {"lift.friction_n": 90.0, "routine.stop": "open"}, max_time_s=0.11)
    assert len(set(run.trace["carriage_mm"].tolist())) == 1


def test_a_stuck_carriage_stays_stuck_for_the_whole_run_bit_for_bit(steady_setting: Setting) -> None:
    # jammed where it starts, while the spool goes up, down and far past it
    run = run_faulted(steady_setting, Fault.STICKY_SPOT, 1000.0, fault_height_m=0.32)
    assert len(run.trace) > 300
    assert np.ptp(run.trace["spool_mm"]) > 500.0
    assert set(run.trace["carriage_mm"].tolist()) == {320.0}
    assert set(run.trace["carriage_mm_s"].tolist()) == {0.0}


def test_at_rest_on_a_held_string_nothing_creeps(steady_setting: Setting) -> None:
    run = run_with(steady_setting, after_s=5.0)
    rest = phase_rows(run, "zeroed")[100:]  # two seconds after zero was declared
    assert len(rest) > 100
    for column in ("carriage_mm", "spool_mm", "counts"):
        assert len(set(run.trace[column][rest].tolist())) == 1, column


@pytest.mark.parametrize(
    "kind", [{}, BELT, SCREW, RETURN, {**LEVEL, **RETURN}, {**LEVEL, **BELT}, {**LEVEL, **SCREW}],
    ids=["string", "belt", "screw", "return string", "level string", "level belt", "level screw"],
)  # fmt: skip
def test_every_kind_of_drive_zeroes(kind: dict[str, Any]) -> None:
    run = run_of(UNIPOLAR, kind)
    assert (run.outcome.word, run.reason) == ("zeroed", "")
    assert abs(run.metrics["zero_error_mm"]) < 0.6  # 30 mm/s for a loop of 20 ms
    assert run.metrics["false_triggers"] == run.metrics["missed_triggers"] == 0.0


def test_a_level_string_lift_needs_something_that_pulls_back() -> None:
    with pytest.raises(InputError, match="return_string"):
        lift_with({**UNIPOLAR, **LEVEL})


def test_a_screw_is_not_driven_by_its_load_and_a_belt_is() -> None:
    heavy = {**UNIPOLAR, "lift.moving_mass_kg": 10.0, "routine.stop": "open"}
    sunk_mm = {}
    for name, kind in (("belt", BELT), ("screw", SCREW)):
        carriage_mm = run_of(heavy, kind, max_time_s=0.11).trace["carriage_mm"]
        sunk_mm[name] = 320.0 - carriage_mm[-1]
    assert sunk_mm["belt"] > 5.0
    assert sunk_mm["screw"] == pytest.approx(0.0, abs=1e-6)


def test_a_reverse_wrap_lifts(steady_setting: Setting) -> None:
    # 20 mm of line at the carriage are left at the stop; past it the spool winds the other way round
    run = run_faulted(steady_setting, Fault.TARGET_DROPPED, onset_s=1.7, spare_m=0.020)
    spool, carriage = run.trace["spool_mm"], run.trace["carriage_mm"]
    wound = (spool < -60.0) & (run.trace["string_n"] > 0.0)
    assert wound.sum() > 50
    # h = -2 L - s, less the stretch of the string under weight and friction
    stretch_mm = run.trace["string_n"][wound] / 12.0
    away_mm = np.abs(carriage[wound] + 2 * 20.0 + spool[wound] + stretch_mm)
    assert np.median(away_mm) < 0.02  # the string's damping pulls as well, most of all when it stops
    assert away_mm.max() < 0.5
    assert (np.diff(spool[wound]) < 0.0).mean() > 0.5
    assert carriage.max() > 300.0


@pytest.mark.parametrize("motors", [1, 2, 3])
def test_coupled_motors_share_one_current_limit(steady: Lift, motors: int) -> None:
    run = run_with(prepare(steady.replace({"drive.motors": motors})), start_m=0.64)
    assert run.trace["state"][-1] == "zeroed"
    # started at the upper stop it pulls against it: the limit of 15 A (or what one draws), 1 A of others
    assert run.metrics["peak_current_a"] < 15.0 + 1.0
    assert run.metrics["peak_current_a"] > 5.0


def test_an_encoder_on_the_spool_counts_turns_of_the_spool(steady: Lift) -> None:
    lift = steady.replace({"drive.encoder_on": "spool", "drive.encoder_counts_per_rev": 600})
    run = run_with(prepare(lift))
    assert run.outcome.word == "zeroed"
    turn_mm = np.pi * 38 * 2
    floor = np.floor(run.trace["spool_mm"] / turn_mm * 600).astype(int)
    assert (
        np.abs(run.trace["counts"] - floor).max() <= 1
    )  # the floor of a number just at a whole one may differ
    assert np.array_equal(run.trace["counts"][:5], floor[:5])


@pytest.mark.parametrize(
    "kind",
    [
        pytest.param({}, id="string"),
        pytest.param(BELT, id="belt"),
        pytest.param({**LEVEL, **BELT}, id="level belt"),
        pytest.param({**LEVEL, **SCREW}, id="level screw"),
        pytest.param(SCREW, id="screw"),
    ],
)
def test_a_power_command_keeps_the_speed_it_stands_for_at_nominal_load_and_voltage(
    kind: dict[str, Any],
) -> None:
    ideal = {"battery.open_circuit_v": 12.0, "battery.resistance_ohm": 0.0, "drive.command": "duty"}
    told_mm_s = lift_with({**UNIPOLAR, **kind}).routine.fast_speed_mm_s
    run = run_of(UNIPOLAR, kind, ideal)
    rows = phase_rows(run, "coming_in")[40:]
    assert len(set(run.trace["command_fraction"][rows].round(9).tolist())) == 1
    # belt and screw ring on by some hundredths; a screw carries its load in one half of each swing only,
    # which leaves it faster by up to 0.2 %
    assert run.trace["carriage_mm_s"][rows] == pytest.approx(-told_mm_s, rel=2e-3 if kind is SCREW else 1e-3)


def test_a_power_command_zeroes_on_a_sagging_battery() -> None:
    assert run_of(UNIPOLAR, {"drive.command": "duty"}).outcome.word == "zeroed"


@pytest.mark.parametrize("kind", [BELT, SCREW], ids=["belt", "screw"])
def test_the_hard_stop_itself_can_be_the_sensor(kind: dict[str, Any]) -> None:
    limits = {"requirements.zero_error_mm": 5}
    run = run_of(STALL, kind, limits, {"routine.fast_speed_mm_s": 60, "drive.current_limit_a": 3})
    assert run.outcome.word == "zeroed"
    assert run.metrics["trip_mm"] == 0.0
    assert run.metrics["impact_speed_mm_s"] == pytest.approx(60.0, rel=0.02)
    # told by counts that stand for the stated time while it presses on the stop
    first = phase_rows(run, "stopping")[0]
    pressed = run.trace["stop_n"][first - 15 : first]
    assert pressed.min() > 10.0


def test_a_string_lift_cannot_feel_its_stop() -> None:
    # the spool turns on and throws string: nothing stands still
    run = run_of(STALL, {"routine.fast_speed_mm_s": 60})
    assert run.trace["state"][-1] == "faulted"
    assert run.metrics["slack_mm"] > 100.0


def contact_lift(speed_mm_s: float) -> Lift:
    """A contact switch made 1 mm above a rubbery stop, read every 5 ms, without electrical bounce."""
    switch = {"kind": "contact", "name": "bottom", "mount_mm": 2, "pretravel_mm": 1.0, "differential_mm": 0.2}
    return lift_with(
        {
            "sensor": [{**switch, "bounce_ms": 0.0}],
            "routine.fast_speed_mm_s": speed_mm_s,
            "stop.restitution": 0.6,
            "controller.period_ms": 5,
        }
    )


def test_at_speed_the_lift_rebounds_and_a_contact_switch_chatters() -> None:
    # common practice, no source: a lift bounces on a contact switch at speed and makes it chatter
    run = run_with(prepare(contact_lift(500.0)))
    rows = phase_rows(run, "coming_in", "stopping")
    made = readings(run)[rows]
    first = int(np.flatnonzero(made)[0])
    again = first + np.flatnonzero(made[first:] == 0)
    assert len(again) > 0  # the reading opens again ...
    # ... because the carriage is up again (closing takes 1.0 mm, the reading is 2 ms old) ...
    assert run.trace["carriage_mm"][rows][again].min() > 0.5
    assert made[-1] == 1  # ... and it comes to rest pressed


def test_slowly_the_same_switch_does_not_chatter() -> None:
    run = run_with(prepare(contact_lift(40.0)))
    rows = phase_rows(run, "coming_in", "stopping")
    assert np.abs(np.diff(readings(run)[rows])).sum() == 1


def test_a_reflective_sensor_needs_a_large_target() -> None:
    # common practice, no source; here the light spot is 8 mm wide
    part = {"kind": "reflective", "name": "bottom", "mount_mm": 25, "beam_spot_mm": 8, "ambient": 0.0}
    large = prepare(lift_with({"sensor": [{**part, "target_mm": [40, 20]}]}))
    assert run_with(large).outcome.word == "zeroed"
    with pytest.raises(InputError, match="short by"):
        prepare(lift_with({"sensor": [{**part, "target_mm": [3, 3]}]}))


def test_a_return_string_with_take_up_spring_keeps_slack_small() -> None:
    # common practice, no source: without one the spool throws slack once the carriage is on its stop
    slack_mm = {}
    for name, kind in (("without", {}), ("with", RETURN)):
        lift = lift_with({**UNIPOLAR, **kind, "string.return_take_up_mm": 15, "string.return_slack_mm": 5})
        slack_mm[name] = run_faulted(lift, Fault.TARGET_DROPPED, onset_s=1.5).metrics["slack_mm"]
    assert slack_mm["without"] > 300.0
    # own slack 5 mm and spring 15 mm, then both strings pull straight: the drive stalls
    assert slack_mm["with"] < 30.0


def test_a_softer_string_costs_more_of_the_stop() -> None:
    hard, soft = (run_of(UNIPOLAR, {"string.stiffness_n_per_mm": k}) for k in (50.0, 2.0))
    assert soft.stops[0].budget_mm["string"] > 5.0 * hard.stops[0].budget_mm["string"]
    assert soft.stops[0].budget_mm["reading_delay"] == pytest.approx(
        hard.stops[0].budget_mm["reading_delay"], rel=1e-3
    )


def test_a_sagging_battery_slows_a_power_command() -> None:
    speeds = [
        run_of(UNIPOLAR, {"drive.command": "duty", "battery.resistance_ohm": ohm}).trace["carriage_mm_s"][20]
        for ohm in (0.0, 1.0)
    ]
    assert speeds[0] > speeds[1] > 0.0  # lifting
