"""Progress while it searches, an early answer on Ctrl-C, and what the page shows of the worst case."""

from __future__ import annotations

import json

import numpy as np
import pytest

from homing import load_lift, verify
from homing.cli import run
from homing.deeper import CASE_FILE, Deeper
from homing.rare.study import SmallRate
from homing.rare.subset import nothing_found
from homing.report.page import write_report
from homing.report.worst_words import worst_lines
from homing.setting import prepare
from homing.worst.search import search
from homing.worst.study import SEARCHING, SEARCHING_SECONDS, SHRINKING, worst_case


@pytest.fixture(scope="module")
def setting():
    return prepare(load_lift(None).replace({"requirements.overtravel_mm": 20.0}))


class Watcher:
    """Takes progress as a person would, and presses Ctrl-C after so many runs."""

    def __init__(self, stop_at: int | None = None, during: str = SEARCHING) -> None:
        self.told: list[tuple[str, int, int]] = []
        self._stop_at, self._during = stop_at, during

    def __call__(self, what: str, done: int, of: int) -> None:
        self.told.append((what, done, of))
        if self._stop_at is not None and what == self._during and done >= self._stop_at:
            raise KeyboardInterrupt


def test_tells_how_far_it_is(setting) -> None:
    watcher = Watcher()
    worst_case(setting, runs=300, workers=1, progress=watcher)
    searching = [(done, of) for what, done, of in watcher.told if what == SEARCHING]
    assert searching == sorted(searching)
    assert searching[-1] == (300, 300)
    shrinking = [(done, of) for what, done, of in watcher.told if what == SHRINKING]
    assert shrinking
    assert all(0 < done <= of for done, of in shrinking)


def test_with_a_time_it_tells_the_seconds(setting) -> None:
    watcher = Watcher()
    worst_case(setting, seconds=1.2, workers=1, progress=watcher)
    seconds = [(done, of) for what, done, of in watcher.told if what == SEARCHING_SECONDS]
    assert {of for _, of in seconds} == {2}
    assert {0, 1} <= {done for done, _ in seconds}


def test_ctrl_c_in_the_search_gives_the_answer_so_far(setting) -> None:
    found = worst_case(setting, runs=100_000, workers=1, progress=Watcher(stop_at=2000))
    assert found.interrupted
    assert 2000 <= found.tried < 2200
    assert found.fails
    assert found.departures
    assert worst_lines(found)[0].startswith("Worst case (ended early by Ctrl-C): overtravel fails")


def test_ctrl_c_while_shrinking_gives_it_as_it_is(setting) -> None:
    whole = worst_case(setting, runs=1000, workers=1)
    stopped = worst_case(setting, runs=1000, workers=1, progress=Watcher(stop_at=3, during=SHRINKING))
    assert stopped.interrupted
    assert stopped.fails
    assert stopped.shrinking < whole.shrinking
    assert len(stopped.departures) > len(whole.departures)


def test_ctrl_c_before_the_first_run_is_passed_on() -> None:
    def pressed(points: np.ndarray) -> np.ndarray:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        search(pressed, 3, 1, runs=10)


def test_the_command_shows_progress_and_ends_early(tmp_path, monkeypatch, capsys) -> None:
    from homing.progress import Progress

    class Impatient(Progress):
        def __call__(self, what: str, done: int, total: int) -> None:
            if what == SEARCHING_SECONDS:
                raise KeyboardInterrupt

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("homing.progress.Progress", Impatient)
    run(["verify", "--runs", "20", "--worst", "600", "--json", "a.json", "--quiet"])
    told = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["worst_case"]
    assert told["interrupted"]
    assert "ended early by Ctrl-C" in capsys.readouterr().out
    assert (tmp_path / CASE_FILE).exists()


@pytest.fixture(scope="module")
def page(setting, tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    rates = (SmallRate("slack_mm", nothing_found("<nobody> knows")),)
    beyond = Deeper(worst_case(setting, runs=1000, workers=1), rates).on_page()
    return write_report(verify(setting.lift, runs=30), folder, (), beyond), beyond


def test_the_page_has_picture_departures_and_the_way_to_play_it(page) -> None:
    file, beyond = page
    text = file.read_text(encoding="utf-8")
    assert '<a href="#worst-case">' in text
    section = text[text.index('<section id="worst-case">') : text.index('<section id="small-probabilities">')]
    assert "worst_case-" in section[section.index("<svg") :]  # identifiers of the picture's own
    assert all(each.value in section for each in beyond.worst.departures)
    assert "overtravel fails, " in section
    assert "downstop verify --case worst_case.toml" in section
    for suffix in ("png", "svg"):
        assert (file.parent / f"worst_case.{suffix}").stat().st_size > 5000
    assert "&lt;nobody&gt; knows" in text


def test_a_page_without_a_search_says_nothing_of_it(setting, tmp_path) -> None:
    assert Deeper().on_page() is None
    text = write_report(verify(setting.lift, runs=30), tmp_path).read_text(encoding="utf-8")
    assert "worst-case" not in text
    assert "small-probabilities" not in text
