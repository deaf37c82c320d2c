"""What stands around a mounting sketch on its sheet: title, bars that check the print, notes."""

from __future__ import annotations

import math

from homing.report.figures.paper import EDGE_MM, MIDDLE, SHEET_MM, THICK, Drawing
from homing.report.figures.sketchplan import Plan
from homing.report.numbers import plain

#: Lines of text keep this distance [mm].
LINE_MM = 4.6
#: Length of the bars by which a print is checked [mm].
CHECK_MM = 50.0


def write_title(sheet: Drawing, plan: Plan) -> None:
    """Name, how to print, what 0 is, and between which heights it may sit."""
    sheet.words((EDGE_MM + 4, 18.0), plan.title, 5.0, bold=True)
    lines = [
        f"{plan.lift}. Side view, travel upwards. Dimensions in millimetres.",
        "Print at 100 % (actual size); both check bars must then measure 50 mm. Fits A4 and letter paper.",
        f"0 = {plan.mark} while the carriage rests on its hard stop.",
    ]
    for number, line in enumerate(lines):
        sheet.words((EDGE_MM + 4, 25.0 + LINE_MM * number), line)
    if math.isfinite(plan.allowed[0]) and math.isfinite(plan.allowed[1]):
        low, high = (plain(each, 1) for each in plan.allowed)
        line = f"mount_mm {plain(plan.mount, 1)}; every requirement holds from {low} to {high}."
        sheet.words((EDGE_MM + 4, 25.0 + LINE_MM * len(lines)), line, bold=True)


def draw_check_bars(sheet: Drawing) -> None:
    """50 mm across and 50 mm upright: printers may stretch one way only."""
    left, y = EDGE_MM + 6.0, SHEET_MM[1] - EDGE_MM - 6.0
    sheet.line((left, y), (left + CHECK_MM, y), THICK, name="check-across")
    x = SHEET_MM[0] - EDGE_MM - 3.0
    sheet.line((x, y), (x, y - CHECK_MM), THICK, name="check-upright")
    for step in range(6):
        tick = 2.4 if step in (0, 5) else 1.4
        sheet.line((left + 10.0 * step, y - tick), (left + 10.0 * step, y), MIDDLE)
        sheet.line((x - tick, y - 10.0 * step), (x, y - 10.0 * step), MIDDLE)
    sheet.words((left, y + 4.2), "check: 50 mm", 2.8)
    sheet.words((x - 3.2, y - 14.0), "check: 50 mm", 2.8, turned=True)


def write_notes(sheet: Drawing, plan: Plan) -> None:
    """Part, target and what the drawing leaves out."""
    lines = (f"Sensor: {plan.sensor}. Target: {plan.target.words}.", *plan.notes)
    for number, line in enumerate(lines):
        sheet.words((EDGE_MM + 62.0, 246.0 + LINE_MM * number), line, 2.6)
