"""The text of an own table with numbers put in: rows, order and comments as they were."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from ownlifts import own_text, small_text
from tuningcases import lift_of

from homing.tuning.newfile import check_edit, check_editable, with_settings
from homing.tuning.study import keys_of
from sensor_models.errors import InputError

SETTINGS = {
    "phase.down.speed_mm_s": -85.0,
    "row.2.when.moved_out_mm": 42.0,
    "row.8.when.standstill_ms": 90.0,
    "row.8.when.made_times": 4.0,
    "row.8.unless.below_mm": 7.5,
    "row.9.when.standstill_ms": 100.0,
}


def edited(text: str, settings: dict[str, float] = SETTINGS) -> str:
    return with_settings(text, settings, dict.fromkeys(settings, "tuned"), lift_of(text))


def routine(text: str) -> dict[str, Any]:
    return tomllib.loads(text)["routine"]  # type: ignore[no-any-return]


def test_only_the_numbers_change_and_lines_say_so() -> None:
    text = small_text()
    new = edited(text)
    check_edit(new, lift_of(text), SETTINGS)
    assert routine(new)["phase"][2]["command"] == {"speed_mm_s": -85}
    assert routine(new)["row"][7]["when"] == [{"standstill_ms": 90}, {"made_times": 4}]
    old, changed = text.splitlines(), new.splitlines()
    assert len(old) == len(changed)
    assert [(a, b) for a, b in zip(old, changed, strict=True) if a != b] == [
        ("command = { speed_mm_s = -60 }", "command = { speed_mm_s = -85 }  # tuned, was -60"),
        ("when = [{ moved_out_mm = 50 }]", "when = [{ moved_out_mm = 42 }]  # moved_out_mm tuned, was 50"),
        (
            "when = [{ standstill_ms = 100 }, { made_times = 3 }]",
            "when = [{ standstill_ms = 90 }, { made_times = 4 }]  "
            "# standstill_ms tuned, was 100; made_times tuned, was 3",
        ),
        ("unless = [{ below_mm = 5 }]", "unless = [{ below_mm = 7.5 }]  # below_mm tuned, was 5"),
    ]


def test_a_comment_stays_behind_where_the_number_is_from() -> None:
    text = small_text({"command = { speed_mm_s = -60 }": "command = {speed_mm_s=-60}#not faster: -70 hit it"})
    assert "command = {speed_mm_s=-85}  # tuned, was -60; not faster: -70 hit it" in edited(text)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("when = [{ moved_out_mm = 50 }]", 'why = "moved_out_mm = 9 } ]"\nwhen = [{ moved_out_mm = 50 }]'),
        ("when = [{ moved_out_mm = 50 }]", "# when = [{ moved_out_mm = 9 }]\nwhen = [{ moved_out_mm = 50 }]"),
        ("when = [{ moved_out_mm = 50 }]", 'when = [  # "\n  { moved_out_mm = 5_0 },  # so far\n]'),
        ("when = [{ moved_out_mm = 50 }]", "why = '''\n[[routine.row]]'''\nwhen = [{ moved_out_mm = 5e1 }]"),
        ('name = "down"\ncommand = { speed_mm_s = -60 }', 'name = "down"\ncommand.speed_mm_s = -60'),
        (
            'name = "down"\ncommand = { speed_mm_s = -60 }',
            'name = "down"\n[routine.phase.command]\nspeed_mm_s = -60',
        ),
        ("[[routine.row]]", "  [[ routine . row ]]  # ours"),
    ],
)
def test_other_ways_to_write_it_are_taken(old: str, new: str) -> None:
    text = small_text({old: new})
    lift = lift_of(text)
    assert routine(text)["row"][1]["when"] == [{"moved_out_mm": 50}]
    check_editable(text, lift, keys_of(lift))
    check_edit(edited(text), lift, SETTINGS)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("{ speed_mm_s = -60 }", '{ "speed_mm_s" = -60 }'),
        ("when = [{ moved_out_mm = 50 }]", '"when" = [{ moved_out_mm = 50 }]'),
        ("{ made_times = 3 }]\nunless", "{ made_times = 0x3 }]\nunless"),
    ],
)
def test_what_cannot_be_put_in_is_refused_before_the_search(old: str, new: str) -> None:
    text = small_text({old: new})
    lift = lift_of(text)
    with pytest.raises(InputError, match=r"routine must have its keys .* \[\[routine\.phase\]\]"):
        check_editable(text, lift, keys_of(lift))


def test_tables_in_one_line_are_refused() -> None:
    phases = [
        '{ name = "idle", role = "start", command = "stop" }',
        '{ name = "down", command = { duty = -0.1 } }',
        '{ name = "off", role = "faulted", command = "stop" }',
    ]
    rows = [
        '{ from = "idle", when = ["start_requested"], to = "down" }',
        '{ from = "down", when = ["made"], to = "off" }',
    ]
    head, _, rest = small_text().partition("[routine]")
    routine = f"[routine]\nphase = [{', '.join(phases)}]\nrow = [{', '.join(rows)}]\n"
    inline = head + routine + rest[rest.index("[requirements]") :]
    lift = lift_of(inline)
    with pytest.raises(InputError, match="so that tuned values can be put in"):
        check_editable(inline, lift, keys_of(lift))


def test_line_ends_stay() -> None:
    text = own_text().replace("\n", "\r\n")
    lift = lift_of(text)
    check_editable(text, lift, keys_of(lift))
    new = edited(text, {"phase.down.speed_mm_s": -85.0})
    assert "command = { speed_mm_s = -85 }  # tuned, was -150\r\n" in new
    assert new.count("\r\n") == text.count("\r\n") == new.count("\n")


def test_a_setting_beside_the_table_goes_in_too() -> None:
    head, _, rest = small_text().partition("[[sensor]]")
    stall = '[[sensor]]\nname = "bottom"\nkind = "stall"\n'
    text = head + stall + rest[rest.index("[routine]") : rest.index("[requirements]")]
    settings = {"phase.down.speed_mm_s": -85.0, "no_motion_ms": 130.0}
    new = edited(text, settings)
    check_edit(new, lift_of(text), settings)
    assert routine(new)["no_motion_ms"] == 130
    assert len(routine(new)["phase"]) == 6
