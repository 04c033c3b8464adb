"""A cuboid chamber with any number of openings: the exact modal Green function averaged over each
opening.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.cavity import (
    REACH,
    Cavity,
    axis_squares,
    cavity,
    orders_below,
    products,
    smoothing,
    wall_terms,
)
from airpath.acoustics.near_field import TERMS, point_field
from airpath.acoustics.patch import FloatArray, Patch, Size, means, shapes_at
from airpath.acoustics.porous import Fluid
from airpath.acoustics.viscothermal import chamber_compressibility
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega

_CHUNK = 1 << 19  # frequencies times modes held at once
_POINTS = 512  # points of a pressure map done at once
_MAP_BUDGET = 6000  # modes behind a pressure map


@dataclass(frozen=True, kw_only=True)
class Mode:
    """One standing wave: ``frequency_hz`` with rigid walls and no loss, ``order`` (nx, ny, nz),
    ``coupling`` (patches,).

    The coupling is the mean over the patch of the mode's shape, which is scaled to a maximum of 1.
    """

    frequency_hz: float
    order: tuple[int, int, int]
    coupling: FloatArray


@dataclass(frozen=True, kw_only=True)
class Cuboid(Element):
    """Chamber of ``size`` (Lx, Ly, Lz) [m] whose terminals are ``patches``, each a piston of uniform
    velocity.

    ``loss_q`` is an absorption Q of the air volume, on top of the walls' boundary layers; ``fluid`` is a
    stuffing that fills the chamber (its own drag then replaces the walls' layers).

    Valid: boundary layers thin against every side; they slow and damp whole modes, so the extra friction
    in the near field of a small opening is not in it. Results change by about (d_v B)^2, under 5e-5, with
    the sweep's highest frequency, which decides how many modes are kept one by one. The inner end
    corrections of the openings are inside the result.
    Source: modal expansion, Kuttruff, Room Acoustics, section 3.2; wall layers from Berggren, Bernland &
    Noreland 2018, J. Comput. Phys. 371, 633, the diagonal of their wall terms in each rigid mode (see
    ``airpath.acoustics.cavity.wall_terms``).
    Raises ValueError when a patch leaves the chamber or a size or ``loss_q`` is not positive.
    Checked by: unit/test_cuboid, published/cavity.
    """

    kind: ClassVar[str] = "cuboid"

    size: Size
    patches: tuple[Patch, ...]
    loss_q: float | None = None
    fluid: Fluid | None = None

    def __post_init__(self) -> None:
        if len(self.size) != 3 or not min(self.size) > 0.0:
            raise ValueError(f"chamber size must be three positive lengths, found {self.size} m")
        if self.loss_q is not None and not self.loss_q > 0.0:
            raise ValueError(f"loss_q must be positive, found {self.loss_q}")
        if not self.patches:
            raise ValueError("a cuboid chamber needs at least one patch")
        for patch in self.patches:
            patch.check_inside(self.size)

    @property
    def terminals(self) -> int:
        """Number of patches."""
        return len(self.patches)

    @property
    def volume(self) -> float:
        """Volume [m^3]."""
        return math.prod(self.size)

    def impedance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Z_ij [Pa s/m^3], mean pressure on i per volume velocity entering at j, shape (n,
        patches, patches).
        """
        common, rest = self._parts(np.asarray(omega), air)
        return np.asarray(common[:, None, None] + rest)

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y [m^3/(s Pa)], shape (n, patches, patches).

        Z is a compliance shared by all entries plus a matrix B that stays small. Flows that sum to zero
        see B alone; the rest sees the compliance, shared out by w with sum(w) = 1, so no digits are lost
        at low frequency:
        Y = N (N^T B N)^-1 N^T + w w^T/(common + w^T B w), N any basis of the flows that sum to zero.
        """
        common, rest = self._parts(np.asarray(omega), air)
        count = self.terminals
        basis = np.eye(count)[:, 1:] - np.eye(count)[:, [0]] * np.ones(count - 1)
        inner = basis.T @ rest @ basis
        exchange = basis @ np.linalg.solve(inner, np.broadcast_to(basis.T, (len(common), count - 1, count)))
        exchange = (exchange + exchange.transpose(0, 2, 1)) / 2
        mean = np.full(count, 1.0 / count)
        share = mean - (exchange @ (rest @ mean)[..., None])[..., 0]
        stiff = common + np.einsum("ni,nij,nj->n", share, rest, share)
        return np.asarray(exchange + share[:, :, None] * share[:, None, :] / stiff[:, None, None])

    def modes(self, air: Air, start_hz: float, stop_hz: float) -> list[Mode]:
        """Return the standing waves between two frequencies [Hz], ends included, in rising order."""
        orders = orders_below(self.size, 2 * math.pi * stop_hz / air.sound_speed * (1 + 1e-12))
        frequency = np.sqrt(axis_squares(orders, self.size).sum(axis=1)) * air.sound_speed / (2 * math.pi)
        coupling = np.stack([means(patch, self.size, orders) for patch in self.patches], axis=1)
        found = zip(frequency, orders.tolist(), coupling, strict=True)
        return [
            Mode(frequency_hz=float(f), order=(o[0], o[1], o[2]), coupling=c)
            for f, o, c in found
            if f >= start_hz * (1 - 1e-12)
        ]

    def pressure(self, omega: Omega, air: Air, flows: NDArray[Any], points: FloatArray) -> ComplexArray:
        """Return the pressure [Pa] at ``points`` (m, 3) [m] inside the chamber, shape (n, m), for a few
        frequencies.

        ``flows`` (n, patches) [m^3/s] enter the chamber at the patches. On a patch and nearer to it than
        about a tenth of its width the field is that of a cloud of points, good to a few per cent.
        """
        omega, points = np.asarray(omega), np.asarray(points, dtype=float)
        q = self._wavenumber_squared(omega, air)
        top, eta = smoothing(self.size, math.sqrt(REACH * self._cavity(q).limit), _MAP_BUDGET)
        orders = orders_below(self.size, top)
        below, density = self._denominators(orders, omega, air)
        below[:, 0] = -(omega**2) * density * self._bulk_compressibility(omega, air)
        psi = np.stack([means(patch, self.size, orders) for patch in self.patches])
        strength = products(orders, self.size, psi.T, np.ones(len(self.patches))).T
        amplitude = (flows @ strength) * np.exp(-below * eta**2) / below
        powers = q[:, None] ** np.arange(TERMS)
        out = np.empty((len(omega), len(points)), dtype=complex)
        for first in range(0, len(points), _POINTS):
            here = slice(first, first + _POINTS)
            close = np.stack([point_field(self.size, patch, points[here], eta) for patch in self.patches])
            near = np.einsum("np,nt,ptm->nm", flows, powers, close)
            out[:, here] = amplitude @ shapes_at(points[here], self.size, orders) + near
        return np.asarray(1j * (omega * density)[:, None] * out)

    def storage(self, omega: Omega, air: Air) -> ComplexArray:
        """Return j w kappa V [m^3/(s Pa)], (n,): all flows in over it are the mean pressure in the chamber."""
        return np.asarray(1j * np.asarray(omega) * self._bulk_compressibility(omega, air) * self.volume)

    @classmethod
    def examples(cls) -> list[Element]:
        """Return chambers with one, two and three openings, on walls and inside, one with a loss Q."""
        size = (0.12, 0.10, 0.133)
        nose = Patch(centre=(0.11, 0.05, 0.0), normal=2, radius=0.008)
        cone = Patch(centre=(0.06, 0.0, 0.08), normal=1, radius=0.04)
        slot = Patch(centre=(0.06, 0.095, 0.133), normal=2, sides=(0.12, 0.01))
        inner = Patch(centre=(0.03, 0.04, 0.05), normal=2, radius=0.012)
        return [
            cls(size=size, patches=(nose,)),
            cls(size=size, patches=(cone, slot), loss_q=60.0),
            cls(size=size, patches=(cone, nose, inner)),
        ]

    def _medium(self, omega: Omega, air: Air) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return density and compressibility without the walls' layers, loss Q included, each of shape
        (n,).
        """
        lossy = 1.0 if self.loss_q is None else 1.0 - 1j / self.loss_q
        if self.fluid is None:
            flat = np.ones(len(omega), dtype=complex)
            return flat * air.density, flat * (lossy / air.bulk_modulus)
        return self.fluid.density(omega, air), self.fluid.compressibility(omega, air) * lossy

    def _bulk_compressibility(self, omega: Omega, air: Air) -> NDArray[Any]:
        """Return the compressibility [1/Pa] of the air that moves as one, with the walls' thermal
        layer, (n,).
        """
        _, plain = self._medium(omega, air)
        if self.fluid is not None:
            return plain
        surface = 2 * sum(self.volume / length for length in self.size)
        return plain + chamber_compressibility(self.volume, surface, omega, air) - 1.0 / air.bulk_modulus

    def _layers(self, omega: Omega, air: Air) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return d_v [m] and (gamma - 1) k^2 d_t [1/m], the complex layer thicknesses
        sqrt(diffusivity/(j w)).
        """
        if self.fluid is not None:
            return np.zeros(len(omega)), np.zeros(len(omega))
        root = np.sqrt(1j * omega)
        thermal = (air.gamma - 1) * (omega / air.sound_speed) ** 2 * math.sqrt(air.thermal_diffusivity)
        return math.sqrt(air.kinematic_viscosity) / root, thermal / root

    def _wavenumber_squared(self, omega: Omega, air: Air) -> NDArray[Any]:
        density, compressibility = self._medium(omega, air)
        return np.asarray(omega**2 * density * compressibility)

    def _cavity(self, q: NDArray[Any]) -> Cavity:
        """Return the one-off part for the largest |k^2| asked for, rounded up to a quarter octave."""
        largest = max(float(np.abs(q).max(initial=0.0)), (math.pi / max(self.size)) ** 2)
        return cavity(self.size, self.patches, float(2.0 ** (math.ceil(4 * math.log2(largest)) / 4)))

    def _denominators(
        self, orders: NDArray[np.int64], omega: Omega, air: Air
    ) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return k_n^2 - q with the walls' terms, shape (n, modes), and the density in front, shape
        (n,).
        """
        viscous, thermal = wall_terms(orders, self.size)
        total = axis_squares(orders, self.size).sum(axis=1)
        q = self._wavenumber_squared(omega, air)
        d_viscous, d_thermal = self._layers(omega, air)
        below = total - q[:, None] - np.outer(d_viscous, viscous) - np.outer(d_thermal, thermal)
        return below, self._medium(omega, air)[0]

    def _parts(self, omega: Omega, air: Air) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return the uniform mode's impedance (n,) and the matrix of all others (n, patches, patches)."""
        q = self._wavenumber_squared(omega, air)
        room = self._cavity(q)
        columns = room.remainder(q, *self._layers(omega, air))
        step = max(1, _CHUNK // len(room.orders))
        for first in range(0, len(omega), step):
            here = slice(first, first + step)
            inverse = 1.0 / self._denominators(room.orders[1:], omega[here], air)[0]
            columns[here] += inverse.real @ room.shapes[1:] + 1j * (inverse.imag @ room.shapes[1:])
        columns *= (1j * omega * self._medium(omega, air)[0])[:, None]
        matrix = np.empty((len(omega), self.terminals, self.terminals), dtype=complex)
        matrix[:, room.pairs[0], room.pairs[1]] = columns
        matrix[:, room.pairs[1], room.pairs[0]] = columns
        return 1.0 / (1j * omega * self._bulk_compressibility(omega, air) * self.volume), matrix
