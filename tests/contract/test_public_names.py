"""What other people's scripts may import, and that it explains itself."""

from __future__ import annotations

import doctest
import inspect
import json
import subprocess
import sys
from importlib import import_module
from typing import Any

import pytest

import homing
import replay
import sensor_models
from homing.results import BUDGET_PARTS, METRICS

#: Names that the contract fixes, by package; more may be added.
FIXED = {
    "homing": {"load_lift", "verify", "simulate", "Lift", "Verification", "Run"},
    "sensor_models": {"CylinderMagnet", "BlockMagnet"},
    "replay": {"read_log", "Log"},
}
PACKAGES = [homing, sensor_models, replay]
PUBLIC = [(package, name) for package in PACKAGES for name in package.__all__]
#: Imports that cost more than all the rest of a start.
HEAVY = ("numba", "scipy", "matplotlib", "polars", "rich", "jinja2", "transitions", "pydantic")


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_the_names_of_the_contract_are_exported(package: Any) -> None:
    assert set(package.__all__) >= FIXED[package.__name__]
    assert len(set(package.__all__)) == len(package.__all__)
    assert set(package.__all__) <= set(dir(package))


@pytest.mark.parametrize(("package", "name"), PUBLIC, ids=lambda value: getattr(value, "__name__", value))
def test_a_public_name_exists_and_explains_itself(package: Any, name: str) -> None:
    thing = getattr(package, name)
    text = inspect.getdoc(thing) or ""
    first = text.splitlines()[0] if text else ""
    assert len(first) > 15, f"{name} has no docstring"
    assert first[0].isupper() or first.startswith("``"), first
    # a class without words of its own must not pass with those of its parent
    assert thing.__doc__, name


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_an_unknown_name_is_an_attribute_error(package: Any) -> None:
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = package.no_such_name


@pytest.mark.parametrize(
    ("function", "signature"),
    [
        (homing.load_lift, {"path": None}),
        (homing.verify, {"lift": inspect.Parameter.empty, "runs": 2000, "seed": 0, "executor": None}),
        (homing.simulate, {"lift": inspect.Parameter.empty, "seed": 0}),
        (replay.read_log, {"path": inspect.Parameter.empty, "columns": None}),
    ],
    ids=["load_lift", "verify", "simulate", "read_log"],
)
def test_signatures_begin_as_the_contract_writes_them(function: Any, signature: dict[str, Any]) -> None:
    parameters = list(inspect.signature(function).parameters.values())[: len(signature)]
    assert {each.name: each.default for each in parameters} == signature
    assert all(each.kind is inspect.Parameter.POSITIONAL_OR_KEYWORD for each in parameters)


def _functions() -> list[Any]:
    """Functions for scripts; those of ``sensor_models`` are for the layers above."""
    named = [getattr(package, name) for package, name in PUBLIC if package is not sensor_models]
    return [thing for thing in named if inspect.isfunction(thing)]


@pytest.mark.parametrize("function", _functions(), ids=lambda function: function.__name__)
def test_every_parameter_of_a_public_function_is_documented(function: Any) -> None:
    parameters = inspect.signature(function).parameters
    text = inspect.getdoc(function) or ""
    if len(parameters) < 2:
        return  # the first line says it
    assert "Parameters\n----------" in text
    section = text.split("Parameters\n----------")[1].split("\n\nReturns")[0]
    named = {
        name.strip().lstrip("*")
        for line in section.splitlines()
        if line and not line.startswith(" ")
        for name in line.partition(" : ")[0].split(",")
    }
    assert set(parameters) <= named


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_a_package_costs_nothing_to_import(package: Any) -> None:
    code = (
        f"import sys, json, {package.__name__}; "
        f"print(json.dumps([name for name in {HEAVY!r} if name in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == []


def test_a_metric_carries_its_unit_or_is_a_count() -> None:
    units = ("_mm", "_s", "_mm_s", "_a")
    assert [name for name in METRICS if not name.endswith(units)] == [
        "false_triggers",
        "accepted_false_triggers",
        "missed_triggers",
    ]


def test_parts_of_the_stop_budget_are_those_of_the_contract() -> None:
    contract = "sensor_age reading_delay loop_wait late_loop drive_delay braking string"
    assert " ".join(BUDGET_PARTS) == contract


@pytest.mark.parametrize(
    "module", ["homing.verify", "homing.statistics", "homing.machine", "homing.stopping", "homing.motor"]
)
def test_examples_in_docstrings_hold(module: str) -> None:
    done = doctest.testmod(import_module(module))
    assert done.failed == 0


def test_the_package_keeps_its_functions_when_a_module_of_the_same_name_is_loaded() -> None:
    code = (
        "import homing, homing.verify, homing.simulate; from homing import verify, simulate; "
        "assert callable(homing.verify) and callable(homing.simulate); "
        "assert verify is homing.verify and simulate is homing.simulate"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
