"""Numbers as people read them: digits to fit the limit they are held against, and no false precision."""

from __future__ import annotations

import math

MISSING = "none"


def decimals(scale: float) -> int:
    """Digits after the point which show three figures of ``scale``, at most two."""
    if not math.isfinite(scale) or scale == 0:
        return 2
    return min(2, max(0, 2 - math.floor(math.log10(abs(scale)))))


def plain(value: float, places: int) -> str:
    """Fixed number of digits; a value that does not exist is 'none' and zero never carries a minus."""
    if math.isnan(value):
        return MISSING
    if math.isinf(value):
        return "no end" if value > 0 else "-no end"
    text = f"{value:.{places}f}"
    return text.lstrip("-") if float(text) == 0 else text


def measure(value: float, unit: str, places: int | None = None) -> str:
    """Value with its unit; whole numbers where there is no unit."""
    if places is None:
        places = 0 if not unit else decimals(value)
    text = plain(value, places)
    return text if not unit or text == MISSING else f"{text} {unit}"


def percent(share: float) -> str:
    """A share as per cent with about two figures, never rounded to 0 or 100 unless it is."""
    if math.isnan(share):
        return MISSING
    points = 100 * share
    if points in (0.0, 100.0):
        return f"{points:.0f} %"
    rest = min(points, 100 - points)
    places = 0 if rest >= 9.5 else 1 if rest >= 0.95 else 2
    if rest < 0.005:
        return "under 0.01 %" if points < 50 else "over 99.99 %"
    return f"{points:.{places}f} %"


def bounds(low: float, high: float) -> str:
    """Two bounds of a share in per cent, two figures each, joined by a hyphen."""

    def bound(share: float) -> str:
        points = 100 * share
        if 0 < points < 0.001:
            return "<0.001"
        return f"{points:.0f}" if points >= 9.95 else f"{points:.2g}"

    return MISSING if math.isnan(low) or math.isnan(high) else f"{bound(low)}-{bound(high)}"


def setting(value: object) -> str:
    """Any value of a lift file: numbers with up to six figures, truth as yes or no, lists in brackets."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(setting(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {setting(item)}" for key, item in value.items()) + "}"
    return MISSING if value is None else str(value)
