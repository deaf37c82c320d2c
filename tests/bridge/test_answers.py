"""Answers of a program are taken or refused by one sentence, whatever they hold."""

from __future__ import annotations

import pickle

import pytest

from homing.bridge.protocol import Rules, read_answer
from homing.kernel.codes import Order
from sensor_models.errors import InputError

SPEEDS = Rules('program "mine"', Order.SPEED, hold_allowed=True)
DUTIES = Rules('program "mine"', Order.DUTY, hold_allowed=False)

REFUSED = {
    b"moving": "one line of JSON",
    b"\xff\xfe\x00junk": "one line of JSON",
    b"[" * 9000: "one line of JSON",
    b"[1, 2]": "must be a JSON object",
    b'{"command": NaN}': "finite number",
    b'{"command": -Infinity}': "finite number",
    b'{"command": 1e400}': "finite number",
    b'{"command": 1' + b"0" * 400 + b"}": "within 1e+06 mm/s",
    b'{"command": "30"}': "finite number",
    b'{"command": true}': "finite number",
    b'{"command": null}': "must be given",
    b'{"comand": 30}': "did you mean",
    b'{"stop": "brake"}': '"hold", "shorted", "open"',
    b'{"stop": "hold", "zero_at_counts": 1e30}': "number of counts",
    b'{"stop": "hold", "fault": " "}': "not empty",
    b'{"stop": "hold", "done": 1}': "true, false or null",
}


@pytest.mark.parametrize("line", REFUSED)
def test_what_cannot_be_done_is_refused_in_one_sentence(line: bytes) -> None:
    with pytest.raises(InputError, match="answer") as refused:
        read_answer(line, SPEEDS)
    sentence = str(refused.value)
    assert REFUSED[line] in sentence
    assert "\n" not in sentence
    assert len(sentence) < 250


@pytest.mark.parametrize(
    ("line", "said"), [(b'{"command": 1.01}', "-1 to 1"), (b'{"stop": "hold"}', "no loop")]
)
def test_a_drive_that_takes_duties_refuses_what_it_has_no_loop_for(line: bytes, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_answer(line, DUTIES)


def test_a_speed_is_taken_in_mm_s_and_a_stop_without_a_number() -> None:
    answer = read_answer(b'{"command": -30, "state": "down", "zero_at_counts": 12}', SPEEDS)
    assert (answer.order, answer.value, answer.state) == (Order.SPEED, -0.03, "down")
    assert answer.zero_at_counts == 12.0
    assert read_answer(b'{"command": 30, "stop": "open"}', SPEEDS).order is Order.OPEN


def test_a_refusal_keeps_its_sentence_and_place_on_the_way_from_a_worker() -> None:
    with pytest.raises(InputError) as refused:
        read_answer(b'{"command": NaN}', SPEEDS)
    arrived = pickle.loads(pickle.dumps(refused.value))
    assert str(arrived) == str(refused.value)
    assert (arrived.file, arrived.key) == (refused.value.file, refused.value.key)
