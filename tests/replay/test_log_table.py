"""``[log]`` of a lift file accepts what ``--columns MAP.toml`` accepts, and means the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from homing.assembly import LOG_UNITS
from homing.liftfile import Lift, load_lift
from replay.columns import LogColumns
from replay.units import ON_OFF, Role, units_of
from sensor_models.errors import InputError

LONG_LAYOUT = """
[log]
time = { column = "stamp", unit = "ms" }
counts = { column = "lift/counts", unit = "m" }
counts_2 = { column = "lift/counts_b", invert = true }
current_2 = { column = "lift/amps_b", unit = "mA" }
sensor_2 = { column = "top", active = "low" }
name = { column = "topic" }
value = { column = "reading" }
hold_s = 0.5
mm_per_count = 0.31
"""


@pytest.fixture
def lift_text(tmp_path: Path) -> str:
    """A lift file without a ``[log]`` of its own."""
    from homing.starter import starter_text

    return starter_text()


def with_log(lift_text: str, log: str, folder: Path) -> Lift:
    file = folder / "lift.toml"
    file.write_text(lift_text + log)
    return load_lift(file)


def test_every_role_and_unit_of_the_reader_is_a_key() -> None:
    assert set(LOG_UNITS) == {role.value for role in Role}
    for role in Role:
        assert set(LOG_UNITS[role.value]) == {unit.word for unit in units_of(role)}, role
        assert (LOG_UNITS[role.value] == ()) == (role in ON_OFF or role is Role.STATE)


def test_a_lift_file_says_what_a_map_says(lift_text: str, tmp_path: Path) -> None:
    lift = with_log(lift_text, LONG_LAYOUT, tmp_path)
    from_map = tmp_path / "map.toml"
    from_map.write_text(LONG_LAYOUT)
    one, other = LogColumns.from_lift(lift.log, "map.toml"), LogColumns.from_file(from_map)
    assert one == other
    assert one.hold_s == 0.5
    assert (one.name, one.value) == ("topic", "reading")


@pytest.mark.parametrize(
    ("log", "key"),
    [
        ('[log]\nname = { column = "topic" }\n', "log.value"),
        ("[log]\nhold_s = 0\n", "log.hold_s"),
        ("[log]\nhold_s = true\n", "log.hold_s"),
        ('[log]\nvalue = "reading"\n', "log.value"),
        ('[log]\ncounts_3 = { column = "c" }\n', "log.counts_3"),
    ],
)
def test_what_a_map_refuses_a_lift_file_refuses(lift_text: str, tmp_path: Path, log: str, key: str) -> None:
    with pytest.raises(InputError) as refused:
        with_log(lift_text, log, tmp_path)
    assert key in str(refused.value)
    other = tmp_path / "map.toml"
    other.write_text(log)
    with pytest.raises(InputError) as refused_too:
        LogColumns.from_file(other)
    assert key in str(refused_too.value)
