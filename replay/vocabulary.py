"""Words by which headers give their role away [common practice, no source]."""

from __future__ import annotations

from collections.abc import Mapping

from replay.units import Role


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


#: Headers that name a role outright, word parts joined by "_", unit left out.
EXACT: Mapping[Role, frozenset[str]] = {
    Role.TIME: _set("time t"),
    Role.COUNTS: _set("counts encoder_counts"),
    Role.COMMAND: _set("command"),
    Role.SENSOR: _set("sensor"),
    Role.SENSOR_2: _set("sensor_2"),
    Role.BATTERY: _set("battery battery_v"),
    Role.CURRENT: _set("current current_a"),
    Role.STATE: _set("state"),
    Role.TARGET: _set("target"),
    Role.COUNTS_2: _set("counts_2 encoder_counts_2"),
    Role.CURRENT_2: _set("current_2"),
}

#: Words that mean this role.
STRONG: Mapping[Role, frozenset[str]] = {
    Role.TIME: _set("time timestamp stamp epoch unixtime walltime clock elapsed uptime"),
    Role.COUNTS: _set("counts count ticks tick enc encoder encoders pos position height"),
    Role.COMMAND: _set("command cmd duty output pwm"),
    Role.SENSOR: _set(
        "sensor limit lim touch hall magnet mag bottom eot switch sw pressed reed prox beam reading"
    ),
    Role.BATTERY: _set("vbat vbatt bat batt battery supply"),
    Role.CURRENT: _set("current amps amp cur amperage"),
    Role.STATE: _set("state mode phase"),
    Role.TARGET: _set("target goal setpoint sp want wanted desired reference demand"),
}

#: Words that may mean it.
WEAK: Mapping[Role, frozenset[str]] = {
    Role.COMMAND: _set("out power pwr u effort throttle volts voltage"),
    Role.SENSOR: _set("stop home"),
    Role.BATTERY: _set("bus voltage volts"),
    Role.CURRENT: _set("i consumption"),
    Role.STATE: _set("activity status step"),
    Role.TARGET: _set("ref"),
}

_SPEEDS = "vel velocity speed rate accel acceleration"
_GOALS = "target goal setpoint sp want wanted desired error err"

#: Words that rule a role out.
NEVER: Mapping[Role, frozenset[str]] = {
    Role.TIME: _set("dt delta period step count counts out timeout"),
    Role.COUNTS: _set(
        f"loop loops cycle iteration row index {_SPEEDS} {_GOALS} state mode current amps error"
    ),
    Role.COMMAND: _set(f"{_GOALS} pos position state mode bus battery supply"),
    Role.SENSOR: _set("top upper high max state mode volts amps temp gyro imu"),
    Role.BATTERY: _set("current amps amp motor out cmd command output temp"),
    Role.CURRENT: _set("state mode pos position target goal height counts limit"),
    Role.STATE: _set("switch sw pos position"),
    Role.TARGET: _set(f"{_SPEEDS} error err"),
}

#: How the trace of a simulated run begins the header of what the controller read; ``sensor_NAME`` beside
#: it is what the sensor itself said.
READING = "reading"

#: Word parts of a first and a second column of the same kind.
PAIRS: frozenset[tuple[str, str]] = frozenset({("left", "right"), ("l", "r"), ("1", "2")})
