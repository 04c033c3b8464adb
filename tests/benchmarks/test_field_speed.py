"""How much faster the reduced sweep is than one solution per frequency: ratios measured in one run, not
timed tests.

Run with ``pytest tests/benchmarks --benchmark-enable``; each benchmark's ``extra_info`` and a printed line
hold its ratios. The direct sweeps are sampled at SAMPLES frequencies spread over the band and scaled to the
1,000 of the sweep.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import time

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from airpath.field.forms import assemble
from airpath.field.mesh import mesh_outline
from airpath.field.modes import factorise, solve
from airpath.field.outline import make_outline
from airpath.field.reduce import reduce_field
from airpath.field.walls import Medium
from field_shapes import AIR, rebuilt

FREQUENCY = np.linspace(10.0, 2000.0, 1000)
SAMPLES = 12
MOST_IMPORTS = 2.0
DEPTH = 0.18
C = AIR.sound_speed


def partitioned():
    """A chamber 0.6 x 0.4 m with a partition and three openings."""
    points = [[0, 0], [0.3, 0], [0.3, 0.25], [0.32, 0.25], [0.32, 0], [0.6, 0], [0.6, 0.4], [0, 0.4]]
    openings = {"cone": [[0, 0.1], [0, 0.3]], "nose": [[0.6, 0.05], [0.6, 0.1]], "top": [[0.4, 0.4], [0.5, 0.4]]}
    return make_outline(kind="planar", depth=DEPTH, points=points, openings=openings)


def folded():
    """A duct of three legs, 60 mm wide and 2.2 m long, with walls of 10 mm between them."""
    length, w, step = 2.2, 0.06, 0.07
    points = [[0, 0], [length, 0], [length, step + w], [w, step + w], [w, 2 * step], [length, 2 * step]]
    points += [[length, 2 * step + w], [0, 2 * step + w], [0, step], [length - w, step], [length - w, w], [0, w]]
    openings = {"throat": [[0, 0], [0, w]], "mouth": [[length, 2 * step], [length, 2 * step + w]]}
    return make_outline(kind="planar", depth=DEPTH, points=points, openings=openings)


def direct_seconds(matrices, medium):
    """Seconds for 1,000 frequencies, one symmetric-mode factorisation and one block of solutions each."""
    omega = 2 * np.pi * np.linspace(10.0, 2000.0, SAMPLES)
    spent = []
    with threadpool_limits(limits=1):
        for factors in medium.coefficients(omega):
            start = time.perf_counter()
            solve(factorise(matrices.combined(factors)), matrices.means.astype(complex))
            spent.append(time.perf_counter() - start)
    return len(FREQUENCY) * statistics.median(spent)


def ngsolve_seconds(mesh, order=4):
    """Seconds for 1,000 frequencies in NGSolve, one assembly and one sparse Cholesky factorisation each."""
    ng = pytest.importorskip("ngsolve")
    space = ng.H1(rebuilt(mesh), order=order, complex=True)
    u, v = space.TnT()
    n = ng.specialcf.normal(2)
    turned = ng.CoefficientFunction((-n[1], n[0]))
    tangential = (ng.grad(u).Trace() * turned) * (ng.grad(v).Trace() * turned)
    right = [ng.LinearForm(v * ng.ds(name)).Assemble().vec for name in mesh.openings]
    spent = []
    for omega in 2 * np.pi * np.linspace(10.0, 2000.0, SAMPLES):
        start = time.perf_counter()
        a, b, viscous, thermal = (complex(x) for x in Medium(air=AIR, depth=DEPTH).coefficients(np.array([omega]))[0])
        form = ng.BilinearForm(space, symmetric=True)
        form += (a * ng.grad(u) * ng.grad(v) + b * u * v) * ng.dx
        form += (viscous * tangential + thermal * u * v) * ng.ds("wall")
        inverse = form.Assemble().mat.Inverse(inverse="sparsecholesky")
        for vector in right:
            (inverse * vector).Evaluate()
        spent.append(time.perf_counter() - start)
    return len(FREQUENCY) * statistics.median(spent)


@pytest.mark.parametrize(
    ("outline", "refine"),
    [(partitioned, 1.0), (partitioned, 3.0), (partitioned, 7.2), (folded, 2.6)],
    ids=["partitioned-default", "partitioned-11k", "partitioned-52k", "folded-11k"],
)
def test_reduced_sweep(benchmark, outline, refine):
    mesh = mesh_outline(outline(), highest_hz=2000.0, sound_speed=C, refine=refine)
    matrices, medium = assemble(mesh), Medium(air=AIR, depth=DEPTH)
    direct, other = direct_seconds(matrices, medium), ngsolve_seconds(mesh)
    _, sweep = benchmark.pedantic(lambda: reduce_field(matrices, medium, FREQUENCY), rounds=3, warmup_rounds=1)
    reduced = benchmark.stats.stats.median
    ratios = {"unknowns": sweep.unknowns, "direct": direct / reduced, "ngsolve": other / reduced}
    benchmark.extra_info.update(ratios, basis=sweep.basis_size, claimed=float(sweep.claimed_error.max()))
    print(f"\n{ratios} reduced {reduced:.3f} s, basis {sweep.basis_size}, claimed {sweep.claimed_error.max():.1e}")
    assert sweep.claimed_error.max() <= 1e-6


IMPORTS = "import airpath.field.mesh, airpath.field.outline, airpath.field.reduce, airpath.field.forms"
WHOLE = f"""{IMPORTS}
import numpy as np
from airpath.air import air_at
from airpath.field.walls import Medium
air = air_at()
outline = airpath.field.outline.make_outline(kind="planar", depth=0.18,
    points=[[0, 0], [0.3, 0], [0.3, 0.25], [0.32, 0.25], [0.32, 0], [0.6, 0], [0.6, 0.4], [0, 0.4]],
    openings={{"cone": [[0, 0.1], [0, 0.3]], "nose": [[0.6, 0.05], [0.6, 0.1]], "top": [[0.4, 0.4], [0.5, 0.4]]}})
mesh = airpath.field.mesh.mesh_outline(outline, highest_hz=2000.0, sound_speed=air.sound_speed)
matrices = airpath.field.forms.assemble(mesh)
airpath.field.reduce.reduce_field(matrices, Medium(air=air, depth=0.18), np.geomspace(20.0, 2000.0, 640))
"""


def children_seconds():
    """Seconds of the processor that ended child processes took."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@pytest.mark.benchmark(timer=children_seconds)  # other work on the machine doesn't count
def test_outline_to_impedance_takes_less_than_twice_its_imports(benchmark):
    def run(program):
        start = children_seconds()
        subprocess.run([sys.executable, "-c", program], check=True)
        return children_seconds() - start

    imports = min(run(IMPORTS + ", netgen.geom2d") for _ in range(3))
    benchmark.pedantic(run, args=(WHOLE,), rounds=3)
    whole = benchmark.stats.stats.min
    benchmark.extra_info.update(imports_s=imports, whole_s=whole)
    print(f"\nwhole {whole:.2f} s, imports {imports:.2f} s of the processor")
    assert whole < MOST_IMPORTS * imports
