"""The page: whole, self-contained, and honest about everything found."""

from __future__ import annotations

import os
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from report_fakes import fake_lift, fake_verification

from homing.assumed import Assumed
from homing.report import write_report
from homing.report.page import command
from sensor_models.errors import InputError

PICTURES = [
    "nominal_run",
    "sensor_response",
    "stop_budget",
    "distributions",
    "worst_run",
    "faults",
    "routine",
]


class _Reader(HTMLParser):
    """Collects elements, and checks that they close in order."""

    void = frozenset({"meta", "link", "br", "img", "path", "rect", "line", "use"})

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in self.void:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.void:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("report")
    assumed = (Assumed("lift.sway_mm", 0.5, "slides <drawer> & others"),)
    write_report(fake_verification(False, assumed=assumed), place)
    return place


@pytest.fixture(scope="module")
def page(folder: Path) -> str:
    return (folder / "index.html").read_text(encoding="utf-8")


def test_every_picture_is_there_as_png_and_svg(folder: Path) -> None:
    names = {f"{name}.{suffix}" for name in PICTURES for suffix in ("png", "svg")}
    assert set(os.listdir(folder)) == names | {"index.html"}


def test_nothing_is_fetched_and_nothing_runs(page: str) -> None:
    reader = _Reader()
    reader.feed(page)
    assert reader.open == []
    assert not {"script", "link", "img", "iframe"} & {tag for tag, _ in reader.seen}
    for _, attributes in reader.seen:
        target = attributes.get("href") or attributes.get("xlink:href") or "#"
        assert target.startswith("#") or re.fullmatch(r"[a-z_]+\.(png|svg)", target)
        assert not any(name.startswith("on") for name in attributes)
    assert "url(http" not in page
    assert "@import" not in page


def test_names_of_elements_are_unique(page: str) -> None:
    names = re.findall(r'\bid="([^"]+)"', page)
    assert len(names) == len(set(names))


def test_all_sections_and_the_verdict(page: str) -> None:
    reader = _Reader()
    reader.feed(page)
    titles = """What was simulated, Requirements, Nominal run, Sensor, Stop budget, Spread over the runs,
    Faults, Routine, Values and where they come from, Cautions, Run it again"""
    for title in titles.split(","):
        assert re.search(rf"<h2>{title.strip()}</h2>", page), title
    words = " ".join(reader.text.split())
    assert "FAIL 1 of 7 requirements falls short. Slow to 230 mm/s" in words
    assert "Diagnostic coverage (equal weights): 71 %." in words
    assert "never certifies" in words
    assert "reading drops out between two heights" in words
    assert "nan" not in words.lower().split()


def test_texts_are_escaped(page: str) -> None:
    assert "slides &lt;drawer&gt; &amp; others" in page


def test_prints_without_colour(page: str) -> None:
    assert "@media print" in page


def test_it_says_how_to_run_it_again(page: str) -> None:
    assert "downstop verify invented.toml --runs 2000 --seed 0\n" in page
    assert "--run 17 --trace run17.csv" in page


def test_command_of_the_built_in_example_names_no_file() -> None:
    built_in = fake_verification(lift=fake_lift(source="built-in example"))
    assert command(built_in) == "downstop verify --runs 2000 --seed 0"
    assert "'my lift.toml'" in command(fake_verification(lift=fake_lift(source="my lift.toml")))


def test_bare_verification_has_a_page_too_and_always_the_same(tmp_path: Path) -> None:
    bare = fake_verification(sensor=None, faults=(), worst_runs=(), assumed=(), diagnostic_coverage=None)
    texts = [write_report(bare, tmp_path / name).read_text(encoding="utf-8") for name in ("a", "b")]
    assert texts[0] == texts[1]
    assert "No faults were injected." in texts[0]
    assert "Nothing was assumed." in texts[0]


def test_folder_that_cannot_be_is_refused_before_anything_is_drawn(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("x")
    with pytest.raises(InputError, match="must be a folder"):
        write_report(fake_verification(), tmp_path / "taken")
    assert os.listdir(tmp_path) == ["taken"]
