"""The energy behind each feature, and which features of two boxes or fidelities are the same."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airpath.findings.explaining.features import Spot, matching
from airpath.findings.explaining.resonances import Shape, shapes
from airpath.findings.explaining.shares import Share, likeness, shares
from airpath.network.graph import Network

_FAR = 0.3  # octaves between the same feature in two boxes, at most
_WANDERS = 3.0  # times as far a turn that no resonance makes: the coil's
_ALIKE = 0.6  # cosine between the energy shares of the same feature in two boxes, at least


def swings(network: Network, found: Sequence[Spot]) -> list[Shape | None]:
    """Return how the box swings at each feature, None where no natural frequency is behind it."""
    rings = iter(shapes(network, [(spot.omega, spot.cone) for spot in found if spot.omega is not None]))
    return [None if spot.omega is None else next(rings) for spot in found]


def energies(network: Network, found: Sequence[Spot]) -> list[dict[str, Share]]:
    """Return the energy shares of the natural frequency behind each feature, empty where there is none."""
    return [{} if ring is None else shares(ring) for ring in swings(network, found)]


def same(
    found: list[Spot], held: list[dict[str, Share]], others: list[Spot], other_held: list[dict[str, Share]]
) -> dict[int, int]:
    """Pair the features of two fidelities: near in frequency, and the same parts swing."""
    distance = np.full((len(found), len(others)), np.inf)
    for i, a in enumerate(found):
        for j, b in enumerate(others):
            octaves = abs(np.log2(b.frequency / a.frequency))
            if a.omega is None and b.omega is None:
                octaves /= _WANDERS
            if a.cone == b.cone and octaves < _FAR and likeness(held[i], other_held[j]) > _ALIKE:
                distance[i, j] = octaves
    return matching(distance, _FAR) if found and others else {}
