"""The field solver against NGSolve, an unrelated finite-element library, with the weak form written out
again here.

Same mesh, same element order, one complex assembly and solution per frequency. Skipped where NGSolve is
missing.
"""

import numpy as np
import pytest

from airpath.field.forms import assemble
from airpath.field.reduce import reduce_field
from airpath.field.walls import Medium
from field_shapes import AIR, partitioned, stepped
from ngsolve_fields import impedances

pytest.importorskip("ngsolve")

FREQUENCY = np.linspace(20.0, 2000.0, 50)
LOSS_Q = 150.0


@pytest.mark.parametrize("shape", [partitioned(), stepped()], ids=["planar", "axisymmetric"])
def test_impedance_matrix_with_losses(shape):
    medium = Medium(air=AIR, depth=shape.depth, loss_q=LOSS_Q)
    _, sweep = reduce_field(assemble(shape, 4), medium, FREQUENCY)
    expected = impedances(shape, 4, FREQUENCY, AIR, LOSS_Q)
    error = np.linalg.norm(sweep.impedance - expected, axis=(1, 2)) / np.linalg.norm(expected, axis=(1, 2))
    assert error.max() <= 1e-4
    assert error.max() <= 1e-6 + sweep.claimed_error.max()  # same mesh and order: only the reduction is left
