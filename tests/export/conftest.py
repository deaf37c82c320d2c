"""Exported programs, compiled once a session: those of every lift, and those of random tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from export_harness import PROGRAMS, Driven, compiled
from export_lifts import settings
from export_tables import tables

if TYPE_CHECKING:
    from pathlib import Path

    from homing.export import Form
    from homing.setting import Setting


@pytest.fixture(scope="session", params=PROGRAMS, ids=[form.value for form in PROGRAMS])
def form(request: pytest.FixtureRequest) -> Form:
    """Every language in turn."""
    return request.param  # type: ignore[no-any-return]


@pytest.fixture(scope="session")
def of_lifts(form: Form, tmp_path_factory: pytest.TempPathFactory) -> Driven:
    """The routines of all lifts in this language."""
    folder: Path = tmp_path_factory.mktemp(f"lifts_{form.value}")
    return compiled(form, list(settings().values()), folder)


@pytest.fixture(scope="session")
def random_settings() -> list[Setting]:
    """Random tables, and one at the border of every condition."""
    return tables()


@pytest.fixture(scope="session")
def of_tables(form: Form, random_settings: list[Setting], tmp_path_factory: pytest.TempPathFactory) -> Driven:
    """The routines of the random tables in this language."""
    return compiled(form, random_settings, tmp_path_factory.mktemp(f"tables_{form.value}"))
