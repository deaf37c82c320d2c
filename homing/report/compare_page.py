"""The report of a comparison: one HTML page, its pictures, and a mounting sketch at true size (SVG, PDF)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from homing.liftfile import BUILT_IN
from homing.report import compare_rows as rows
from homing.report.decision import PRACTICE, decision_table
from homing.report.files import check_folder, write_files
from homing.report.furniture import INDEX, XML, Drawn, drawn, rendered, styles
from homing.report.jsonform import program_version
from homing.report.numbers import plain, setting

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from homing.compare.results import Comparison
    from homing.maps.study import MarginMap

Progress = Callable[[str, int, int], None]


def write_report(
    comparison: Comparison,
    folder: str | Path,
    *,
    periods_s: NDArray[np.float64] | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> Path:
    """Work out the margin maps of the best candidate and write the report of a comparison.

    Parameters
    ----------
    comparison : Comparison
        What ``compare`` found.
    folder : str or Path
        Made if it does not exist. Files of the same names are replaced, others left alone.
    periods_s : ndarray, shape (k,), optional
        Measured loop periods with which it was compared [s].
    workers : int, optional
        Threads for the maps; as many as cores by default. Never changes a number.
    progress : callable, optional
        Called with (what, done, all); the maps take seconds.

    Returns
    -------
    Path
        The page, ``FOLDER/index.html``, as an absolute path.

    Raises
    ------
    InputError
        When the folder cannot be made or written to.
    """
    place = check_folder(folder)
    maps = best_maps(comparison, periods_s=periods_s, workers=workers, progress=progress)
    return write_files(place.resolve(), report_files(comparison, maps)) / INDEX


def best_maps(
    comparison: Comparison,
    *,
    periods_s: NDArray[np.float64] | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> tuple[MarginMap, ...]:
    """Margin maps of the best candidate, reaching what was advised; none where it is never made."""
    if comparison.best.miss:
        return ()
    from homing.maps.study import margin_maps
    from homing.report.compare_figures import advised

    return margin_maps(
        comparison.best.lift,
        {key: (value,) for key, (value, _) in advised(comparison).items()},
        seed=comparison.seed,
        periods_s=periods_s,
        workers=workers,
        progress=progress,
    )


def report_files(comparison: Comparison, maps: Sequence[MarginMap]) -> dict[str, bytes]:
    """Every file of the report by its name; the page comes last: where it stands, its pictures do."""
    from homing.report.compare_figures import SKETCH, curves_picture, map_pictures, sketch
    from homing.report.figures import png
    from homing.report.figures.paper import to_figure, to_pdf, to_svg

    contents: dict[str, bytes] = {}
    pictures = {
        picture.name: drawn(picture, contents)
        for picture in (curves_picture(comparison), *map_pictures(comparison, maps))
    }
    sheet = sketch(comparison)
    if sheet is not None:
        drawing, title = sheet
        element = to_svg(drawing, title)
        contents[f"{SKETCH}.svg"] = (XML + element).encode()
        contents[f"{SKETCH}.pdf"] = to_pdf(drawing)
        contents[f"{SKETCH}.png"] = png(to_figure(drawing))
        pictures[SKETCH] = Drawn(SKETCH, title, element)
    contents[INDEX] = render(comparison, pictures, [each.name for each in maps]).encode()
    return contents


def render(comparison: Comparison, pictures: dict[str, Drawn], maps: Sequence[str]) -> str:
    """The whole page as text; ``maps`` names those of the pictures that are maps."""
    return rendered("compare_page.html", _context(comparison, pictures, maps))


def _context(comparison: Comparison, pictures: dict[str, Drawn], maps: Sequence[str]) -> dict[str, Any]:
    advice = comparison.advice
    return {
        "c": comparison,
        "version": program_version(),
        "built_in": comparison.lift.source == BUILT_IN,
        "css": styles("page.css", "compare_page.css"),
        "headline": rows.headline(comparison),
        "passed": comparison.best.passed,
        "candidates": rows.candidate_rows(comparison),
        "speed": setting(comparison.best.lift.routine.fast_speed_mm_s),
        "speeds": [plain(speed, 0) for speed in rows.seen_speeds(comparison)],
        "seen": rows.seen_rows(comparison),
        "advice": advice,
        "terms": rows.term_rows(advice) if advice is not None else (),
        "needed": plain(advice.needed_mm, 2) if advice is not None else "",
        "decision": decision_table(comparison),
        "practice": PRACTICE,
        "pictures": pictures,
        "maps": maps,
        "assumed": [(item.key, setting(item.value), item.origin) for item in comparison.assumed],
        "command": rows.command(comparison),
    }
