"""Findings on ends, ways out, order of rows and clocks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from homing.kernel.codes import Condition, Effect
from homing.review.results import Finding, Severity
from homing.review.scene import CLEAR_KINDS, MADE_KINDS, Scene
from homing.routine import Ask, Role
from homing.structure.situations import Bools

C = Condition
CLOCKS = (C.TIMER_OVER, C.MOVED, C.MOVED_OUT, C.MOVED_IN, C.STANDSTILL, C.NOT_MOVING, C.CLEAR_BY)


def ends_stand(scene: Scene) -> Iterator[Finding]:
    """Zeroed and faulted stand."""
    for phase in scene.table.phases:
        if phase.role in (Role.ZEROED, Role.FAULTED) and phase.command.way != 0:
            yield Finding(
                f"{phase.role.value} keeps moving",
                Severity.DANGER,
                f"phase {phase.name}",
                "an end must be a standstill: nobody watches the sensor any more",
                'give this phase the command "stop"',
            )


def ends_need_a_person(scene: Scene) -> Iterator[Finding]:
    """A fault is left on a person's request only."""
    for row in scene.live:
        role = scene.role(row.source)
        ends = role is Role.FAULTED or (role is Role.ZEROED and scene.way(row.to) != 0)
        if ends and C.START not in scene.kinds(row.when):
            yield Finding(
                f"{role.value} is left without a request",
                Severity.DANGER if role is Role.FAULTED else Severity.DOUBT,
                scene.named(row),
                "it starts moving again by itself, with whatever made it stop still there",
                'ask "start_requested" in this row',
            )


def there_are_ends(scene: Scene) -> Iterator[Finding]:
    """A zero and a fault can be reached."""
    for role in (Role.ZEROED, Role.FAULTED):
        if not any(scene.role(name) is role for name in scene.reached):
            yield Finding(
                f"{role.value} is never reached",
                Severity.DANGER,
                "table",
                "it can never say that it is done"
                if role is Role.ZEROED
                else "whatever goes wrong, it has no way to stop and say so",
                f'add a phase with role = "{role.value}" and a row that leads to it',
            )


def phases_without_a_way_out(scene: Scene) -> Iterator[Finding]:
    """A phase that is no end has a row that leaves it."""
    for phase in scene.table.phases:
        leaves = [row for row in scene.table.rows_of(phase.name) if row.to != phase.name]
        if phase.role not in (Role.ZEROED, Role.FAULTED) and not leaves:
            yield Finding(
                "phase without a way out",
                Severity.DANGER,
                f"phase {phase.name}",
                "once there it stays there, and never says why",
                "add the rows that leave it; at least a time limit that leads to a fault",
            )


def stuck_sensor_has_a_way_out(scene: Scene) -> Iterator[Finding]:
    """Standing, a reading that never changes any more ends in something."""
    for phase in scene.standing:
        s = scene.situations(phase)
        patient = np.ones(len(s.taken), dtype=bool)
        for column, ask in enumerate(s.asks):
            if ask.kind in (C.TIMER_OVER, C.STANDSTILL):
                patient &= s.holds[:, column]
        off = patient & ~s.some(*MADE_KINDS) & s.stays
        for sentence, wrong in (("stuck on", _stuck_on(scene, phase.name, patient)), ("stuck off", off)):
            if wrong.any() and s.rows:
                yield Finding(
                    f"no way out: sensor {sentence}",
                    Severity.DOUBT,
                    f"phase {phase.name}",
                    "it waits for a reading that never comes, silently and for good",
                    "add a row to a fault on {in_phase_s = ...} as the last one of this phase",
                )


def _stuck_on(scene: Scene, name: str, patient: Bools) -> Bools:
    """Situations in which everything that a lasting made reading brings holds, and the phase stays."""
    s = scene.situations(scene.table.phase(name))
    lasting = patient & ~s.some(*CLEAR_KINDS, C.JUST_MADE)
    for column, ask in enumerate(s.asks):
        if ask.kind in (C.MADE, C.MADE_RUN):
            lasting = lasting & s.holds[:, column]
    return np.asarray(lasting & s.stays)


def phases_are_reached(scene: Scene) -> Iterator[Finding]:
    """Every phase can be entered."""
    for phase in scene.table.phases:
        if phase.name not in scene.reached:
            yield Finding(
                "phase never entered",
                Severity.DOUBT,
                f"phase {phase.name}",
                "no row that can be taken leads here: what it is for does not happen",
                "let a row lead to it, or take it out",
            )


