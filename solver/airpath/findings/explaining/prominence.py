"""How far a resonance stands out of the level at the listener."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from airpath.case.schema import Case
from airpath.network.graph import Network
from airpath.network.respond import respond
from airpath.network.solve import solve_network

_POINTS = 41
_HALF_WIDTHS = 5.0  # from a resonance to its neighbourhood: there a fifth of it is left
_WIDEST = 0.35  # of its frequency, on a logarithmic scale


def prominence_db(
    case: Case, network: Network, model: str, frequency: ArrayLike, q: ArrayLike
) -> NDArray[np.float64]:
    """Return how far the level leaves its neighbourhood near each resonance (n,) [dB], with its sign.

    The neighbourhood is the straight line, dB over log f, from five half-widths below to five above (at most 35 %); the
    result is the largest distance from it in between.
    """
    centre, width = np.atleast_1d(np.asarray(frequency, float)), np.atleast_1d(np.asarray(q, float))
    if not len(centre):
        return np.zeros(0)
    reach = np.minimum(_HALF_WIDTHS / (2 * width), _WIDEST)
    step = np.linspace(-1, 1, _POINTS)
    near = centre[:, None] * np.exp(reach[:, None] * step)
    response = respond(case, network, solve_network(network, 2 * np.pi * near.ravel()), model)
    level = response.spl_db.reshape(near.shape)
    line = level[:, :1] + (level[:, -1:] - level[:, :1]) * (step + 1) / 2
    apart = level - line
    return np.asarray(np.take_along_axis(apart, np.abs(apart).argmax(axis=1)[:, None], axis=1)[:, 0])
