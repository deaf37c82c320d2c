"""Reflective infrared sensor: emitter and receiver side by side, judged by brightness.

The signal is a share of what a 90 % white target that fills the beam gives at the best gap:

    S(x) = ambient + curve(gap) (reflectance / 0.9) share(x) cos(tilt)

``curve`` is the data sheet's (peak, and fold-back nearer than the peak), ``share`` the part of an
evenly lit round spot that falls on the target, and cos(tilt) Lambert's law for a dull surface that
turns away from the receiver while it still catches the whole beam. The target slides in along the
travel: at x its leading edge is mount - x past the beam axis.

Not in it: glossy targets (they reflect like a mirror and lose the receiver at a small tilt), anything
bright behind the target, and the spot growing with the gap.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, ClassVar

import numpy as np

from sensor_models.checks import check_number, per_run
from sensor_models.curves import DistanceCurve, PeakCurve
from sensor_models.errors import InputError
from sensor_models.kinds import Floats, SensorKind, Value
from sensor_models.sensor import Sensor

#: Reflectance of the white side of the grey card at which data sheets state the signal (Vishay 83751,
#: CNY70, issue 1.8, 2012: "white side of the grey card, 90 % diffuse").
CARD_REFLECTANCE = 0.9
#: Width of other things than the target: wider than any spot [m].
FAR_WIDER_M = 1.0


@dataclass(frozen=True)
class Other:
    """Something besides the target that passes in front of the sensor, such as a stage's edge or bare metal.

    Parameters
    ----------
    low_m, high_m : float
        Carriage heights between which it is in front of the beam axis [m].
    gap_m : float
        From the sensor's face to it [m].
    reflectance : float
        Diffuse reflectance, 0 to 1; a mirror-like face seen squarely sends back far more than a dull one.
    """

    low_m: float
    high_m: float
    gap_m: float
    reflectance: float


@dataclass(frozen=True, kw_only=True, eq=False)
class ReflectiveSensor(Sensor):
    """A reflective sensor on the frame and a target on the carriage (or the other way round).

    Parameters
    ----------
    mount_m : float or ndarray
        x where the target's leading edge crosses the beam axis [m].
    target_m : (along, across)
        Size of the target [m].
    gap_m : float or ndarray
        From the sensor's face to the target [m].
    curve : Curve or PeakCurve
        Share of the peak signal over the gap [m].
    beam_spot_m : float or ndarray
        Diameter of the lit spot on the target [m].
    reflectance : float or ndarray
        Diffuse reflectance of the target, 0 to 1.
    threshold, hysteresis : float or ndarray
        Made at ``threshold``, lets go at ``threshold - hysteresis``; shares of the peak signal.
    ambient : float or ndarray
        Signal without any target, as a share of the peak signal.
    side_offset_m : float or ndarray
        Target's centre line off the beam axis, across the travel [m].
    tilt_rad : float or ndarray
        Tilt of the target against the sensor's face [rad].
    others : tuple of Other
        What else it sees, as wide as the spot at least; where the target covers the spot, nothing of it.
    """

    kind: ClassVar[SensorKind] = SensorKind.REFLECTIVE
    quantity: ClassVar[str] = "signal"
    unit: ClassVar[str] = "% of peak"
    display_scale: ClassVar[float] = 100.0
    fine_share: ClassVar[float] = 0.2

    target_m: tuple[Value, Value]
    gap_m: Value
    curve: DistanceCurve
    beam_spot_m: Value
    threshold: Value
    hysteresis: Value
    reflectance: Value = CARD_REFLECTANCE
    ambient: Value = 0.0
    side_offset_m: Value = 0.0
    tilt_rad: Value = 0.0
    others: tuple[Other, ...] = ()

    def __post_init__(self) -> None:
        super().__post_init__()
        check_target(self.name("target_m"), self.target_m)
        self.check("gap_m", "hysteresis", "ambient", at_least=0.0)
        self.check("beam_spot_m", "threshold", above=0.0)
        self.check("reflectance", at_least=0.0, at_most=1.0)
        self.check("side_offset_m")
        self.check("tilt_rad", at_least=-np.pi / 2, at_most=np.pi / 2)
        if np.any(self.release <= 0.0):
            raise InputError("must be smaller than threshold", key=self.name("hysteresis"))
        for other in self.others:
            check_number(self.name("others.gap_m"), other.gap_m, at_least=0.0)
            check_number(self.name("others.reflectance"), other.reflectance, at_least=0.0, at_most=1.0)
            if not other.low_m < other.high_m:
                raise InputError("must have low_m below high_m", key=self.name("others"), got=other)

    @property
    def runs(self) -> int:
        peak = self.curve.peak_gap_m if isinstance(self.curve, PeakCurve) else 0.0
        return int(np.broadcast_shapes((super().runs, 1), *map(np.shape, (*self.target_m, peak)))[0])

    @property
    def operate(self) -> Floats:
        return np.ravel(self.threshold).astype(np.float64)

    @property
    def release(self) -> Floats:
        return np.ravel(np.asarray(self.threshold) - self.hysteresis).astype(np.float64)

    def response(self, x_m: Floats) -> Floats:
        """Return the signal as a share of the peak, shape (n, m), at heights x_m (m,) [m]."""
        lead = np.asarray(self.mount_m) - np.asarray(x_m, dtype=np.float64)[None, :]
        share = covered_share(lead, self.target_m, self.side_offset_m, self.beam_spot_m, self.runs)
        brightness = self.curve(self.gap_m) * np.asarray(self.reflectance) / CARD_REFLECTANCE
        uncovered = 1.0 - share if self.others else share
        share *= brightness * np.cos(self.tilt_rad)
        share += self.ambient
        for other in self.others:
            share += uncovered * self._of_other(other, np.asarray(x_m, dtype=np.float64))
        return share

    @property
    def main(self) -> ReflectiveSensor:
        """The sensor with nothing but its target in front of it."""
        return replace(self, others=()) if self.others else self

    def _of_other(self, other: Other, x_m: Floats) -> Floats:
        """Signal of something else where the target covers nothing of the spot, shape (n, m)."""
        size_m = (other.high_m - other.low_m, FAR_WIDER_M)
        share = covered_share(other.high_m - x_m[None, :], size_m, 0.0, self.beam_spot_m, self.runs)
        return np.asarray(share * self.curve(other.gap_m) * other.reflectance / CARD_REFLECTANCE)


def check_target(key: str, target_m: Any) -> None:
    """Refuse what is not the two lengths of a rectangular target."""
    if not isinstance(target_m, (tuple, list)) or len(target_m) != 2:
        raise InputError("must hold two lengths, along and across", key=key, got=target_m)
    for length in target_m:
        check_number(key, length, above=0.0)


def covered_share(
    lead_m: Floats, target_m: tuple[Value, Value], side_m: Value, spot_m: Value, runs: int
) -> Floats:
    """Return the share of a round spot that falls on a rectangular target, shape (runs, m).

    Parameters
    ----------
    lead_m : ndarray, shape (1 or runs, m)
        How far the target's leading edge is past the beam axis [m].
    target_m : (along, across)
        Size of the target [m].
    side_m, spot_m : float or ndarray, shape (runs, 1)
        Offset of the target across the travel, and diameter of the spot [m].
    """
    from sensor_models.spot_kernel import covered_share_many

    along, across, side, radius = (per_run(v, runs) for v in (*target_m, side_m, np.asarray(spot_m) / 2.0))
    share = np.empty((runs, lead_m.shape[1]))
    lead = np.ascontiguousarray(np.broadcast_to(lead_m, share.shape))
    covered_share_many(lead, along, side - across / 2.0, side + across / 2.0, radius, share)
    return share
