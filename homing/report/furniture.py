"""What pages of reports share: how a template becomes a page, its style, its pictures as files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

if TYPE_CHECKING:
    from homing.report.figures.gather import Picture

#: The page in the folder of a report.
INDEX = "index.html"
#: First line of a drawing that stands alone.
XML = '<?xml version="1.0" encoding="utf-8"?>\n'


@dataclass(frozen=True)
class Drawn:
    """A picture as it stands on the page."""

    name: str
    caption: str
    svg: str


def rendered(template: str, context: Mapping[str, Any]) -> str:
    """A page as text; a name that the context does not have is an error, and all texts are escaped."""
    environment = Environment(
        loader=PackageLoader("homing.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(template).render(context)


def styles(*names: str) -> str:
    """Style sheets of this folder, one after the other."""
    here = files("homing.report")
    return "\n".join(here.joinpath(name).read_text(encoding="utf-8") for name in names)


def drawn(picture: Picture, contents: dict[str, bytes]) -> Drawn:
    """A picture for the page; its PNG and SVG are added to the files of the report."""
    from homing.report.figures import png, svg

    element = svg(picture.figure, picture.name)
    contents[f"{picture.name}.png"] = png(picture.figure)
    contents[f"{picture.name}.svg"] = (XML + element).encode()
    return Drawn(picture.name, picture.caption, element)
