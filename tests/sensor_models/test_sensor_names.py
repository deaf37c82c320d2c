"""What the package offers, and that asking for it stays light."""

from __future__ import annotations

import doctest
import subprocess
import sys
from importlib import import_module

import pytest

import sensor_models

HEAVY = ("scipy", "numba", "matplotlib", "polars", "rich", "jinja2", "click", "pydantic")


@pytest.mark.parametrize("name", sensor_models.__all__)
def test_every_name_is_there(name: str) -> None:
    assert getattr(sensor_models, name).__name__.split(".")[-1] in {name, "parts"}
    assert name in dir(sensor_models)


@pytest.mark.parametrize("module", ["magnets", "hall"])
def test_examples_in_docstrings_print_what_they_say(module: str) -> None:
    done = doctest.testmod(import_module(f"sensor_models.{module}"))
    assert done.attempted > 0
    assert done.failed == 0


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'Laser'"):
        _ = sensor_models.Laser


def test_sensors_are_described_without_loading_anything_heavy() -> None:
    program = (
        "import sys\n"
        "from sensor_models import *\n"
        "magnet = CylinderMagnet(diameter=0.01, height=0.003, remanence=1.3)\n"
        "MagnetSensor(magnet=magnet, mount_m=0.01, gap_m=0.003, operate_t=0.003, release_t=0.001)\n"
        "part('hall-omnipolar-3mt-20hz')\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
