"""The routine told in words."""

from __future__ import annotations

import pytest
from report_fakes import fake_table

from homing.kernel.codes import Order
from homing.report.diagram import command_words, diagram_text, steps
from homing.routine import Command


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (Command(Order.SPEED, -0.25), "in at 250 mm/s"),
        (Command(Order.SPEED, 0.03), "out at 30 mm/s"),
        (Command(Order.DUTY, -0.3), "in at 30 % duty"),
        (Command(Order.HOLD), "stop, held"),
        (Command(Order.SHORTED), "stop, windings shorted"),
        (Command(Order.OPEN), "stop, windings open"),
    ],
)
def test_commands_in_words(command: Command, words: str) -> None:
    assert command_words(command) == words


def test_every_row_is_told_once() -> None:
    table = fake_table()
    told = sum(len(step.ways) + len(step.faults) for step in steps(table))
    assert told == len(table.rows)


def test_ways_keep_their_priority_and_numbers() -> None:
    ways = {step.name: step.ways for step in steps(fake_table())}["checking"]
    assert [(way.number, way.to) for way in ways] == [(2, "backing_off"), (3, "lifting"), (4, "coming_in")]


def test_text_for_a_notebook_fits_and_says_when() -> None:
    text = diagram_text(fake_table(), width=80)
    assert max(map(len, text.splitlines())) <= 80
    assert "3 -> lifting: when steady clear, unless referenced" in text
    assert "6 -> backing off: when made [captures the edge]" in text
    assert "! -> faulted: time out, or travel guard, or not moving, or wrong way" in text
