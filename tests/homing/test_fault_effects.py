"""Each injected fault alters the quantity it says, by what was drawn, from its onset on."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from liftfiles import lift_with
from runs import phase_rows, readings, run_faulted, run_with, sensed

from homing.faults import FAULTS
from homing.kernel.codes import Fault
from homing.results import Run
from homing.sensorview import sensor_view
from homing.setting import Setting, prepare

#: The steady lift comes in from 1.7 to 3.5 s; faults on the way begin here [s].
ONSET_S = 2.5
MM = 1e-3


def after(run: Run, onset_s: float = ONSET_S) -> np.ndarray:
    """Rows of the trace from the onset on; the loop in which it came is left out."""
    return run.trace["t_s"] > onset_s + 0.020


@pytest.fixture(scope="module")
def healthy(steady_setting: Setting) -> Run:
    return run_with(steady_setting)


def check_stuck_on(run: Run, healthy: Run) -> None:
    assert set(readings(run)[after(run)].tolist()) == {1}


def check_stuck_off(run: Run, healthy: Run) -> None:
    assert set(readings(run)[after(run)].tolist()) == {0}
    assert sensed(run)[after(run)].any()  # the sensor itself is healthy


def check_inverted(run: Run, healthy: Run) -> None:
    # a reading is 2 ms older than the sensor's column, so the loops in which it changes may differ
    settled = np.flatnonzero(np.diff(sensed(run), prepend=sensed(run)[0]) == 0)
    assert np.array_equal(readings(run)[settled], 1 - sensed(run)[settled])


def check_wire_break(run: Run, healthy: Run) -> None:
    assert set(readings(run)[after(run)].tolist()) == {0}  # this sensor's wire reads not made when open


def check_target_dropped(run: Run, healthy: Run) -> None:
    assert not sensed(run)[after(run)].any()


def check_target_turned(run: Run, healthy: Run) -> None:
    # a unipolar switch answers to one pole: the main window is gone, the side lobes have turned too
    x = run.trace["carriage_mm"]
    assert not sensed(run)[(x > 5.0) & (x < 25.0)].any()
    assert sensed(healthy)[(healthy.trace["carriage_mm"] < 28.0)].all()


def slow_edge_mm(run: Run) -> float:
    """Height of the edge on the slow approach, to a loop's travel of 0.6 mm."""
    return float(run.trace["carriage_mm"][phase_rows(run, "creeping")[-1]])


def check_weak_target(run: Run, healthy: Run) -> None:
    # by how much is read off the healthy curve in a test of its own below
    assert slow_edge_mm(run) < slow_edge_mm(healthy) - 1.0


def check_target_shifted(run: Run, healthy: Run) -> None:
    assert slow_edge_mm(run) == pytest.approx(slow_edge_mm(healthy) - 5.0, abs=0.65)


def check_noise(run: Run, healthy: Run) -> None:
    rows = after(run)
    settled = np.diff(sensed(run), prepend=sensed(run)[0]) == 0
    flipped = (readings(run) != sensed(run))[rows & settled]
    assert flipped.mean() == pytest.approx(0.3, abs=4 * np.sqrt(0.21 / len(flipped)))


def check_count_reset(run: Run, healthy: Run) -> None:
    counts, t = run.trace["counts"], run.trace["t_s"]
    first = int(np.flatnonzero(t >= ONSET_S)[0])
    assert counts[first - 1] > 300
    assert abs(counts[first]) <= 20  # what it has moved since, within one loop
    assert (run.trace["state"][-1], run.reason) == ("faulted", "counts jumped further than the lift can move")


def check_count_loss(run: Run, healthy: Run) -> None:
    rows = np.flatnonzero(after(run))
    per_mm = -np.polyfit(run.trace["spool_mm"][rows], run.trace["counts"][rows], 1)[0]
    usual = -np.polyfit(healthy.trace["spool_mm"], healthy.trace["counts"], 1)[0]
    assert per_mm / usual == pytest.approx(0.7, abs=0.01)


def check_count_frozen(run: Run, healthy: Run) -> None:
    assert len(set(run.trace["counts"][after(run)].tolist())) == 1
    assert np.ptp(run.trace["spool_mm"][after(run)]) > 10.0
    assert run.reason == "told to move, but the counts stand still"


def check_line(run: Run, healthy: Run) -> None:
    """10 mm more string than the counts know, and the carriage so much lower."""
    gaps = []
    for each in (run, healthy):
        rest = phase_rows(each, "zeroed")[-1]
        gaps.append(each.trace["spool_mm"][rest] - each.trace["carriage_mm"][rest])
    assert gaps[0] - gaps[1] == pytest.approx(10.0, abs=0.8)  # stretch differs by friction, either way


