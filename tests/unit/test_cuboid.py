"""Cuboid chamber: invariants, limits, and an independent sum that shares no code with the split it checks."""

import math

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy.special import j1

import airpath.acoustics.cavity as cavity_module
from airpath.acoustics.near_field import kernel
from airpath.acoustics.patch import Patch, means
from airpath.air import air_at
from airpath.elements.cuboid import Cuboid

AIR = air_at()
STILL = AIR.lossless()
SIZE = (0.12, 0.10, 0.133)
CONE = Patch(centre=(0.06, 0.0, 0.08), normal=1, radius=0.04)
NOSE = Patch(centre=(0.11, 0.05, 0.0), normal=2, radius=0.0095)
SLOT = Patch(centre=(0.06, 0.095, 0.133), normal=2, sides=(0.12, 0.01))
SWEEP = 2 * np.pi * np.geomspace(10, 3000, 300)
EXAMPLES = pytest.mark.parametrize("chamber", Cuboid.examples(), ids=lambda c: f"{c.terminals}-openings")


@EXAMPLES
def test_symmetric_and_passive(chamber):
    y = chamber.admittance(SWEEP, AIR)
    assert y.shape == (len(SWEEP), chamber.terminals, chamber.terminals)
    scale = np.abs(y).max(axis=(1, 2))
    assert np.all(np.abs(y - y.transpose(0, 2, 1)).max(axis=(1, 2)) <= 1e-12 * scale)
    power = np.linalg.eigvalsh(y + y.conj().transpose(0, 2, 1))
    assert np.all(power[:, 0] > -1e-12 * scale)
    assert np.all(power[:, -1] > 0)


@EXAMPLES
def test_analytic_in_omega(chamber):
    centre = 2 * np.pi * np.array([90.0, 700.0, 2100.0]) * (1 + 0.02j)
    step = centre * 1e-5
    along = chamber.admittance(centre + step, AIR) - chamber.admittance(centre - step, AIR)
    across = chamber.admittance(centre + 1j * step, AIR) - chamber.admittance(centre - 1j * step, AIR)
    assert np.abs(across - 1j * along).max() < 1e-6 * np.abs(along).max()


def test_impedance_is_the_inverse():
    chamber = Cuboid(size=SIZE, patches=(CONE, NOSE, SLOT))
    product = chamber.impedance(SWEEP, AIR) @ chamber.admittance(SWEEP, AIR)
    assert np.abs(product - np.eye(3)).max() < 1e-6


def test_lossless_without_viscosity():
    chamber = Cuboid(size=SIZE, patches=(CONE, NOSE, SLOT))
    y = chamber.admittance(SWEEP, STILL)
    assert np.abs(y.real).max() < 1e-12 * np.abs(y.imag).max()


def test_small_chamber_is_a_compliance():
    chamber = Cuboid(size=SIZE, patches=(CONE, NOSE, SLOT))
    omega = 2 * np.pi * np.array([0.01, 1.0, 20.0])
    total = chamber.admittance(omega, STILL).sum(axis=(1, 2))
    compliance = 1j * omega * chamber.volume / STILL.bulk_modulus
    assert total == pytest.approx(compliance, rel=1e-3)
    assert total[0] == pytest.approx(compliance[0], rel=1e-9)  # digits that a plain inverse of Z loses


def test_power_balance_at_low_frequency():
    chamber = Cuboid(size=SIZE, patches=(CONE, NOSE, SLOT), loss_q=50.0)
    omega = 2 * np.pi * np.array([5.0])
    pressure = np.ones((1, 3))
    entering = (pressure @ chamber.admittance(omega, STILL)[0]).sum().real
    lost = omega[0] * chamber.volume / STILL.bulk_modulus / 50.0
    assert entering == pytest.approx(lost, rel=1e-4)  # the inertances see a k^2 L^2 more pressure inside


