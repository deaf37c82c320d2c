"""Mounting sketch at true size: hard stop, target, sensor, trip band and release, with their millimetres.

A side view with the travel upwards. What is measured is drawn 1:1; where the lift is longer than the sheet, a
stretch in which nothing stands is left out behind a break mark (``folding``). Two bars of 50 mm show whether
a printer kept the size.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from homing.report.figures.folding import Folded, fold
from homing.report.figures.paper import MIDDLE, THICK, THIN, Drawing
from homing.report.figures.sketchplan import Height, Plan
from homing.report.figures.sketchsheet import LINE_MM, draw_check_bars, write_notes, write_title
from homing.report.figures.style import FAINT, GREY, PAPER, SAND
from homing.report.numbers import plain

#: The sheet, from left to right [mm].
LEVEL_X, FRAME_X, FACE_X, BAND_X, NEEDED_X, TRIP_X, TEXT_X = (
    20.0,
    (27.0, 33.0),
    58.0,
    (92.0, 102.0),
    108.0,
    117.0,
    126.0,
)
#: And from above [mm]: where the side view may stand.
VIEW_Y = (52.0, 230.0)
BODY_HALF_MM = 6.0
ROOM_MM = 10.0
CARRIAGE_RIGHT_X = 88.0
LONGEST_GAP_MM = 24.0
#: No dimension is drawn between two places as near as that.
NOT_WORTH_MM = 0.05


def mounting_sketch(plan: Plan) -> Drawing:
    """Draw the sheet."""
    sheet = Drawing()
    scale = _scale(plan)
    write_title(sheet, plan)
    _frame(sheet, plan, scale)
    _carriage(sheet, plan, scale)
    _sensor(sheet, plan, scale)
    _band(sheet, plan, scale)
    _labels(sheet, plan.heights, scale)
    _dimensions(sheet, plan, scale)
    _breaks(sheet, scale)
    draw_check_bars(sheet)
    write_notes(sheet, plan)
    return sheet


def _scale(plan: Plan) -> Folded:
    marks = [height.mm for height in plan.heights]
    marks += [-plan.target.below, plan.target.above, plan.trip + plan.target.above, plan.level, plan.body]
    low = min(*marks, plan.body - (2.0 if plan.ahead else 1.0) * BODY_HALF_MM) - ROOM_MM
    high = max(marks) + ROOM_MM
    room = VIEW_Y[1] - VIEW_Y[0]
    folded = fold(marks, VIEW_Y[1], room, (low, high))
    # a short lift stands in the middle of the sheet
    return replace(folded, bottom=VIEW_Y[1] - max(0.0, room - (folded.bottom - folded.y(high))) / 2)


def _frame(sheet: Drawing, plan: Plan, scale: Folded) -> None:
    left, right = FRAME_X
    top, bottom = scale.y(scale.high), scale.y(scale.low)
    sheet.box((left, top), (right, bottom), FAINT, width=MIDDLE)
    sheet.words((left, bottom + 4.0), "frame, stands still", 2.8)
    sheet.hatch((right, scale.y(plan.upper)), (right + 14.0, scale.y(plan.upper) - 5.0))
    sheet.box((right, scale.y(plan.upper)), (right + 14.0, scale.y(plan.upper) - 5.0), "none", width=MIDDLE)
    middle = 0.5 * (left + right)
    sheet.line((middle, top - 2.0), (middle, top - 12.0), MIDDLE)
    sheet.arrow((middle, top - 12.0), (0.0, -1.0))
    sheet.words((middle + 2.5, top - 7.0), "out", 2.8)


def _carriage(sheet: Drawing, plan: Plan, scale: Folded) -> None:
    """Carriage, target and hard stop with the carriage down; the target once more, dashed, where it trips."""
    target, left = plan.target, _target_x(plan)
    low, high = -target.below - 5.0, target.above + 5.0
    carriage = left + (0.0 if plan.ahead else target.depth)
    if plan.ahead:
        carriage, low = left - 4.0, target.above
        high = target.above + 10.0
    right = max(CARRIAGE_RIGHT_X, carriage + 12.0)
    sheet.box((carriage, scale.y(low)), (right, scale.y(high)), PAPER, width=MIDDLE)
    sheet.words((right - 2.0, scale.y(high) + 4.0), "carriage", 2.8, anchor="end")
    leg = right - 8.0
    if plan.ahead:
        sheet.box((leg, scale.y(low)), (right, scale.y(-5.0)), PAPER, width=MIDDLE)
        low = -5.0
    sheet.box((leg - 8.0, scale.y(low)), (right + 2.0, scale.y(low) + 5.0), PAPER, width=MIDDLE)
    sheet.hatch((leg - 8.0, scale.y(low)), (right + 2.0, scale.y(low) + 5.0))
    sheet.words((right + 4.0, scale.y(low) + 4.5), "hard stop", 2.8)
    _target(sheet, plan, scale, 0.0, ())
    _target(sheet, plan, scale, plan.trip, (1.6, 1.0))
    sheet.words((_target_x(plan), scale.y(plan.trip + target.above) - 1.2), "where it trips", 2.6)


def _target_x(plan: Plan) -> float:
    """Left side of the target on the sheet."""
    if plan.ahead:
        return FACE_X - plan.target.depth / 2
    return FACE_X + min(plan.gap, LONGEST_GAP_MM)


def _target(sheet: Drawing, plan: Plan, scale: Folded, at: float, dashes: tuple[float, ...]) -> None:
    left, target = _target_x(plan), plan.target
    corner = (left, scale.y(at - target.below))
    opposite = (left + target.depth, scale.y(at + target.above))
    outline = [corner, (opposite[0], corner[1]), opposite, (corner[0], opposite[1]), corner]
    if not dashes:
        sheet.box(corner, opposite, SAND, width=THICK, name="target")
        return
    for start, end in pairwise(outline):
        sheet.line(start, end, MIDDLE, dashes=dashes)


def _sensor(sheet: Drawing, plan: Plan, scale: Folded) -> None:
    y, front = scale.y(plan.level), scale.y(plan.body)
    if plan.ahead:
        sheet.box((FRAME_X[1], front), (FACE_X + 8.0, front + 2 * BODY_HALF_MM), PAPER, width=MIDDLE)
        if front > y:  # a plunger, where it is when nothing presses it
            sheet.box((FACE_X - 1.5, y), (FACE_X + 1.5, front), "none", width=MIDDLE)
        sheet.words((FRAME_X[1] + 2.0, front + 7.0), "sensor", 2.8)
    else:
        sheet.box((FRAME_X[1], y - BODY_HALF_MM), (FACE_X, y + BODY_HALF_MM), PAPER, width=MIDDLE)
        sheet.words((FRAME_X[1] + 2.0, y - 1.5), "sensor", 2.8)
    for start, end in (((FACE_X - 3, y), (FACE_X + 3, y)), ((FACE_X, y - 3), (FACE_X, y + 3))):
        sheet.line(start, end, THICK, name="" if start[1] != end[1] else "sensing-spot")


def _band(sheet: Drawing, plan: Plan, scale: Folded) -> None:
    """The trip band, hatched, beside the carriage."""
    corner, opposite = (BAND_X[0], scale.y(plan.trip_low)), (BAND_X[1], scale.y(plan.trip_high))
    sheet.box(corner, opposite, PAPER, width=THIN, name="trip-band")
    sheet.hatch(corner, opposite, step=1.2)
    sheet.words((sum(BAND_X) / 2, opposite[1] - 1.2), "trip band", 2.6, anchor="middle")


def _labels(sheet: Drawing, heights: Sequence[Height], scale: Folded) -> None:
    """A line across the view at each height, and its number and words at the right, moved apart."""
    ordered = sorted(heights, key=lambda height: -height.mm)
    places = spread([scale.y(height.mm) for height in ordered], LINE_MM, VIEW_Y)
    for height, place in zip(ordered, places, strict=True):
        y = scale.y(height.mm)
        dashes = (2.4, 1.2) if height.dashed else ()
        sheet.line(
            (FACE_X - 8.0 if height.mm else 36.0, y), (TRIP_X + 2.0, y), THIN, dashes=dashes, colour=GREY
        )
        sheet.line((TRIP_X + 2.0, y), (TEXT_X - 1.0, place), THIN, colour=GREY)
        sheet.words((TEXT_X + 11.0, place + 1.1), plain(height.mm, 1), 3.2, anchor="end", bold=True)
        sheet.words((TEXT_X + 13.0, place + 1.1), height.words, 3.0)


def spread(places: Sequence[float], least: float, room: tuple[float, float]) -> list[float]:
    """Move rising places apart to at least ``least``, moving each as little as its neighbours allow.

    Examples
    --------
    >>> spread([10.0, 11.0, 30.0], 4.0, (0.0, 100.0))
    [8.5, 12.5, 30.0]
    """
    groups: list[list[float]] = []  # of each group of touching labels: wanted middles
    for place in places:
        groups.append([place])
        while len(groups) > 1 and _top(groups[-1], least, room) - _bottom(groups[-2], least, room) < least:
            groups[-2:] = [groups[-2] + groups[-1]]
    return [_top(group, least, room) + least * i for group in groups for i in range(len(group))]


def _top(group: Sequence[float], least: float, room: tuple[float, float]) -> float:
    half = least * (len(group) - 1) / 2
    middle = sum(group) / len(group)
    return max(min(middle + half, room[1]) - 2 * half, room[0])


def _bottom(group: Sequence[float], least: float, room: tuple[float, float]) -> float:
    return _top(group, least, room) + least * (len(group) - 1)


def _dimensions(sheet: Drawing, plan: Plan, scale: Folded) -> None:
    zero, level, trip = scale.y(0.0), scale.y(plan.level), scale.y(plan.trip)
    if abs(plan.level) >= NOT_WORTH_MM:
        _upright(sheet, LEVEL_X, (zero, level), "mount", plan.level, "dimension-sensor")
        for y, end in ((zero, FRAME_X[1]), (level, FACE_X)):
            sheet.line((LEVEL_X - 2.0, y), (end, y), THIN, colour=GREY)
    _upright(sheet, TRIP_X, (zero, trip), "trip", plan.trip, "dimension-trip")
    if math.isfinite(plan.needed) and plan.trip >= plan.needed:
        end = scale.y(plan.trip - plan.needed)
        _upright(sheet, NEEDED_X, (end, trip), "a stop needs", plan.needed, "dimension-stop")
    if math.isfinite(plan.gap):
        _gap(sheet, plan, scale)


def _upright(sheet: Drawing, x: float, ends: tuple[float, float], words: str, size: float, name: str) -> None:
    """A dimension that is read from below; words stand beside it where there is room for them."""
    start, end = ends
    sheet.dimension((x, start), (x, end), name)
    number = plain(size, 1)
    text = next((t for t in (f"{words} {number}", number) if 1.8 * len(t) < abs(end - start)), "")
    half = 0.9 * len(text or number)
    y = 0.5 * (start + end) + half if text else max(start, end) + 6.0 + 2.0 * half
    sheet.words((x - 1.0, y), text or number, 2.8, turned=True)


def _gap(sheet: Drawing, plan: Plan, scale: Folded) -> None:
    y = scale.y(plan.level) + BODY_HALF_MM + 4.0
    end = _target_x(plan)
    for x in (FACE_X, end):
        sheet.line((x, y - 4.5), (x, y + 1.5), THIN)
    sheet.dimension((FACE_X, y), (end, y), "dimension-gap" if plan.gap <= LONGEST_GAP_MM else "")
    text = f"gap {plain(plan.gap, 1)}" + ("" if plan.gap <= LONGEST_GAP_MM else " (drawn shorter)")
    sheet.words((FACE_X - 5.5, y + 1.0), text, 2.8, anchor="end")


def _breaks(sheet: Drawing, scale: Folded) -> None:
    for each in scale.breaks:
        sheet.box((LEVEL_X - 4.0, each.y - 1.4), (TRIP_X + 3.0, each.y + 1.4), PAPER, width=0.0, colour=PAPER)
        for y in (each.y - 1.4, each.y + 1.4):
            _zigzag(sheet, LEVEL_X - 4.0, TRIP_X + 3.0, y)
        sheet.words((TRIP_X + 5.0, each.y + 1.0), f"{plain(each.left_out_mm, 0)} mm left out", 2.6)


def _zigzag(sheet: Drawing, left: float, right: float, y: float) -> None:
    """A break mark: a line with a kink in its middle."""
    middle = 0.5 * (left + right)
    sheet.line((left, y), (middle - 2.0, y), MIDDLE)
    points = ((middle - 2.0, y), (middle - 0.8, y - 2.2), (middle + 0.8, y + 2.2), (middle + 2.0, y))
    for start, end in pairwise(points):
        sheet.line(start, end, MIDDLE)
    sheet.line((middle + 2.0, y), (right, y), MIDDLE)
