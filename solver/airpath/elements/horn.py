"""Horns and tapered ducts: plane one-parameter waves in a duct whose area changes.

With the area S = S1 F(x)^2 and F'' = mu F the horn equation has elementary solutions: psi = p F obeys
psi'' + (k^2 - mu) psi = 0. mu = 0 is a cone, F = e^{mx} the exponential horn, F = cosh mx + T sinh mx the family
of Salmon 1946, J. Acoust. Soc. Am. 17, 199. The areas are plane cross-sections.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega, cascade, two_port
from airpath.elements.duct import medium

LOSS_PIECES = 12  # pieces of a profile that each take the wall losses of their own width


@dataclass(frozen=True, kw_only=True)
class Horn(Element):
    """A horn from ``throat`` to ``mouth`` [m^2] over ``length`` [m], exact for its profile.

    ``curvature`` mu [1/m^2] and ``opening`` F'(0) [1/m] fix the profile (see :func:`horn_profile`). Losses: those of a
    round duct of the local area, or of a rectangle with one side ``depth`` [m], in pieces; ``fill``: stuffing spread
    over the horn. ``count`` of them in parallel. Checked by: published/horns.
    """

    kind: ClassVar[str] = "horn"
    throat: float
    length: float
    curvature: float = 0.0
    opening: float = 0.0
    count: int = 1
    fill: Fill | None = None
    pieces: int = LOSS_PIECES
    depth: float | None = None

    @property
    def terminals(self) -> int:
        """Two: throat and mouth."""
        return 2

    def shape(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return F = sqrt(S/S1) at distances x [m]."""
        m = np.sqrt(complex(self.curvature))
        angle = m * x
        sine = np.where(np.abs(angle) < 1e-9, x, np.sinh(angle) / m if m != 0 else x)
        return np.asarray((np.cosh(angle) + self.opening * sine).real)

    def slope(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return F' [1/m] at distances x [m]."""
        m = np.sqrt(complex(self.curvature))
        return np.asarray((m * np.sinh(m * x) + self.opening * np.cosh(m * x)).real)

    def area(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the area [m^2] at distances x [m]."""
        return self.throat * self.shape(x) ** 2

    @property
    def volume(self) -> float:
        """Volume of the air in it [m^3], of all ``count`` together."""
        node, weight = np.polynomial.legendre.leggauss(24)
        return float(self.count * self.length / 2 * weight @ self.area(self.length * (node + 1) / 2))

    def part(self, first: float, last: float) -> Horn:
        """Return the stretch of the horn between two distances [m] as a horn of its own."""
        shape, slope = self.shape(np.array([first]))[0], self.slope(np.array([first]))[0]
        return Horn(
            throat=self.throat * float(shape) ** 2, length=last - first, curvature=self.curvature,
            opening=float(slope / shape), count=self.count, fill=self.fill, pieces=self.pieces, depth=self.depth,
        )  # fmt: skip

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y (n, 2, 2), the cascade of the exact pieces."""
        edges = np.linspace(0.0, self.length, self.pieces + 1)
        return cascade([self._piece(a, b, omega, air) for a, b in pairwise(edges)])

    def _piece(self, first: float, last: float, omega: Omega, air: Air) -> ComplexArray:
        ends = np.array([first, last])
        shape, slope = self.shape(ends), self.slope(ends)
        area = float(self.area(np.array([(first + last) / 2]))[0])
        middle = Section.round(area) if self.depth is None else Section(height=area / self.depth, width=self.depth)
        density, compressibility = medium(middle, omega, air, self.fill)
        wave = np.sqrt(omega**2 * density * compressibility - self.curvature + 0j)
        length = last - first
        scale = self.count * self.throat / (1j * omega * density)
        cotangent, cosecant = wave / np.tan(wave * length), wave / np.sin(wave * length)
        y11 = scale * (shape[0] ** 2 * cotangent + shape[0] * slope[0])
        y22 = scale * (shape[1] ** 2 * cotangent - shape[1] * slope[1])
        return two_port(y11, -scale * shape[0] * shape[1] * cosecant, y22)

    @classmethod
    def examples(cls) -> list[Element]:
        """Return an exponential, a conical, a hyperbolic and a narrowing horn."""
        return [
            horn_profile("exponential", 0.008, 0.2, 1.0),
            horn_profile("conical", 0.008, 0.2, 1.0),
            horn_profile("hyperbolic", 0.008, 0.2, 1.0, 0.5),
            horn_profile("conical", 0.02, 0.004, 0.7),
        ]


def horn_profile(
    profile: str, throat: float, mouth: float, length: float, family: float = 1.0, *, count: int = 1,
    fill: Fill | None = None,
) -> Horn:  # fmt: skip
    """Return the horn of a named profile through the given throat and mouth areas [m^2] and length [m].

    ``profile``: conical, exponential or hyperbolic; ``family`` is Salmon's T of the last (1 = exponential,
    0 = catenoidal). Raises ValueError if no such horn widens from throat to mouth.
    """
    ratio = float(np.sqrt(mouth / throat))
    if profile == "conical":
        curvature, opening = 0.0, (ratio - 1) / length
    elif profile == "exponential":
        m = np.log(ratio) / length
        curvature, opening = m**2, m
    elif profile == "hyperbolic":
        m = _salmon_rate(ratio, family) / length
        curvature, opening = m**2, family * m
    else:
        raise ValueError(f"unknown horn profile {profile!r}")
    return Horn(
        throat=throat, length=length, curvature=float(curvature), opening=float(opening), count=count, fill=fill
    )


def _salmon_rate(ratio: float, family: float) -> float:
    """Solve cosh y + T sinh y = ratio for y > 0."""
    if ratio <= 1:
        raise ValueError("a hyperbolic horn must widen: its mouth must be larger than its throat")
    if family == 1:
        return float(np.log(ratio))
    e = (ratio + np.sqrt(ratio**2 - 1 + family**2)) / (1 + family)  # e^y, the larger root
    return float(np.log(e))
