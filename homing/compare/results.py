"""What ``compare`` and the mounting advice hand over: plain values in the units of the contract.

Results do not print or draw themselves; ``homing.report`` takes them. NaN: it does not exist.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from homing.assumed import Assumed
    from homing.liftfile import Lift
    from homing.results import RequirementResult, SensorView


@dataclass(frozen=True)
class Band:
    """A height, nominal and its 95 % band over the tolerances [mm]; NaN: none."""

    nominal: float
    low: float
    high: float


@dataclass(frozen=True)
class StopDistance:
    """Carriage travel from the trip height to the deepest place [mm]: nominal run, worst drawn run."""

    nominal: float
    worst: float


@dataclass(frozen=True)
class DesignRule:
    """A data sheet's rule for magnet and Hall switch, over the tolerances, in mT.

    At the closest point the weakest field must exceed the largest operate point; away from the window the
    strongest field must stay below the smallest release point (Texas Instruments DRV5032 data sheet
    SLVSDC7H, Dec 2024, section 8.2.1.2).
    """

    closest_mt: float
    operate_max_mt: float
    away_mt: float
    release_min_mt: float

    @property
    def kept(self) -> bool:
        """Both halves of the rule."""
        return self.closest_mt > self.operate_max_mt and self.away_mt < self.release_min_mt

    @property
    def words(self) -> str:
        """The half that is broken, or both as they stand."""
        near = (
            f"{self.closest_mt:.3g} mT at the closest point, "
            f"largest operate point {self.operate_max_mt:.3g} mT"
        )
        away = f"{self.away_mt:.3g} mT away from it, smallest release point {self.release_min_mt:.3g} mT"
        if self.closest_mt <= self.operate_max_mt:
            return f"too weak for every part: {near}"
        return f"may never let go: {away}" if self.away_mt >= self.release_min_mt else f"{near}; {away}"


@dataclass(frozen=True)
class Press:
    """How far the carriage on its hard stop presses a contact past its operating point [mm of carriage].

    A contact that is ``crushed`` does not pass, whatever its runs do: every rest on the stop would damage it.
    """

    used_mm: float
    damage_mm: float

    @property
    def crushed(self) -> bool:
        """The switch is damaged before the hard stop bears the carriage."""
        return self.used_mm > self.damage_mm + 1e-6

    @property
    def half_left(self) -> bool:
        """A mounted contact keeps at least half of its overtravel (common practice, no source)."""
        return self.used_mm <= 0.5 * self.damage_mm

    @property
    def words(self) -> str:
        """How much of the overtravel is used."""
        used = f"on the hard stop {self.used_mm:.1f} of {self.damage_mm:.1f} mm up to damage are used"
        if self.crushed:
            return f"crushed: {used}"
        return used if self.half_left else f"{used}; common practice keeps half"


@dataclass(frozen=True)
class Chosen:
    """A key that the candidate gave as a span, and the value that was chosen within it."""

    key: str
    low: float
    high: float
    value: float


@dataclass(frozen=True)
class CandidateResult:
    """One candidate over its tolerances.

    Attributes
    ----------
    lift : Lift
        The lift with this candidate as the routine's sensor, spans settled.
    gap_mm : float
        NaN if the kind has none.
    trip_mm, release_mm : Band
    hysteresis_mm : float
        Nominal release height less nominal trip height.
    window_mm : float
        Travel over which it is made on the way in, at most down to the hard stop.
    seen : tuple of (speed_mm_s, probability)
        That at least one reading falls inside the window in one pass, for each approach speed.
    seen_probability : float
        The same at the routine's approach speed.
    false_trigger_probability : float
        That one passage over the whole travel at approach speed brings a made reading outside the trip zone.
    false_places_mm : tuple of (low, high)
        Other places than the main window where the nominal sensor would be made.
    repeatability_mm : float
        Standard deviation of the captured edge on one and the same lift.
    room_mm : float
        Trip height less overtravel in the worst run: room left to the hard stop, negative: so far past it.
    margin_mm : float
        Overtravel limit less the overtravel that 99 of 100 runs keep.
    least_margin : float
        Smallest relative margin (1 - p99 / limit) of the requirements that hang on the sensor; ranks.
    sway_mm_per_mm, temperature_mm_per_k : float
        Shift of the trip height; NaN where the kind's model does not feel it.
    broken_wire : str
        "reads made", "reads not made" or "none".
    view : SensorView or None
    requirements : tuple of RequirementResult
        Empty when it is never made.
    why : str
        The verdict's reason in words.
    miss : str
        What it lacks when it is never made; otherwise empty.
    chosen : tuple of Chosen
        Values settled within the spans ``[low, high]`` of the candidate.
    seen_at_worst : float
        ``seen_probability`` of the drawn sensor with the narrowest window.
    tolerance_shifts_mm : tuple of (key, mm)
        How far each tolerance of the sensor alone moves the trip height, largest first.
    stack_worst_mm, stack_rss_mm : float
        Their tolerance stack: worst case, and root of the sum of squares.
    design_rule : DesignRule or None
        Magnets only.
    press : Press or None
        Contacts only.
    remarks : tuple of str
        What a builder should know besides the verdict.
    """

    name: str
    kind: str
    lift: Lift
    mount_mm: float
    gap_mm: float
    trip_mm: Band
    release_mm: Band
    hysteresis_mm: float
    window_mm: float
    seen: tuple[tuple[float, float], ...]
    seen_probability: float
    false_trigger_probability: float
    false_places_mm: tuple[tuple[float, float], ...]
    repeatability_mm: float
    stop_distance_mm: StopDistance
    room_mm: float
    margin_mm: float
    least_margin: float
    sway_mm_per_mm: float
    temperature_mm_per_k: float
    broken_wire: str
    view: SensorView | None
    requirements: tuple[RequirementResult, ...]
    passed: bool
    rank: int
    why: str
    miss: str = ""
    chosen: tuple[Chosen, ...] = ()
    seen_at_worst: float = float("nan")
    tolerance_shifts_mm: tuple[tuple[str, float], ...] = ()
    stack_worst_mm: float = float("nan")
    stack_rss_mm: float = float("nan")
    design_rule: DesignRule | None = None
    press: Press | None = None
    remarks: tuple[str, ...] = ()

    @property
    def failing(self) -> tuple[RequirementResult, ...]:
        """The requirements that fall short."""
        return tuple(result for result in self.requirements if not result.passed)


@dataclass(frozen=True)
class Term:
    """One term of the distance that a stop needs: its formula in the keys of the lift file, and its size."""

    name: str
    formula: str
    mm: float


@dataclass(frozen=True)
class MountAdvice:
    """Where to mount the sensor, how fast the approach may be, and the millimetres behind it.

    Attributes
    ----------
    sensor : str
    speed_mm_s : float
        Approach speed of the terms.
    lowest_mm, highest_mm, best_mm : float
        ``mount_mm`` that meets every requirement; NaN: none does at this speed.
    fastest_mm_s : float
        Fastest approach that the file's own mounting allows; NaN: none does.
    formula_lowest_mm, formula_fastest_mm_s : float
        The same two from the terms alone; NaN where the closed form has no answer.
    terms : tuple of Term
        The last is ``margin``: what the best height leaves; the others add up to ``needed_mm``.
    needed_mm : float
        Distance between the nominal trip height and the hard stop that the terms ask for.
    margin_at_best_mm : float
        Overtravel limit less the overtravel that 99 of 100 runs keep, at the best height.
    confirmed_runs : int
        Fewest runs that confirmed one of the heights or the speed; 0: nothing to confirm.
    needs_slow_zone_mm : float
        Declared height below which the lift must come slowly, if no mounting height helps; NaN: not needed.
    slow_zone_speed_mm_s : float
        Speed below that height; NaN: not needed.
    blocking : str
        Name of the requirement that keeps the height from being lower, or that nothing meets.
    sentences : tuple of str
    """

    sensor: str
    speed_mm_s: float
    lowest_mm: float
    highest_mm: float
    best_mm: float
    fastest_mm_s: float
    formula_lowest_mm: float
    formula_fastest_mm_s: float
    terms: tuple[Term, ...]
    needed_mm: float
    margin_at_best_mm: float
    confirmed_runs: int
    needs_slow_zone_mm: float
    slow_zone_speed_mm_s: float
    blocking: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Comparison:
    """All that ``downstop compare`` found; ``candidates`` are in the order of their rank."""

    lift: Lift
    seed: int
    runs: int
    candidates: tuple[CandidateResult, ...]
    advice: MountAdvice | None
    cautions: tuple[str, ...]
    assumed: tuple[Assumed, ...]
    notes: tuple[str, ...]

    @property
    def best(self) -> CandidateResult:
        """The candidate of rank 1."""
        return self.candidates[0]