def check_string_broken(run: Run, healthy: Run) -> None:
    assert set(run.trace["string_n"][after(run)].tolist()) == {0.0}
    assert run.metrics["impact_speed_mm_s"] > 800.0  # it falls


def check_drive_reversed(run: Run, healthy: Run) -> None:
    # what should hold it drives it in: standing, then told outwards, it goes down with all its power
    rows = phase_rows(run, "checking", "lifting")
    assert np.all(np.diff(run.trace["spool_mm"][rows]) < 0.0)
    assert run.trace["command_fraction"][rows[-1]] == pytest.approx(-1.0)
    assert run.reason == "told to stop, but it keeps moving"


def check_dead_motor(run: Run, healthy: Run) -> None:
    # half the force for the same current: it needs more of it, and longer, to break loose
    loose = [np.flatnonzero(each.trace["carriage_mm"] > 320.1)[0] for each in (run, healthy)]
    assert loose[0] > loose[1] + 3
    assert run.trace["current_a"].max() > healthy.trace["current_a"].max()


def check_motors_opposed(run: Run, healthy: Run) -> None:
    # two equal motors cancel: held by nothing but friction, the lift does not follow its command
    rows = phase_rows(run, "lifting")
    assert run.trace["spool_mm"][rows].max() < run.trace["spool_mm"][0] + 1.0


def check_sticky_spot(run: Run, healthy: Run) -> None:
    # from 220 to 180 mm friction is above the weight: the carriage hangs up while string runs out
    x = run.trace["carriage_mm"]
    assert x.min() > 219.0
    assert run.metrics["slack_mm"] > 100.0


def check_late_loop(run: Run, healthy: Run) -> None:
    steps = np.diff(run.trace["t_s"])
    late = np.flatnonzero(steps > 0.03)
    assert len(late) == 1
    assert steps[late[0]] == pytest.approx(0.1)
    assert run.trace["carriage_mm"][late[0]] == pytest.approx(200.0, abs=3.7)


def check_stale(run: Run, healthy: Run) -> None:
    t, counts, x = run.trace["t_s"], run.trace["counts"], run.trace["carriage_mm"]
    held = np.flatnonzero((np.diff(counts) == 0) & (np.diff(x) < -1.0))
    assert t[held[-1] + 1] - t[held[0]] == pytest.approx(0.1, abs=0.021)
    assert x[held[0]] == pytest.approx(200.0, abs=3.7)


def check_supply_dip(run: Run, healthy: Run) -> None:
    t = run.trace["t_s"]
    lower = healthy.trace["battery_v"][: len(t)] - run.trace["battery_v"]
    within = (t > ONSET_S + 0.04) & (t < ONSET_S + 0.28)
    assert lower[within] == pytest.approx(4.0, abs=0.1)
    assert lower[(t < ONSET_S) | (t > ONSET_S + 0.34)][:100] == pytest.approx(0.0, abs=1e-9)


#: Fault -> its size, its onset and what must be seen; further fields place it on the travel.
CHECKS: dict[Fault, tuple[float, float, Callable[[Run, Run], None], dict[str, float]]] = {
    Fault.STUCK_ON: (0.0, ONSET_S, check_stuck_on, {}),
    Fault.STUCK_OFF: (0.0, ONSET_S, check_stuck_off, {}),
    Fault.INVERTED: (0.0, 0.0, check_inverted, {}),
    Fault.WIRE_BREAK: (0.0, ONSET_S, check_wire_break, {}),
    Fault.TARGET_DROPPED: (0.0, ONSET_S, check_target_dropped, {}),
    Fault.TARGET_TURNED: (0.0, 0.0, check_target_turned, {}),
    Fault.WEAK_TARGET: (0.25, 0.0, check_weak_target, {}),
    Fault.TARGET_SHIFTED: (5 * MM, 0.0, check_target_shifted, {}),
    Fault.NOISE: (0.3, ONSET_S, check_noise, {}),
    Fault.COUNT_RESET: (0.0, ONSET_S, check_count_reset, {}),
    Fault.COUNT_LOSS: (0.3, ONSET_S, check_count_loss, {}),
    Fault.COUNT_FROZEN: (0.0, ONSET_S, check_count_frozen, {}),
    Fault.HUB_SLIP: (10 * MM, ONSET_S, check_line, {}),
    Fault.STRING_OFF_PULLEY: (10 * MM, ONSET_S, check_line, {}),
    Fault.STRING_BROKEN: (0.0, ONSET_S, check_string_broken, {}),
    Fault.DRIVE_REVERSED: (0.0, 0.0, check_drive_reversed, {}),
    Fault.DEAD_MOTOR: (0.0, 0.0, check_dead_motor, {}),
    Fault.MOTORS_OPPOSED: (0.0, 0.0, check_motors_opposed, {}),
    Fault.STICKY_SPOT: (30.0, 0.0, check_sticky_spot, {"fault_height_m": 0.2}),
    Fault.LATE_LOOP: (0.1, 0.0, check_late_loop, {"fault_height_m": 0.2}),
    Fault.STALE_READINGS: (0.1, 0.0, check_stale, {"fault_height_m": 0.2}),
    Fault.SUPPLY_DIP: (4.0, ONSET_S, check_supply_dip, {}),
}


