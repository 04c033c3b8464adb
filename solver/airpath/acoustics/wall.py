"""The air before an opening in a rectangular wall: how edges and corners near it, and the size of the wall, change it.

A wave that moves on one opening in the end of a long rectangular duct meets, at rest, the inertance rho L/S with
L = S sum over (m, n) not (0, 0) of e_m e_n psi^2/(A k_mn), psi the mean over the opening of cos cos, e = 1 or 2. Split
as in Ewald 1921: erfc(k eta)/k over few modes, and a short-range kernel erfc(r/2 eta)/(2 pi r) over mirror images.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
from scipy.special import erfc

from airpath.acoustics.cavity import axis_squares, doubling, orders_below
from airpath.acoustics.ends import piston_length
from airpath.acoustics.near_field import near_field
from airpath.acoustics.patch import Patch, Size, means

_REACH = 4.4  # at which erfc is dropped: 5e-10
_SPLIT = 1 / 12  # eta over the square root of the wall's area: some 220 modes
_DEEP = 40.0  # eta, to a far end that is never met


@lru_cache(maxsize=256)
def wall_share(size: Size, patch: Patch) -> float:
    """Return the end correction of a piston ``patch`` in its wall of the cuboid ``size`` [m] over that in an endless
    wall: 1 far from all edges of a large wall, up to 4 in a corner, 0 for a patch as large as its wall.

    Source: the area step of Karal 1953, J. Acoust. Soc. Am. 25, 327 with uniform velocity, written for any place in a
    rectangle. The far end of the chamber is not in it. Checked by: physics/test_wall, published/cavity.
    """
    area = math.prod(size[axis] for axis in patch.plane)
    eta = _SPLIT * math.sqrt(area)
    deep = _with(size, patch.normal, _DEEP * eta)
    flat = replace(patch, centre=_with(patch.centre, patch.normal, 0.0))
    orders = orders_below(_with(size, patch.normal, 1e-6 * eta), _REACH / eta)[1:]
    k = np.sqrt(axis_squares(orders, size).sum(axis=1))
    weight = doubling(orders).prod(axis=1) * means(flat, deep, orders) ** 2
    far = float(np.sum(weight * erfc(k * eta) / k)) / area
    near = float(near_field(deep, (flat,), eta)[0, 0, 0]) - 2 * eta / (math.sqrt(math.pi) * area)
    return patch.area * (far + near) / piston_length(patch.section)


def _with(triple: Size, axis: int, value: float) -> Size:
    x, y, z = (value if i == axis else old for i, old in enumerate(triple))
    return x, y, z
