"""A new lift file from a fit: the old text with fitted values put in, each with its origin."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from homing.liftfile import BUILT_IN, Lift, parse
from replay.fit_result import Estimate, Fit
from sensor_models.errors import InputError

_HEADER = re.compile(r"^\s*\[\[?\s*([A-Za-z_.]+)\s*\]\]?\s*(#.*)?$")
#: Digits of a fitted value beyond which its error makes them meaningless.
DIGITS = 5


@dataclass(frozen=True)
class Change:
    """New value of one key and the comment that goes with it."""

    value: float
    comment: str


def fitted_text(fit: Fit) -> str:
    """The lift file with fitted values and origins.

    Raises
    ------
    InputError
        When the file writes a fitted key in a form that cannot be edited line by line.
    """
    lift = fit.lift
    old = _text_of(lift)
    changes = {each.key: Change(each.value, _origin(each)) for each in fit.estimates}
    text = edited(old, lift, changes)
    new = _checked(text, lift, changes)
    return _preface(fit) + text.rstrip("\n") + "\n" + _origins(new, changes)


def edited(text: str, lift: Lift, changes: Mapping[str, Change]) -> str:
    """TOML text with some keys changed or added, everything else as it was."""
    lines = text.splitlines()
    for key, change in changes.items():
        section, name, place = _place(lift, key)
        _edit(lines, section, place, name, change)
    return "\n".join(lines) + "\n"


def _place(lift: Lift, key: str) -> tuple[str, str, int]:
    """Section, name in it and which of several sections of that name."""
    section, _, rest = key.partition(".")
    if section != "sensor":
        return section, rest, 0
    owner, _, name = rest.rpartition(".")
    return section, name, [sensor.name for sensor in lift.sensors].index(owner)


def _edit(lines: list[str], section: str, place: int, name: str, change: Change) -> None:
    begin, end = _span(lines, section, place)
    value = f"{name} = {change.value:.{DIGITS}g}"
    if begin < 0:
        lines += ["", f"[{section}]", f"{value}  # {change.comment}"]
        return
    for i in range(begin, end):
        found = re.match(rf"^\s*{re.escape(name)}\s*=\s*([^#]*?)\s*(#.*)?$", lines[i])
        if found is not None:
            told = f" ({found[2].lstrip('# ')})" if found[2] else ""
            lines[i] = f"{value}  # {change.comment}; was {found[1]}{told}"
            return
    lines.insert(begin, f"{value}  # {change.comment}")


def _span(lines: list[str], section: str, place: int) -> tuple[int, int]:
    """First line after the header and end of the keys of a section; (-1, -1) when it is not there."""
    heads = [(i, found[1]) for i, line in enumerate(lines) if (found := _HEADER.match(line)) is not None]
    own = [k for k, (_, name) in enumerate(heads) if name == section]
    if place >= len(own):
        return -1, -1
    k = own[place]
    return heads[k][0] + 1, heads[k + 1][0] if k + 1 < len(heads) else len(lines)


def _checked(text: str, lift: Lift, changes: Mapping[str, Change]) -> Lift:
    """The lift of the edited text, which must say what was meant."""
    from homing.assembly import assemble

    try:
        new = assemble(parse(text, lift.source), lift.source)
    except InputError as error:
        raise InputError(f"the fitted values cannot be put into this lift file: {error}") from None
    numbers = new.quantities()
    for key, change in changes.items():
        if abs(numbers[key] - change.value) > 10.0 ** (1 - DIGITS) * max(abs(change.value), 1e-9):
            raise InputError(
                "must stand on a line of its own under its [section], so that a fitted value can be put in",
                file=lift.source,
                key=key,
            )
    return new


def _text_of(lift: Lift) -> str:
    if lift.source == BUILT_IN:
        return files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    return Path(lift.source).read_text(encoding="utf-8-sig")


def _origin(estimate: Estimate) -> str:
    if not estimate.told:
        return "assumed: the logs hardly tell it"
    return f"measured: fitted to logs, standard error {estimate.std_error:.2g}"


def _preface(fit: Fit) -> str:
    lines = [
        f"Fitted to {', '.join(fit.sources)}; before that {Path(fit.lift.source).name}.",
        f"{fit.rows_used} rows of {fit.moves_used} moves; simulated against logged heights "
        f"{fit.error_mm_rms:.2f} mm rms.",
        '"measured" comes from the logs, "data sheet" from a part, everything else is as it was.',
    ]
    return "".join(f"# {line}\n" for line in lines) + "\n"


def _origins(lift: Lift, changes: Mapping[str, Change]) -> str:
    """What the file does not give, with its origin, as comments at the end."""
    lines = ["", "# Not given above:"]
    for assumed in lift.assumed:
        if assumed.key in changes or assumed.value is None:
            continue
        kind = "data sheet" if _from_part(assumed.origin) else "assumed"
        lines.append(f"#   {assumed.key} = {assumed.value} {kind}: {assumed.origin}".replace("\n", " "))
    return "\n".join(lines) + "\n" if len(lines) > 2 else ""


def _from_part(origin: str) -> bool:
    return origin.startswith(("motor ", "part ", "data sheet", "magnet"))
