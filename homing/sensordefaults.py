"""Defaults of one ``[[sensor]]``: its part's data sheet, what its kind implies, stated defaults."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Protocol

from homing.partslists import Datum, read_list
from homing.sensortables import MODELS
from homing.values import nearest
from sensor_models.errors import InputError

if TYPE_CHECKING:
    from sensor_models.parts import Fact


class Filling(Protocol):
    """The table being filled (``homing.defaults.Section``)."""

    name: str
    table: dict[str, Any]

    def give(self, key: str, value: Any, origin: str) -> None: ...

    def give_all(self, data: Mapping[str, Any], source: str = "") -> None: ...

    def inside(self, key: str) -> Filling: ...


def fill_sensor(sensor: Filling, file: str | None) -> None:
    """Fill one sensor table; ``kind`` becomes certain first, since all else hangs on it."""
    record = _part_of(sensor, file)
    kind = sensor.table.get("kind")
    if not isinstance(kind, str) or kind not in MODELS:
        accepted = ", ".join(f'"{each}"' for each in MODELS)
        raise InputError(
            f"must be one of {accepted}{nearest(kind, MODELS)}, or come from a part",
            file=file,
            key=f"{sensor.name}.kind",
            got=kind,
        )
    if record is not None:
        sensor.give_all(record, f'part "{sensor.table["part"]}"')
    stated = read_list("defaults")["sensor"]
    if kind == "stall":
        sensor.give_all(stated["stall"])
        return
    if kind == "magnet":
        _fill_magnet(sensor, stated["magnet"]["magnet"], file)
    if kind == "reflective" and "curve" not in sensor.table:
        sensor.give("peak_gap_mm", 2.5, "own estimate, typical range 0.6 to 4 mm")
    if kind == "reflective":
        gap_mm = sensor.table.get("peak_gap_mm") or _peak(sensor.table.get("curve"))
        sensor.give("gap_mm", gap_mm, "stated default: the gap of the strongest signal")
    sensor.give_all(stated[kind])
    sensor.give_all(stated)
    _fill_levels(sensor, kind)


def _part_of(sensor: Filling, file: str | None) -> Mapping[str, Datum] | None:
    """Values of the part that the table names, in the file's keys; sets ``kind`` when it is left out."""
    if "part" not in sensor.table:
        return None
    from sensor_models import parts

    name, key = sensor.table["part"], f"{sensor.name}.part"
    known = parts.parts()
    if not isinstance(name, str) or name not in known:
        raise InputError(
            f"must be one of {', '.join(known)}{nearest(name, known)}", file=file, key=key, got=name
        )
    record = parts.part(name)
    kind = record.kind.name.lower()
    if sensor.table.setdefault("kind", kind) != kind:
        raise InputError(
            f'is of kind "{kind}"; leave kind out or name a part of the other kind',
            file=file,
            key=key,
            got=sensor.table["kind"],
        )
    return _data(record.values)


def _data(facts: Mapping[str, Fact]) -> dict[str, Datum]:
    """Facts of a data sheet as the file would write them: a spread is ``[min, typ, max]``."""
    return {
        key: Datum(fact.value if fact.low is None else [fact.low, fact.value, fact.high], fact.origin)
        for key, fact in facts.items()
    }


def _fill_magnet(sensor: Filling, stated: Datum, file: str | None) -> None:
    """The magnet itself, and its remanence from its grade."""
    sensor.give("magnet", dict(stated.value), stated.origin)
    magnet = sensor.table["magnet"]
    if not isinstance(magnet, dict) or "grade" not in magnet:
        return
    sensor.table["magnet"] = dict(magnet)  # what is listed as assumed stays as it was put in
    from sensor_models import parts

    name, known = magnet["grade"], parts.grades()
    if not isinstance(name, str) or name not in known:
        must = f"must be one of {', '.join(known)}{nearest(name, known)}"
        raise InputError(must, file=file, key=f"{sensor.name}.magnet.grade", got=name)
    facts = _data(parts.grade(name))
    remanence = facts.pop("remanence_t")
    sensor.inside("magnet").give("remanence_t", remanence.value, f"grade {name}: {remanence.origin}")
    sensor.give_all(facts, f"grade {name}")


def _peak(curve: Any) -> float:
    """Gap at the curve's highest point; 1 when the curve is unusable, which is refused later."""
    try:
        return float(max(curve, key=lambda point: point[1])[0]) or 1.0
    except (TypeError, IndexError, ValueError):
        return 1.0


def _fill_levels(sensor: Filling, kind: str) -> None:
    """What the input reads when made, and on a broken wire."""
    opens = kind == "contact" and sensor.table.get("wiring") == "normally_closed"
    sensor.give("active", "high" if opens else "low", "stated default: pull-up at the input")
    made = sensor.table["active"]
    other = "low" if made == "high" else "high"
    if opens:
        sensor.give("open_wire_reads", made, "a broken wire is an open contact, which means made")
    else:
        sensor.give(
            "open_wire_reads", other, "stated default: a broken wire reads as not made, the worse case"
        )
