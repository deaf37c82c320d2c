"""Candidates of a lift file: which they are, what becomes of spans and tolerances, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest
from comparelifts import BAR, DISTANCE, STRIP, SWITCH, lift_comparing, lift_of, lift_with, tables

from homing.assembly import assemble
from homing.compare.candidates import candidates_of, moved
from homing.compare.judged import Means
from homing.compare.spans import settle
from homing.verify import verify
from sensor_models.errors import InputError


def own_tolerances(lift: Any) -> dict[str, tuple[float, float]]:
    return {
        each.key.removeprefix("sensor.x."): (each.low, each.high)
        for each in lift.tolerances
        if each.key.startswith("sensor.x.")
    }


def test_without_candidates_the_files_own_sensors_are_compared() -> None:
    lift = lift_with({"sensor": [{"name": "low", **SWITCH}, {"name": "side", **STRIP}], "tolerances": {}})
    found = candidates_of(lift)
    assert [(each.name, each.kind) for each in found] == [("low", "contact"), ("side", "reflective")]
    assert [each.lift.routine.sensor for each in found] == ["low", "side"]
    assert all(len(each.lift.sensors) == 1 and not each.lift.candidates for each in found)


def test_a_candidate_is_the_same_lift_as_one_written_by_hand() -> None:
    candidate = candidates_of(lift_comparing({"name": "x", **STRIP}))[0]
    by_hand = lift_of(STRIP).given
    hand = assemble(
        {
            **by_hand,
            "sensor": [{**STRIP, "name": "x"}],
            "tolerances": {"lift.friction_n": "30%", "sensor.x.mount_mm": 0.5},
        },
        "hand.toml",
    )
    ours, theirs = (verify(each, runs=300) for each in (candidate.lift, hand))
    assert [(each.name, each.p99) for each in ours.requirements] == [
        (each.name, each.p99) for each in theirs.requirements
    ]


def test_a_span_stands_at_its_middle_and_is_kept() -> None:
    candidate = candidates_of(lift_comparing({"name": "x", **BAR, "mount_mm": [10, 20], "gap_mm": [2, 4]}))[0]
    assert [(span.key, span.low, span.high) for span in candidate.spans] == [
        ("mount_mm", 10, 20),
        ("gap_mm", 2, 4),
    ]
    numbers = candidate.lift.quantities()
    assert (numbers["sensor.x.mount_mm"], numbers["sensor.x.gap_mm"]) == (15, 3)


def test_spans_of_a_magnet_reach_into_its_table() -> None:
    magnet = {"shape": "disc", "diameter_mm": [8, 12], "height_mm": 3, "remanence_t": 1.3}
    spans = candidates_of(lift_comparing({"name": "x", **BAR, "magnet": magnet}))[0].spans
    assert [span.key for span in spans] == ["magnet.diameter_mm"]


def test_settling_a_span_finds_the_height_that_stops_in_time() -> None:
    # from 2 to 22 mm: the low end throws the carriage onto its stop
    candidate = candidates_of(lift_comparing({"name": "x", **SWITCH, "mount_mm": [2, 22]}))[0]
    lift, chosen = settle(candidate, Means())
    assert (chosen[0].key, chosen[0].low, chosen[0].high) == ("mount_mm", 2, 22)
    assert chosen[0].value > 10
    assert lift.quantities()["sensor.x.mount_mm"] == chosen[0].value


def test_mounting_tolerances_come_from_the_routines_sensor_and_are_listed() -> None:
    candidate = candidates_of(lift_comparing({"name": "x", **STRIP}))[0]
    assert own_tolerances(candidate.lift) == {"mount_mm": (25.5, 26.5)}
    assert [(each.key, each.value) for each in candidate.assumed] == [
        ("tolerances.candidate.x.mount_mm", [25.5, 26.5])
    ]


def test_a_candidates_own_tolerances_win_and_follow_it_when_moved() -> None:
    changes = {
        "tolerances.candidate.x.mount_mm": {"low": 25, "high": 26.5},
        "tolerances.candidate.x.gap_mm": 1.0,
    }
    candidate = candidates_of(lift_comparing({"name": "x", **STRIP}, changes=changes))[0]
    assert own_tolerances(candidate.lift) == {"mount_mm": (25, 26.5), "gap_mm": (2, 4)}
    assert candidate.assumed == ()
    farther = moved(candidate.lift, {"sensor.x.mount_mm": 40.0})
    assert own_tolerances(farther)["mount_mm"] == (39, 40.5)


def test_the_declared_edge_moves_with_the_sensor_and_stays_with_its_own() -> None:
    lift = lift_with({"routine.reference_mm": 19.0})
    raised = moved(lift, {"sensor.bottom.mount_mm": 25.0})
    assert raised.routine.reference_mm == 24.0
    # it belongs to the file's own sensor: another one's edge is where it trips
    assert candidates_of(lift)[0].lift.routine.reference_mm == 19.0
    other = lift_comparing({"name": "x", **STRIP}, changes={"routine.reference_mm": 19.0})
    assert candidates_of(other)[0].lift.routine.reference_mm is None


def test_head_on_takes_the_gap_only_and_stall_takes_nothing() -> None:
    head_on = {"name": "x", **BAR, "approach": "head_on", "mount_mm": 0}
    stall = {"name": "stop", "kind": "stall"}
    found = candidates_of(lift_comparing(head_on, stall))
    assert "mount_mm" not in own_tolerances(found[0].lift)
    assert [each.key for each in found[1].lift.tolerances] == ["lift.friction_n"]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"sensor": []}, r"\[\[sensor\]\] must be given"),
        ({"candidate": [{"name": "a", **STRIP}, {"name": "a", **BAR}]}, "must be different .*; got 'a'"),
        ({"candidate": [{"name": "bottom", **STRIP}]}, "must be different .*; got 'bottom'"),
        (
            {"candidate": [{"name": "a", **BAR, "mount_mm": [20, 10]}]},
            "listed from the smallest to the largest",
        ),
        ({"candidate": [{"name": "a", **BAR, "mount_mm": [20, 20]}]}, "not all equal"),
        ({"candidate": [{"name": "a", **BAR, "mount_mm": [20, 500]}]}, "must not be above the travel"),
        ({"candidate": [{"name": "a", **STRIP, "others": [[90, 50, 3, 0.5]]}]}, "low_mm below high_mm"),
        ({"candidate": [{"name": "a", **STRIP, "others": [[50, 90, 3]]}]}, "rows of four numbers"),
        ({"candidate": [{"name": "a", **STRIP, "others": [[50, 90, 3, 1.5]]}]}, "reflectance from 0 to 1"),
        ({"tolerances.candidate.nobody.mount_mm": 1.0}, "is not a numeric key of this lift"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_cannot_be_compared_is_refused_with_its_key(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(InputError, match=message):
        candidates_of(assemble(tables(changes), "lift.toml"))


def test_a_distance_candidate_keeps_its_place_below_the_stop() -> None:
    assert (
        candidates_of(lift_comparing({"name": "x", **DISTANCE}))[0].lift.quantities()["sensor.x.mount_mm"]
        == -50
    )
