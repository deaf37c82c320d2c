"""Where the answers come from: a process that is told lines, or a Python object of the same interface."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from homing.bridge.child import Child
from homing.bridge.protocol import Answer, Rules, check_answer, read_answer, reset_message
from sensor_models.errors import InputError


class OwnController(Protocol):
    """A controller written in Python: the same fields as on the wire, as dictionaries."""

    def reset(self, seed: int) -> None:
        """Begin a new run."""

    def step(self, message: dict[str, Any]) -> Mapping[str, Any]:
        """One loop: what is heard, to what is wanted."""


@dataclass(frozen=True)
class Program:
    """What controls the lift: a command line, or something that makes controllers (a class)."""

    source: str | Callable[[], OwnController]

    @property
    def name(self) -> str:
        """How reports speak of it."""
        return self.source if isinstance(self.source, str) else getattr(self.source, "__name__", "controller")

    def open(self) -> Seat:
        """Start one copy of it."""
        return (
            ProcessSeat(self.source) if isinstance(self.source, str) else ObjectSeat(self.source(), self.name)
        )


class Seat(Protocol):
    """One copy of a controller at work: told first, asked later, so that several can think at once."""

    def reset(self, seed: int) -> None: ...
    def tell(self, line: bytes) -> None: ...
    def answer(self, rules: Rules) -> Answer: ...
    def rest(self) -> None: ...
    def close(self) -> None: ...


class ProcessSeat:
    """A program in its own process."""

    def __init__(self, command: str) -> None:
        self._child = Child(command)
        self._last_line = b""
        self._last: Answer | None = None

    def reset(self, seed: int) -> None:
        self._child.rest()
        self._child.tell(reset_message(seed))

    def tell(self, line: bytes) -> None:
        self._child.tell(line)

    def answer(self, rules: Rules) -> Answer:
        line = self._child.answer()
        if self._last is None or line != self._last_line:  # controllers mostly repeat themselves
            self._last, self._last_line = read_answer(line, rules), line
        return self._last

    def rest(self) -> None:
        self._child.rest()

    def close(self) -> None:
        self._child.close()


class ObjectSeat:
    """A Python object in this process; what it raises is its own and shows itself whole."""

    def __init__(self, controller: OwnController, name: str) -> None:
        for method in ("reset", "step"):
            if not callable(getattr(controller, method, None)):
                raise InputError(
                    "must have the methods reset(seed) and step(message)", key="program", got=name
                )
        self._controller = controller
        self._given: Any = None

    def reset(self, seed: int) -> None:
        self._controller.reset(seed)

    def tell(self, line: bytes) -> None:
        self._given = self._controller.step(json.loads(line))

    def answer(self, rules: Rules) -> Answer:
        return check_answer(self._given, rules)

    def rest(self) -> None:
        """Nothing can be left over: an answer is what the step gave."""

    def close(self) -> None:
        self._given = None
