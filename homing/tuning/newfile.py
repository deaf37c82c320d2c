"""The tuned lift file: the old text with the ``[routine]`` keys changed line by line, the rest as it was.

A rewrite would lose comments, order and spelling, which are the team's own. What was edited is read back and
must say what was meant and nothing else; a file in which that cannot be done line by line (``routine`` as an
inline table, say) is refused before the search begins. ``owntext.py`` does the same for the numbers of an own
table, which stand among others on a line.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from homing.liftfile import BUILT_IN, parse
from homing.own.numbers import place_of
from homing.tuning.owntext import toml, with_numbers
from homing.tuning.settings import is_counted, is_own, values_of
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from homing.liftfile import Lift
    from homing.tuning.results import Guard, Tuning

_HEADER = re.compile(r"^\s*\[\[?\s*([^\]]+?)\s*\]\]?\s*(#.*)?$")
SECTION = "routine"
#: Names tried before giving up on finding a free one.
NAMES = 1000


def new_name(new: str | None, folder: str | None, lift: Lift) -> Path:
    """Where the new lift file goes: never onto a file that is there.

    Parameters
    ----------
    new : str, optional
        The name, if one is asked for.
    folder : str, optional
        Where it goes otherwise, as ``NAME.tuned.toml``; the present folder by default.

    Raises
    ------
    InputError
        When the named file exists, does not end in .toml, or cannot be written.
    """
    from homing.report.files import check_file

    if new is not None:
        path = check_file(new, key="--new", suffixes=(".toml",))
        if path.exists() or path.is_symlink():
            must = "must be a new name; this file is there and is not overwritten"
            raise InputError(must, key="--new", got=new)
        return path
    stem = Path(lift.source).name.removesuffix(".toml").replace(" ", "_")
    place = Path() if folder is None else Path(folder)
    names = (place / f"{stem}.tuned{number}.toml" for number in ("", *(f"-{k}" for k in range(2, NAMES))))
    free = next((name for name in names if not name.exists()), None)
    if free is None:
        raise InputError(f"must be given: {NAMES} tuned lift files are there already", key="--new")
    return free if folder is not None else check_file(free, key="--new")


def tuned_text(tuning: Tuning, text: str) -> str:
    """The lift file with the tuned settings, where they come from, and what to heed at the first run."""
    lift = tuning.lift
    changes = dict(tuning.settings)
    guards = {key: guard for guard in tuning.guards for key in guard.keys}
    origins = {key: _origin(guards.get(key)) for key in changes}
    edited = with_settings(text, changes, origins, lift)
    check_edit(edited, lift, changes)
    return with_line_ends(_preface(tuning) + edited, text)


def with_line_ends(text: str, old: str) -> str:
    """The text with the line ends of another one."""
    return text.replace("\r\n", "\n").replace("\n", "\r\n") if "\r\n" in old else text


def _origin(guard: Guard | None) -> str:
    """Where a setting is from."""
    if guard is None:
        return "tuned"
    if guard.by_room:
        return f"by rule: {guard.room:g} more than the {guard.words}"
    return f"by rule: {guard.factor:g} x the {guard.words}"


def check_editable(text: str, lift: Lift, keys: Sequence[str]) -> None:
    """Refuse, before anything is searched, a file whose settings cannot be put in line by line."""
    settings = {
        # a number of an own table is tried with another value: left as it is, it would seem to be found
        key: (value + 1.0 if is_counted(lift, key) else 0.875 * value) if is_own(key) else value
        for key, value in values_of(lift, keys).items()
    }
    _read_back(with_settings(text, settings, dict.fromkeys(keys, "tuned"), lift), lift, settings)


def text_of(lift: Lift) -> str:
    """The text from which a lift was read, its line ends as they are."""
    if lift.source == BUILT_IN:
        return files("homing").joinpath("data", "example.toml").read_text(encoding="utf-8")
    return Path(lift.source).read_bytes().decode("utf-8-sig")


def with_settings(text: str, settings: Mapping[str, float], origins: Mapping[str, str], lift: Lift) -> str:
    """TOML text with some keys of ``[routine]`` changed or added; each line says where its value is from."""
    if lift.own_routine is not None:
        own = {key: value for key, value in settings.items() if is_own(key)}
        text = with_numbers(text, own, origins, [phase.name for phase in lift.own_routine.phases])
    plain = {key: value for key, value in settings.items() if not is_own(key)}
    return _with_plain(text, plain, origins, lift) if plain else text


def _with_plain(text: str, settings: Mapping[str, float], origins: Mapping[str, str], lift: Lift) -> str:
    lines = text.splitlines()
    begin, end = _section(lines)
    if begin < 0:
        lines += ["", f"[{SECTION}]"]
        begin = end = len(lines)
    missing = []
    for key, value in settings.items():
        place = next((i for i in range(begin, end) if _value_at(lines[i], key) is not None), None)
        if place is None:
            before = f"was not given ({getattr(lift.routine, key):g} assumed)"
            missing.append(f"{key} = {toml(value)}  # {origins[key]}, {before}")
        else:
            lines[place] = _line(lines[place], key, value, origins[key])
    while end > begin and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
        end -= 1
    return "\n".join([*lines[:end], *missing, *lines[end:]]) + "\n"


def check_edit(text: str, lift: Lift, settings: Mapping[str, float]) -> None:
    """Read the edited text back: it must differ from the old tables in these settings and in nothing else."""
    from homing.assembly import assemble

    assemble(_read_back(text, lift, settings), lift.source)


def _read_back(text: str, lift: Lift, settings: Mapping[str, float]) -> dict[str, Any]:
    """The tables of the edited text, which must be those that were meant."""
    given: dict[str, Any] = {}
    with suppress(InputError):
        given = parse(text, lift.source)
    if given != _meant(lift, settings):
        where = "under [routine]"
        if lift.own_routine is not None:
            where += ", and each phase and row under a [[routine.phase]] or [[routine.row]] of its own"
        must = f"must have its keys on lines of their own {where}, so that tuned values can be put in"
        raise InputError(must, file=lift.source, key=SECTION)
    return given


def _meant(lift: Lift, settings: Mapping[str, float]) -> dict[str, Any]:
    tables = copy.deepcopy(dict(lift.given))
    routine = tables.setdefault(SECTION, {})
    for key, value in settings.items():
        place = place_of(routine, f"{SECTION}.{key}") if is_own(key) else (routine, key)
        assert place is not None
        table, name = place
        table[name] = value
    return tables


def _line(line: str, key: str, value: float, origin: str) -> str:
    old = _value_at(line, key)
    assert old is not None
    number, comment = old
    told = comment.lstrip("# ").strip()
    was = "as before" if float(number.replace("_", "")) == value else f"was {number}"
    return f"{key} = {toml(value)}  # {origin}, {was}" + (f"; {told}" if told else "")


def _value_at(line: str, key: str) -> tuple[str, str] | None:
    """Number and comment of a line that sets the key to a plain number; None for any other line."""
    found = re.match(rf"^\s*\"?{re.escape(key)}\"?\s*=\s*([-+0-9._eE]+)\s*(#.*)?$", line)
    return (found[1], found[2] or "") if found else None


def _section(lines: Sequence[str]) -> tuple[int, int]:
    """First line after the header of ``[routine]`` and end of its keys; (-1, -1) when it is not there."""
    heads = [(i, found[1]) for i, line in enumerate(lines) if (found := _HEADER.match(line)) is not None]
    for k, (i, name) in enumerate(heads):
        if name.strip("\"'") == SECTION:
            return i + 1, heads[k + 1][0] if k + 1 < len(heads) else len(lines)
    return -1, -1


def _preface(tuning: Tuning) -> str:
    from homing.tuning.words import FIRST_RUN

    after = tuning.after
    lines = [
        f"Settings of [{SECTION}] tuned from {Path(tuning.lift.source).name}: {tuning.evaluations} trials, "
        f"seed {tuning.seed}.",
        f"Confirmed by simulation on {tuning.runs} fresh runs (seed {after.seed}): margin in the worst "
        f"requirement {100 * after.point.margin:.0f} %, time to zero {after.point.time_to_zero_s:.2f} s "
        "in half of the runs.",
        "Other lines and comments are as they were; a comment may speak of the old values.",
        "This never certifies that the lift is safe. Before it is tried on the robot:",
        *(f"- {sentence}" for sentence in FIRST_RUN),
    ]
    return "".join(f"# {line}\n" for line in lines) + "\n"
