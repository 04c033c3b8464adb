"""Radiation impedance of openings: baffled round and rectangular pistons, and an open pipe without flange.

All functions return the specific impedance z = Z S/(rho c), shape (n,), of a uniform opening at wavenumber k (n,),
real or complex; e^{+j w t}.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

ComplexArray = NDArray[np.complex128]
Wavenumber = NDArray[Any]

_STRUVE_SERIES_LIMIT = 16.0
# Silva et al. 2009, table 1, unflanged (non-causal fit): beta is 1/2
_SILVA = (0.800, 0.266, 0.0263, 0.0599, 0.238, -0.0153, 0.00150)
UNFLANGED_LENGTH = 0.6133  # end correction / radius at rest, as the fit has it
FLANGED_LENGTH = 0.8216  # pipe in an infinite flange, at rest: Nomura et al. 1960; Norris & Sheng 1989 (from memory)
PISTON_LENGTH = 8 / (3 * np.pi)  # rigid piston in an infinite baffle: Rayleigh, Theory of Sound, vol. 2


def baffled_piston(k: Wavenumber, radius: float) -> ComplexArray:
    """Return z of a rigid round piston of ``radius`` [m] in an infinite baffle.

    z = 1 - 2 J1(x)/x + 2j H1(x)/x with x = 2ka. Source: Rayleigh; tabulated in Kinsler et al., appendix.
    Checked by: published/radiation.
    """
    from scipy.special import j1, jv

    x = 2 * np.asarray(k) * radius
    bessel = jv(1, x) if np.iscomplexobj(x) else j1(x)
    return np.asarray(1 - 2 * bessel / x + 2j * struve_h1(x) / x, dtype=np.complex128)


def disc_mass(area: float, density: float) -> float:
    """Return the mass of air [kg] that moves at rest with one side of a baffled disc, or with both of a free one.

    8/3 rho a^3 for a disc of ``area`` pi a^2 [m^2] in air of ``density`` rho [kg/m^3].
    Source: Rayleigh, Theory of Sound, vol. 2, section 302 (baffled); Lamb, Hydrodynamics, ch. 5 (free); from memory.
    Checked by: physics/test_elements.
    """
    return float(density * area * PISTON_LENGTH * np.sqrt(area / np.pi))


def struve_h1(x: Wavenumber) -> NDArray[Any]:
    """Return the Struve function H1 of real or complex x (n,).

    Power series (Abramowitz & Stegun 12.1.3) up to |x| = 16: scipy's is for real x only, and slow. Beyond it scipy's
    for real x, the asymptotic form (12.1.30) with Y1 for complex x.
    """
    from scipy.special import struve, yv

    x = np.asarray(x)
    near = np.abs(x) <= _STRUVE_SERIES_LIMIT
    out = np.empty_like(x, dtype=np.result_type(x, float))
    square = (x[near] / 2) ** 2
    coefficient = _struve_series(14 + int(2 * np.abs(x[near]).max(initial=0.0)))
    out[near] = square * np.polynomial.polynomial.polyval(square, coefficient)
    far = x[~near]
    if np.iscomplexobj(x):
        out[~near] = yv(1, far) + 2 / np.pi * (1 + far**-2 - 3 * far**-4 + 45 * far**-6 - 1575 * far**-8)
    else:
        out[~near] = struve(1, far)
    return out


@cache
def _struve_series(terms: int) -> NDArray[np.float64]:
    from scipy.special import gamma

    m = np.arange(terms)
    return np.asarray((-1.0) ** m / (gamma(m + 1.5) * gamma(m + 2.5)))


def baffled_rectangle(k: Wavenumber, width: float, height: float) -> ComplexArray:
    """Return z of a rigid rectangular piston ``width`` x ``height`` [m] in an infinite baffle.

    Rayleigh's double surface integral, reduced to the distribution of distances between two points of the rectangle
    and integrated along rays (Gauss points; the kernel e^{-jkr} is entire, so any k does; long slots keep 1e-9).
    Source: Swenson & Johnson 1952, J. Acoust. Soc. Am. 24, 84 pose the integral (from memory); the static mass agrees
    with :func:`rectangle_length`. Checked by: published/radiation.
    """
    k = np.asarray(k)
    diagonal = float(np.hypot(width, height))
    points = 20 + int(np.ceil(0.6 * float(np.abs(k).max()) * diagonal))
    node, weight = np.polynomial.legendre.leggauss(points)
    unit, unit_weight = (node + 1) / 2, weight / 2
    integral = np.zeros(k.shape, dtype=np.complex128)
    for along, across in ((width, height), (height, width)):
        span = np.arcsinh(across / along)
        x, v = along * unit[None, :], span * unit[:, None]  # the ray y = x sinh v; r = x cosh v, dx dy/r = dx dv
        overlap = (along - x) * (across - x * np.sinh(v))
        weights = overlap * (along * unit_weight[None, :]) * (span * unit_weight[:, None])
        integral += np.exp(-1j * k[:, None] * (x * np.cosh(v)).ravel()) @ weights.ravel()
    return np.asarray(2j * k / (np.pi * width * height) * integral)


def rectangle_length(width: float, height: float) -> float:
    """Return the end correction [m] of a baffled rectangular piston at rest.

    I/(2 pi w h), I = 2 [w^2 h asinh(h/w) + w h^2 asinh(w/h)] + (2/3)[w^3 + h^3 - (w^2 + h^2)^(3/2)] (closed form of
    Rayleigh's integral).
    """
    w, h = width, height
    integral = 2 * (w**2 * h * np.arcsinh(h / w) + w * h**2 * np.arcsinh(w / h))
    integral += 2 / 3 * (w**3 + h**3 - (w**2 + h**2) ** 1.5)
    return float(integral / (2 * np.pi * w * h))


def unflanged_pipe(k: Wavenumber, radius: float, stretch: float = 1.0) -> ComplexArray:
    """Return z of the open end of a thin-walled round pipe of ``radius`` [m] without a flange.

    ``stretch``: end correction of another shape of the same area over that of the round one.

    Source: Silva, Guillemain, Kergomard, Mallaroni & Norris 2009, J. Sound Vib. 322, 255, fitted to Levine &
    Schwinger 1948. Valid: ka < 3.5 (within 2 % in |R|, 2.8 % in length); passive beyond.
    Checked by: published/radiation.
    """
    a1, a2, a3, b1, b2, b3, b4 = _SILVA
    ka = np.asarray(k) * radius
    x = ka**2
    magnitude = (1 + a1 * x) / (1 + (0.5 + a1) * x + a2 * x**2 + a3 * x**3)
    length = stretch * UNFLANGED_LENGTH * (1 + b1 * x) / (1 + b2 * x + b3 * x**2 + b4 * x**3)
    reflection = -magnitude * np.exp(-2j * ka * length)
    return np.asarray((1 + reflection) / (1 - reflection))
