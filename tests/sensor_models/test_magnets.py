"""Fields of magnets against a magnetic-field library, closed forms, and the laws of magnetostatics."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sensor_models.errors import InputError
from sensor_models.magnets import BlockMagnet, CylinderMagnet

magpylib = pytest.importorskip("magpylib")

DISC = CylinderMagnet(diameter=0.010, height=0.003, remanence=1.32)
ROD = CylinderMagnet(diameter=0.006, height=0.030, remanence=0.45)
BLOCK = BlockMagnet(size=(0.010, 0.005, 0.003), remanence=1.32)
BAR = BlockMagnet(size=(0.025, 0.015, 0.010), remanence=0.30)
MAGNETS = [DISC, ROD, BLOCK, BAR]
IDS = ["disc", "rod", "block", "bar"]


def library_field(magnet: Any, points: Any) -> Any:
    """Field by magpylib 6.3.0 (Ortner, Coliado Bandeira, SoftwareX 11 (2020) 100466)."""
    along_z = (0.0, 0.0, magnet.remanence)
    if isinstance(magnet, CylinderMagnet):
        size = (magnet.diameter, magnet.height)
        return magpylib.magnet.Cylinder(dimension=size, polarization=along_z).getB(points)
    return magpylib.magnet.Cuboid(dimension=magnet.size, polarization=along_z).getB(points)


def relative_error(magnet: Any, points: Any) -> Any:
    ours, theirs = magnet.field(points), library_field(magnet, points)
    return np.linalg.norm(ours - theirs, axis=1) / np.linalg.norm(theirs, axis=1)


@pytest.mark.parametrize("magnet", MAGNETS, ids=IDS)
@pytest.mark.parametrize("reach_m", [0.004, 0.02, 0.10])
def test_random_points_agree_with_the_field_library(magnet: Any, reach_m: float) -> None:
    # inside the magnet, in the main lobe, in the side lobes and far away
    points = np.random.default_rng(7).uniform(-reach_m, reach_m, (5000, 3))
    assert relative_error(magnet, points).max() < 1e-9


def test_main_lobe_and_side_lobes_are_both_among_the_points() -> None:
    points = np.random.default_rng(7).uniform(-0.02, 0.02, (5000, 3))
    outside = points[np.abs(points[:, 2]) > 0.0015]
    share = np.mean(DISC.field(outside)[:, 2] < 0.0)
    assert 0.2 < share < 0.8


@pytest.mark.parametrize("magnet", MAGNETS, ids=IDS)
def test_on_the_axis_and_in_the_planes_of_symmetry(magnet: Any) -> None:
    z = np.linspace(-0.04, 0.04, 81)
    x = np.linspace(-0.04, 0.04, 82)
    axis = np.stack([0.0 * z, 0.0 * z, z], axis=1)
    plane = np.stack([x, 0.0 * x, 0.0 * x], axis=1)
    assert relative_error(magnet, axis).max() < 1e-9
    assert relative_error(magnet, plane).max() < 1e-9


NEAR_EDGE = np.array([[1, 0, 0], [-1, 0, 0], [0, 0, 1], [1, 0, 1], [-1, 0, -1]])


@pytest.mark.parametrize("magnet", [DISC, BLOCK], ids=["disc", "block"])
@pytest.mark.parametrize("off_m", [1e-4, 1e-5, 1e-6])
def test_close_to_edges_and_faces(magnet: Any, off_m: float) -> None:
    assert relative_error(magnet, [0.005, 0.0, 0.0015] + off_m * NEAR_EDGE).max() < 1e-9


@pytest.mark.parametrize("magnet", [DISC, BLOCK], ids=["disc", "block"])
def test_field_grows_with_the_logarithm_of_the_distance_to_an_edge(magnet: Any) -> None:
    # closer than 1e-6 m the library loses its digits; there the law of an edge takes over:
    # a charged sheet that ends in a line gives Br/(2 pi) ln(1/distance)
    steps = np.array([1e-7, 1e-9, 1e-11])
    across = magnet.field([[0.005 + step, 0.0, 0.0015] for step in steps])[:, 0]
    np.testing.assert_allclose(np.diff(across), 1.32 / (2 * np.pi) * np.log(100.0), rtol=1e-4)


# From the data sheet DRV5032 SLVSDC7H (Dec 2024), section 8.2.1.2, equations 2 and 1.


def test_disc_on_axis_is_the_data_sheets_equation() -> None:
    d, c, t = np.geomspace(1e-4, 0.2, 50), 0.010, 0.003
    far, near = d + t, d
    expected = 1.32 / 2 * (far / np.hypot(c / 2, far) - near / np.hypot(c / 2, near))
    points = np.stack([0 * d, 0 * d, d + t / 2], axis=1)
    np.testing.assert_allclose(DISC.field(points)[:, 2], expected, rtol=1e-9)


def test_block_on_axis_is_the_data_sheets_equation() -> None:
    d, (w, length, t) = np.geomspace(1e-4, 0.1, 50), BLOCK.size

    def angle(z: Any) -> Any:
        return np.arctan(w * length / (2 * z * np.sqrt(4 * z**2 + w**2 + length**2)))

    expected = 1.32 / np.pi * (angle(d) - angle(d + t))
    points = np.stack([0 * d, 0 * d, d + t / 2], axis=1)
    np.testing.assert_allclose(BLOCK.field(points)[:, 2], expected, rtol=1e-9)


# Conventions of our own: the surface counts as inside, an edge gives zero.


def test_surfaces_count_as_inside() -> None:
    for magnet, on in ((DISC, [0.003, 0.004, 0.001]), (BLOCK, [0.005, 0.001, 0.0005])):
        surface = np.array([on])
        inside = surface * np.array([[1 - 1e-9, 1 - 1e-9, 1.0]])
        outside = surface * np.array([[1 + 1e-9, 1 + 1e-9, 1.0]])
        jump = magnet.field(inside)[0, 2] - magnet.field(outside)[0, 2]
        assert jump == pytest.approx(1.32, rel=1e-6)
        np.testing.assert_allclose(magnet.field(surface), magnet.field(inside), atol=1e-6)


def test_edges_give_zero() -> None:
    on_edges = np.array([[0.005, 0.0, 0.0015], [0.0, -0.005, -0.0015]])
    assert not DISC.field(on_edges).any()
    assert not BLOCK.field(
        np.array([[0.005, 0.001, 0.0015], [0.005, 0.0025, 0.0], [0.0, 0.0025, -0.0015]])
    ).any()
    extension = np.array([[0.005, 0.004, 0.0015], [0.005, -0.004, 0.0015]])
    assert relative_error(BLOCK, extension).max() < 1e-9


def test_large_thin_disc_inside_and_far_field_of_a_dipole() -> None:
    # textbook: a thin disc has no field of its own in its middle; far away any magnet is a dipole
    thin = CylinderMagnet(diameter=1.0, height=1e-4, remanence=1.0)
    assert abs(thin.field(np.zeros((1, 3)))[0, 2]) < 2e-4
    r = np.array([[0.2, 0.1, 0.3]])
    moment = 1.32 * np.pi * 0.005**2 * 0.003  # mu0 m
    length = np.linalg.norm(r)
    dipole = (3 * r[0] * r[0, 2] / length**2 - [0, 0, 1.0]) * moment / (4 * np.pi * length**3)
    np.testing.assert_allclose(DISC.field(r)[0], dipole, rtol=1e-3)


# Laws that hold for every magnet and point.

places = st.tuples(*(st.floats(-0.03, 0.03) for _ in range(3)))
sizes = st.floats(0.002, 0.02)


def magnet_of(shape: str, a: float, b: float, remanence: float) -> Any:
    if shape == "disc":
        return CylinderMagnet(diameter=a, height=b, remanence=remanence)
    return BlockMagnet(size=(a, b, 0.003), remanence=remanence)


shapes = st.builds(magnet_of, st.sampled_from(["disc", "block"]), sizes, sizes, st.floats(0.2, 1.5))


@given(shapes, places)
def test_symmetry(magnet: Any, place: tuple[float, float, float]) -> None:
    x, y, z = place
    here, turned, under = magnet.field(np.array([[x, y, z], [-x, -y, z], [x, y, -z]]))
    np.testing.assert_allclose(turned, here * [-1, -1, 1], rtol=1e-12, atol=1e-15)
    np.testing.assert_allclose(under, here * [-1, -1, 1], rtol=1e-9, atol=1e-12)


@given(shapes, places, st.floats(-2.0, 2.0))
def test_linear_in_remanence(magnet: Any, place: tuple[float, float, float], factor: float) -> None:
    changed = type(magnet)(**{**vars(magnet), "remanence": magnet.remanence * factor})
    np.testing.assert_allclose(changed.field([place]), factor * magnet.field([place]), rtol=1e-12, atol=1e-15)


@given(shapes, places, st.floats(0.1, 10.0))
def test_the_same_picture_at_any_scale(magnet: Any, place: tuple[float, float, float], scale: float) -> None:
    if isinstance(magnet, CylinderMagnet):
        sizes = {"diameter": magnet.diameter * scale, "height": magnet.height * scale}
    else:
        sizes = {"size": tuple(length * scale for length in magnet.size)}
    assume(distance_to_surface(magnet, place) > 1e-6)
    scaled = type(magnet)(**sizes, remanence=magnet.remanence)
    np.testing.assert_allclose(
        scaled.field(scale * np.array([place])), magnet.field([place]), rtol=1e-6, atol=1e-9
    )


def distance_to_surface(magnet: Any, place: tuple[float, float, float]) -> float:
    """Distance to the nearest plane or mantle that carries a part of the surface [m]."""
    x, y, z = place
    if isinstance(magnet, CylinderMagnet):
        return min(abs(np.hypot(x, y) - magnet.diameter / 2), abs(abs(z) - magnet.height / 2))
    return min(abs(abs(p) - length / 2) for p, length in zip(place, magnet.size, strict=True))


@settings(max_examples=60)
@given(shapes, places)
def test_no_sources_and_no_currents_outside_surfaces(magnet: Any, place: tuple[float, float, float]) -> None:
    # div B = 0 and, as there is no free current and M is even, curl B = 0 on either side of a surface
    assume(distance_to_surface(magnet, place) > 1e-3)
    h = 1e-5
    steps = np.concatenate([np.eye(3) * h, -np.eye(3) * h])
    field = magnet.field(np.array(place) + steps)
    gradient = (field[:3] - field[3:]) / (2 * h)
    size = np.abs(gradient).max() + 1e-3
    assert abs(np.trace(gradient)) < 2e-3 * size
    np.testing.assert_allclose(gradient, gradient.T, atol=2e-3 * size)


# Ensembles and refusals.


@pytest.mark.parametrize("magnet", MAGNETS, ids=IDS)
def test_axial_is_the_z_component_of_the_field(magnet: Any) -> None:
    x = np.linspace(-0.02, 0.02, 41)
    points = np.stack([x, np.full_like(x, 0.001), np.full_like(x, 0.007)], axis=1)
    np.testing.assert_allclose(
        magnet.axial(x[None, :], 0.001, 0.007)[0], magnet.field(points)[:, 2], rtol=1e-12
    )


def test_axial_of_an_ensemble_is_each_magnets_own() -> None:
    diameters, remanences = np.array([[0.008], [0.010]]), np.array([[1.1], [1.3]])
    heights = np.array([[0.002], [0.003]])
    many = CylinderMagnet(diameter=diameters, height=heights, remanence=remanences)
    x = np.linspace(-0.02, 0.02, 11)
    together = many.axial(x[None, :], 0.0, np.array([[0.005], [0.006]]))
    for i, z in enumerate((0.005, 0.006)):
        one = CylinderMagnet(diameter=diameters[i, 0], height=heights[i, 0], remanence=remanences[i, 0])
        np.testing.assert_array_equal(together[i], one.axial(x[None, :], 0.0, z)[0])
    with pytest.raises(InputError, match="single magnet"):
        many.field(np.zeros((1, 3)))


@pytest.mark.parametrize("bad", [0.0, -0.01, float("nan"), float("inf"), True, "10 mm", None])
def test_sizes_that_cannot_be_are_refused(bad: Any) -> None:
    with pytest.raises(InputError, match="diameter must be"):
        CylinderMagnet(diameter=bad, height=0.003, remanence=1.3)
    with pytest.raises(InputError, match="size must be"):
        BlockMagnet(size=(0.01, bad, 0.003), remanence=1.3)


@pytest.mark.parametrize("points", [[1.0, 2.0, 3.0], [[0.0, 0.0]], [[0.0, 0.0, float("nan")]]])
def test_points_of_the_wrong_form_are_refused(points: Any) -> None:
    with pytest.raises(InputError, match="points must"):
        DISC.field(points)
    with pytest.raises(InputError, match="three lengths"):
        BlockMagnet(size=(0.01, 0.01), remanence=1.0)  # type: ignore[arg-type]
