"""Stuffing as an equivalent fluid: Miki's correction of the Delany & Bazley regression.

Symbols: X = f/sigma with the flow resistivity sigma [Pa s/m^2]. z = Zc/(rho c), q = k/(w/c).
Source: Delany & Bazley 1970, Appl. Acoust. 3, 105; coefficients of Miki 1990, J. Acoust. Soc. Jpn. (E) 11, 19.
Valid: 0.01 < X < 1; most bass lies below it, where the formula is an extrapolation: compare with care. Its drag
would grow without end and its compression give power back as X falls; below two small X both are held instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air

ComplexArray = NDArray[np.complex128]
Omega = NDArray[Any]

# X at which the fitted drag w Im(rho) has come to sigma itself, the drag of a steady flow (ISO 9053-1): it stays there.
_STEADY_DRAG_RATIO = 2.1e-3
# X below which the fitted compressibility, by then close to the isothermal one, would be active (from 1.052e-3 on).
_PASSIVE_RATIO = 1.1e-3


class Fluid(Protocol):
    """Stuffing that fills a space, as an equivalent fluid; both methods are analytic in ``omega`` (n,) [rad/s]."""

    def density(self, omega: Omega, air: Air) -> ComplexArray:
        """Return the complex density [kg/m^3], shape (n,)."""

    def compressibility(self, omega: Omega, air: Air) -> ComplexArray:
        """Return the complex compressibility [1/Pa], shape (n,)."""


@dataclass(frozen=True, kw_only=True)
class Fill:
    """Stuffing in a share of a space: ``flow_resistivity`` [Pa s/m^2], ``fraction`` of the volume (0 to 1)."""

    flow_resistivity: float
    fraction: float = 1.0

    def density(self, omega: Omega, air: Air) -> ComplexArray:
        """Return the mean density [kg/m^3] (n,) along a path of which ``fraction`` is stuffed."""
        omega = np.asarray(omega)
        held = self._held(omega, _STEADY_DRAG_RATIO)
        impedance, wavenumber = miki(held, self.flow_resistivity)
        ratio = impedance * wavenumber
        low = omega.real < held.real  # a constant mass and a constant drag there
        ratio = np.where(low, ratio.real + 1j * ratio.imag * held / omega, ratio)
        return np.asarray(air.density * (1 - self.fraction + self.fraction * ratio))

    def compressibility(self, omega: Omega, air: Air) -> ComplexArray:
        """Return the mean compressibility [1/Pa] (n,) of a space of which ``fraction`` is stuffed."""
        held = self._held(np.asarray(omega), _PASSIVE_RATIO)
        impedance, wavenumber = miki(held, self.flow_resistivity)
        return np.asarray((1 - self.fraction + self.fraction * wavenumber / impedance) / air.bulk_modulus)

    def _held(self, omega: Omega, lowest: float) -> Omega:
        """Return omega, those below the ``lowest`` X raised to it."""
        least = 2 * np.pi * lowest * self.flow_resistivity
        return np.where(omega.real < least, least, omega)


def miki(omega: Omega, flow_resistivity: float) -> tuple[ComplexArray, ComplexArray]:
    """Return z = Zc/(rho c) and q = k c/w, each (n,), of a fibrous fill. Checked by: published/porous."""
    ratio = 1000 * np.asarray(omega) / (2 * np.pi * flow_resistivity)
    impedance = 1 + (5.50 - 8.43j) * ratio**-0.632
    wavenumber = 1 + (7.81 - 11.41j) * ratio**-0.618
    return np.asarray(impedance), np.asarray(wavenumber)
