"""A lift whose numbers stay what they are, whatever becomes of the shipped example."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Setting


@pytest.fixture(scope="session")
def steady() -> Lift:
    """A mast that comes in with exactly 180 mm/s: its string swings out before the trip."""
    from runs import STEADY

    from homing.assembly import assemble

    return assemble(STEADY, "steady.toml")


@pytest.fixture(scope="session")
def steady_setting(steady: Lift) -> Setting:
    """The study of the steady lift with seed 3."""
    from homing.setting import prepare

    return prepare(steady, seed=3)
