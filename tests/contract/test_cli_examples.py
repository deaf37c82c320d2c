"""The lift files of the example robot: each loads without a note and passes; spoiled, each loses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from homing.cli import run
from homing.liftfile import load_lift
from sensor_models.kinds import SensorKind

FOLDER = Path(__file__).parents[2] / "examples" / "shelving_robot"
EXAMPLES = ("magnet", "infrared", "contact", "horizontal")


def test_these_are_all_the_examples() -> None:
    # these two are for ``compare`` and for own tables, and have tests of their own
    assert sorted(file.stem for file in FOLDER.glob("*.toml")) == sorted(
        (*EXAMPLES, "compare_sensors", "own_routine")
    )


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_loads_without_a_note(name: str) -> None:
    lift = load_lift(FOLDER / f"{name}.toml")
    assert lift.notes == ()
    assert "no safety device" in (FOLDER / f"{name}.toml").read_text()
    assert "invented" in (FOLDER / f"{name}.toml").read_text()


def test_the_examples_show_every_kind_of_sensor() -> None:
    kinds = {load_lift(FOLDER / f"{name}.toml").sensor().kind for name in EXAMPLES}
    assert kinds == set(SensorKind) - {SensorKind.STALL}


@pytest.mark.slow
@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example_passes(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(FOLDER / f"{name}.toml"), "--json", "-"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["nominal"]["outcome"] == "zeroed"


@pytest.mark.slow
@pytest.mark.parametrize("name", EXAMPLES)
def test_four_times_as_fast_it_fails(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (FOLDER / f"{name}.toml").read_text()
    fast = text.replace("fast_speed_mm_s = 150", "fast_speed_mm_s = 600")
    assert fast != text
    file = tmp_path / "fast.toml"
    file.write_text(fast)
    assert run(["verify", str(file), "--runs", "300", "--json", "-"]) == 1
    requirements = json.loads(capsys.readouterr().out)["requirements"]
    failing = [each["name"] for each in requirements if not each["pass"]]
    assert "overtravel_mm" in failing
