"""Standing waves: none missed, orthogonal, coupled as their closed forms say."""

import numpy as np
import pytest
import skfem

from airpath.errors import AccuracyError
from airpath.field import modes as under_test
from airpath.field.forms import assemble
from airpath.field.modes import count_below, standing_waves
from field_shapes import AIR, Shape, named, partitioned


@pytest.fixture(scope="module")
def square():
    """A square chamber, whose modes come in equal pairs, with one opening over half a side."""
    mesh = skfem.MeshTri.init_tensor(np.linspace(0, 0.5, 13), np.linspace(0, 0.5, 13))
    openings = named(mesh, half=((0, 0), (0, 0.25)))
    return assemble(Shape(mesh=mesh, kind="planar", depth=0.1, openings=openings))


def test_double_modes_are_both_found(square):
    found = standing_waves(square, 2 * np.pi * 1500 / 343.2)
    m, n = np.meshgrid(np.arange(12), np.arange(12))
    exact = np.sort(((m**2 + n**2) * (np.pi / 0.5) ** 2).ravel())
    assert found.eigenvalue == pytest.approx(exact[: len(found.eigenvalue)], rel=1e-5, abs=1e-9)
    assert len(found.eigenvalue) == np.count_nonzero(exact < found.cut)


def test_shapes_have_mean_square_one_and_are_orthogonal(square):
    found = standing_waves(square, 2 * np.pi * 1500 / 343.2)
    gram = found.shapes.T @ (square.operators[1] @ found.shapes) / square.volume
    assert gram == pytest.approx(np.eye(len(gram)), abs=1e-9)


def test_coupling_is_the_mean_over_the_opening(square):
    # pair (1, 0), (0, 1): shapes sqrt(2) cos(pi x/L); mean over half a side is 1 x sqrt(2) and sqrt(2) 2/pi
    found = standing_waves(square, 2 * np.pi * 1500 / 343.2)
    assert found.coupling[0] == pytest.approx(1.0)
    assert np.linalg.norm(found.coupling[1:3, 0]) == pytest.approx(np.sqrt(2 + 8 / np.pi**2), rel=1e-6)
    assert found.frequency_hz(343.2)[1:3] == pytest.approx(343.2, rel=1e-6)


def test_count_agrees_with_dense_eigenvalues():
    from scipy.linalg import eigh

    matrices = assemble(partitioned(size=0.12), order=2)
    dense = eigh(*(q.toarray() for q in matrices.operators[:2]), eigvals_only=True)
    for cut in (50.0, 400.0, 1500.0):
        assert count_below(matrices, cut) == np.count_nonzero(dense < cut)


def test_a_wrong_count_is_refused(monkeypatch):
    monkeypatch.setattr(under_test, "count_below", lambda matrices, cut: 99)
    with pytest.raises(AccuracyError, match="99 counted"):
        standing_waves(assemble(partitioned(), order=1), 2 * np.pi * 1000 / AIR.sound_speed)
