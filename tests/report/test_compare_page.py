"""Page, terminal and decision table of a comparison: whole, self-contained, with this lift's own numbers."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from compare_fakes import advised_comparison, small_comparison
from rich.console import Console
from test_compare_figures import fake_map, slope

from homing.compare.results import Comparison
from homing.maps.study import MarginMap
from homing.report import compare_page, compare_rows
from homing.report.compare_page import report_files, write_report
from homing.report.compare_terminal import show
from homing.report.decision import NOT_COMPARED, decision_table
from sensor_models.errors import InputError


@pytest.fixture(scope="module")
def contents() -> dict[str, bytes]:
    return report_files(advised_comparison(), [fake_map(slope())])


def page(contents: dict[str, bytes]) -> str:
    return contents["index.html"].decode()


def told(comparison: Comparison, width: int, encoding: str = "utf-8") -> str:
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    show(comparison, Console(file=stream, width=width, highlight=False))
    stream.flush()
    return stream.buffer.getvalue().decode(encoding)  # type: ignore[attr-defined]


def only(comparison: Comparison, *kinds: str) -> Comparison:
    return replace(comparison, candidates=tuple(c for c in comparison.candidates if c.kind in kinds))


def test_every_picture_comes_as_png_and_svg_and_the_sketch_as_pdf(contents: dict[str, bytes]) -> None:
    names = ("response_curves", "map_speed_height", "mounting_sketch")
    wanted = {f"{name}.{kind}" for name in names for kind in ("png", "svg")}
    assert set(contents) == wanted | {"mounting_sketch.pdf", "index.html"}
    assert list(contents)[-1] == "index.html"


def test_page_fetches_nothing_and_runs_nothing(contents: dict[str, bytes]) -> None:
    text = page(contents)
    assert "<script" not in text
    links = re.findall(r'(?:href|src)="([^"]+)"', text)
    assert links
    assert all(link.startswith("#") or link in contents for link in links)


def test_page_and_pictures_are_the_same_bytes_every_time(contents: dict[str, bytes]) -> None:
    again = report_files(advised_comparison(), [fake_map(slope())])
    assert {name for name in contents if contents[name] != again[name]} == set()


def test_page_shows_all_candidates_terms_cautions_and_escapes(contents: dict[str, bytes]) -> None:
    text = page(contents)
    for each in advised_comparison().candidates:
        assert each.name in text
    assert "Set it &lt;higher&gt; &amp; be glad." in text
    assert "v^2 / (2 a)" in text
    assert "not a safety function" in text
    assert "--runs 24 --seed 0" in text


def test_page_without_advice_map_or_sketch_says_so() -> None:
    alone = only(replace(small_comparison(), advice=None), "stall")
    text = page(report_files(alone, []))
    for sentence in ("there is nothing to advise", "There is nothing to mount", "No map"):
        assert sentence in text


def test_report_is_written_whole_with_maps_of_the_best(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[str, ...]] = []

    def maps(comparison: Comparison, **means: object) -> tuple[MarginMap, ...]:
        asked.append((comparison.best.name, *means))
        return (fake_map(slope()),)

    monkeypatch.setattr(compare_page, "best_maps", maps)
    written = write_report(advised_comparison(), tmp_path / "new")
    assert written == (tmp_path / "new" / "index.html").resolve()
    assert {each.suffix for each in written.parent.iterdir()} == {".html", ".png", ".svg", ".pdf"}
    assert asked == [(advised_comparison().best.name, "periods_s", "workers", "progress")]


def test_folder_that_is_a_file_is_refused_before_any_map(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with pytest.raises(InputError, match="must be a folder"):
        write_report(advised_comparison(), tmp_path / "taken")


@pytest.mark.parametrize(("width", "encoding"), [(100, "utf-8"), (80, "utf-8"), (100, "ascii")])
def test_terminal_keeps_its_width_and_cuts_no_verdict(width: int, encoding: str) -> None:
    text = told(advised_comparison(), width, encoding)
    assert max(len(line) for line in text.splitlines()) <= width
    for each in compare_rows.candidate_rows(advised_comparison()):
        assert re.search(rf"^{each.rank}[ |]+{each.name} .*{each.verdict}", text, re.MULTILINE)


def test_terminal_tells_outcome_first_and_last_and_the_terms() -> None:
    lines = told(advised_comparison(), 100).strip().splitlines()
    assert lines[0].strip() == lines[-1].strip() == compare_rows.headline(advised_comparison())
    assert any(re.match(r"braking +6\.00", line) for line in lines)
    assert any(re.match(r"needed +10\.00", line) for line in lines)


def test_headline_names_the_nearest_where_none_holds() -> None:
    found = small_comparison()
    assert compare_rows.headline(found).startswith("None of 8 candidates")
    passed = replace(found, candidates=(replace(found.best, passed=True), *found.candidates[1:]))
    assert "comes first; 1 of 8 candidates meets" in compare_rows.headline(passed)


def test_terms_stand_one_after_the_other() -> None:
    found = advised_comparison()
    assert found.advice is not None
    rows = compare_rows.term_rows(found.advice)
    assert [row.start for row in rows] == pytest.approx([0.0, 32.0, 80.0])
    assert [row.end for row in rows] == pytest.approx([32.0, 80.0, 100.0])


def test_decision_table_speaks_with_the_best_of_each_kind() -> None:
    found = small_comparison()
    table = decision_table(found)
    named = [column.candidate.name for column in table.columns if column.candidate is not None]
    magnets = [each for each in found.candidates if each.kind == "magnet"]
    assert named[0] == magnets[0].name
    assert len(named) == 4


def test_kinds_that_are_no_candidates_say_not_compared() -> None:
    table = decision_table(only(small_comparison(), "contact"))
    for title, cells in table.rows:
        own = ["; ".join(s.text for s in cell if not s.practice) for cell in cells]
        if title != "cost":
            assert [own[0], own[1], own[3]] == [NOT_COMPARED] * 3, title
            assert own[2] != NOT_COMPARED, title


def test_cost_is_left_blank_and_facts_of_the_trade_are_marked() -> None:
    table = decision_table(small_comparison())
    rows = dict(table.rows)
    assert all(cell == () for cell in rows["cost"])
    assert all(cell[-1].practice for cell in rows["mounting effort"])
    assert not any(s.practice for cell in rows["broken wire"] for s in cell)


def test_decision_table_has_this_lifts_numbers() -> None:
    found = small_comparison()
    rows = dict(decision_table(found).rows)
    strip = next(each for each in found.candidates if each.kind == "reflective")
    contact = next(each for each in found.candidates if each.kind == "contact")
    assert rows["size of target"][1][0].text == "bright target, 40 x 20 mm"
    assert rows["bounce"][2][0].text == "up to 6.2 ms"
    assert rows["repeatability"][2][0].text.startswith(f"{contact.repeatability_mm:.2f} mm")
    assert f"gap of {strip.gap_mm:.1f} mm" in rows["need of contact"][1][0].text
