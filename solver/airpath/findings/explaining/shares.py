"""Which part of the box holds the energy of a natural frequency."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from airpath.findings.explaining.resonances import STEP, Shape


@dataclass(frozen=True, kw_only=True)
class Share:
    """Fractions of the energy of the whole box: ``kinetic`` and ``potential``."""

    kinetic: float
    potential: float

    @property
    def total(self) -> float:
        """Both together."""
        return self.kinetic + self.potential

    @property
    def wave(self) -> float:
        """What goes to and fro inside the part itself: a plug or a spring alone has none."""
        return 2 * max(0.0, min(self.kinetic, self.potential))


def shares(shape: Shape) -> dict[str, Share]:
    """Return the share of every owner; the totals sum to 1.

    p^T dY/dw p of each part, real part of its fraction of the sum. With Y' - Y/w and Y' + Y/w instead, each halved, it
    splits into motion and pressure: an inertance has Y' = -Y/w, a compliance Y' = Y/w. Rayleigh's principle makes a
    share a sensitivity: d ln f / d ln(size) = -share, size meaning an inertance, a compliance or a duct's length.
    With damping the sum is complex and a share the real part of a quotient: beside a close neighbour one part may pass
    1 and another fall below 0, as the sensitivities do.
    """
    omega, h = shape.omega, STEP * abs(shape.omega)
    parts: list[tuple[str, complex, complex]] = []
    for branch, y in zip(shape.branches, shape.parts, strict=True):
        p = shape.at(branch)
        still, rise = p * (y[0] @ p) / omega, p * ((y[1] - y[2]) @ p) / (2 * h)
        owners = branch.owners or (branch.owner,) * len(p)
        parts += [(owner, (r - s) / 2, (r + s) / 2) for owner, s, r in zip(owners, still, rise, strict=True)]
    whole = sum(k + v for _, k, v in parts)
    found: dict[str, Share] = {}
    for owner, k, v in parts:
        before = found.get(owner, Share(kinetic=0.0, potential=0.0))
        found[owner] = Share(
            kinetic=before.kinetic + float((k / whole).real), potential=before.potential + float((v / whole).real)
        )
    return found


def wave_in(name: str, share: dict[str, Share], chambers: Iterable[str]) -> float:
    """Return the energy that goes to and fro in a duct and in the air at its ends, which opens into ``chambers``.

    In a chamber with near fields that air counts as the chamber's: there more moves than presses, which a standing wave
    alone never does. What the duct lacks in motion against its pressure it has there.
    """
    part, none = share[name], Share(kinetic=0.0, potential=0.0)
    ends = sum(max(0.0, own.kinetic - own.potential) for own in (share.get(c, none) for c in chambers))
    lacking = max(0.0, part.potential - part.kinetic)
    return part.wave + 2 * min(ends, lacking)


def likeness(a: dict[str, Share], b: dict[str, Share]) -> float:
    """Return the cosine between two sets of kinetic and potential shares; 1 if neither has any."""
    if not a and not b:
        return 1.0
    names = sorted({*a, *b})
    none = Share(kinetic=0.0, potential=0.0)
    x, y = (np.array([v for n in names for v in (s.get(n, none).kinetic, s.get(n, none).potential)]) for s in (a, b))
    size = float(np.linalg.norm(x) * np.linalg.norm(y))
    return float(x @ y) / size if size else 0.0
