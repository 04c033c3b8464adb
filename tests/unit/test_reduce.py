"""The reduced chamber against direct solutions, and what every passive chamber obeys."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skfem

from airpath.field import reduce as under_test
from airpath.field import windows
from airpath.field.element import FieldChamber
from airpath.field.forms import assemble
from airpath.field.mesh import mesh_outline
from airpath.field.outline import make_outline
from airpath.field.outlinefile import load_outline
from airpath.field.reduce import reduce_field
from airpath.field.walls import Medium
from field_shapes import AIR, Shape, folded, lines, named, partitioned, stepped

FREQUENCY = np.linspace(10.0, 2000.0, 400)


def graded():
    """The partitioned chamber on the mesh that the tool draws: cells of a millimetre at the partition's
    corners.
    """
    points = [[0, 0], [0.3, 0], [0.3, 0.25], [0.32, 0.25], [0.32, 0], [0.6, 0], [0.6, 0.4], [0, 0.4]]
    openings = {"cone": [[0, 0.1], [0, 0.3]], "nose": [[0.6, 0.05], [0.6, 0.1]], "top": [[0.4, 0.4], [0.5, 0.4]]}
    outline = make_outline(kind="planar", depth=0.18, points=points, openings=openings)
    return mesh_outline(outline, highest_hz=2000.0, sound_speed=AIR.sound_speed)


SHAPES = {
    "partitioned": (partitioned(), {}),
    "stepped": (stepped(), {}),
    "folded": (folded(), {}),
    "graded": (graded(), {}),
    "absorbing": (partitioned(), {"loss_q": 30.0}),
    "lossless": (partitioned(), {"air": AIR.lossless()}),
}


class Wool:
    """An equivalent fluid with one pole: heavy and resistive below it; invented values."""

    def density(self, omega, air):
        return air.density * 1.2 + 800.0 / (1j * omega)

    def compressibility(self, omega, air):
        return (1.0 + (air.gamma - 1.0) / (1.0 + 1j * omega / 900.0)) / air.bulk_modulus


@pytest.fixture(scope="module", params=SHAPES)
def reduced(request):
    shape, extras = SHAPES[request.param]
    return reduce_field(assemble(shape), Medium(**{"air": AIR, "depth": shape.depth, **extras}), FREQUENCY)


def direct(model, omega):
    """Impedance by a full factorisation, (m, m)."""
    return 1j * omega * AIR.density * (model.matrices.means.T @ model.direct(omega))


def test_claimed_error_bounds_the_true_error(reduced):
    # 100 frequencies of no basis: 80 at random, and 20 at the sharpest resonances found by a fine sweep
    model, sweep = reduced
    fine = 2 * np.pi * np.arange(10.0, 2000.0, 0.1)
    size = np.linalg.norm(model.impedance(fine), axis=(1, 2)) * fine
    peaks = np.flatnonzero((size[1:-1] > size[:-2]) & (size[1:-1] > size[2:])) + 1
    sharpest = fine[peaks[np.argsort(-size[peaks])][:20]]
    random = 2 * np.pi * np.random.default_rng(3).uniform(10.0, 2000.0, 100 - len(sharpest))
    omega = np.concatenate([random, sharpest])
    impedance, claim = model.certified(omega)
    exact = np.array([direct(model, w) for w in omega])
    true = np.linalg.norm(impedance - exact, axis=(1, 2)) / np.linalg.norm(exact, axis=(1, 2))
    assert np.all(claim >= true)
    judged = true > 1e-9  # below that the direct solution is no judge
    assert np.all(claim[judged] <= 30.0 * true[judged])
    assert claim.max() <= 1e-5  # between the sweep's frequencies, on the very tips of its resonances
    assert sweep.claimed_error.max() <= 1e-6


def test_sweep_is_the_model_and_says_what_it_cost(reduced):
    model, sweep = reduced
    again = model.impedance(2 * np.pi * sweep.frequency)
    difference = np.linalg.norm(again - sweep.impedance, axis=(1, 2)) / np.linalg.norm(again, axis=(1, 2))
    assert difference.max() < 2e-6
    assert sweep.unknowns == model.matrices.unknowns
    assert sweep.order == 4
    assert sweep.basis_size < 0.1 * sweep.unknowns
    assert sweep.factorisations < 20


def test_reciprocal_and_passive(reduced):
    z = reduced[1].impedance
    norm = np.linalg.norm(z, axis=(1, 2))
    assert np.abs(z - np.swapaxes(z, 1, 2)).max(axis=(1, 2)) == pytest.approx(0.0, abs=1e-9 * norm.min())
    hermitian = 0.5 * (z + np.swapaxes(z, 1, 2).conj())
    assert np.all(np.linalg.eigvalsh(hermitian)[:, 0] >= -1e-6 * norm)


def test_power_in_is_power_lost(reduced):
    # What the walls and the bulk take, integrated over the field, against what the openings put in. The
    # field itself is as good as the square root of the impedance's error, hence 1e-5 of the apparent power.
    model, _ = reduced
    flows = np.arange(1.0, 1.0 + len(model.matrices.areas)) * 1e-3 * np.exp(0.7j)
    for hz in (40.0, 333.0, 1234.0):
        omega = 2 * np.pi * hz
        pressure = model.pressure(omega, flows)
        factors = model.medium.coefficients(np.array([omega]))[0]
        pairs = zip(factors, model.matrices.operators, strict=True)
        lost = sum(c.imag * np.vdot(pressure, q @ pressure).real for c, q in pairs) / (omega * AIR.density)
        apparent = abs(np.vdot(flows, model.matrices.means.T @ pressure))
        assert lost == pytest.approx(model.energy(omega, flows)[2], abs=1e-5 * apparent)


def test_pressure_averages_to_the_impedance(reduced):
    model, sweep = reduced
    flows = np.eye(len(model.matrices.areas))[0]
    omega = 2 * np.pi * sweep.frequency[50]
    assert model.matrices.means.T @ model.pressure(omega, flows) == pytest.approx(model.impedance([omega])[0][:, 0])


def test_impedance_is_analytic(reduced):
    # Cauchy-Riemann: the slope along the real axis equals the slope along the imaginary one
    model, _ = reduced
    omega, step = 2 * np.pi * 321.0, 1e-3
    z = model.impedance(np.array([omega + step, omega - step, omega + 1j * step, omega - 1j * step]))
    assert z[0] - z[1] == pytest.approx((z[2] - z[3]) / 1j, rel=1e-4)


def test_missed_wave_is_noticed(monkeypatch):
    # a basis that starts without one standing wave of the band: no certificate until it has come back in
    shape = partitioned()
    whole = under_test.dressed_space

    def without_one(matrices, medium, modes):
        space, mix = whole(matrices, medium, modes)
        return space, np.delete(mix, 7, axis=1)

    monkeypatch.setattr(under_test, "dressed_space", without_one)
    model, _ = reduce_field(assemble(shape), Medium(air=AIR, depth=shape.depth), FREQUENCY)
    missed = model.modes.frequency_hz(AIR.sound_speed)[7]
    for hz in missed * np.array([0.99, 0.999, 0.9995, 1.0, 1.001]):
        impedance, claim = model.certified(2 * np.pi * np.array([hz]))
        exact = direct(model, 2 * np.pi * hz)
        assert np.linalg.norm(impedance[0] - exact) <= claim[0] * np.linalg.norm(exact)
        assert claim[0] <= 1e-4


def test_stuffed_chamber_is_certified_too():
    shape = partitioned()
    model, sweep = reduce_field(assemble(shape), Medium(air=AIR, depth=shape.depth, fluid=Wool()), FREQUENCY)
    assert sweep.claimed_error.max() <= 1e-6
    for place in (0, 30, 200, 399):
        exact = direct(model, 2 * np.pi * FREQUENCY[place])
        error = np.linalg.norm(sweep.impedance[place] - exact) / np.linalg.norm(exact)
        assert error <= sweep.claimed_error[place]


@pytest.mark.parametrize(
    ("name", "highest"), [("fog-signal", 1000.0), ("u-bend", 2000.0), ("rumble-bench-main", 4000.0), ("drum", 3000.0)]
)
def test_claim_is_near_the_error_in_every_drawing(name, highest):
    # sharp corners in narrow folds: with complex columns in the basis the claim was up to 900 times the error there
    outline = load_outline(Path(__file__).parents[2] / "meshes" / f"{name}.toml")
    matrices = assemble(mesh_outline(outline, highest_hz=highest, sound_speed=AIR.sound_speed))
    model, _ = reduce_field(matrices, Medium(air=AIR, depth=outline.depth), np.geomspace(20.0, highest, 400))
    omega = 2 * np.pi * np.random.default_rng(5).uniform(20.0, highest, 60)
    impedance, claim = model.certified(omega)
    exact = np.array([direct(model, w) for w in omega])
    true = np.linalg.norm(impedance - exact, axis=(1, 2)) / np.linalg.norm(exact, axis=(1, 2))
    assert np.all(claim >= true)
    assert np.all(claim[true > 1e-9] <= 30.0 * true[true > 1e-9])
    assert np.count_nonzero(true > 1e-9) >= 10


def test_claim_covers_rounding_where_the_air_is_one_pressure():
    # far below the first resonance the compliance k^2 V is lost in the rounding of the stiffness
    shape = graded()
    model, _ = reduce_field(assemble(shape), Medium(air=AIR.lossless(), depth=shape.depth), FREQUENCY)
    omega = 2 * np.pi * np.array([1.0, 2.0, 3.0, 5.0, 10.0, 20.0])
    impedance, claim = model.certified(omega)
    exact = np.array([direct(model, w) for w in omega])
    true = np.linalg.norm(impedance - exact, axis=(1, 2)) / np.linalg.norm(exact, axis=(1, 2))
    assert np.all(true <= claim)
    assert np.all(claim < 1e-6)


def test_lossless_impedance_is_a_reactance():
    shape = stepped()
    _, sweep = reduce_field(assemble(shape), Medium(air=AIR.lossless()), np.linspace(10.0, 1500.0, 157))
    assert np.abs(sweep.impedance.real).max() <= 1e-9 * np.abs(sweep.impedance.imag).max()


@pytest.mark.parametrize("air", [AIR, AIR.lossless()])
def test_small_chamber_is_its_compliance(air):
    mesh = skfem.MeshTri.init_tensor(lines(0, 0.06, size=0.02), lines(0, 0.02, 0.05, size=0.02))
    ends = named(mesh, left=((0, 0), (0, 0.02)), right=((0.06, 0.06), (0.02, 0.05)))
    shape = Shape(mesh=mesh, kind="planar", depth=0.04, openings=ends)
    matrices = assemble(shape)
    model, _ = reduce_field(matrices, Medium(air=air, depth=0.04), np.geomspace(1.0, 2000.0, 60))
    omega = 2 * np.pi * np.array([1.0, 5.0, 20.0])
    y = FieldChamber(model=model).admittance(omega, air).sum(axis=(1, 2))
    wall = 2 * 0.06 * 0.05 + 2 * (0.06 + 0.05) * 0.04 - (0.02 + 0.03) * 0.04
    layer = np.sqrt(air.thermal_diffusivity / (1j * omega)) * wall / matrices.volume
    expected = 1j * omega * matrices.volume / air.bulk_modulus * (1 + (air.gamma - 1) * layer)
    assert y == pytest.approx(expected, rel=1e-3)


def test_absorption_turns_the_compliance_by_its_q():
    # below every resonance of lossless air the chamber is j w V/K (1 - j/Q): the definition of the absorption's Q
    shape, air = partitioned(), AIR.lossless()
    model, _ = reduce_field(assemble(shape), Medium(air=air, depth=shape.depth, loss_q=30.0), FREQUENCY)
    omega = 2 * np.pi * np.array([10.0, 15.0])
    y = FieldChamber(model=model).storage(omega, air)
    assert y == pytest.approx(1j * omega * model.matrices.volume / air.bulk_modulus * (1 - 1j / 30.0), rel=1e-6)


def test_admittance_does_not_amplify_the_error_at_low_frequency():
    # Z is nearly singular there (its parts differ by 1e6); Y must still be the inverse of the exact one
    shape = partitioned()
    model, _ = reduce_field(assemble(shape), Medium(air=AIR, depth=shape.depth), FREQUENCY)
    for hz in (10.0, 25.0):
        omega = 2 * np.pi * hz
        y = FieldChamber(model=model).admittance(np.array([omega]), AIR)[0]
        exact = np.linalg.inv(direct(model, omega))
        assert np.linalg.norm(y - exact) <= 1e-4 * np.linalg.norm(exact)


def test_other_air_needs_no_other_basis():
    shape = stepped()
    warm = replace(AIR, sound_speed=1.01 * AIR.sound_speed, density=0.98 * AIR.density)
    model, _ = reduce_field(assemble(shape), Medium(air=AIR), FREQUENCY)
    again, _ = reduce_field(assemble(shape), Medium(air=warm), FREQUENCY)
    omega = 2 * np.pi * np.array([50.0, 700.0, 1900.0])
    y, expected = FieldChamber(model=model).admittance(omega, warm), again.impedance(omega)
    assert y @ expected == pytest.approx(np.broadcast_to(np.eye(3), y.shape), abs=1e-4)


def test_example_is_passive():
    chamber = FieldChamber.examples()[0]
    y = chamber.admittance(2 * np.pi * np.geomspace(20.0, 2000.0, 20), AIR)
    hermitian = 0.5 * (y + np.swapaxes(y, 1, 2).conj())
    assert chamber.terminals == 2
    assert np.all(np.linalg.eigvalsh(hermitian) >= -1e-12 * np.abs(y).max())


def test_window_bounds_what_it_leaves(reduced, monkeypatch):
    # with three nodes, and nothing refused, so that the bound is seen at work
    model, _ = reduced
    monkeypatch.setattr(windows, "_NODES", 3)
    monkeypatch.setattr(windows, "_NEGLIGIBLE", np.inf)
    frequency = 2 * np.pi * np.linspace(10.0, 2000.0, 700)
    worst = 0.0
    for part in windows.windows(frequency, 2 * np.pi * 2000.0):
        omega = frequency[part]
        y, slack = windows.answers(model, omega, model.medium.coefficients(omega))
        exact = model.load.T @ model.coordinates(omega)
        error, size = np.linalg.norm(model.load.T @ y - exact, axis=(1, 2)), np.linalg.norm(exact, axis=(1, 2))
        assert np.all(error <= slack + 1e-10 * size)
        worst = max(worst, float((error / size).max()))
    assert worst > 1e-7


def test_window_that_leaves_too_much_is_solved_outright(reduced, monkeypatch):
    model, _ = reduced
    omega = 2 * np.pi * np.linspace(1500.0, 1600.0, 80)
    exact = model.load.T @ model.coordinates(omega)
    for nodes in (2, 10):
        monkeypatch.setattr(windows, "_NODES", nodes)
        y, slack = windows.answers(model, omega, model.medium.coefficients(omega))
        error, size = np.linalg.norm(model.load.T @ y - exact, axis=(1, 2)), np.linalg.norm(exact, axis=(1, 2))
        assert np.all(error <= 1e-8 * size)
        assert np.all(slack <= 1e-8 * size)