def rows_live(scene: Scene) -> Iterator[Finding]:
    """Every row is taken in some situation; none contradicts another one that asks the same."""
    for phase in scene.table.phases:
        s = scene.situations(phase)
        holds = [_held(s.asks, s.holds, row.when, row.unless) for row in s.rows]
        for number, row in enumerate(s.rows):
            earlier = [
                n for n in range(number) if holds[number].any() and not (holds[number] & ~holds[n]).any()
            ]
            same = [n for n in earlier if (holds[n] == holds[number]).all()]
            if any((s.rows[n].to, s.rows[n].effects) != (row.to, row.effects) for n in same):
                yield Finding(
                    "two rows disagree",
                    Severity.DANGER,
                    scene.named(row),
                    f"{scene.named(s.rows[same[0]])} asks the same and leads elsewhere; the first one wins",
                    "ask in one of them what tells the two apart, or take one out",
                )
            elif earlier:
                yield Finding(
                    "row shadowed by an earlier one",
                    Severity.DOUBT,
                    scene.named(row),
                    f"whenever it holds, {scene.named(s.rows[earlier[0]])} holds too and comes first",
                    "put the narrower row first",
                )
            elif not (s.taken == number).any():
                yield Finding(
                    "row never taken",
                    Severity.DOUBT,
                    scene.named(row),
                    "what it asks cannot be, or earlier rows answer all of it",
                    "put it higher, change what it asks, or take it out",
                )


def _held(asks: Sequence[Ask], holds: Bools, when: Sequence[str], unless: Sequence[str]) -> Bools:
    names = [ask.name for ask in asks]
    must, must_not = ([names.index(name) for name in group] for group in (when, unless))
    return np.asarray(holds[:, must].all(axis=1) & ~holds[:, must_not].any(axis=1))


def clocks_start_anew(scene: Scene) -> Iterator[Finding]:
    """A phase that asks its clock is entered with the clock at zero."""
    for row in scene.live:
        if Effect.KEEP_CLOCKS not in row.effects or row.source == row.to:
            continue
        asked = [kind for kind in CLOCKS if scene.asks(scene.table.phase(row.to), kind)]
        if asked:
            yield Finding(
                "timer not restarted on entry",
                Severity.DANGER if C.STANDSTILL in asked else Severity.DOUBT,
                scene.named(row),
                f"{row.to} asks its timer or distance, which go on from the phase before: over at once",
                "take keep_clocks out of this row",
            )


def retries_are_forgotten(scene: Scene) -> Iterator[Finding]:
    """Where a new start is possible, the retries of the last one are forgotten."""
    effects = {effect for row in scene.live for effect in row.effects}
    again = [row for row in scene.live if scene.role(row.source) in (Role.ZEROED, Role.FAULTED)]
    if Effect.COUNT_RETRY in effects and Effect.FORGET_RETRIES not in effects:
        for row in again[:1]:
            yield Finding(
                "retries never forgotten",
                Severity.DOUBT,
                scene.named(row),
                "after a few starts all retries are used up, and the first small trouble is a fault",
                "do forget_retries in the row that starts anew",
            )


def old_zero_is_forgotten(scene: Scene) -> Iterator[Finding]:
    """A table that trusts its height does not trust it any more after a fault."""
    heights = (C.REFERENCED, C.BELOW, C.ABOVE, C.MADE_ABOVE)
    trusts = any(scene.asks(phase, kind) for phase in scene.table.phases for kind in heights)
    forgets = any(Effect.FORGET_ZERO in row.effects for row in scene.live)
    for row in scene.live:
        if scene.role(row.source) is Role.FAULTED and trusts and not forgets:
            yield Finding(
                "old zero trusted after a fault",
                Severity.DOUBT,
                scene.named(row),
                "what made it stop may have moved the counts; the height that it then relies on is wrong",
                "do forget_zero in the row that leaves the fault",
            )


def retries_end(scene: Scene) -> Iterator[Finding]:
    """Going back is counted, and the count is asked."""
    counts = [row for row in scene.live if Effect.COUNT_RETRY in row.effects]
    asked = any(C.RETRIES_USED in scene.kinds((*row.when, *row.unless)) for row in scene.live)
    for row in counts[:1]:
        if not asked:
            yield Finding(
                "retries without end",
                Severity.DOUBT,
                scene.named(row),
                "retries are counted and nobody asks how many: it may go back and forth for ever",
                "add a row to a fault on {retries_used = ...}",
            )
