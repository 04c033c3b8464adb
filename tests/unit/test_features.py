"""Natural frequencies against the state matrix of lumped boxes; energy shares against what a changed element does."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import Element
from airpath.elements.chamber import Chamber
from airpath.elements.cone import Cone
from airpath.elements.duct import Duct
from airpath.elements.plug import Plug
from airpath.findings.explaining.features import matching, spots
from airpath.findings.explaining.poles import searched
from airpath.findings.explaining.resonances import distinct, mobility, refine, shape
from airpath.findings.explaining.shares import shares
from airpath.network.graph import OUTSIDE, Network
from small_boxes import DRIVER, LOSSLESS, REFERENCE, Shunt, box, branch, cone, mass, spring

GRID = np.geomspace(3, 3000, 900)
SEEDS = range(6)


def random_box(seed: int, friction: float = 1.0) -> Network:
    """Return one to four chambers in a chain, each with a leak and some with a port to the outside. Invented sizes.

    ``friction``: of the suspension, as a multiple of the driver's own.
    """
    rng = np.random.default_rng(seed)
    nodes = ["A", "B", "C", "D"][: int(rng.integers(1, 5))]

    def plug() -> Plug:
        return mass(float(rng.uniform(0.03, 0.08)), float(rng.uniform(0.05, 0.2)))

    parts = []
    for node in nodes:
        gap = Shunt(conductance=float(rng.uniform(0.2e-7, 2e-7)))
        parts.append(branch(spring(float(rng.uniform(2e-3, 30e-3))), node, role="chamber", owner=f"space {node}"))
        parts.append(branch(gap, node, role="leak", owner=f"gap {node}"))
    parts += [branch(plug(), a, b) for a, b in pairwise(nodes)]
    parts += [branch(plug(), node, OUTSIDE) for node in nodes[:: int(rng.integers(1, 3))]]
    driver = cone(DRIVER)
    return box(replace(driver, resistance=friction * driver.resistance), *parts)


def state_matrix(network: Network, clamped: bool) -> np.ndarray:
    """Return A of x' = A x: chamber pressures, plug flows and, unless it is clamped, the cone's travel and velocity.

    C p' = -sum of flows out - G p; M U' = p_a - p_b; m v' = Sd p - R v - x/Cms. Written from the laws of motion alone.
    """
    driver, rest = network.branches[0].element, network.branches[1:]
    assert isinstance(driver, Cone)
    chambers = {b.nodes[0]: b.element.volume / LOSSLESS.bulk_modulus for b in rest if isinstance(b.element, Chamber)}
    gaps = {b.nodes[0]: b.element.conductance for b in rest if isinstance(b.element, Shunt)}
    plugs = [b for b in rest if isinstance(b.element, Plug)]
    index = {node: i for i, node in enumerate(chambers)}
    n = len(index) + len(plugs)
    a = np.zeros((n + 2, n + 2))
    for node, i in index.items():
        a[i, i] = -gaps[node] / chambers[node]
    for k, b in enumerate(plugs, len(index)):
        inertance = LOSSLESS.density * b.element.length / b.element.section.area
        for node, sign in zip(b.nodes, (1, -1), strict=True):
            if node in index:
                a[k, index[node]] = sign / inertance
                a[index[node], k] = -sign / chambers[node]
    rear = index["A"]
    a[rear, n + 1] = -driver.area / chambers["A"]
    a[n, n + 1] = 1
    a[n + 1, n] = -1 / driver.compliance / driver.mass
    a[n + 1, n + 1] = -driver.resistance / driver.mass
    a[n + 1, rear] = driver.area / driver.mass
    return a[:n, :n] if clamped else a


def oscillating(matrix: np.ndarray) -> np.ndarray:
    """Return its natural frequencies with e^{jwt}, those that oscillate inside the grid, in rising order."""
    omega = np.linalg.eigvals(matrix) / 1j
    keep = (omega.real > 2 * np.pi * GRID[0]) & (omega.real < 2 * np.pi * GRID[-1]) & (omega.imag < omega.real)
    return np.array(sorted(omega[keep], key=lambda w: w.real))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("held", ["free", "clamped"])
def test_natural_frequencies_are_the_eigenvalues_of_the_state_matrix(seed: int, held: str) -> None:
    network = random_box(seed)
    omega = 2 * np.pi * GRID
    guesses = searched(network, omega, mobility(network, omega))
    found = distinct(refine(network, guesses[0 if held == "free" else 1], held))  # type: ignore[arg-type]
    expected = oscillating(state_matrix(network, held == "clamped"))
    assert len(expected)
    assert found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("points", [24, 61])
def test_a_coarse_grid_finds_every_eigenvalue_of_the_state_matrix_too(seed: int, points: int) -> None:
    network = random_box(seed)
    omega = 2 * np.pi * np.geomspace(GRID[0], GRID[-1], points)
    guesses = searched(network, omega, mobility(network, omega))
    for held, start in zip(("free", "clamped"), guesses, strict=True):
        expected = oscillating(state_matrix(network, held == "clamped"))
        assert distinct(refine(network, start, held)) == pytest.approx(expected, rel=1e-6)  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", SEEDS)
def test_free_and_clamped_frequencies_take_turns(seed: int) -> None:
    # Foster 1924, Bell System Technical Journal 3, 259: poles and zeros of a driving-point immittance alternate.
    network = random_box(seed)
    omega = 2 * np.pi * GRID
    guesses = searched(network, omega, mobility(network, omega))
    free, held = (distinct(refine(network, g, k)).real for g, k in zip(guesses, ("free", "clamped"), strict=True))  # type: ignore[arg-type]
    assert abs(len(free) - len(held)) <= 1
    both = sorted([(w, "free") for w in free] + [(w, "clamped") for w in held])
    assert all(a[1] != b[1] for a, b in pairwise(both))


def changed(network: Network, index: int, factor: float, key: str) -> Network:
    """Return the network with one size of one element multiplied by a factor."""
    part = network.branches[index]
    element = replace(part.element, **{key: getattr(part.element, key) * factor})
    branches = tuple(replace(part, element=element) if i == index else b for i, b in enumerate(network.branches))
    return replace(network, branches=branches)


def slope(network: Network, omega: complex, index: int, key: str) -> float:
    """Return d ln f / d ln(size) by solving two changed boxes, to about 1e-9 / 2e-4: where the search stops."""
    h = 1e-4
    up, down = (refine(changed(network, index, 1 + s * h, key), np.array([omega]), "free")[0] for s in (1, -1))
    return float(np.log(up / down).real / (2 * h))


def line_box(air: Air) -> Network:
    """Return a vented box whose port is a pipe: a chamber with a leak, a duct, the cone."""
    return box(
        cone(DRIVER),
        branch(spring(0.02), "A", role="chamber", owner="box"),
        branch(Duct(section=Section(height=0.06), length=0.5, loss_q=100.0), "A", OUTSIDE, owner="pipe"),
        branch(Shunt(conductance=1e-7), "A", role="leak", owner="gap"),
        air=air,
    )


SIZE: dict[type[Element], str] = {Chamber: "volume", Plug: "length"}


@pytest.mark.parametrize("seed", SEEDS)
def test_a_share_is_the_sensitivity_to_the_size(seed: int) -> None:
    # Rayleigh, Theory of Sound, section 88: a small change of one part moves the frequency by its share of the energy.
    network = random_box(seed)
    for omega in oscillating(state_matrix(network, False)):
        part = shares(shape(network, omega, "free"))
        assert sum(s.total for s in part.values()) == pytest.approx(1, abs=1e-12)
        for index, b in enumerate(network.branches):
            if type(b.element) in SIZE:
                share = part[b.owner].total
                assert slope(network, omega, index, SIZE[type(b.element)]) == pytest.approx(-share, rel=1e-3, abs=2e-5)


@pytest.mark.parametrize("seed", SEEDS)
def test_kinetic_and_potential_shares_are_the_sensitivities_to_mass_and_compliance(seed: int) -> None:
    network = random_box(seed, friction=0.02)  # friction belongs to neither: it blurs the split by 1/Q^2
    for omega in oscillating(state_matrix(network, False)):
        driver = shares(shape(network, omega, "free"))[network.branches[0].owner]
        assert slope(network, omega, 0, "mass") == pytest.approx(-driver.kinetic, rel=1e-3, abs=1e-5)
        assert slope(network, omega, 0, "compliance") == pytest.approx(-driver.potential, rel=1e-3, abs=1e-5)


def test_the_share_of_a_pipe_is_the_sensitivity_to_its_length() -> None:
    network = line_box(LOSSLESS)  # wall friction doesn't grow with length and frequency alike
    ringing = [spot for spot in spots(network, np.geomspace(15, 1000, 500)) if spot.cone == "free"]
    assert len(ringing) >= 3
    for spot in ringing:
        assert spot.omega is not None
        part = shares(shape(network, spot.omega, "free"))
        assert sum(s.total for s in part.values()) == pytest.approx(1, abs=1e-12)
        assert slope(network, spot.omega, 2, "length") == pytest.approx(-part["pipe"].total, rel=1e-3)


def test_features_stay_when_the_grid_is_doubled() -> None:
    network = line_box(REFERENCE)
    coarse, fine = (spots(network, np.geomspace(15, 1000, n)) for n in (301, 601))
    assert [s.kind for s in coarse] == [s.kind for s in fine]
    assert [s.frequency for s in coarse] == pytest.approx([s.frequency for s in fine], rel=1e-6)


def test_a_feature_is_found_between_grid_points() -> None:
    # A resonance ten times narrower than the grid: next to nothing of it shows on the grid itself.
    network = box(
        cone(DRIVER), branch(spring(0.02), "A", role="chamber"), branch(spring(0.001), "B", role="chamber"),
        branch(mass(0.006, 0.05), "A", "B"), branch(Shunt(conductance=1e-10), "B", role="leak"),
        branch(Shunt(conductance=1e-12), "A", role="leak"),
    )  # fmt: skip
    sharp = max(oscillating(state_matrix(network, False)), key=lambda w: w.real / w.imag)
    grid = np.geomspace(20, 400, 25)
    assert 2 * sharp.imag / sharp.real < np.log(grid[1] / grid[0]) / 10
    peaks = [s.frequency for s in spots(network, grid) if s.kind != "dip"]
    assert any(abs(f / (sharp.real / 2 / np.pi) - 1) < 1e-3 for f in peaks)


def test_matching_is_one_to_one_and_leaves_out_what_is_too_far() -> None:
    distance = np.array([[0.05, 0.06], [0.055, np.inf], [np.inf, np.inf]])
    assert matching(distance, 0.1) == {0: 1, 1: 0}
