"""Sound in narrow ducts with viscosity and heat conduction: complex density and compressibility.

Symbols: F_v and F_t are the mean over the section of the viscous and thermal boundary-layer functions; the
effective density is rho/(1 - F_v), the effective compressibility (1 + (gamma - 1) F_t)/(rho c^2).

Source: Zwikker & Kosten 1949, Sound Absorbing Materials, ch. II; Tijdeman 1975 (round tubes, low reduced
frequency solution); Stinson 1991, J. Acoust. Soc. Am. 89, 550 (slits, rectangles, any shape).
Valid: from capillary to wide ducts, as long as the width is small against the wavelength.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air

ComplexArray = NDArray[np.complex128]
Omega = NDArray[Any]

_DIRECT_TERMS = 16  # terms of the rectangle's series added one by one; the rest is an integral
_TAIL_POINTS = 32
_TANH_IS_ONE = 20.0  # from this real part on, to rounding
_HANKEL_FROM = 25.0  # |z|; the last term is 1e-15 there, and so is e^(-2 Re z) at an angle of 45 degrees
_HANKEL_TERMS = 15
_POWER_TERMS = 52
_ROUNDING = 1e-17


@dataclass(frozen=True, kw_only=True)
class Section:
    """Cross-section of a duct: round (``width`` is None, ``height`` the diameter) or ``width`` by ``height``, in m."""

    height: float
    width: float | None = None

    @property
    def area(self) -> float:
        """Area [m^2]."""
        return float(np.pi * self.height**2 / 4) if self.width is None else self.width * self.height

    @property
    def radius(self) -> float:
        """Radius of the circle of the same area [m]."""
        return float(np.sqrt(self.area / np.pi))

    @classmethod
    def round(cls, area: float) -> Section:
        """Return the round section of an area [m^2]."""
        return cls(height=float(np.sqrt(4 * area / np.pi)))

    def scaled(self, factor: float) -> Section:
        """Return the section with all its lengths multiplied."""
        return Section(height=self.height * factor, width=None if self.width is None else self.width * factor)


def layer_function(section: Section, omega: Omega, diffusivity: float) -> ComplexArray:
    """Return F (n,) of a section for one diffusivity [m^2/s]: nu for F_v, the thermal one for F_t.

    0 without diffusion, 1 where the layer fills the section. Checked by: published/ducts.
    """
    if diffusivity == 0.0:
        return np.zeros(np.shape(omega), dtype=np.complex128)
    decay: ComplexArray = np.sqrt(1j * np.asarray(omega) / diffusivity)  # 1/m, real part > 0
    if section.width is None:
        return _round(decay * section.height / 2)
    short, long = sorted((section.height, section.width))
    return _rectangle(decay, short, long)


def layer_functions(section: Section, omega: Omega, air: Air) -> tuple[ComplexArray, ComplexArray]:
    """Return F_v and F_t (n,) of a section: both layers at once, which for few frequencies takes half the time."""
    if air.kinematic_viscosity == 0.0 or air.thermal_diffusivity == 0.0:
        return (
            layer_function(section, omega, air.kinematic_viscosity),
            layer_function(section, omega, air.thermal_diffusivity),
        )
    scaled = np.asarray(omega) * (air.kinematic_viscosity / air.thermal_diffusivity)
    both = layer_function(section, np.concatenate([np.asarray(omega), scaled]), air.kinematic_viscosity)
    return both[: len(scaled)], both[len(scaled) :]


def slab_function(argument: ComplexArray) -> ComplexArray:
    """Return tanh(z)/z, the layer function of a slit of half height h with z = h sqrt(j w/nu)."""
    found = np.asarray(1 / argument)
    near = argument.real < _TANH_IS_ONE
    found[near] *= np.tanh(argument[near])
    return found


def _round(argument: ComplexArray) -> ComplexArray:
    """2 I1(z)/(z I0(z)): Hankel's expansion for large |z| and the power series for small, both exact to rounding up to
    50 degrees from the real axis and ten times as quick as scaled Bessel functions, which do the rest."""
    wide, tame = np.abs(argument) >= _HANKEL_FROM, argument.real >= 0.64 * np.abs(argument)
    out = np.empty(argument.shape, dtype=np.complex128)
    for where, ratio in ((wide & tame, _by_hankel), (~wide & tame, _by_powers), (~tame, _by_bessel)):
        if where.any():
            out[where] = ratio(argument[where])
    return out


def _by_hankel(z: ComplexArray) -> ComplexArray:
    """Abramowitz & Stegun 9.7.1 for both functions, divided: one polynomial in 1/z."""
    return 2 * _polynomial(_hankel_quotient(), 1 / z) / z


@cache
def _hankel_quotient() -> NDArray[np.float64]:
    k = np.arange(1, _HANKEL_TERMS)
    one, zero = (np.cumprod([1.0, *(((2 * k - 1) ** 2 - 4 * order**2) / (8 * k))]) for order in (1, 0))
    for i in range(1, _HANKEL_TERMS):
        one[i] -= one[:i] @ zero[i:0:-1]
    return one


def _by_powers(z: ComplexArray) -> ComplexArray:
    """Abramowitz & Stegun 9.6.10: polynomials in z^2/4."""
    square = (z / 2) ** 2
    one, zero = (_polynomial(_power_series(order), square) for order in (1, 0))
    return one / zero


@cache
def _power_series(order: int) -> NDArray[np.float64]:
    k = np.arange(1, _POWER_TERMS, dtype=float)
    return np.cumprod([1.0, *(1 / (k * (k + order)))])


def _by_bessel(z: ComplexArray) -> ComplexArray:
    from scipy.special import ive

    return np.asarray(2 * ive(1, z) / (z * ive(0, z)))


def _polynomial(coefficients: NDArray[Any], x: ComplexArray) -> ComplexArray:
    """Return c0 + c1 x + ... by Horner's rule, without the last terms that are below rounding everywhere."""
    sizes = np.abs(coefficients) * np.abs(x).max() ** np.arange(len(coefficients))
    last = int(np.flatnonzero(sizes > _ROUNDING)[-1])
    total = np.full_like(x, coefficients[last])
    for c in coefficients[:last][::-1]:
        total *= x
        total += c
    return total


