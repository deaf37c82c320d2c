"""Compiled fields of axially magnetised discs and blocks, in units of the remanence.

Disc: the field of a cylindrical current sheet, by Bulirsch's complete elliptic integral

    C(k, p, c, s) = integral over phi, 0 to pi/2, of
                    (c cos^2 + s sin^2) / ((cos^2 + p sin^2) sqrt(cos^2 + k^2 sin^2))

    B_rho / Br = 1/pi          [alpha+ C(k+, 1, 1, -1) - alpha- C(k-, 1, 1, -1)]
    B_z / Br   = a/(pi(a+rho)) [beta+  C(k+, g^2, 1, g) - beta-  C(k-, g^2, 1, g)]

with radius a, half height b, z+- = z +- b, D+-^2 = z+-^2 + (a+rho)^2, alpha = a/D, beta = z/D,
g = (a-rho)/(a+rho), k+-^2 = (z+-^2 + (a-rho)^2)/D+-^2 [1]_. A current sheet gives B itself, inside
the magnet as well.

Block: two uniformly charged faces; arctangents for the component along the magnetisation,
logarithms for the others [2]_. Written so that the branch of the arctangent carries the
magnetisation, the same sum is B inside the block too.

Conventions, both shapes: points on the surface count as inside; on an edge, where the field grows
without bound, the result is zero.

Limits: far away the two ends nearly cancel; at 100 magnet sizes about nine digits remain.

References
----------
.. [1] N. Derby, S. Olbert, "Cylindrical magnets and ideal solenoids", American Journal of Physics
   78 (2010) 229, eqs. 1 to 6 and the listing of C; from memory, checked against magpylib.
.. [2] Z. J. Yang et al., "Potential and force between a magnet and a bulk superconductor", Supercond.
   Sci. Technol. 3 (1990) 591; from memory, checked against magpylib.
"""

from __future__ import annotations

import math
from pathlib import Path

from sensor_models.compiled import compiler
from sensor_models.kinds import Floats

compiled = compiler(Path(__file__))

#: Relative gap of the two means at which the iteration may stop: its next step squares it.
CONVERGED = 1e-8


@compiled
def _tail(k: float, p_root: float, c: float, s: float) -> float:
    """Return 2/pi C from Bulirsch's recursion, entered after its first step."""
    mean = 1.0 + k
    product = k
    while True:
        previous, before = c, mean
        c += s / p_root
        root = 2.0 * math.sqrt(product)
        product = root * mean
        quotient = product / p_root
        s = 2.0 * (s + previous * quotient)
        p_root += quotient
        mean += root
        if abs(before - root) <= before * CONVERGED:
            return (s + c * mean) / (mean * (mean + p_root))


@compiled
def disc_axial(rho: float, z: float, a: float, b: float) -> float:
    """Axial flux density of a disc over its remanence at radius rho, height z from its centre."""
    total = a + rho
    gamma = (a - rho) / total
    jump = 0.0
    if gamma == 0.0:
        if abs(z) == b:
            return 0.0
        # On the mantle the mean of both sides is a first-kind integral; half the jump leads inside.
        p_root, sign = 1.0, 1.0
        jump = 0.5 if abs(z) < b else 0.0
    else:
        p_root, sign = abs(gamma), math.copysign(1.0, gamma)
    near = (a - rho) * (a - rho)
    far = total * total
    upper = z + b
    lower = z - b
    reach_u = 1.0 / math.sqrt(upper * upper + far)
    reach_l = 1.0 / math.sqrt(lower * lower + far)
    g_u = math.sqrt(upper * upper + near) * reach_u
    g_l = math.sqrt(lower * lower + near) * reach_l
    c = 1.0 + sign / p_root
    c_u = _tail(g_u, g_u / p_root + p_root, c, 2.0 * (sign + g_u / p_root))
    c_l = _tail(g_l, g_l / p_root + p_root, c, 2.0 * (sign + g_l / p_root))
    return 0.5 * a / total * (upper * reach_u * c_u - lower * reach_l * c_l) + jump


@compiled
def disc_radial(rho: float, z: float, a: float, b: float) -> float:
    """Radial flux density of a disc over its remanence at radius rho, height z from its centre."""
    if rho == a and abs(z) == b:
        return 0.0
    near = (a - rho) * (a - rho)
    far = (a + rho) * (a + rho)
    radial = 0.0
    for end in (1.0, -1.0):
        height = z + end * b
        square = height * height + far
        k = math.sqrt((height * height + near) / square)
        # s + c k of the first step is -(1 - k); written by 1 - k^2 so that it keeps its digits on the axis.
        first = -8.0 * a * rho / (square * (1.0 + k))
        radial += end * 0.5 * a / math.sqrt(square) * _tail(k, 1.0 + k, 0.0, first)
    return radial


