"""One tuning of a deliberately bad start, done once for all tests of this folder that look at a result."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from homing.tuning.results import Tuning


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """A search cut short, without faults."""
    from tuningcases import cut_short, without_faults

    cut_short(monkeypatch)
    without_faults(monkeypatch)


@pytest.fixture(scope="session")
def mended() -> Tuning:
    """The bad start, tuned in a short search."""
    from tuningcases import BAD, cut_short, example_text, lift_of

    from homing.tuning.study import tune

    with pytest.MonkeyPatch.context() as patch:
        cut_short(patch)
        return tune(lift_of(example_text(BAD), "bad.toml"), runs=1000, evaluations=41)


@pytest.fixture(scope="session")
def own_mended() -> Tuning:
    """An own table with bad numbers, tuned in a short search."""
    from ownlifts import BAD_NUMBERS, own_text
    from tuningcases import cut_short, lift_of

    from homing.tuning.study import tune

    with pytest.MonkeyPatch.context() as patch:
        cut_short(patch)
        return tune(lift_of(own_text(BAD_NUMBERS), "own.toml"), runs=1000, evaluations=65)


@pytest.fixture(scope="session")
def missed() -> Tuning:
    """A requirement that nothing meets."""
    from tuningcases import HOPELESS, cut_short, example_text, lift_of

    from homing.tuning.study import tune

    with pytest.MonkeyPatch.context() as patch:
        cut_short(patch)
        return tune(lift_of(example_text(HOPELESS), "hopeless.toml"), runs=600, evaluations=17)