def test_full_walls_are_a_plane_wave_duct():
    width, height, length = 0.08, 0.05, 0.6
    ends = tuple(Patch(centre=(0.04, 0.025, z), normal=2, sides=(width, height)) for z in (0.0, length))
    omega = 2 * np.pi * np.array([31.0, 211.0, 1900.0, 2950.0])
    z = Cuboid(size=(width, height, length), patches=ends).impedance(omega, STILL)
    k, characteristic = omega / STILL.sound_speed, STILL.density * STILL.sound_speed / (width * height)
    assert z[:, 0, 0] == pytest.approx(characteristic / (1j * np.tan(k * length)), rel=1e-7)
    assert z[:, 0, 1] == pytest.approx(characteristic / (1j * np.sin(k * length)), rel=1e-7)


def green(patches, size, k, count):
    """Sum over the z orders in closed form, over x and y orders one by one; patches in planes z = const."""
    kx, ky = (np.pi * np.arange(count) / length for length in size[:2])
    kt = np.hypot(kx[:, None], ky[None, :])
    double = np.where(np.arange(count) == 0, 1.0, 2.0)
    low, high = sorted(patch.centre[2] for patch in patches)
    psi = double[:, None] * double[None, :] / (size[0] * size[1])
    for patch in patches:
        psi = psi * np.cos(kx[:, None] * patch.centre[0]) * np.cos(ky[None, :] * patch.centre[1])
        if patch.sides:
            x, y = (np.sinc(q * side / (2 * np.pi)) for q, side in zip((kx, ky), patch.sides, strict=True))
            psi = psi * np.outer(x, y)
        else:
            argument = kt * patch.radius
            argument[0, 0] = 1e-9
            psi = psi * 2 * j1(argument) / argument
    kappa = np.sqrt(kt**2 - k**2 + 0j)
    mirror = (1 + np.exp(-2 * kappa * low)) * (1 + np.exp(-2 * kappa * (size[2] - high)))
    wave = np.exp(-kappa * (high - low)) * mirror / (2 * kappa * -np.expm1(-2 * kappa * size[2]))
    return (psi * wave).sum()


part = st.floats(0.0, 1.0)


@st.composite
def chambers(draw):
    """A cuboid with a disc and a rectangle in planes z = const, walls or inside.

    Openings under a fifth of the side would need more modes than the brute sum has (it errs by 0.4/(K a)^2).
    """
    size = tuple(draw(st.floats(0.08, 0.25)) for _ in range(3))
    patches, depths = [], draw(st.permutations([0.0, 0.3, 1.0]))
    for shape, where in zip(("disc", "rectangle"), depths[:2], strict=True):
        half = [draw(st.floats(0.2, 0.45)) * length for length in size[:2]]
        if shape == "disc":
            half = [min(half)] * 2
        centre = [h + draw(part) * (length - 2 * h) for h, length in zip(half, size[:2], strict=True)]
        form = {"radius": half[0]} if shape == "disc" else {"sides": (2 * half[0], 2 * half[1])}
        patches.append(Patch(centre=(*centre, where * size[2]), normal=2, **form))
    return Cuboid(size=size, patches=tuple(patches))


@settings(max_examples=12, deadline=None, derandomize=True, phases=[Phase.generate])
@given(chambers(), st.floats(0.1, 0.9))
def test_equals_a_sum_over_very_many_modes(chamber, fraction):
    # a complex frequency keeps clear of the poles; 700 x 700 x infinitely many modes
    k = fraction * 60.0 * (1 + 0.05j)
    omega = np.array([k * STILL.sound_speed])
    z = chamber.impedance(omega, STILL)[0] / (1j * omega[0] * STILL.density)
    one, two = chamber.patches
    brute = [green(pair, chamber.size, k, 700) for pair in ((one, one), (two, two), (one, two))]
    scale = math.sqrt(abs(brute[0] * brute[1]))
    assert abs(z[0, 0] - brute[0]) < 2e-5 * abs(brute[0])
    assert abs(z[1, 1] - brute[1]) < 2e-5 * abs(brute[1])
    assert abs(z[0, 1] - brute[2]) < 2e-5 * scale


