"""Rigid cuboid cavity: its modes, what an opening sees of each, and the near field that no finite set of
modes holds.

The wanted sum is G_ij(q) = sum over modes of psi_i psi_j / (Lambda V (k_n^2 - q)), with psi_i the mode's
mean over patch i and q = k^2. On the diagonal it converges far too slowly, so each term is split (Ewald
1921, Ann. Phys. 369, 253) into exp(-(k_n^2 - q) eta^2)/(k_n^2 - q), which dies like a Gaussian, and the
integral over t from 0 to eta^2 of exp(-(k_n^2 - q) t), whose sum over all modes is a short-range kernel
summed over mirror images (``near_field``). Everything except the modes that resonate in the band is smooth
in q and is stored as a short Chebyshev series in q.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from airpath.acoustics.near_field import near_field
from airpath.acoustics.patch import FloatArray, Patch, Size, means

REACH = 3.0  # modes up to k_n^2 = REACH * q_max are kept one by one
_NODES = 14  # Chebyshev nodes for the rest: error about 5.8^-14
_GAUSS = 4.4  # exponent at which exp(-x^2) is dropped: 4e-9
_BUDGET = 40_000  # modes summed once for the smooth part


def orders_below(size: Size, wavenumber: float) -> NDArray[np.int64]:
    """Return the orders (nx, ny, nz) of all rigid modes with k_n <= ``wavenumber`` [1/m], shape (n, 3), by
    k_n.

    ``size`` is (Lx, Ly, Lz) [m]; the uniform mode (0, 0, 0) comes first.
    Source: Kuttruff, Room Acoustics, section 3.2 (rectangular room). Checked by: published/cavity.
    """
    step = [math.pi / length for length in size]
    counts = [np.arange(int(wavenumber / s) + 1) for s in step]
    squares = [(s * n) ** 2 for s, n in zip(step, counts, strict=True)]
    total = squares[0][:, None, None] + squares[1][None, :, None] + squares[2][None, None, :]
    inside = np.argwhere(total <= wavenumber**2)
    return inside[np.argsort(total[total <= wavenumber**2], kind="stable")]


def axis_squares(orders: NDArray[np.int64], size: Size) -> FloatArray:
    """Return k_x^2, k_y^2, k_z^2 [1/m^2] of modes ``orders``, shape (n, 3)."""
    return np.asarray((orders * (math.pi / np.asarray(size))) ** 2, dtype=float)


def doubling(orders: NDArray[np.int64]) -> FloatArray:
    """Return 1 for a zero order and 2 otherwise (1 over the mean of the squared cosine), shape (n, 3)."""
    return np.where(orders == 0, 1.0, 2.0)


def wall_terms(orders: NDArray[np.int64], size: Size) -> tuple[FloatArray, FloatArray]:
    """Return W_n [1/m^3] and B_n [1/m] that multiply d_v and (gamma - 1) k^2 d_t in mode n, each (n,).

    The wall condition dp/dn = -d_v Lap_t p + (gamma - 1) k^2 d_t p (Lap_t along the wall; d =
    sqrt(diffusivity/ (j w))) weighed with mode n itself turns k_n^2 - k^2 into k_n^2 - d_v W_n - k^2 (1 +
    (gamma - 1) d_t B_n): B_n = sum over axes of 2 e_a/L_a (two walls, e_a = 1 or 2 for the cosine's
    square), W_n = sum of (2 e_a/L_a)(k_n^2 - k_a^2).
    Source: Berggren, Bernland & Noreland 2018, J. Comput. Phys. 371, 633, the diagonal in rigid modes.
    """
    squares = axis_squares(orders, size)
    wall = 2.0 * doubling(orders) / np.asarray(size)
    total, whole = (values @ np.ones(3) for values in (squares, wall))
    return total * whole - np.einsum("na,na->n", wall, squares), whole


def products(orders: NDArray[np.int64], size: Size, left: FloatArray, right: FloatArray) -> FloatArray:
    """Return psi_i psi_j/(Lambda V) [1/m^3] for the index pairs of two lists of means, shape (n, pairs)."""
    return np.asarray(_weights(orders, size)[:, None] * left * right, dtype=float)


def _weights(orders: NDArray[np.int64], size: Size) -> FloatArray:
    """Return 1/(Lambda V) of each mode [1/m^3], (n,)."""
    return np.asarray(2.0 ** ((orders > 0) @ np.ones(3)) / math.prod(size))


@dataclass(frozen=True, kw_only=True)
class Cavity:
    """The frequency-independent part of a cuboid with patches, good for |q| up to ``limit``.

    ``orders`` (n, 3) and ``shapes`` (n, pairs) [1/m^3] belong to the kept modes; ``rest`` (3 nodes, pairs)
    holds the Chebyshev coefficients in q/limit of all others: without loss [1/m], per viscous and per
    thermal loss; ``pairs`` are the index pairs i <= j, upper triangle.
    """

    limit: float
    orders: NDArray[np.int64]
    shapes: FloatArray
    rest: FloatArray
    pairs: tuple[NDArray[np.intp], NDArray[np.intp]]

    def remainder(self, q: NDArray[Any], viscous: NDArray[Any], thermal: NDArray[Any]) -> NDArray[Any]:
        """Return the sum over the modes not kept, psi_i psi_j/(Lambda V (k_n^2 - q - losses)) [1/m].

        ``q`` [1/m^2], ``viscous`` d_v [m] and ``thermal`` (gamma - 1) k^2 d_t [1/m] have shape (n,); the
        result (n, pairs) is of first order in the two losses.
        """
        plain = chebyshev.chebvander(q / self.limit, _NODES - 1)
        rows = np.concatenate([plain, plain * viscous[:, None], plain * thermal[:, None]], axis=1)
        return np.asarray(rows @ self.rest)


def smoothing(size: Size, kept: float, budget: int = _BUDGET) -> tuple[float, float]:
    """Return (K, eta): the modes up to K [1/m] carry the smooth part; eta [m] is the Gaussian's length.

    K spends ``budget`` modes (Weyl's count with its wall and edge terms) but is at least 2.5 times
    ``kept`` [1/m].
    """
    x, y, z = size
    wall, edge = 2 * (x * y + y * z + z * x), 4 * (x + y + z)
    weyl = [x * y * z / (6 * math.pi**2), wall / (16 * math.pi), edge / (16 * math.pi), 0.125 - budget]
    roots = np.roots(weyl)
    top = max(float(roots[np.abs(roots.imag) < 1e-9 * np.abs(roots)].real.max()), 2.5 * kept)
    return top, _GAUSS / top


@dataclass(frozen=True, kw_only=True)
class _Spectrum:
    """What a cavity is whatever opens into it: ``orders`` (n, 3) and ``weight`` (n,) [1/m^3] of its modes, the first
    ``count`` of which are kept, and the length ``eta`` [m]. How much the others count at each Chebyshev node:
    ``smooth`` (nodes, n - count) without loss, ``slope`` times ``walls`` (2, n - count) per viscous and thermal loss.
    """

    orders: NDArray[np.int64]
    weight: FloatArray
    count: int
    eta: float
    smooth: FloatArray
    slope: FloatArray
    walls: FloatArray


@lru_cache(maxsize=6)  # 10 MB each: those of a step of a search, while its openings are turned
def _spectrum(size: Size, limit: float) -> _Spectrum:
    kept = math.sqrt(REACH * limit)
    top, eta = smoothing(size, kept)
    orders = orders_below(size, top)
    square = axis_squares(orders, size) @ np.ones(3)
    count = int(np.searchsorted(square, kept**2, side="right"))
    far, weight = square[count:], _weights(orders, size)
    q = limit * _nodes()[:, None]
    above = far - q
    smooth = np.exp(q * eta**2) * (np.exp(-far * eta**2) * weight[count:])
    smooth /= above
    return _Spectrum(
        orders=orders, weight=weight, count=count, eta=eta, smooth=smooth, slope=smooth / above,
        walls=np.stack(wall_terms(orders[count:], size)),
    )  # fmt: skip


def _nodes() -> FloatArray:
    """Return the Chebyshev nodes on -1 to 1, (nodes,)."""
    return np.asarray(np.cos(math.pi * (np.arange(_NODES) + 0.5) / _NODES))


@lru_cache(maxsize=64)
def cavity(size: Size, patches: tuple[Patch, ...], limit: float) -> Cavity:
    """Return the cavity of ``size`` [m] seen by ``patches``, for |k^2| <= ``limit`` [1/m^2]."""
    modes = _spectrum(size, limit)
    orders, count, eta = modes.orders, modes.count, modes.eta
    first, second = np.triu_indices(len(patches))
    psi = [means(patch, size, orders) for patch in patches]
    pairs = np.stack([psi[i] * psi[j] for i, j in zip(first, second, strict=True)])
    shapes = (modes.weight[:count] * pairs[:, :count]).T
    q = limit * _nodes()
    near = near_field(size, patches, eta)[:, first, second]  # Taylor coefficients in q
    short = np.vander(q, len(near), increasing=True) @ near
    square = axis_squares(orders[:count], size) @ np.ones(3)
    short += eta**2 * (_one_less((square - q[:, None]) * eta**2) @ shapes)
    mean_wall = (
        2.0 / 3.0 * sum(4.0 / length for length in size)
    )  # W_n/k_n^2 over all directions, every e_a = 2
    far = pairs[:, count:]
    parts = [
        modes.smooth @ far.T + short,
        modes.slope @ (modes.walls[0] * far).T + mean_wall * short,
        modes.slope @ (modes.walls[1] * far).T,
    ]
    fit = np.linalg.inv(chebyshev.chebvander(_nodes(), _NODES - 1))
    rest = np.concatenate([fit @ part for part in parts])
    return Cavity(limit=limit, orders=orders[:count], shapes=shapes, rest=rest, pairs=(first, second))


def _one_less(x: FloatArray) -> FloatArray:
    """Return (exp(-x) - 1)/x, -1 at x = 0."""
    safe = np.where(x == 0.0, 1.0, x)
    return np.where(x == 0.0, -1.0, np.expm1(-safe) / safe)
