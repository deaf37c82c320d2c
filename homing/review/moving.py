"""Findings on phases that move: guards, the first made reading, both ways at the sensor."""

from __future__ import annotations

from collections.abc import Iterator

from homing.kernel.codes import Condition
from homing.review.results import Finding, Severity
from homing.review.scene import CLEAR_KINDS, MADE_KINDS, Scene
from homing.routine import Role, Row

C = Condition
#: Conditions that nothing but trouble brings about, and what has happened then.
TROUBLES = {
    C.JUMPED: "the counts cannot be believed any more",
    C.WRONG_WAY: "drive, encoder or string is not what it should be",
    C.MADE_ABOVE: "it is made where the target cannot be",
    C.RETRIES_USED: "it has been tried often enough",
}


def moves_unguarded(scene: Scene) -> Iterator[Finding]:
    """Each moving phase ends when its time is over, and when it has moved too far."""
    for phase in scene.moving:
        bound = {C.MOVED, C.MOVED_IN if phase.command.way < 0 else C.MOVED_OUT}
        lacks = []
        if not _ends(scene, phase.name, {C.TIMER_OVER}):
            lacks.append("time-out")
        if not _ends(scene, phase.name, bound):
            lacks.append("travel guard")
        if lacks:
            yield Finding(
                f"moves without a {' or a '.join(lacks)}",
                Severity.DANGER if len(lacks) == 2 else Severity.DOUBT,
                f"phase {phase.name}",
                "if what it waits for never comes (sensor stuck off, string off, jammed), it goes on and on",
                "add a row to a fault on {in_phase_s = ...} and one on {moved_mm = ...}, above other rows",
            )


def _ends(scene: Scene, name: str, kinds: set[Condition]) -> bool:
    """Whether a phase is left, whatever else holds, as soon as a condition of these kinds holds."""
    s = scene.situations(scene.table.phase(name))
    return any(
        bool((s.holds[:, column] <= ~s.stays).all()) for column, ask in enumerate(s.asks) if ask.kind in kinds
    )


def made_is_not_asked(scene: Scene) -> Iterator[Finding]:
    """Moving in, the reading is asked for."""
    if scene.table.told_by_standing:
        return
    for phase in scene.inward:
        if not any(scene.asks(phase, kind) for kind in MADE_KINDS[:3]):
            yield Finding(
                "moves in without asking the sensor",
                Severity.DANGER,
                f"phase {phase.name}",
                "made or not, it goes on in; on the stop the string goes slack and winds up the wrong way",
                'add a row on "made" to a phase that stops, right after the guards',
            )


def made_is_answered_by_its_change_only(scene: Scene) -> Iterator[Finding]:
    """Moving in, the state of the sensor counts, not its change: a start on the sensor has no change."""
    for phase in scene.inward:
        asked = {kind for kind in MADE_KINDS[:3] if scene.asks(phase, kind)}
        if asked == {C.JUST_MADE}:
            yield Finding(
                "start on the sensor is not handled",
                Severity.DANGER,
                f"phase {phase.name}",
                "it waits for the reading to change; if it starts on the sensor, or one change is missed, "
                "that change never comes and it drives into the stop",
                'stop on "made" instead of "just_made"',
            )


def stop_waits_for_agreement(scene: Scene) -> Iterator[Finding]:
    """Moving in, a single made reading stops."""
    for phase in scene.inward:
        runs = [ask.a for ask in scene.situations(phase).asks if ask.kind == C.MADE_RUN]
        if runs and min(runs) > 1 and not (scene.asks(phase, C.MADE) or scene.asks(phase, C.JUST_MADE)):
            more_mm = 1000 * scene.numbers.speed_m_s(phase) * scene.numbers.period_s * (min(runs) - 1)
            yield Finding(
                "stop waits for readings to agree",
                Severity.DANGER,
                f"phase {phase.name}",
                f"every further reading costs a loop, here {more_mm:.3g} mm more; a bouncing contact "
                "may never give two alike",
                'stop on "made"; let readings agree at standstill, before zero is set',
            )


def drives_on_when_made(scene: Scene) -> Iterator[Finding]:
    """Moving in and made: whatever else holds, it does not go on in."""
    if scene.table.told_by_standing:
        return
    for phase in scene.inward:
        s = scene.situations(phase)
        wrong = s.some(C.MADE) & (s.stays | s.takes(lambda row: scene.way(row.to) < 0))
        for sentence in s.none_of(wrong, "goes on in"):
            yield Finding(
                "made does not always stop it",
                Severity.DANGER,
                f"phase {phase.name}",
                f"{sentence.partition(': ')[2]}: one more push after the contact, or no stop at all",
                'put the row on "made" above the others, ask nothing else in it, and let it lead to a stop',
            )