def test_openings_on_walls_at_right_angles_equal_a_sum_over_modes():
    chamber = Cuboid(size=SIZE, patches=(CONE, NOSE))
    k = 25.0 * (1 + 0.05j)
    omega = np.array([k * STILL.sound_speed])
    z = chamber.impedance(omega, STILL)[0] / (1j * omega[0] * STILL.density)
    orders = np.stack(np.meshgrid(*[np.arange(120)] * 3, indexing="ij"), -1).reshape(-1, 3)
    psi = means(CONE, SIZE, orders) * means(NOSE, SIZE, orders)
    weight = np.where(orders == 0, 1.0, 2.0).prod(axis=1) / math.prod(SIZE)
    square = ((orders * np.pi / np.array(SIZE)) ** 2).sum(axis=1)
    brute = (weight * psi / (square - k**2)).sum()
    assert abs(z[0, 1] - brute) < 1e-5 * math.sqrt(abs(z[0, 0] * z[1, 1]))


def crowd():
    """Openings near each other, near edges and in corners: all the near field's branches."""
    flat = [
        Patch(centre=(0.105, 0.03, 0.133), normal=2, radius=0.0145),
        Patch(centre=(0.06, 0.05, 0.133), normal=2, sides=(0.03, 0.02)),
        Patch(centre=(0.06, 0.065, 0.133), normal=2, sides=(0.05, 0.01)),
        Patch(centre=(0.02, 0.03, 0.133), normal=2, radius=0.0195),
        Patch(centre=(0.06, 0.02, 0.133), normal=2, radius=0.0195),
        Patch(centre=(0.04, 0.05, 0.05), normal=2, radius=0.02),
    ]
    return (SLOT, CONE, *flat)


def remainder(patches, budget, monkeypatch):
    top, eta = cavity_module.smoothing(SIZE, 70.0, budget)
    monkeypatch.setattr(cavity_module, "smoothing", lambda size, kept: (top, eta))
    room = cavity_module.cavity.__wrapped__(SIZE, patches, 1500.0)
    monkeypatch.undo()
    none = np.zeros(2)
    return room.remainder(np.array([-900.0, 1100.0]), none, none), room.pairs


def test_the_split_length_does_not_matter(monkeypatch):
    few, pairs = remainder(crowd(), 20_000, monkeypatch)
    many, _ = remainder(crowd(), 200_000, monkeypatch)
    own = {i: np.abs(many[:, n]) for n, (i, j) in enumerate(zip(*pairs, strict=True)) if i == j}
    for n, (i, j) in enumerate(zip(*pairs, strict=True)):
        error = np.abs(few[:, n] - many[:, n]) / np.sqrt(own[i] * own[j])
        strips = {type(p.radius) for p in (crowd()[i], crowd()[j])} == {float, type(None)}
        limit = (
            1e-8 if i == j else 1e-4 if strips else 2e-5
        )  # a disc 0.5 mm from a rectangle is cut into strips
        assert error.max() < limit, (i, j)


def test_kernel_is_its_integral():
    eta, r = 0.01, np.array([0.002, 0.01, 0.03])
    t = eta**2 * (np.linspace(0, 1, 40_001)[1:] - 0.5 / 40_000)
    for m in range(4):
        direct = (
            t**m / math.factorial(m) * (4 * np.pi * t) ** -1.5 * np.exp(-(r[:, None] ** 2) / (4 * t))
        ).sum(1)
        assert kernel(r, eta)[m] == pytest.approx(direct * eta**2 / 40_000, rel=2e-4)


