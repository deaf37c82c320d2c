"""``downstop export``: settings and routine for the robot."""

from __future__ import annotations

from pathlib import Path

import click

from homing.export import Form
from sensor_models.errors import InputError

_FORMS = [form.value for form in Form]


@click.command()
@click.argument("lift", required=False, metavar="[LIFT]")
@click.option("--lift", "named", metavar="LIFT", help="The lift file; the built-in example by default.")
@click.option("--as", "form", metavar="|".join(_FORMS), help="What to write.")
@click.option("--out", metavar="FILE", help="Write it into this file; to standard output by default.")
@click.option("--overwrite", is_flag=True, help="Let --out replace a file that exists.")
def export(lift: str | None, named: str | None, form: str | None, out: str | None, overwrite: bool) -> int:
    """Write settings and routine for the robot.

    As a readable table, as JSON, or as a small program in Java, C++ or Python that needs nothing else and
    decides in every loop what "downstop verify" judges. Java class and C++ namespace bear the file's name.
    """
    if lift is not None and named is not None:
        raise InputError("must be given once: as an argument or with --lift", key="LIFT", got=named)
    wanted = _form(form)
    place = _place(out, wanted, overwrite) if out is not None else None
    from homing.export import exported
    from homing.liftfile import load_lift

    loaded = load_lift(lift if lift is not None else named)
    text = exported(loaded, wanted, place.stem if place is not None else None)
    if place is None:
        click.echo(text.encode(), nl=False)  # UTF-8 whatever the terminal's encoding
        return 0
    from homing.report.files import write_text

    write_text(place, text, key="--out")
    click.echo(
        f"wrote {place}; first run at low power, over a short travel, with a soft block under the carriage"
    )
    return 0


def _form(word: str | None) -> Form:
    from homing.values import nearest

    if word in _FORMS:
        return Form(word)
    must = f"must be {', '.join(_FORMS[:-1])} or {_FORMS[-1]}{nearest(word, _FORMS) if word else ''}"
    raise InputError(must, key="--as", got=word) if word is not None else InputError(must, key="--as")


def _place(out: str, form: Form, overwrite: bool) -> Path:
    """The file to write, refused before anything is computed."""
    from homing.export.identifiers import KEYWORDS
    from homing.report.files import check_file

    place = check_file(out, key="--out", suffixes=form.suffixes)
    named = form in (Form.JAVA, Form.CPP, Form.PYTHON)
    if named and not (
        place.stem.isidentifier() and place.stem.isascii() and place.stem.lower() not in KEYWORDS
    ):
        must = (
            f"must be named like a {form.value} identifier, for example {form.usual_name}{form.suffixes[0]}"
        )
        raise InputError(must, key="--out", got=out)
    if place.exists() and not overwrite:
        raise InputError(
            "must be a new file; nothing is overwritten without --overwrite", key="--out", got=out
        )
    return place
