"""What has to be said about safety beside every result: short, and the same everywhere.

The facts are those customary in workshops which build such lifts (common practice, no source): pinch and
in-running nip points, snap-back of string, stored energy, first tests at low power, and that an end sensor
steers a process and protects nobody.
"""

from __future__ import annotations

NEVER_CERTIFIES = (
    "This is advice from a simulation. It never certifies that a lift is safe: what was not described in "
    "the lift file was not checked, and the real lift has to be tested."
)

CAUTIONS: tuple[str, ...] = (
    NEVER_CERTIFIES,
    "The end sensor steers the routine; it is not a safety function. The hard stops must hold on their own, "
    "at full speed, with the sensor unplugged.",
    "Keep hands, hair, sleeves and cords away from slides, spools and pulleys: they pinch, shear and draw "
    "in. Switch the robot off before reaching in, and wear eye protection.",
    "A tensioned string or elastic snaps back when it breaks or comes off. Stay out of its line and never "
    "step over it.",
    "A raised lift, a stretched spring and a charged battery keep energy with the power off. Lower or pin "
    "the lift before working on it.",
    "Make the first powered tests at low power, over a short travel, with a soft block under the carriage, a "
    "current limit, a time-out, and one person on the disable control.",
    "After an overrun, remove power and unload the string by hand before winding again; never override a "
    "limit to see what happens.",
    "Event and inspection rules, local codes and workshop rules, the makers' instructions and the "
    "responsible adult come before anything said here.",
)

MAGNETS = "Strong magnets: keep them from pacemakers and implants, cards and fingers, and out of mouths."


def cautions(*, magnet: bool = False) -> tuple[str, ...]:
    """Cautions for a report; with ``magnet`` the one about strong magnets as well."""
    return (*CAUTIONS[:-1], MAGNETS, CAUTIONS[-1]) if magnet else CAUTIONS
