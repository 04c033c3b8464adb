"""The four matrices and the openings, against integrals that have closed forms."""

import numpy as np
import pytest
import skfem

from airpath.field.forms import assemble
from airpath.field.walls import Medium, layer_length, layer_ratio, smallest_gap
from field_shapes import AIR, Shape, folded, lines, named, partitioned, stepped


def box(cells=2):
    """A solid cuboid 0.3 x 0.2 x 0.1 m with one opening at each end."""
    grid = (np.linspace(0, side, cells + 1) for side in (0.3, 0.2, 0.1))
    mesh = skfem.MeshTet.init_tensor(*grid)
    openings = named(mesh, left=((0, 0), (0, 0.2), (0, 0.1)), right=((0.3, 0.3), (0, 0.2), (0, 0.1)))
    return Shape(mesh=mesh, kind="solid", openings=openings)


def tube(radius=0.02, length=0.5, size=0.05):
    """An axisymmetric tube open at both ends."""
    mesh = skfem.MeshTri.init_tensor(lines(0, length, size=size), lines(0, radius, size=radius / 2))
    ends = named(mesh, left=((0, 0), (0, radius)), right=((length, length), (0, radius)))
    return Shape(mesh=mesh, kind="axisymmetric", openings=ends)


@pytest.mark.parametrize(
    ("shape", "volume", "walls", "areas"),
    [
        (box(), 0.006, 2 * (0.03 + 0.06), [0.02, 0.02]),
        (tube(), np.pi * 0.02**2 * 0.5, 2 * np.pi * 0.02 * 0.5, [np.pi * 0.02**2] * 2),
        (partitioned(), (0.24 - 0.005) * 0.18, (2 + 0.5 - 0.35) * 0.18, [0.009, 0.009, 0.045]),
    ],
)
def test_volume_walls_and_openings(shape, volume, walls, areas):
    matrices = assemble(shape)
    assert matrices.volume == pytest.approx(volume, rel=1e-12)
    assert matrices.operators[3].sum() == pytest.approx(walls, rel=1e-12)
    assert matrices.areas == pytest.approx(areas, rel=1e-12)
    assert np.sum(matrices.means, axis=0) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_linear_field_has_exact_energies(order):
    # p = x on the tube: stiffness = volume, wall tangential stiffness = wall area, mass = S L^3/3
    matrices = assemble(tube(), order)
    x = matrices.basis.project(lambda q: q[0])
    stiffness, mass, wall_stiffness, _ = (x @ (q @ x) for q in matrices.operators)
    section = np.pi * 0.02**2
    assert stiffness == pytest.approx(section * 0.5, rel=1e-9)
    assert mass == pytest.approx(section * 0.5**3 / 3, rel=1e-9)
    assert wall_stiffness == pytest.approx(2 * np.pi * 0.02 * 0.5, rel=1e-9)
    assert matrices.means.T @ x == pytest.approx([0.0, 0.5], abs=1e-9)


def test_radial_slope_is_not_tangential_to_a_cylinder():
    matrices = assemble(tube())
    y2 = matrices.basis.project(lambda q: q[1] ** 2)
    assert y2 @ (matrices.operators[2] @ y2) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("shape", "unknowns"), [(partitioned(), 1689), (stepped(), 417), (box(), 125)])
def test_matrices_are_real_and_symmetric(shape, unknowns):
    matrices = assemble(shape)
    assert matrices.unknowns == unknowns
    for operator in matrices.operators:
        assert np.isrealobj(operator.data)
        assert abs(operator - operator.T).max() <= 1e-12 * abs(operator).max()


def test_layer_length_is_the_usual_thickness_turned():
    # delta_v = sqrt(2 mu/(rho w)) = 0.3468879 mm at 40 Hz; Pierce, Acoustics, ch. 10 (computed, formula
    # from memory)
    found = layer_length(np.array([2 * np.pi * 40.0]), AIR.kinematic_viscosity)[0]
    assert found == pytest.approx((1 - 1j) / 2 * 0.3468879e-3, rel=1e-6)


def test_slit_published():
    # Plates 1 mm apart at 40 Hz: F_v = 0.397518 - 0.375304j (Stinson 1991, J. Acoust. Soc. Am. 89, 550,
    # closed form)
    a, _ = Medium(air=AIR, depth=1e-3).bulk(np.array([2 * np.pi * 40.0]), stuffed=False)
    assert a[0] == pytest.approx(1 - (0.397518 - 0.375304j), rel=1e-5)


def test_lossless_air_leaves_real_coefficients():
    found = Medium(air=AIR.lossless(), depth=0.1).coefficients(np.array([100.0, 1000.0]))
    assert np.all(found[:, 2:] == 0.0)
    assert np.all(found.imag == 0.0)


@pytest.mark.parametrize(
    ("shape", "gap"),
    [
        (tube(radius=0.02), 0.04),
        (folded(width=0.06), 0.06),
        (partitioned(depth=0.01), 0.01),
        (box(4), 0.1),
    ],
)
def test_smallest_gap(shape, gap):
    assert smallest_gap(shape) == pytest.approx(gap, rel=0.05)


def test_layer_ratio_says_when_the_walls_are_too_close():
    assert layer_ratio(tube(radius=1e-3), AIR, 40.0) == pytest.approx(0.3468879e-3 / 2e-3, rel=1e-5)
