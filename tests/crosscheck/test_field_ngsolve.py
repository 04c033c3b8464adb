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
from field_shapes import AIR, partitioned, rebuilt, stepped

pytest.importorskip("ngsolve")

FREQUENCY = np.linspace(20.0, 2000.0, 50)
LOSS_Q = 150.0


def layers(omega):
    """Boundary-layer factors of Berggren, Bernland & Noreland 2018, in their own letters (delta_V,
    delta_T).
    """
    viscous = np.sqrt(2 * AIR.viscosity / (omega * AIR.density))
    return (1j - 1) / 2 * viscous, (AIR.gamma - 1) * (1j - 1) / 2 * viscous / np.sqrt(AIR.prandtl)


def plates(omega, depth):
    """Viscous and thermal functions of the slit between front and back plate, by their exponentials."""
    for diffusivity in (AIR.viscosity / AIR.density, AIR.viscosity / AIR.density / AIR.prandtl):
        z = np.sqrt(1j * omega / diffusivity) * depth / 2
        yield (1 - np.exp(-2 * z)) / (1 + np.exp(-2 * z)) / z


def impedances(shape, order):
    """Z (50, m, m) frequency by frequency."""
    import ngsolve as ng

    mesh = rebuilt(shape)
    space = ng.H1(mesh, order=order, complex=True)
    u, v = space.TnT()
    n, weight = ng.specialcf.normal(2), 2 * np.pi * ng.y if shape.kind == "axisymmetric" else shape.depth
    ones = ng.CoefficientFunction(1.0)
    area = {name: ng.Integrate(weight * ones, mesh, ng.BND, definedon=mesh.Boundaries(name)) for name in shape.openings}
    right = [ng.LinearForm(weight / area[name] * v * ng.ds(name)).Assemble().vec for name in shape.openings]
    turned = ng.CoefficientFunction((-n[1], n[0]))
    tangential = (ng.grad(u).Trace() * turned) * (ng.grad(v).Trace() * turned)
    found = []
    for omega in 2 * np.pi * FREQUENCY:
        k2 = (omega / AIR.sound_speed) ** 2
        viscous, thermal = layers(omega)
        slit = list(plates(omega, shape.depth)) if shape.kind == "planar" else [0.0, 0.0]
        bulk = (1 - 1j / LOSS_Q) * (1 + (AIR.gamma - 1) * slit[1])
        form = ng.BilinearForm(space, symmetric=True)
        form += weight * (complex(1 - slit[0]) * ng.grad(u) * ng.grad(v) - complex(k2 * bulk) * u * v) * ng.dx
        form += weight * (complex(viscous) * tangential + complex(k2 * thermal) * u * v) * ng.ds("wall")
        inverse = form.Assemble().mat.Inverse(inverse="sparsecholesky")
        answers = [(inverse * vector).Evaluate() for vector in right]
        z = [[np.dot(r.FV().NumPy(), p.FV().NumPy()) for p in answers] for r in right]
        found.append(1j * omega * AIR.density * np.array(z))
    return np.array(found)


@pytest.mark.parametrize("shape", [partitioned(), stepped()], ids=["planar", "axisymmetric"])
def test_impedance_matrix_with_losses(shape):
    medium = Medium(air=AIR, depth=shape.depth, loss_q=LOSS_Q)
    _, sweep = reduce_field(assemble(shape, 4), medium, FREQUENCY)
    expected = impedances(shape, 4)
    error = np.linalg.norm(sweep.impedance - expected, axis=(1, 2)) / np.linalg.norm(expected, axis=(1, 2))
    assert error.max() <= 1e-4
    assert error.max() <= 1e-6 + sweep.claimed_error.max()  # same mesh and order: only the reduction is left
