"""Plain words for the names in the results, the same in terminal, page and figures."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """Short title, unit and one sentence saying what is meant."""

    title: str
    unit: str
    meaning: str


METRICS: dict[str, Word] = {
    "time_to_zero_s": Word("time to zero", "s", "From start until zero is set."),
    "trip_mm": Word("trip height", "mm", "Height at which the sensor changes to made on the way in."),
    "stop_distance_mm": Word(
        "stop distance", "mm", "Carriage travel from the trip height to the deepest point before standstill."
    ),
    "overtravel_mm": Word(
        "overtravel", "mm", "How far the spool turns on past the trip height until everything stands still."
    ),
    "impact_speed_mm_s": Word(
        "impact speed",
        "mm/s",
        "Speed of the carriage when it first touches the hard stop; 0 if it never does.",
    ),
    "slack_mm": Word("slack string", "mm", "Largest length of loose string during the run."),
    "return_slack_mm": Word("slack return string", "mm", "Largest length of loose return string."),
    "zero_error_mm": Word(
        "zero error", "mm", "Declared height minus true height of the carriage, at rest after zeroing."
    ),
    "false_triggers": Word("false triggers", "", "Made readings outside the trip zone, in unbroken groups."),
    "accepted_false_triggers": Word(
        "accepted false triggers", "", "False triggers on which the routine stopped or zeroed."
    ),
    "missed_triggers": Word(
        "missed triggers", "", "Passes through the sensor's window without a made reading."
    ),
    "peak_current_a": Word("peak current", "A", "Largest battery current."),
}

BUDGET: dict[str, Word] = {
    "sensor_age": Word("sensor age", "mm", "the sensor still held its last sample"),
    "reading_delay": Word("reading delay", "mm", "the reading was on its way to the controller"),
    "loop_wait": Word("loop wait", "mm", "the reading waited for the next turn of the control loop"),
    "late_loop": Word("late loop", "mm", "that turn of the loop came later than the period says"),
    "drive_delay": Word("drive delay", "mm", "the stop command was on its way to the drive"),
    "braking": Word("braking", "mm", "the drive slowed the spool down"),
    "string": Word("string", "mm", "the carriage moved on while the string stretched or went slack"),
}

OUTCOMES: dict[str, str] = {
    "zeroed": "zeroed, and every limit was kept",
    "faulted": "stopped itself and gave a reason, and every limit was kept",
    "unsafe": "a limit was broken, or it was still moving at the end",
}

COVERAGE_LABEL = "equal weights"

COVERAGE_MEANING = (
    "Of the fault runs that are unsafe with all guards and plausibility checks switched off, the share that "
    "ends faulted with them on."
)


#: Units of things that are counted: shown as whole numbers without a unit.
COUNTED = ("", "per run")


def title(name: str) -> str:
    """Title of a metric; unknown names are spelt with spaces."""
    return METRICS[name].title if name in METRICS else name.replace("_", " ")
