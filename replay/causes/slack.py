"""Slack: a spool that unwinds on with the carriage on its stop."""

from __future__ import annotations

import numpy as np

from replay.causes.case import GOOD, HINT, PLAIN, Case
from replay.causes.routine import went_on_driven
from replay.diagnosis import Cause
from replay.facts import Facts
from replay.visits import OFF

#: Run-on after the command changed, brought to one speed, beyond this many times the usual is free running.
FREE_TIMES = 1.8
#: A run-on is driven when the command is inwards in this share of its rows, of so many at least.
DRIVEN_SHARE, DRIVEN_ROWS = 0.5, 3
#: A spool has nearly stopped at this share of its approach speed.
SLOWED_SHARE = 0.3


def slack_payout(facts: Facts) -> Case:
    """The spool unwinds on with the carriage on its stop: speed kept or rising, current low."""
    case = Case(Cause.SLACK_PAYOUT, test="log the current, and watch the string at the bottom")
    bad, track = facts.bad, facts.track
    if bad is None:
        return case.absent("no visit went past the limit")
    first = bad.at if bad.seen is None else max(bad.at, bad.seen)
    case.at(first, bad.stand)
    case.contribution = bad.overtravel
    if bad.seen is None or not facts.prompt:
        case.speaks_against(GOOD, "the trip was not read in time, which comes before any slack")
    if np.isnan(bad.run_on):
        case.speaks_against(HINT, "the log does not show when the command changed")
    else:
        _free_running(facts, case)
        _slowed_first(facts, case)
        _kept_speed(facts, case)
        _driven_on(facts, case)
    if bad.overtravel > 1.5 * facts.limit:
        case.speaks_for(HINT, f"the spool went {bad.overtravel:.0f} mm past the trip")
    else:
        case.speaks_against(GOOD, f"the spool went only {bad.overtravel:.0f} mm past the trip")
    if track.current is not None:
        _low_current(facts, case, first)
    return case


def _stopped(facts: Facts) -> str:
    return "the reading" if facts.track.command is None else "the command changed"


def _free_running(facts: Facts, case: Case) -> None:
    bad, _track = facts.bad, facts.track
    assert bad is not None
    usual = [each.run_on / max(each.approach_speed, 1.0) for each in facts.good if not np.isnan(each.run_on)]
    here = bad.run_on / max(bad.approach_speed, 1.0)
    if usual:
        times = here / max(float(np.median(usual)), 0.005)
        words = (
            f"after {_stopped(facts)} the spool ran on by {bad.run_on:.0f} mm, {times:.1f} times the usual "
            "at this speed"
        )
        # without the command it may have been driven on
        weight = PLAIN if facts.track.command is not None else HINT
        case.speaks_for(weight, words) if times > FREE_TIMES else case.speaks_against(PLAIN, words)
    # time in which a braked lift has long stopped: run-on at the approach speed
    elif here > 0.12:
        case.speaks_for(GOOD, f"after {_stopped(facts)} the spool ran on for {bad.run_on:.0f} mm")
    else:
        case.speaks_against(GOOD, f"the spool stopped {bad.run_on:.0f} mm after {_stopped(facts)}")


def _slowed_first(facts: Facts, case: Case) -> None:
    """A spool that runs free gathers speed; one that had nearly stopped was let or driven down."""
    bad, track = facts.bad, facts.track
    assert bad is not None
    change = _change(facts)
    if change is None or bad.stand - change < DRIVEN_ROWS:
        return
    half = (float(track.height[change]) + bad.edge - bad.deepest) / 2
    above = np.flatnonzero(track.height[change : bad.stand + 1] <= half)
    upto = change + (int(above[0]) if len(above) else 0)
    if upto - change < 2:
        return
    slowest = float(np.min(np.abs(track.speed[change + 1 : upto])))
    if slowest < SLOWED_SHARE * bad.approach_speed:
        case.speaks_against(
            PLAIN,
            f"after {_stopped(facts)} it had slowed to {slowest:.0f} mm/s before it went on: a free spool "
            "gathers speed",
        )


def _kept_speed(facts: Facts, case: Case) -> None:
    """Without the command: a spool that goes on at just the speed of the approach is driven."""
    bad, track = facts.bad, facts.track
    assert bad is not None
    if track.command is not None or not went_on_driven(facts):
        return
    case.speaks_against(GOOD, "it goes on at the speed of its approach, as a driven lift does")


def _change(facts: Facts) -> int | None:
    """Row in which the command changed, or that of the reading in a log without commands."""
    bad, track = facts.bad, facts.track
    if bad is None or bad.seen is None:
        return None
    if track.command is None:
        return bad.seen
    return None if np.isnan(bad.command_delay_s) else track.after(bad.seen, bad.command_delay_s + 1e-9)


def _driven_on(facts: Facts, case: Case) -> None:
    """A spool that the command drives inwards again does not run by itself."""
    bad, track = facts.bad, facts.track
    assert bad is not None
    if track.command is None or bad.seen is None:
        return
    change = track.after(bad.seen, bad.command_delay_s + 1e-9)
    rows = np.arange(change + 1, bad.stand + 1)
    if len(rows) < DRIVEN_ROWS:
        return
    # a command of nothing lets the weight wind out; it does not drive
    driven = np.array([facts.inward(i) and abs(track.command[i]) > OFF for i in rows.tolist()])
    if float(np.mean(driven)) > DRIVEN_SHARE:
        case.speaks_against(PLAIN, f"{np.mean(driven):.0%} of the run-on was driven inwards by the command")


def _low_current(facts: Facts, case: Case, first: int) -> None:
    bad, track = facts.bad, facts.track
    assert bad is not None
    assert track.current is not None
    moving = track.speed[first : bad.stand + 1] < -track.still
    if not moving.any():
        return
    there = float(np.median(track.current[first : bad.stand + 1][moving]))
    usual = float(np.median(track.current))
    words = f"{there:.1f} A while it runs on, {usual:.1f} A over the log"
    case.speaks_for(HINT, words) if there < 0.6 * usual else case.speaks_against(HINT, words)
