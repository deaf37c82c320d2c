"""What several test folders share: the built-in example, set up once a session."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.setting import Setting

#: A harness for a tool that is no dependency of the project, not a test.
collect_ignore = ["fuzz"]
#: Several folders have one; looked through for doctests, the second would be taken for the first.
collect_ignore_glob = ["*/conftest.py"]

# the first example of a property may have to compile a kernel: no time limit
settings.register_profile("compiled kernels", deadline=None)
settings.load_profile("compiled kernels")


@pytest.fixture(scope="session")
def example() -> Lift:
    """The example that comes with the program."""
    from homing.liftfile import load_lift

    return load_lift()


@pytest.fixture(scope="session")
def example_setting(example: Lift) -> Setting:
    """The study of the example with seed 3."""
    from homing.setting import prepare

    return prepare(example, seed=3)
