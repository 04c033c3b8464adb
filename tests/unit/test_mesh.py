"""The default mesh: good enough for the fields it is made for, small enough to be quick, exact at its openings."""

import numpy as np
import pytest
import scipy.sparse.linalg as sparse_linalg
import skfem
from skfem.helpers import dot, grad

from airpath.errors import GeometryError
from airpath.field.mesh import mesh_outline
from airpath.field.outline import make_outline
from airpath.field.polygon import turned_volume

C = 343.2
ELEMENTS = {1: skfem.ElementTriP1, 2: skfem.ElementTriP2, 3: skfem.ElementTriP3, 4: skfem.ElementTriP4}
# 0.6 x 0.4 m with an 18 mm partition to 0.25 m, and three openings
PARTITIONED = make_outline(
    kind="planar",
    depth=0.1,
    points=[[0, 0], [0.25, 0], [0.25, 0.25], [0.268, 0.25], [0.268, 0], [0.6, 0], [0.6, 0.4], [0, 0.4]],
    openings={
        "driver": [[0, 0.1], [0, 0.2]],
        "nose": [[0.6, 0.3], [0.6, 0.36]],
        "throat": [[0.4, 0.4], [0.5, 0.4]],
    },
)


def frequencies(found, order, count):
    """Return the lowest standing waves with rigid walls [Hz] by a weak form of this test's own, and the unknowns."""
    basis = skfem.Basis(found.mesh, ELEMENTS[order](), intorder=2 * order + 1)
    around = found.kind == "axisymmetric"

    @skfem.BilinearForm
    def stiffness(u, v, w):
        return dot(grad(u), grad(v)) * (w.x[1] if around else 1.0)

    @skfem.BilinearForm
    def mass(u, v, w):
        return u * v * (w.x[1] if around else 1.0)

    k, m = stiffness.assemble(basis).tocsc(), mass.assemble(basis).tocsc()
    found = sparse_linalg.eigsh(k, k=count + 1, M=m, sigma=-1.0, return_eigenvectors=False)
    return np.sqrt(np.sort(found)[1:]) * C / (2 * np.pi), basis.N


def meshed(outline, order=4, highest_hz=2000.0, **options):
    return mesh_outline(outline, highest_hz=highest_hz, sound_speed=C, order=order, **options)


