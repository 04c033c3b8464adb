"""Mutual radiation of openings: what the flow through one does to the pressure before another.

All functions return a mutual impedance Z_12, mean pressure on 2 per volume velocity through 1 [Pa s/m^3], divided by
rho c, so in 1/m^2; shape (n,) for wavenumbers k (n,) [1/m], real or complex; e^{+j w t}.
"""

from __future__ import annotations

import math

import numpy as np

from airpath.acoustics.radiation import ComplexArray, Wavenumber

_MOST_ORDERS = 60
_ENOUGH = 1e-9  # of the sum: an order below it ends the series


def piston_mutual(k: Wavenumber, first: float, second: float, distance: float) -> ComplexArray:
    """Return Z_12/(rho c) of two round pistons of radius ``first`` and ``second`` [m] in one infinite baffle.

    ``distance`` [m] between their centres, > first + second. Symbols: a, b radii, d distance,
    Z = 2/(pi^{3/2} a b) sum over m, n of G(m + n + 1/2)/(m! n!) (a/d)^m (b/d)^n J_{m+1}(ka) J_{n+1}(kb) h_{m+n}(kd),
    h the spherical Hankel function of the second kind, G the gamma function.
    Source: Pritchard 1960, J. Acoust. Soc. Am. 32, 730 (equal radii; written here for two, from memory).
    Valid: pistons that do not touch; within 1e-6 for gaps down to a twentieth of d.
    Checked by: physics/test_mutual.
    """
    from scipy.special import gammaln, jv

    k = np.asarray(k)
    x = k * distance
    hankel = [1j * np.exp(-1j * x) / x]
    hankel.append(hankel[0] / x + 1j * hankel[0])
    total = np.zeros(k.shape, dtype=np.complex128)
    scaled_a: list[ComplexArray] = []
    scaled_b: list[ComplexArray] = []
    for p in range(_MOST_ORDERS):
        if p > 1:
            hankel.append((2 * p - 1) / x * hankel[-1] - hankel[-2])
        scaled_a.append(np.asarray((first / distance) ** p * jv(p + 1, k * first)))
        scaled_b.append(np.asarray((second / distance) ** p * jv(p + 1, k * second)))
        weight = [math.exp(gammaln(p + 0.5) - gammaln(m + 1) - gammaln(p - m + 1)) for m in range(p + 1)]
        term = hankel[p] * sum(w * scaled_a[m] * scaled_b[p - m] for m, w in enumerate(weight))
        total += term
        if np.all(np.abs(term) <= _ENOUGH * np.abs(total)):
            break
    return np.asarray(2 / (math.pi**1.5 * first * second) * total)


def monopole_mutual(
    k: Wavenumber, first: float, second: float, distance: float, solid_angle: float
) -> ComplexArray:
    """Return Z_12/(rho c) of two small openings ``distance`` [m] apart that radiate into ``solid_angle``.

    j k e^{-jkd}/(solid_angle d), times 2 J1(ka)/(ka) for each of the radii [m]: the mean of a wave that runs across a
    disc, which keeps the pair passive at any frequency. Source: Rayleigh, Theory of Sound, vol. 2; the first term of
    Pritchard 1960 for discs in a baffle. Checked by: physics/test_mutual.
    """
    k = np.asarray(k)
    spread = disc_mean(k * first) * disc_mean(k * second)
    return np.asarray(1j * k * np.exp(-1j * k * distance) / (solid_angle * distance) * spread)


def disc_mean(x: Wavenumber) -> ComplexArray:
    """Return 2 J1(x)/x: the mean over a disc of a wave that runs across it, and a piston's directivity.

    x = ka sin(angle), not 0. Source: Rayleigh; Kinsler et al., Fundamentals of Acoustics (from memory).
    """
    from scipy.special import jv

    return np.asarray(2 * jv(1, x) / x)
