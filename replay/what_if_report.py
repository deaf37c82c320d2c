"""What-if studies as JSON and as text."""

from __future__ import annotations

from typing import Any

from replay.what_if_study import WhatIf, WhatIfs

_VERDICTS = {True: "prevented", False: "not prevented", None: "cannot say"}


def what_if_json(found: WhatIfs | None) -> list[dict[str, Any]]:
    """The contract's ``what_if`` list: every change; empty where nothing could be simulated."""
    return [] if found is None else [_change(each) for each in found.changes]


def as_it_was_json(found: WhatIfs | None) -> dict[str, Any] | None:
    """The visit as it was, simulated, and how far the model is from the log; beside the contract's keys."""
    if found is None:
        return None
    return _change(found.as_it_was) | {
        "model_error_mm": round(found.model_error_mm, 3),
        "shown": list(found.shown),
        "lacking": found.lacking,
        "not_tried": [{"change": change, "why": why} for change, why in found.not_tried],
    }


def _change(each: WhatIf) -> dict[str, Any]:
    return {
        "change": each.change,
        "overtravel_mm": round(each.overtravel_mm, 3),
        "low": round(each.low, 3),
        "high": round(each.high, 3),
        "prevented": each.prevented,
    }


def what_if_text(found: WhatIfs) -> str:
    """One line a change, the model's error first."""
    was = found.as_it_was
    lines = [
        f"as it was: simulated {was.overtravel_mm:.1f} mm past the trip, {found.model_error_mm:+.1f} mm from "
        "the log (the model's error)"
    ]
    lines += [f"  the log shows: {each}" for each in found.shown]
    if found.lacking:
        lines.append(f"  {found.lacking}")
    for each in found.changes:
        lines.append(
            f"  {_VERDICTS[each.prevented]:<13} {each.overtravel_mm:6.1f} mm "
            f"({each.low:.1f} to {each.high:.1f})  {each.change}"
        )
    lines += [f"  not tried      {change}: {why}" for change, why in found.not_tried]
    return "\n".join(lines)
