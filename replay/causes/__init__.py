"""One small function a cause: facts in, the case for it out."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from replay.causes import (
    cables,
    counts,
    disturbed,
    drive,
    hung,
    pressing,
    routine,
    sensor,
    slack,
    steps,
    string,
    supply,
    timing,
    zeros,
)
from replay.causes.case import Case
from replay.diagnosis import Cause
from replay.facts import Facts

#: The judge of each cause; `Cause.CANNOT_TELL` has none, it is what remains.
JUDGES: Mapping[Cause, Callable[[Facts], Case]] = {
    Cause.LATE_LOOP: timing.late_loop,
    Cause.SHORT_MARGIN: routine.short_margin,
    Cause.TARGET_PAST_SENSOR: sensor.target_past_sensor,
    Cause.MISSED_EDGE: timing.missed_edge,
    Cause.CONTACT_CHATTER: sensor.contact_chatter,
    Cause.ZERO_WHILE_MOVING: zeros.zero_while_moving,
    Cause.COUNTER_RESET: counts.counter_reset,
    Cause.COUNT_LOSS: counts.count_loss,
    Cause.DRIVE_SLIP: steps.drive_slip,
    Cause.STRING_STRETCH: string.string_stretch,
    Cause.SLACK_PAYOUT: slack.slack_payout,
    Cause.REVERSE_WRAP: string.reverse_wrap,
    Cause.OVERLAPPED_WRAPS: counts.overlapped_wraps,
    Cause.SUPPLY_DIP: supply.supply_dip,
    Cause.DRIVE_SIGN: drive.drive_sign,
    Cause.SENSOR_POLARITY: sensor.sensor_polarity,
    Cause.CABLE_BREAK: cables.cable_break,
    Cause.AMBIENT_LIGHT: disturbed.ambient_light,
    Cause.ELECTRICAL_NOISE: disturbed.electrical_noise,
    Cause.SWITCH_DAMAGE: steps.switch_damage,
    Cause.TARGET_LOST: sensor.target_lost,
    Cause.STICKY_TRAVEL: hung.sticky_travel,
    Cause.MOTORS_OPPOSED: drive.motors_opposed,
    Cause.PRESSING_ON_STOP: pressing.pressing_on_stop,
    Cause.LIMIT_NOT_CHECKED: routine.limit_not_checked,
    Cause.UNKNOWN_START: routine.unknown_start,
    Cause.STALE_READING: timing.stale_reading,
}

#: Log prior odds beside an even share: how often the trade meets a cause, as the failure table rates it
#: (common practice, no published counts). Causes that explain anything fast get none on top.
PRIORS: Mapping[Cause, float] = {
    Cause.SHORT_MARGIN: 0.3,
    Cause.LATE_LOOP: 0.3,
    Cause.SLACK_PAYOUT: -0.3,
    Cause.SWITCH_DAMAGE: -0.3,
    Cause.OVERLAPPED_WRAPS: -0.5,
    Cause.MOTORS_OPPOSED: -0.5,
    Cause.REVERSE_WRAP: -0.3,
}

_COUNT = (
    Cause.COUNTER_RESET,
    Cause.COUNT_LOSS,
    Cause.DRIVE_SLIP,
    Cause.STRING_STRETCH,
    Cause.OVERLAPPED_WRAPS,
    Cause.UNKNOWN_START,
    Cause.ELECTRICAL_NOISE,
    Cause.STICKY_TRAVEL,
    Cause.SENSOR_POLARITY,
    Cause.DRIVE_SIGN,
    Cause.CABLE_BREAK,
    Cause.AMBIENT_LIGHT,
)
_TIMELY = (
    Cause.LATE_LOOP,
    Cause.STALE_READING,
    Cause.SUPPLY_DIP,
    Cause.LIMIT_NOT_CHECKED,
    Cause.CONTACT_CHATTER,
    Cause.MISSED_EDGE,
    Cause.TARGET_LOST,
    Cause.TARGET_PAST_SENSOR,
    Cause.SWITCH_DAMAGE,
    Cause.MOTORS_OPPOSED,
    Cause.ZERO_WHILE_MOVING,
)

#: Causes that make a false edge somewhere on the way, or a false zero.
_FALSE_EDGE = (
    Cause.ELECTRICAL_NOISE,
    Cause.CABLE_BREAK,
    Cause.AMBIENT_LIGHT,
    Cause.SENSOR_POLARITY,
    Cause.DRIVE_SIGN,
    Cause.COUNTER_RESET,
    Cause.STALE_READING,
)

#: What can bring a cause about: where one of the causes on the right is plain and came first, the one on
#: the left is its effect. A wrong count or a late stop makes margins short; a short margin throws string.
BROUGHT_ABOUT: Mapping[Cause, tuple[Cause, ...]] = {
    Cause.SHORT_MARGIN: (*_COUNT, *_TIMELY),
    Cause.MISSED_EDGE: (*_COUNT, Cause.SUPPLY_DIP),
    Cause.TARGET_PAST_SENSOR: (
        *_COUNT,
        Cause.LATE_LOOP,
        Cause.STALE_READING,
        Cause.SUPPLY_DIP,
        Cause.LIMIT_NOT_CHECKED,
    ),
    Cause.ZERO_WHILE_MOVING: (*_COUNT, Cause.CONTACT_CHATTER),
    Cause.SLACK_PAYOUT: (*_COUNT, *_TIMELY, Cause.SHORT_MARGIN, Cause.PRESSING_ON_STOP),
    Cause.LIMIT_NOT_CHECKED: (Cause.DRIVE_SIGN,),
    Cause.PRESSING_ON_STOP: (*_COUNT, *_TIMELY),
    Cause.REVERSE_WRAP: (
        Cause.LIMIT_NOT_CHECKED,
        Cause.TARGET_LOST,
        Cause.SUPPLY_DIP,
        Cause.STALE_READING,
        Cause.DRIVE_SIGN,
        Cause.SENSOR_POLARITY,
    ),
    Cause.TARGET_LOST: (Cause.SUPPLY_DIP, Cause.SENSOR_POLARITY, Cause.SWITCH_DAMAGE),
    Cause.COUNTER_RESET: (Cause.SUPPLY_DIP, Cause.ELECTRICAL_NOISE, Cause.STICKY_TRAVEL, Cause.DRIVE_SIGN),
    Cause.DRIVE_SLIP: _FALSE_EDGE,
    Cause.COUNT_LOSS: _FALSE_EDGE,
    Cause.STRING_STRETCH: _FALSE_EDGE,
    Cause.OVERLAPPED_WRAPS: (*_FALSE_EDGE, Cause.REVERSE_WRAP),
    Cause.AMBIENT_LIGHT: (Cause.SENSOR_POLARITY, Cause.SUPPLY_DIP),
    Cause.CABLE_BREAK: (Cause.SENSOR_POLARITY, Cause.SUPPLY_DIP),
    Cause.ELECTRICAL_NOISE: (Cause.SENSOR_POLARITY, Cause.SUPPLY_DIP),
    Cause.STALE_READING: (Cause.SUPPLY_DIP, Cause.AMBIENT_LIGHT, Cause.CABLE_BREAK),
    Cause.UNKNOWN_START: (Cause.DRIVE_SIGN, Cause.SENSOR_POLARITY, Cause.COUNTER_RESET, Cause.REVERSE_WRAP),
    Cause.SWITCH_DAMAGE: (Cause.COUNT_LOSS, Cause.DRIVE_SLIP, *_FALSE_EDGE),
    Cause.STICKY_TRAVEL: (Cause.AMBIENT_LIGHT, Cause.CABLE_BREAK, Cause.SUPPLY_DIP),
}