@pytest.fixture(scope="module")
def converged():
    """Resonances of the partitioned chamber below 2 kHz, from two meshes graded far deeper that agree."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("airpath.field.mesh._GRADINGS", (0.3, 0.25, 0.35))
        patch.setattr("airpath.field.grading._CELL_RATIO", 3e3)
        deep = frequencies(meshed(PARTITIONED, refine=1.5), 4, 34)[0]
        patch.setattr("airpath.field.grading._CELL_RATIO", 1e4)
        deeper = frequencies(meshed(PARTITIONED, refine=2.0), 4, 34)[0]
    np.testing.assert_allclose(deep, deeper, rtol=3e-6)
    return deeper[deeper < 2000.0]


@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_every_resonance_of_the_partitioned_chamber_to_a_thousandth(converged, order):
    found, unknowns = frequencies(meshed(PARTITIONED, order), order, 34)
    np.testing.assert_allclose(found[: len(converged)], converged, rtol=1e-3)
    if order == 4:
        assert unknowns <= 2000


def test_grading_towards_corners_is_what_makes_it_accurate(converged, monkeypatch):
    def worst():
        return np.abs(frequencies(meshed(PARTITIONED), 4, 34)[0][: len(converged)] / converged - 1.0).max()

    graded = worst()
    monkeypatch.setattr("airpath.field.grading.RE_ENTRANT", 7.0)  # no corner turns that far
    assert graded < 1e-4
    assert worst() > 5.0 * graded


@pytest.mark.parametrize("order", [3, 4])
def test_rectangle_to_a_ten_thousandth(order):
    # closed form c/2 sqrt((m/a)^2 + (n/b)^2), any textbook of acoustics
    box = make_outline(
        kind="planar",
        depth=0.1,
        points=[[0, 0], [0.6, 0], [0.6, 0.4], [0, 0.4]],
        openings={"driver": [[0, 0.1], [0, 0.2]]},
    )
    exact = np.sort([C / 2 * np.hypot(m / 0.6, n / 0.4) for m in range(9) for n in range(9)])[1:]
    exact = exact[exact < 2000.0]
    found, _ = frequencies(meshed(box, order), order, len(exact))
    np.testing.assert_allclose(found, exact, rtol=1e-4)


def test_cylinder_to_a_ten_thousandth():
    # zeros of J1: Abramowitz & Stegun table 9.5, j_1,1 = 3.83171
    drum = make_outline(
        kind="axisymmetric",
        points=[[0, 0], [0.5, 0], [0.5, 0.15], [0, 0.15]],
        openings={"driver": [[0, 0], [0, 0.05]]},
    )
    exact = [C / 2 * np.hypot(m / 0.5, q / (np.pi * 0.15)) for q in (0.0, 3.83171) for m in range(6)]
    exact = np.sort(exact)[1:7]
    found, _ = frequencies(meshed(drum, highest_hz=1500.0), 4, 6)
    np.testing.assert_allclose(found, exact, rtol=1e-4)


def test_sphere_to_a_ten_thousandth():
    # zeros of the derivatives of spherical Bessel functions: Abramowitz & Stegun table 10.6, a'_1,1 = 2.08158,
    # a'_2,1 = 3.34209, a'_0,1 = 4.49341, a'_3,1 = 4.51410
    angle = np.pi * np.arange(33) / 32
    half = 0.15 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    half *= (4 / 3 * np.pi * 0.15**3 / turned_volume(half)) ** (1 / 3)
    ball = make_outline(kind="axisymmetric", points=half, openings={"nose": half[:2]})
    exact = np.array([2.08158, 3.34209, 4.49341, 4.51410]) * C / (2 * np.pi * 0.15)
    found, unknowns = frequencies(meshed(ball), 4, 4)
    np.testing.assert_allclose(found, exact, rtol=1e-4)
    assert unknowns < 1500


def test_annulus_to_a_ten_thousandth():
    # roots of J'm(x) Y'm(2x) - J'm(2x) Y'm(x), the cross products of Abramowitz & Stegun 9.5.27 ff.
    from scipy.optimize import brentq
    from scipy.special import jvp, yvp

    def root(m, low, high):
        return brentq(lambda x: jvp(m, x) * yvp(m, 2 * x) - jvp(m, 2 * x) * yvp(m, x), low, high)

    exact = [root(1, 0.5, 0.9)] * 2 + [root(2, 1.1, 1.6)] * 2 + [root(3, 1.7, 2.3)] * 2
    angle = 2 * np.pi * np.arange(48) / 48
    ring = 0.1 * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    ring *= np.sqrt(2 * np.pi / 48 / np.sin(2 * np.pi / 48))
    outline = make_outline(kind="planar", depth=0.1, points=2 * ring, holes=[ring], openings={"nose": 2 * ring[:2]})
    found, _ = frequencies(meshed(outline), 4, 6)
    np.testing.assert_allclose(found * 2 * np.pi * 0.1 / C, exact, rtol=1e-4)


def lengths(found, facets):
    ends = found.mesh.p[:, found.mesh.facets[:, facets]]
    return np.linalg.norm(ends[:, 1] - ends[:, 0], axis=0)


@pytest.mark.parametrize("highest_hz", [50.0, 2000.0, 8000.0])
def test_openings_and_walls_share_the_boundary_without_rest(highest_hz):
    found = meshed(PARTITIONED, highest_hz=highest_hz)
    for name, segment in PARTITIONED.openings.items():
        length = np.linalg.norm(segment[1] - segment[0])
        assert lengths(found, found.openings[name]).sum() == pytest.approx(length, rel=1e-9)
        assert len(found.openings[name]) >= 4
    everything = np.concatenate([found.walls, *found.openings.values()])
    np.testing.assert_array_equal(np.sort(everything), np.sort(found.mesh.boundary_facets()))


def test_the_axis_is_neither_wall_nor_opening():
    drum = make_outline(
        kind="axisymmetric",
        points=[[0, 0], [0.5, 0], [0.5, 0.15], [0, 0.15]],
        openings={"driver": [[0, 0], [0, 0.05]]},
    )
    found = meshed(drum)
    assert lengths(found, found.walls).sum() == pytest.approx(0.1 + 0.5 + 0.15, rel=1e-9)


def test_refining_makes_every_cell_smaller_and_keeps_the_area():
    coarse, fine = meshed(PARTITIONED), meshed(PARTITIONED, refine=2.0)
    assert fine.mesh.t.shape[1] > 2 * coarse.mesh.t.shape[1]
    assert fine.mesh.param() < 0.7 * coarse.mesh.param()


@pytest.mark.parametrize("turn", np.linspace(0.1, 6.0, 7))
def test_a_turned_chamber_meshes_as_well(turn):
    rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    turned = make_outline(
        kind="planar",
        depth=0.1,
        points=PARTITIONED.points @ rotate.T,
        openings={name: segment @ rotate.T for name, segment in PARTITIONED.openings.items()},
    )
    found = meshed(turned)
    assert {name: len(f) for name, f in found.openings.items()}.keys() == PARTITIONED.openings.keys()
    np.testing.assert_allclose(frequencies(found, 4, 5)[0], frequencies(meshed(PARTITIONED), 4, 5)[0], rtol=1e-3)


def test_a_mesher_that_fails_is_said_not_hidden(monkeypatch):
    monkeypatch.setattr("airpath.field.mesh._GRADINGS", ())
    with pytest.raises(GeometryError, match="no mesh could be made"):
        meshed(PARTITIONED)


def test_a_mesh_too_large_to_use_is_refused_at_once():
    hall = make_outline(
        kind="planar",
        depth=3.0,
        points=[[0, 0], [20, 0], [20, 20], [0, 20]],
        openings={"door": [[0, 1], [0, 3]]},
    )
    with pytest.raises(GeometryError, match="lower the highest frequency"):
        meshed(hall, highest_hz=20_000.0)