def blocked_both_ways(scene: Scene) -> Iterator[Finding]:
    """Moving out, a made reading does not stop: the lift must be able to leave the sensor."""
    for phase in scene.outward:
        s = scene.situations(phase)
        wrong = s.takes(
            lambda row: (
                bool(scene.kinds(row.when) & {C.MADE, C.MADE_RUN})
                and scene.way(row.to) <= 0
                and not scene.kinds(row.when) & {C.MOVED_OUT, C.MOVED, C.TIMER_OVER, C.ABOVE, C.MADE_ABOVE}
            )
        )
        if (wrong & s.some(C.MADE, C.MADE_RUN)).any():
            yield Finding(
                "blocked outwards at the sensor",
                Severity.DANGER,
                f"phase {phase.name}",
                "made stops the way out too: once on the sensor, the lift cannot leave it",
                "let made block the way in only; moving out, wait for the sensor to let go",
            )


def comes_back_before_release(scene: Scene) -> Iterator[Finding]:
    """From moving out to moving in: only when the sensor has let go."""
    for row in scene.live:
        if scene.way(row.source) <= 0 or scene.way(row.to) >= 0:
            continue
        phase = scene.table.phase(row.source)
        s = scene.situations(phase)
        clear = bool(scene.kinds(row.when) & set(CLEAR_KINDS))
        asks = scene.asks(phase, C.MADE) or scene.asks(phase, C.MADE_RUN)
        made = s.some(C.MADE, C.MADE_RUN) & s.takes(lambda taken, row=row: taken == row)  # type: ignore[misc]
        if not clear and (not asks or made.any()):
            yield Finding(
                "comes back in before the sensor has let go",
                Severity.DOUBT,
                scene.named(row),
                "the next approach begins on the sensor: its edge is none, and the stage is misjudged",
                "go on out until {released_by_mm = ...}",
            )


def ends_by_time_alone(scene: Scene) -> Iterator[Finding]:
    """Moving in, time alone does not mean that it has arrived."""
    for row in scene.live:
        good_end = scene.role(row.to) is not Role.FAULTED and scene.way(row.to) >= 0
        if scene.way(row.source) < 0 and good_end and scene.kinds(row.when) == {C.TIMER_OVER}:
            yield Finding(
                "lowers by time",
                Severity.DANGER,
                scene.named(row),
                "how far it gets in that time depends on battery and load",
                "let the sensor end the way in, and a time-out be a fault",
            )


def standing_is_judged_too_soon(scene: Scene) -> Iterator[Finding]:
    """Standing counts as a sign only after a healthy lift would have moved."""
    for row in scene.live:
        after_s, least_s = scene.smallest(row, C.NOT_MOVING), scene.numbers.starting_s
        if after_s is not None and after_s < least_s:
            yield Finding(
                "starting is taken for standing",
                Severity.DANGER if scene.role(row.to) is not Role.FAULTED else Severity.DOUBT,
                scene.named(row),
                f"a healthy lift needs up to {1000 * least_s:.0f} ms until its counts move; "
                f"{1000 * after_s:.0f} ms take the starting place for the end",
                f"wait at least {1000 * least_s:.0f} ms before standing counts as a sign",
            )


def trouble_leads_to_a_fault(scene: Scene) -> Iterator[Finding]:
    """What nothing but trouble brings about ends in a fault."""
    for row in scene.live:
        sign = _trouble(scene, row)
        if sign and scene.role(row.to) is not Role.FAULTED:
            yield Finding(
                "trouble does not lead to a fault",
                Severity.DANGER if scene.way(row.to) else Severity.DOUBT,
                scene.named(row),
                f"{sign}, and it goes on",
                "let this row lead to a fault",
            )


def _trouble(scene: Scene, row: Row) -> str:
    """What a row asks for that nothing but trouble brings about, in words; empty if nothing."""
    asked = scene.kinds(row.when)
    found = (words for kind, words in TROUBLES.items() if kind in asked)
    if scene.way(row.source) == 0 and asked & {C.MOVED, C.MOVED_OUT, C.MOVED_IN}:
        return "told to stand, it moves"
    if C.ABOVE in asked and asked & {C.MADE, C.MADE_RUN, C.JUST_MADE}:
        return TROUBLES[C.MADE_ABOVE]
    return next(found, "")
