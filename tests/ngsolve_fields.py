"""Fields in drawn spaces by NGSolve, the weak form written out again: one complex assembly and solution a frequency."""

import numpy as np

from field_shapes import rebuilt


def layers(omega, air):
    """Boundary-layer factors of Berggren, Bernland & Noreland 2018, in their own letters (delta_V,
    delta_T).
    """
    viscous = np.sqrt(2 * air.viscosity / (omega * air.density))
    return (1j - 1) / 2 * viscous, (air.gamma - 1) * (1j - 1) / 2 * viscous / np.sqrt(air.prandtl)


def plates(omega, depth, air):
    """Viscous and thermal functions of the slit between front and back plate, by their exponentials."""
    for diffusivity in (air.viscosity / air.density, air.viscosity / air.density / air.prandtl):
        z = np.sqrt(1j * omega / diffusivity) * depth / 2
        yield (1 - np.exp(-2 * z)) / (1 + np.exp(-2 * z)) / z


def impedances(shape, order, frequency, air, loss_q=np.inf):
    """Z (n, m, m), openings in the order of the shape, frequency [Hz] (n,) by frequency."""
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
    for omega in 2 * np.pi * frequency:
        k2 = (omega / air.sound_speed) ** 2
        viscous, thermal = layers(omega, air)
        slit = list(plates(omega, shape.depth, air)) if shape.kind == "planar" else [0.0, 0.0]
        bulk = (1 - 1j / loss_q) * (1 + (air.gamma - 1) * slit[1])
        form = ng.BilinearForm(space, symmetric=True)
        form += weight * (complex(1 - slit[0]) * ng.grad(u) * ng.grad(v) - complex(k2 * bulk) * u * v) * ng.dx
        form += weight * (complex(viscous) * tangential + complex(k2 * thermal) * u * v) * ng.ds("wall")
        inverse = form.Assemble().mat.Inverse(inverse="sparsecholesky")
        answers = [(inverse * vector).Evaluate() for vector in right]
        z = [[np.dot(r.FV().NumPy(), p.FV().NumPy()) for p in answers] for r in right]
        found.append(1j * omega * air.density * np.array(z))
    return np.array(found)
