"""``downstop review``: what is wrong with a routine's table, by reading it and by trying every path."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.review import Review

STANDARD_OUTPUT = "-"


@click.command()
@click.argument("lift", required=False, metavar="[LIFT]")
@click.option("--lift", "named", metavar="LIFT", help="The lift file; the built-in example by default.")
@click.option("--json", "json", metavar="FILE", help="Write the result as JSON; - is standard output.")
@click.option("--out", metavar="DIR", help="Write a page with table, diagram, findings and stories.")
@click.option("--open", "show", is_flag=True, help="Show the page when it is ready.")
@click.option(
    "--seed",
    type=click.IntRange(0, 2**63 - 1),
    default=0,
    show_default=True,
    help="Seed of the runs tried for a story.",
)
@click.option("--quiet", is_flag=True, help="The verdict only.")
@click.option("--words", is_flag=True, help="Print the conditions and effects that an own table may use.")
def review(
    lift: str | None,
    named: str | None,
    json: str | None,
    out: str | None,
    show: bool,
    seed: int,
    quiet: bool,
    words: bool,
) -> int:
    """Find what is wrong with the routine's table, by reading it and by trying every path.

    LIFT is a lift file (TOML) with the built-in routine or with an own table; without one the built-in
    example is reviewed. Exit code 0: nothing found; 1: something found, or not everything could be tried;
    2: the input cannot be used.
    """
    if words:
        from homing.report.review_text import words_text

        click.echo(words_text(), nl=False)
        return 0
    if lift is not None and named is not None:
        raise InputError("must be given once: as an argument or with --lift", key="LIFT", got=named)
    folder = _folder(json, out, show)
    from homing.liftfile import load_lift
    from homing.review import review as study

    result = study(load_lift(lift if lift is not None else named), seed)
    _hand_over(result, json, folder, show=show, quiet=quiet)
    return 0 if result.clean else 1


def _folder(json: str | None, out: str | None, show: bool) -> Path | None:
    """Refuse what cannot be written; give the folder of the page, if there is to be one."""
    from tempfile import mkdtemp

    from homing.report.files import check_file, check_folder

    if json is not None and json != STANDARD_OUTPUT:
        check_file(json, key="--json")
    if out is None and not show:
        return None
    return check_folder(out if out is not None else mkdtemp(prefix="downstop-"))


def _hand_over(result: Review, json: str | None, folder: Path | None, *, show: bool, quiet: bool) -> None:
    from homing.report.files import write_text
    from homing.report.jsonform import to_text
    from homing.report.review_json import review_json
    from homing.report.review_text import headline, review_text

    page = None
    if folder is not None:
        from homing.report.review_page import write_review_report

        page = write_review_report(result, folder)
    if json == STANDARD_OUTPUT:
        click.echo(to_text(review_json(result)).encode(), nl=False)
    else:
        if json is not None:
            write_text(json, to_text(review_json(result)), key="--json")
        click.echo(f"{result.lift.name}: {headline(result)}" if quiet else review_text(result).rstrip("\n"))
    if page is not None:
        click.echo(f"report: {page}", err=True)
        if show:
            click.launch(page.resolve().as_uri())
