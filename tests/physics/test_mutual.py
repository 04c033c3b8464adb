"""Mutual radiation: Pritchard's series against Rayleigh's integral, and its limits."""

from __future__ import annotations

import numpy as np
import pytest

from airpath.acoustics.mutual import monopole_mutual, piston_mutual
from airpath.acoustics.radiation import baffled_piston
from airpath.acoustics.viscothermal import Section
from airpath.air import air_at
from airpath.elements.mouth import Mouth
from airpath.elements.mouths import Mouths


def rayleigh(k: float, a: float, b: float, d: float) -> complex:
    """Mean pressure on one disc per flow through another in the same baffle, over rho c: Rayleigh's integral

    j k/(2 pi S_1 S_2) of e^{-jkr}/r over both discs, on Gauss rings of equally spaced points.
    """
    node, weight = np.polynomial.legendre.leggauss(24)
    angle = 2 * np.pi * (np.arange(80) + 0.5) / 80

    def disc(radius: float) -> tuple[np.ndarray, np.ndarray]:
        r = radius * np.sqrt((node + 1) / 2)  # equal areas
        return (r[:, None] * np.exp(1j * angle)).ravel(), np.repeat(weight / 2, 80) / 80

    (x, wx), (y, wy) = disc(a), disc(b)
    r = np.abs(x[:, None] - y[None, :] - d)
    return complex(1j * k / (2 * np.pi) * (wx @ (np.exp(-1j * k * r) / r) @ wy))


@pytest.mark.parametrize(("a", "b", "d"), [(0.1, 0.1, 0.25), (0.08, 0.035, 0.15), (0.05, 0.05, 1.0), (0.1, 0.02, 0.13)])
@pytest.mark.parametrize("ka", [0.05, 0.5, 2.0, 5.0])
def test_pritchards_series_is_rayleighs_integral(a: float, b: float, d: float, ka: float) -> None:
    """Pritchard 1960, J. Acoust. Soc. Am. 32, 730, against the double integral that it sums (Rayleigh)."""
    k = ka / a
    ours = complex(piston_mutual(np.array([k]), a, b, d)[0])
    assert ours == pytest.approx(rayleigh(k, a, b, d), rel=1e-6)


def test_it_tends_to_the_sum_of_monopoles() -> None:
    """Small and far apart, each piston hears the other as a point source in a baffle (Rayleigh)."""
    k, d = np.array([0.3, 3.0]), 1.0
    point = 1j * k * np.exp(-1j * k * d) / (2 * np.pi * d)
    for a in (0.02, 0.01):
        assert np.abs(piston_mutual(k, a, a, d) / point - 1).max() < 4 * a**2  # (k a)^2/8 each, a^2/d^2
        assert np.abs(monopole_mutual(k, a, a, d, 2 * np.pi) / point - 1).max() < 4 * a**2


def test_two_pistons_at_low_frequency_radiate_as_one_of_twice_the_flow() -> None:
    """Resistance doubles for each of two equal sources well within a wavelength (common practice: +3 dB each)."""
    k, a, d = np.array([0.02]), 0.05, 0.12
    own = baffled_piston(k, a).real / (np.pi * a**2)
    assert piston_mutual(k, a, a, d).real == pytest.approx(own, rel=1e-5)


@pytest.mark.parametrize("spread", [0.25, 0.6, 3.0])
def test_any_arrangement_is_reciprocal_and_passive(spread: float) -> None:
    """Seeded places on three sides of a box, unlike openings, up to several wavelengths across."""
    random = np.random.default_rng(20260 + int(10 * spread))
    kinds = [
        Mouth(section=Section(height=0.12)), Mouth(section=Section(height=0.05), flanged=False),
        Mouth(section=Section(height=0.03, width=0.25)), Mouth(section=Section(height=0.04, width=0.1), flanged=False),
    ]  # fmt: skip
    omega = 2 * np.pi * np.geomspace(5, 6000, 60)
    tried = 0
    while tried < 12:
        chosen = tuple(kinds[i] for i in random.integers(0, 4, 4))
        places = tuple(map(tuple, (random.uniform(-spread, spread, (4, 3)) * [1, 1, random.integers(0, 2)]).tolist()))
        try:
            element = Mouths(mouths=chosen, places=places)  # type: ignore[arg-type]
        except ValueError:
            continue
        tried += 1
        z = element.impedance(omega, air_at())
        assert np.abs(z - z.swapaxes(1, 2)).max() == 0
        scale = np.abs(z).max(axis=(1, 2))
        assert np.all(np.linalg.eigvalsh(z.real)[:, 0] >= -1e-9 * scale)


def test_places_that_overlap_are_refused() -> None:
    disc = Mouth(section=Section(height=0.1))
    with pytest.raises(ValueError, match="overlap"):
        Mouths(mouths=(disc, disc), places=((0.0, 0.0, 0.0), (0.04, 0.0, 0.0)))
    with pytest.raises(ValueError, match="single"):
        Mouths(mouths=(disc, Mouth(section=Section(height=0.1), count=2)), places=((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)))


def test_without_a_baffle_openings_reach_each_other_by_half() -> None:
    """Full space has twice the solid angle: half the pressure per flow (Rayleigh), flange or no flange."""
    cone, k = Mouth(section=Section(height=0.04)), 0.5
    pair, omega = ((0.0, 0.0, 0.0), (0.6, 0.0, 0.0)), np.array([k * air_at().sound_speed])
    baffled, bare = (
        Mouths(mouths=(cone, cone), places=pair, full_space=full).impedance(omega, air_at())[0, 0, 1]
        for full in (False, True)
    )
    assert abs(bare / baffled - 0.5) < 1e-3
    free = Mouth(section=Section(height=0.04), flanged=False)
    mixed = Mouths(mouths=(cone, free), places=pair).impedance(omega, air_at())[0, 0, 1]
    assert abs(mixed / bare - 1) < 1e-9