@cache
def _unit_gauss() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    nodes, weights = np.polynomial.legendre.leggauss(_TAIL_POINTS)
    return (nodes + 1) / 2, weights / 2


def _rectangle(decay: ComplexArray, short: float, long: float) -> ComplexArray:
    """F of a rectangle: the slit between the long walls, plus what the two short walls add.

    Stinson's double series summed over one direction in closed form; of the other direction the first terms are
    added and the smooth rest is integrated (midpoint Euler-Maclaurin, Gauss points in 1/n).
    """
    square = decay[:, None] ** 2

    def term(n: NDArray[np.float64]) -> ComplexArray:
        wavenumber = (2 * n + 1) * np.pi / short
        gamma = np.sqrt(square + wavenumber**2)
        share = 8 / ((2 * n + 1) ** 2 * np.pi**2) * square / gamma**2
        return np.asarray(share * slab_function(np.asarray(gamma * long / 2, complex)))

    head = term(np.arange(_DIRECT_TERMS, dtype=float)).sum(axis=1)
    t, w = _unit_gauss()
    start = _DIRECT_TERMS - 0.5
    tail = (term(start / t) * (w * start / t**2)).sum(axis=1)
    return np.asarray(slab_function(decay * short / 2) + head + tail)


def effective_medium(section: Section, omega: Omega, air: Air) -> tuple[ComplexArray, ComplexArray]:
    """Return the effective density [kg/m^3] and compressibility [1/Pa], each (n,), of air in a duct."""
    viscous, thermal = layer_functions(section, omega, air)
    return air.density / (1 - viscous), (1 + (air.gamma - 1) * thermal) / air.bulk_modulus


def effective_density(section: Section, omega: Omega, air: Air) -> ComplexArray:
    """Return the effective density [kg/m^3] (n,) of air moving along a duct."""
    return np.asarray(air.density / (1 - layer_function(section, omega, air.kinematic_viscosity)))


def effective_compressibility(section: Section, omega: Omega, air: Air) -> ComplexArray:
    """Return the effective compressibility [1/Pa] (n,) of air in a duct."""
    thermal = layer_function(section, omega, air.thermal_diffusivity)
    return np.asarray((1 + (air.gamma - 1) * thermal) / air.bulk_modulus)


def chamber_compressibility(volume: float, wall_area: float, omega: Omega, air: Air) -> ComplexArray:
    """Return the compressibility [1/Pa] (n,) of the air in a chamber with its walls' thermal layer.

    The layer function is that of a slit of half height V/S: exact for thin layers of any shape, isothermal at rest.
    Source: Morse & Ingard 1968, sec. 6.4 (thermal layer at a wall, from memory).
    """
    if air.thermal_diffusivity == 0.0:
        return np.full(np.shape(omega), 1 / air.bulk_modulus, dtype=np.complex128)
    argument = np.asarray(np.sqrt(1j * np.asarray(omega) / air.thermal_diffusivity) * (volume / wall_area), complex)
    return np.asarray((1 + (air.gamma - 1) * slab_function(argument)) / air.bulk_modulus)


def layer_thickness(omega: Omega, air: Air) -> NDArray[np.float64]:
    """Return the viscous layer's thickness sqrt(2 nu/w) [m]. Source: Pierce, Acoustics, ch. 10 (from memory)."""
    return np.asarray(np.sqrt(2 * air.kinematic_viscosity / np.asarray(omega)))
