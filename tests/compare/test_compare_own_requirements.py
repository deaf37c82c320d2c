"""Requirements of a team's own in a comparison: not held against the candidates, and said."""

from __future__ import annotations

import pytest
from comparelifts import SWITCH, TABLES, lift_comparing

from homing.assembly import assemble
from homing.compare.study import compare


@pytest.mark.slow
def test_they_are_named_as_not_asked() -> None:
    plain = lift_comparing({"name": "key", **SWITCH})
    assert not any("of your own" in note for note in compare(plain, runs=20).notes)
    own = [{"name": "gentle", "formula": "always (carriage_mm_s > -100)"}]
    notes = compare(assemble({**TABLES, "requirement": own}, "own.toml"), runs=20).notes
    assert any("Requirements of your own (gentle) were not held against the candidates" in n for n in notes)
