"""How the runs of every injected fault ended, as shares of one bar each."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from homing.report.figures.style import INK, PAPER, SKY, figure, look
from homing.report.rows import coverage_line
from homing.results import FaultResult, Outcome, Verification

_LOOKS = {
    Outcome.ZEROED: (SKY, ""),
    Outcome.FAULTED: (PAPER, "////"),
    Outcome.UNSAFE: (INK, ""),
}


def fault_shares(verification: Verification) -> Figure:
    """Draw one bar a fault; unsafe shares are solid dark and begin at the right-hand edge."""
    faults = verification.faults
    with look():
        made = figure(0.2 * max(1, len(faults)) + 1.15)
        axes = made.subplots()
        for row, fault in enumerate(faults):
            _draw_fault(axes, row, fault)
        names = [fault.fault.replace("_", " ") for fault in faults]
        axes.set_yticks(range(len(faults)), names)
        for label, fault in zip(axes.get_yticklabels(), faults, strict=True):
            label.set_fontweight("normal" if fault.detected else "bold")
        axes.set_ylim(len(faults) - 0.4, -0.6)
        axes.set_xlim(0, 100)
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel("share of the fault's runs [%]")
        axes.set_title(coverage_line(verification), fontweight="normal")
        handles, labels = axes.get_legend_handles_labels()
        made.legend(handles[:3], labels[:3], loc="outside upper left", ncols=3)
    return made


def _draw_fault(axes: Axes, row: int, fault: FaultResult) -> None:
    left = 0.0
    for outcome, (fill, hatch) in _LOOKS.items():
        share = 100 * fault.shares.get(outcome.word, 0.0)
        axes.barh(row, share, left=left, height=0.66, color=fill, hatch=hatch, edgecolor=INK, lw=0.6,
                  label=outcome.word)  # fmt: skip
        left += share
    if not fault.detected:
        axes.annotate("unsafe", (100, row), xytext=(4, 0), textcoords="offset points", va="center",
                      fontsize=7.5, annotation_clip=False)  # fmt: skip
