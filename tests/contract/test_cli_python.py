"""The names that a Python script may rely on."""

from __future__ import annotations

import subprocess
import sys

import pytest

import homing


@pytest.mark.parametrize("name", homing.__all__)
def test_promised_names_exist(name: str) -> None:
    assert getattr(homing, name) is not None
    assert name in dir(homing)


def test_other_names_do_not() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'verfy'"):
        homing.verfy  # noqa: B018


def test_functions_stay_functions_when_their_modules_are_imported() -> None:
    code = (
        "import homing\n"
        "from homing.verify import verify\n"
        "from homing.simulate import simulate\n"
        "assert homing.verify is verify\n"
        "assert homing.simulate is simulate\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_importing_the_packages_costs_next_to_nothing() -> None:
    heavy = "print([m for m in ('numpy', 'pydantic', 'numba') if m in sys.modules])"
    code = f"import sys, homing, sensor_models\n{heavy}"
    shown = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert shown.stdout.strip() == "[]"