@pytest.mark.parametrize(("air", "error"), [(STILL, 1e-8), (AIR, 5e-5)], ids=["lossless", "lossy"])
def test_result_does_not_depend_on_the_rest_of_the_sweep(air, error):
    # a wider sweep keeps more modes one by one; the others have wall loss to first order, d_v B = 0.6 % here
    chamber = Cuboid(size=SIZE, patches=(CONE, NOSE, SLOT))
    omega = 2 * np.pi * np.array([700.0, 1000.0])
    alone = chamber.impedance(omega, air)
    among = chamber.impedance(np.append(omega, 2 * np.pi * 6000), air)[:2]
    assert np.abs(alone - among).max() < error * np.abs(alone).max()


def test_a_resonance_is_as_sharp_as_its_wall_losses():
    # first mode (0, 0, 1): D = k1^2 - d_v W - k^2 (1 + (gamma - 1) d_t B), so 1/Q follows from W and B
    corner = Patch(centre=(0.02, 0.02, 0.0), normal=2, radius=0.01)
    f1 = AIR.sound_speed / (2 * SIZE[2])
    f = f1 * np.linspace(0.97, 1.02, 4001)
    real = Cuboid(size=SIZE, patches=(corner,)).impedance(2 * np.pi * f, AIR)[:, 0, 0].real
    half = f[real > real.max() / 2]
    layer = np.sqrt(2 * AIR.kinematic_viscosity / (2 * np.pi * f1)) / 2  # imaginary part of sqrt(nu/(jw))
    side, end = 2 / SIZE[0] + 2 / SIZE[1], 4 / SIZE[2]
    loss = layer * (side + (AIR.gamma - 1) / math.sqrt(AIR.prandtl) * (side + end))
    assert (half[-1] - half[0]) / f1 == pytest.approx(loss, rel=0.01)


class Plain:
    """Air as an equivalent fluid, with a made-up drag."""

    def __init__(self, drag):
        self.drag = drag

    def density(self, omega, air):
        return air.density + self.drag / (1j * omega)

    def compressibility(self, omega, air):
        return np.full(len(omega), air.gamma / air.bulk_modulus, dtype=complex)


def test_stuffing_replaces_density_and_compressibility():
    patches = (CONE, NOSE)
    stuffed = Cuboid(size=SIZE, patches=patches, fluid=Plain(4000.0))
    y = stuffed.admittance(SWEEP, AIR)
    assert np.all(
        np.linalg.eigvalsh(y + y.conj().transpose(0, 2, 1))[:, 0] > -1e-12 * np.abs(y).max(axis=(1, 2))
    )
    assert np.abs(y - y.transpose(0, 2, 1)).max() < 1e-12 * np.abs(y).max()
    low = stuffed.admittance(SWEEP[:1], AIR)[0].sum()
    assert low.imag == pytest.approx(SWEEP[0] * stuffed.volume * AIR.gamma / AIR.bulk_modulus, rel=0.02)
    bare = Cuboid(size=SIZE, patches=patches, fluid=Plain(0.0)).impedance(SWEEP, AIR)
    slow = Cuboid(size=SIZE, patches=patches).impedance(
        SWEEP, air_like(STILL.density, STILL.sound_speed / math.sqrt(AIR.gamma))
    )
    assert np.abs(bare - slow).max() < 1e-9 * np.abs(slow).max()


def air_like(density, speed):
    return type(AIR)(density=density, sound_speed=speed, viscosity=0.0, prandtl=0.7, gamma=1.4)


def test_coupling_of_modes():
    chamber = Cuboid(size=SIZE, patches=(Patch(centre=(0.06, 0.05, 0.0), normal=2, sides=(0.12, 0.10)), NOSE))
    modes = {mode.order: mode for mode in chamber.modes(AIR, 0.0, 3000.0)}
    assert modes[0, 0, 0].coupling == pytest.approx([1.0, 1.0])
    assert modes[0, 0, 1].coupling == pytest.approx([1.0, 1.0])  # a full wall moves with the axial mode
    assert modes[1, 0, 0].coupling[0] == pytest.approx(0.0, abs=1e-15)
    x = np.pi / 0.12 * 0.0095
    assert modes[1, 0, 0].coupling[1] == pytest.approx(2 * j1(x) / x * math.cos(np.pi * 0.11 / 0.12))
    assert [mode.order for mode in chamber.modes(AIR, 1000.0, 1300.0)] == [(0, 0, 1)]


