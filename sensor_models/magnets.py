"""Fields of disc and block magnets, exact everywhere for an even magnetisation along the axis.

``CylinderMagnet(...).field(points)`` gives B at points around (or in) the magnet. The equations, the
conventions on surfaces and edges and the references stand in ``field_kernel``, which is compiled and
loaded when the first field is asked for.

Assumptions: rigid, even magnetisation (permeability 1), no steel nearby.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sensor_models.checks import check_number, per_run
from sensor_models.errors import InputError
from sensor_models.kinds import Floats, Value


@dataclass(frozen=True, kw_only=True, eq=False)
class CylinderMagnet:
    """Disc or rod magnetised along its axis, centred, axis +z.

    Parameters
    ----------
    diameter, height : float or ndarray, shape (n, 1)
        Size [m]; height is the length along the magnetisation.
    remanence : float or ndarray, shape (n, 1)
        Remanent flux density [T]; negative turns the magnet over.

    Examples
    --------
    >>> import numpy as np
    >>> magnet = CylinderMagnet(diameter=0.010, height=0.003, remanence=1.32)
    >>> magnet.field(np.array([[0.0, 0.0, 0.0045]])).round(4)
    array([[0.    , 0.    , 0.1675]])
    """

    diameter: Value
    height: Value
    remanence: Value

    def __post_init__(self) -> None:
        check_number("CylinderMagnet.diameter", self.diameter, above=0.0)
        check_number("CylinderMagnet.height", self.height, above=0.0)
        check_number("CylinderMagnet.remanence", self.remanence)

    @property
    def runs(self) -> int:
        """Number of magnets in this object: 1, or the length of its arrays."""
        return _shape(self.diameter, self.height, self.remanence)[0]

    @property
    def half_height_m(self) -> Value:
        """Distance from the centre to the face [m]."""
        return self.height / 2.0

    def field(self, points: Any) -> Floats:
        """Return B [T], shape (n, 3), at points (n, 3) [m] in the magnet's frame.

        Points on the surface count as inside; on the two circular edges, where the field grows
        without bound, the result is zero.
        """
        from sensor_models.field_kernel import disc_field

        places = _as_points(points)
        diameter, height, remanence = map(_single, (self.diameter, self.height, self.remanence))
        field_t = np.empty_like(places)
        disc_field(places, diameter / 2, height / 2, remanence, field_t)
        return field_t

    def axial(self, x_m: Value, y_m: Value, z_m: Value) -> Floats:
        """Return the component along the axis [T], shape (n, m), for coordinates that broadcast to it.

        Parameters
        ----------
        x_m, y_m, z_m : float or ndarray
            Shapes (n, m), (n, 1), (1, m) or a float [m], in each magnet's own frame.
        """
        from sensor_models.field_kernel import disc_axial_many

        runs, places = _shape(x_m, y_m, z_m, self.diameter, self.height, self.remanence)
        axial = np.empty((runs, places))
        size = np.stack([per_run(self.diameter, runs) / 2, per_run(self.height, runs) / 2], axis=1)
        disc_axial_many(_rows(np.hypot(x_m, y_m), runs), _rows(z_m, runs), size, axial)
        return _scaled(axial, self.remanence, runs)


@dataclass(frozen=True, kw_only=True, eq=False)
class BlockMagnet:
    """Rectangular block magnetised along +z, centred.

    Parameters
    ----------
    size : sequence of 3 floats (or of arrays of shape (n, 1))
        Lengths along x, y and z [m]; in a sensor x is along the travel and z the magnetised thickness.
    remanence : float or ndarray, shape (n, 1)
        Remanent flux density [T]; negative turns the magnet over.

    Examples
    --------
    >>> import numpy as np
    >>> magnet = BlockMagnet(size=(0.010, 0.005, 0.003), remanence=1.32)
    >>> magnet.field(np.array([[0.0, 0.0, 0.0045]])).round(4)
    array([[0.    , 0.    , 0.1396]])
    """

    size: tuple[Value, Value, Value]
    remanence: Value

    def __post_init__(self) -> None:
        if not isinstance(self.size, (tuple, list)) or len(self.size) != 3:
            raise InputError("must hold three lengths", key="BlockMagnet.size", got=self.size)
        for length in self.size:
            check_number("BlockMagnet.size", length, above=0.0)
        check_number("BlockMagnet.remanence", self.remanence)

    @property
    def runs(self) -> int:
        """Number of magnets in this object: 1, or the length of its arrays."""
        return _shape(*self.size, self.remanence)[0]

    @property
    def half_height_m(self) -> Value:
        """Distance from the centre to the face [m]."""
        return self.size[2] / 2.0

    def field(self, points: Any) -> Floats:
        """Return B [T], shape (n, 3), at points (n, 3) [m] in the magnet's frame.

        Points on the surface count as inside; on the twelve edges, where the field grows without
        bound (on four of them it only jumps), the result is zero.
        """
        from sensor_models.field_kernel import block_field

        places = _as_points(points)
        a, b, c = (_single(length) / 2 for length in self.size)
        field_t = np.empty_like(places)
        block_field(places, a, b, c, _single(self.remanence), field_t)
        return field_t

    def axial(self, x_m: Value, y_m: Value, z_m: Value) -> Floats:
        """Return the component along the magnetisation [T], shape (n, m); see ``CylinderMagnet.axial``."""
        from sensor_models.field_kernel import block_axial_many

        runs, places = _shape(x_m, y_m, z_m, *self.size, self.remanence)
        axial = np.empty((runs, places))
        size = np.stack([per_run(length, runs) / 2 for length in self.size], axis=1)
        block_axial_many(_rows(x_m, runs), _rows(y_m, runs), _rows(z_m, runs), size, axial)
        return _scaled(axial, self.remanence, runs)


def _as_points(points: Any) -> Floats:
    places = np.ascontiguousarray(points, dtype=np.float64)
    if places.ndim != 2 or places.shape[1] != 3:
        raise InputError("must have shape (n, 3)", key="points", got=places.shape)
    if not np.isfinite(places).all():
        raise InputError("must be finite", key="points")
    return places


def _single(value: Value) -> float:
    if np.size(value) != 1:
        raise InputError("must be a single magnet, not an ensemble", key="field()", got=np.shape(value))
    return float(np.asarray(value).reshape(-1)[0])


def _shape(*values: Value) -> tuple[int, int]:
    shape = np.broadcast_shapes(*(np.shape(value) for value in values), (1, 1))
    return shape[0], shape[1]


def _rows(value: Any, runs: int) -> Floats:
    """Bring coordinates to (runs, 1) or (runs, m)."""
    array = np.atleast_2d(np.asarray(value, dtype=np.float64))
    return np.ascontiguousarray(np.broadcast_to(array, (runs, array.shape[1])))


def _scaled(axial: Floats, remanence: Value, runs: int) -> Floats:
    axial *= per_run(remanence, runs)[:, None]
    return axial
