"""Findings on zero: where, when and from what it may be set."""

from __future__ import annotations

from collections.abc import Iterator

from homing.kernel.codes import Condition, Effect
from homing.review.results import Finding, Severity
from homing.review.scene import CLEAR_KINDS, MADE_KINDS, Scene
from homing.routine import Role, Row
from homing.structure.survey import captures

C = Condition
#: Loops over which counts must have stood: one loop may see no change although it moves.
STILL_LOOPS = 2.0


def zero_while_moving(scene: Scene) -> Iterator[Finding]:
    """Zero is set at standstill, seen for long enough."""
    for row in scene.zeroing:
        source = scene.table.phase(row.source)
        still_s, waited_s = scene.smallest(row, C.STANDSTILL), scene.smallest(row, C.TIMER_OVER)
        fastest = max((scene.numbers.speed_m_s(phase) for phase in scene.moving), default=0.0)
        enough_s = scene.numbers.stopping_s(fastest)
        waited = waited_s is not None and waited_s >= enough_s and source.command.way == 0
        least_s = STILL_LOOPS * scene.numbers.period_s
        if still_s is None and not waited and C.NOT_MOVING not in scene.kinds(row.when):
            yield Finding(
                "zero while moving",
                Severity.DANGER,
                scene.named(row),
                f"it may still run on, for up to {1000 * enough_s:.0f} ms here; what it runs on is lost",
                "stop first, and ask {standstill_ms = ...} in this row",
            )
        elif still_s is not None and still_s < least_s:
            yield Finding(
                "standstill judged too soon",
                Severity.DANGER,
                scene.named(row),
                f"{1000 * still_s:.3g} ms are less than {STILL_LOOPS:.0f} loops: a slow lift seems to stand",
                f"ask at least {{standstill_ms = {1000 * least_s:.0f}}}, better 100",
            )


def zero_asks_the_reading(scene: Scene) -> Iterator[Finding]:
    """Zero is set on readings that agree."""
    if scene.table.told_by_standing:
        return
    for row in scene.zeroing:
        asked = scene.kinds(row.when)
        if not asked & {*MADE_KINDS, *CLEAR_KINDS}:
            by_stop = C.NOT_MOVING in asked
            yield Finding(
                "zero without asking the sensor",
                Severity.DOUBT if by_stop else Severity.DANGER,
                scene.named(row),
                "a sticky slide is taken for the stop"
                if by_stop
                else "zero is set wherever it stands, sensor or not; it creeps from visit to visit",
                "ask {made_times = 2} in this row",
            )
        elif max(scene.smallest(row, C.MADE_RUN) or 0, scene.smallest(row, C.CLEAR_RUN) or 0) < 2:
            yield Finding(
                "zero on a first reading",
                Severity.DOUBT if C.STANDSTILL in asked else Severity.DANGER,
                scene.named(row),
                "one reading may be a bounce or a spike",
                "ask {made_times = 2} in this row",
            )


def zero_in_every_loop(scene: Scene) -> Iterator[Finding]:
    """Setting zero leads on: else it is set anew in each loop while the sensor is made."""
    for row in scene.zeroing:
        if row.source == row.to:
            yield Finding(
                "zero again in every loop",
                Severity.DANGER,
                scene.named(row),
                "as long as it holds, zero is set anew in each loop, moving or not",
                "let the row lead to another phase",
            )


def zero_from_the_fast_approach(scene: Scene) -> Iterator[Finding]:
    """Where there is a slow way in, zero does not come from the fast one."""
    ways = {scene.numbers.speed_m_s(phase) for phase in scene.inward}
    if len(ways) < 2:
        return
    for row in scene.zeroing:
        before = [each for each in scene.live if _feeds(scene, each, row)]
        fast = [each for each in before if scene.speed_from(each) == max(ways)]
        for each in fast:
            yield Finding(
                "zero from the fast approach",
                Severity.DANGER,
                scene.named(each),
                "at speed the edge lies anywhere within a loop's travel, and it differs every time",
                "back off until the sensor has let go, come back slowly, and take that edge",
            )


def _feeds(scene: Scene, row: Row, zero: Row) -> bool:
    """Whether a row from a way in gives what a zeroing row uses: its edge, or the place where it stands."""
    if scene.way(row.source) >= 0:
        return False
    if row is zero:
        return True
    return row.to == zero.source and (captures(row) or Effect.ZERO_HERE in zero.effects)


def zero_without_release(scene: Scene) -> Iterator[Finding]:
    """Zero needs a change of the sensor: a start on it must first leave it."""
    if scene.table.told_by_standing:
        return
    reached, fresh = {scene.start.name}, [scene.start.name]
    held: list[Row] = []
    while fresh:
        name = fresh.pop()
        s = scene.situations(scene.table.phase(name))
        made = ~s.some(*CLEAR_KINDS, C.JUST_MADE)
        for column, ask in enumerate(s.asks):
            if ask.kind == C.MADE:
                made = made & s.holds[:, column]
        for number, row in enumerate(s.rows):
            if (made & (s.taken == number)).any() and _can_hold_made(scene, row):
                held.append(row)
                if row.to not in reached and scene.role(row.to) not in (Role.FAULTED, Role.ZEROED):
                    reached.add(row.to)
                    fresh.append(row.to)
    for row in held:
        if row in scene.zeroing:
            yield Finding(
                "zero without the sensor ever released",
                Severity.DOUBT,
                scene.named(row),
                "started on the sensor it sets zero without having crossed its edge: wrong by up to the "
                "window",
                "if made at the start, first move out until {released_by_mm = ...}, then come in",
            )


def _can_hold_made(scene: Scene, row: Row) -> bool:
    """Whether a row may be taken while the sensor is always made."""
    never = {C.MADE, C.MADE_RUN}
    barred = scene.kinds(row.unless) & never
    far_out = scene.way(row.source) > 0 and scene.kinds(row.when) & {C.NOT_MOVING, C.MOVED_OUT}
    return not barred and not far_out


def edge_is_never_captured(scene: Scene) -> Iterator[Finding]:
    """Zero from an edge needs one."""
    if any(captures(row) for row in scene.live):
        return
    for row in scene.zeroing:
        if Effect.SET_ZERO in row.effects:
            yield Finding(
                "zero from an edge that is never captured",
                Severity.DANGER,
                scene.named(row),
                "no row does capture_edge: zero is set to whatever the counts were at power-up",
                "let the row that stops on the sensor capture the edge",
            )


def zeroed_without_zero(scene: Scene) -> Iterator[Finding]:
    """What ends zeroed sets zero on the last way there."""
    sets = {row.to for row in scene.zeroing}
    for row in scene.live:
        if scene.role(row.to) is Role.ZEROED and row not in scene.zeroing and row.source not in sets:
            yield Finding(
                "zeroed without a zero",
                Severity.DANGER,
                scene.named(row),
                "it says that it is zeroed, and the counts are those of before",
                "set zero in this row",
            )