@compiled
def _angles(x: float, y: float, z: float, a: float, b: float) -> float:
    """Solid angle of a rectangle seen from height z, continued past 2 pi below it; x and y not negative."""
    # -(a - x) is -0.0 on the surface: the arctangent then takes the inside branch.
    x_near, x_far, y_near, y_far = -(a - x), x + a, -(b - y), y + b
    height = z * z
    return (
        math.atan2(x_far * y_far, z * math.sqrt(x_far * x_far + y_far * y_far + height))
        - math.atan2(x_near * y_far, z * math.sqrt(x_near * x_near + y_far * y_far + height))
        - math.atan2(x_far * y_near, z * math.sqrt(x_far * x_far + y_near * y_near + height))
        + math.atan2(x_near * y_near, z * math.sqrt(x_near * x_near + y_near * y_near + height))
    )


@compiled
def _on_edge(x: float, y: float, z: float, a: float, b: float, c: float) -> bool:
    if x > a or y > b or z > c:
        return False
    return (x == a) + (y == b) + (z == c) >= 2


@compiled
def block_axial(x: float, y: float, z: float, a: float, b: float, c: float) -> float:
    """Component along the magnetisation (z) of a block with half sizes a, b, c, over its remanence."""
    x, y, z = abs(x), abs(y), abs(z)
    if _on_edge(x, y, z, a, b, c):
        return 0.0
    return (_angles(x, y, z - c, a, b) - _angles(x, y, z + c, a, b)) / (4.0 * math.pi)


@compiled
def _line(x: float, y_near: float, y_far: float, z: float) -> float:
    """Potential of an evenly charged line from y_near to y_far, at x and z from it."""
    square = x * x + z * z
    r_near = math.sqrt(square + y_near * y_near)
    r_far = math.sqrt(square + y_far * y_far)
    if y_near >= 0.0:
        return math.log((y_far + r_far) / (y_near + r_near))
    return math.log((y_far + r_far) * (r_near - y_near) / square)


@compiled
def _across(x: float, y: float, z: float, a: float, b: float, c: float) -> float:
    """Component along x of a block, over its remanence; x, y, z not negative and off the edges."""
    y_near, y_far = y - b, y + b
    upper = _line(x - a, y_near, y_far, z - c) - _line(x + a, y_near, y_far, z - c)
    lower = _line(x - a, y_near, y_far, z + c) - _line(x + a, y_near, y_far, z + c)
    return (upper - lower) / (4.0 * math.pi)


@compiled
def disc_field(points_m: Floats, a: float, b: float, remanence_t: float, field_t: Floats) -> None:
    """Write the field [T] of a disc at points (n, 3) [m] into field_t (n, 3)."""
    for i in range(points_m.shape[0]):
        x, y, z = points_m[i, 0], points_m[i, 1], points_m[i, 2]
        rho = math.hypot(x, y)
        radial = remanence_t * disc_radial(rho, z, a, b)
        field_t[i, 0] = radial * x / rho if rho > 0.0 else 0.0
        field_t[i, 1] = radial * y / rho if rho > 0.0 else 0.0
        field_t[i, 2] = remanence_t * disc_axial(rho, z, a, b)


@compiled
def block_field(points_m: Floats, a: float, b: float, c: float, remanence_t: float, field_t: Floats) -> None:
    """Write the field [T] of a block at points (n, 3) [m] into field_t (n, 3)."""
    for i in range(points_m.shape[0]):
        x, y, z = points_m[i, 0], points_m[i, 1], points_m[i, 2]
        ax, ay, az = abs(x), abs(y), abs(z)
        if _on_edge(ax, ay, az, a, b, c):
            field_t[i, :] = 0.0
            continue
        turn = remanence_t * math.copysign(1.0, z)
        field_t[i, 0] = math.copysign(1.0, x) * turn * _across(ax, ay, az, a, b, c)
        field_t[i, 1] = math.copysign(1.0, y) * turn * _across(ay, ax, az, b, a, c)
        field_t[i, 2] = remanence_t * block_axial(x, y, z, a, b, c)


@compiled
def disc_axial_many(rho_m: Floats, z_m: Floats, size_m: Floats, axial: Floats) -> None:
    """Write the axial component over remanence of n discs, at m places each, into axial (n, m).

    rho_m and z_m are (n, m) or (n, 1); size_m is (n, 2): radius and half height.
    """
    rho_step, z_step = min(rho_m.shape[1] - 1, 1), min(z_m.shape[1] - 1, 1)
    for i in range(axial.shape[0]):
        for j in range(axial.shape[1]):
            axial[i, j] = disc_axial(rho_m[i, j * rho_step], z_m[i, j * z_step], size_m[i, 0], size_m[i, 1])


@compiled
def block_axial_many(x_m: Floats, y_m: Floats, z_m: Floats, size_m: Floats, axial: Floats) -> None:
    """Write the axial component over remanence of n blocks, at m places each, into axial (n, m).

    x_m, y_m and z_m are (n, m) or (n, 1); size_m is (n, 3): the half sizes.
    """
    x_step, y_step, z_step = min(x_m.shape[1] - 1, 1), min(y_m.shape[1] - 1, 1), min(z_m.shape[1] - 1, 1)
    for i in range(axial.shape[0]):
        a, b, c = size_m[i, 0], size_m[i, 1], size_m[i, 2]
        for j in range(axial.shape[1]):
            axial[i, j] = block_axial(x_m[i, j * x_step], y_m[i, j * y_step], z_m[i, j * z_step], a, b, c)
