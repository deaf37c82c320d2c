"""What a lift file left out and was filled in, with where the value comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Assumed:
    """A value that the lift file did not give."""

    key: str
    value: Any
    origin: str