def test_mean_over_a_disc_is_the_mean_of_points():
    orders = np.array([[0, 0, 0], [1, 2, 0], [4, 0, 3], [5, 3, 2]])
    radius, angle = np.sqrt((np.arange(200) + 0.5) / 200), np.arange(200) * np.pi / 100
    x = CONE.centre[0] + CONE.radius * np.outer(radius, np.cos(angle))
    z = CONE.centre[2] + CONE.radius * np.outer(radius, np.sin(angle))
    direct = [
        (np.cos(np.pi * a * x / SIZE[0]) * np.cos(np.pi * c * z / SIZE[2])).mean() for a, _, c in orders
    ]
    assert means(CONE, SIZE, orders) == pytest.approx(direct, abs=2e-5)


def test_pressure_map_averages_to_the_impedance():
    chamber = Cuboid(size=SIZE, patches=(CONE, NOSE, SLOT))
    omega = 2 * np.pi * np.array([300.0, 1500.0])
    flows = np.array([[1e-3, 0, 0], [1e-3, 0, 0]])
    x, w = np.polynomial.legendre.leggauss(12)
    grid = np.stack(np.meshgrid(0.06 * (1 + x), 0.095 + 0.005 * x, indexing="ij"), -1).reshape(-1, 2)
    points = np.column_stack([grid, np.full(len(grid), SIZE[2])])
    mean = chamber.pressure(omega, AIR, flows, points) @ np.outer(w, w).ravel() / 4
    assert mean == pytest.approx(1e-3 * chamber.impedance(omega, AIR)[:, 2, 0], rel=1e-5)


def test_pressure_in_front_of_a_small_disc_is_that_of_a_baffled_piston():
    # static field on the axis of a piston with a uniform flow: rho U''/(pi a^2) (sqrt(z^2 + a^2) - z)
    a, z, size = 0.004, np.array([0.002, 0.004, 0.01]), (0.5, 0.5, 0.5)
    disc = Patch(centre=(0.25, 0.25, 0.0), normal=2, radius=a)
    points = np.column_stack([np.full(3, 0.25), np.full(3, 0.25), z])
    omega = np.array([2 * np.pi * 2.0])
    got = Cuboid(size=size, patches=(disc,)).pressure(omega, STILL, np.ones((1, 1)), points)[0]
    got = (got - STILL.bulk_modulus / (1j * omega[0] * 0.125)).imag / (omega[0] * STILL.density)
    wanted = (np.hypot(z, a) - z) / (np.pi * a**2)
    assert got - got[2] == pytest.approx(wanted - wanted[2], rel=0.02, abs=0.02)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (
            {"patches": (Patch(centre=(0.115, 0.05, 0.0), normal=2, radius=0.01),)},
            "x = 0.105 to 0.125 m, outside",
        ),
        ({"patches": (Patch(centre=(0.05, 0.05, 0.2), normal=2, radius=0.01),)}, "z = 0.2 to 0.2 m, outside"),
        ({"patches": ()}, "at least one patch"),
        ({"size": (0.1, 0.0, 0.1)}, "three positive lengths"),
        ({"loss_q": 0.0}, "loss_q must be positive"),
    ],
)
def test_bad_geometry_is_refused(change, text):
    with pytest.raises(ValueError, match=text):
        Cuboid(**{"size": SIZE, "patches": (NOSE,)} | change)


@pytest.mark.parametrize(
    "shape", [{}, {"radius": 0.1, "sides": (0.1, 0.1)}, {"radius": -0.1}, {"radius": 0.1, "normal": 3}]
)
def test_bad_patch_is_refused(shape):
    with pytest.raises(ValueError, match="patch"):
        Patch(**{"centre": (0.0, 0.0, 0.0), "normal": 0} | shape)