@pytest.mark.parametrize("fault", CHECKS, ids=lambda fault: fault.name.lower())
def test_a_fault_alters_what_it_says(steady_setting: Setting, healthy: Run, fault: Fault) -> None:
    size, onset_s, check, place = CHECKS[fault]
    run = run_faulted(steady_setting, fault, size, onset_s, **place)
    check(run, healthy)
    # before its onset nothing has changed, bit for bit
    before = int((run.trace["t_s"] < onset_s - 0.020).sum())
    for column in ("carriage_mm", "counts", "reading_bottom", "current_a"):
        assert np.array_equal(run.trace[column][:before], healthy.trace[column][:before])


def test_a_weak_target_trips_where_the_healthy_field_is_that_much_stronger(steady_setting: Setting) -> None:
    view = sensor_view(steady_setting)
    assert view is not None
    rows = (view.x_mm > 20.0) & (view.x_mm < 40.0)  # here the field falls steadily
    healthy_mm, weak_mm = np.interp([-12.0, -48.0], -view.signal[rows], view.x_mm[rows])
    edges = [
        slow_edge_mm(run_faulted(steady_setting, fault, 0.25)) for fault in (Fault.NONE, Fault.WEAK_TARGET)
    ]
    assert edges[0] - edges[1] == pytest.approx(healthy_mm - weak_mm, abs=0.65)


def test_a_worn_cable_gives_the_broken_wires_level_near_its_height(steady_setting: Setting) -> None:
    run = run_faulted(
        steady_setting, Fault.HEIGHT_DROPOUT, 1.0, fault_height_m=0.2, wire_reads_made=1, fault_span_m=0.02
    )
    x, reading = run.trace["carriage_mm"], readings(run)
    # a reading is 2 ms older than the height beside it: 0.4 mm
    assert reading[(x > 181.0) & (x < 219.0)].all()
    assert not reading[((x < 179.0) & (x > 60.0)) | (x > 221.0)].any()


def test_a_worn_cable_drops_out_by_the_share_drawn(steady_setting: Setting) -> None:
    run = run_faulted(
        steady_setting, Fault.HEIGHT_DROPOUT, 0.4, fault_height_m=0.32, wire_reads_made=1, fault_span_m=0.3,
        max_time_s=1.5,
    )  # fmt: skip
    reading = readings(run)
    assert reading.mean() == pytest.approx(0.4, abs=4 * np.sqrt(0.24 / len(reading)))


def test_strong_light_adds_to_the_signal() -> None:
    sensor = {"kind": "reflective", "name": "bottom", "mount_mm": 20, "threshold": 0.5, "ambient": 0.05}
    setting = prepare(lift_with({"sensor": [sensor]}))
    assert not readings(run_faulted(setting, Fault.AMBIENT, 0.40, max_time_s=0.1)).any()
    assert readings(run_faulted(setting, Fault.AMBIENT, 0.60, max_time_s=0.1))[1:].all()


def test_a_worn_contact_bounces_in_longer_bursts() -> None:
    switch = {"kind": "contact", "name": "bottom", "mount_mm": 20, "bounce_ms": 0.0}
    setting = prepare(lift_with({"sensor": [switch], "controller.period_ms": 2}))
    clean = run_with(setting)
    worn = run_faulted(setting, Fault.WORN_CONTACT, 0.06)
    edges = [int(np.abs(np.diff(readings(run))).sum()) for run in (clean, worn)]
    changes = int(np.abs(np.diff(sensed(clean))).sum())
    assert edges[0] == changes  # one edge of the reading for each of the contact
    assert edges[1] > edges[0] + 4


def test_a_lost_brake_sags_where_shorted_windings_would_hold_back() -> None:
    heavy = {"lift.moving_mass_kg": 8.0, "drive.gear_ratio": 8, "routine.stop": "shorted"}
    setting = prepare(lift_with(heavy))
    sunk = [320.0 - run_faulted(setting, fault, max_time_s=0.1).trace["carriage_mm"][-1]
            for fault in (Fault.NONE, Fault.BRAKE_LOST)]  # fmt: skip
    assert sunk[1] > 1.3 * sunk[0] > 0.0


def test_every_fault_is_checked_for_what_it_alters() -> None:
    apart = {Fault.HEIGHT_DROPOUT, Fault.AMBIENT, Fault.WORN_CONTACT, Fault.BRAKE_LOST}  # tested above
    assert set(CHECKS) | apart == {kind.code for kind in FAULTS}
