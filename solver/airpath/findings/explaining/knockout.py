"""Take one thing out of a box at a time and see which resonances go with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from airpath.elements.base import ComplexArray
from airpath.findings.explaining.features import OTHER_TURN, Spot, matching, motional, turns
from airpath.findings.explaining.poles import searched
from airpath.findings.explaining.resonances import Cone, distinct, mobility, refine_both, shapes
from airpath.findings.explaining.shares import Share, likeness, shares
from airpath.findings.explaining.variants import Action, variants
from airpath.network.graph import Network
from airpath.network.reuse import Admittances

_FURTHEST = 0.5  # octaves that a resonance may move and still be the same one when waves or stuffing go
_FAR = 0.1  # octaves
_STAYS = 0.05  # of its energy in what is taken away, at most
_LIVES_ON = 0.25  # of its energy
_POINTS = 240  # of a sweep are enough for the rational fit, which takes more where it needs them
_MISS = 1e-6  # of the largest value: what no knock-out can lose is stronger
_ROUNDS = 1  # a pole of the fit that is real needs no more,
_ROUNDS_MORE = 3  # one of the whole box some
_WITHIN = 1e-3  # relative, of the last step
_CONES: tuple[Cone, ...] = ("free", "clamped")
_SEEN = 0.003  # of its frequency, or its half-width: a resonance this near is the same
_DRIVEN = 0.02  # of the moving energy in the cone: a resonance with less is not the driver's
_ALIKE = 0.6  # cosine between energy shares, at least
_FURTHEST_OPEN = 2.0  # when an opening closes


@dataclass(frozen=True, kw_only=True)
class Knock:
    """A box without one thing: waves inside ``owner``, its far end, all openings to the outside, the coil's inductance.

    ``shift``: per feature f_new/f - 1, None where it vanished. Of a sealed box the driver's own resonance alone counts.
    """

    action: Action
    owner: str
    shift: tuple[float | None, ...]


def knock_out(
    network: Network, found: list[Spot], held: list[dict[str, Share]], sweep: Admittances
) -> list[Knock]:
    """Return every knock-out that applies to a network and what it does to its features.

    ``held``: the energy shares of each feature. One re-solve of the ``sweep`` each.
    """
    out = []
    fewer = _Sweep(sweep.every(max(1, len(sweep.omega) // _POINTS)))
    for action, owner, variant in variants(network, float(sweep.omega[0].real)):
        if action == "no coil":
            shift = _without_coil(variant, found, sweep)
        elif action == "sealed":
            shift = _sealed(variant, found, held, fewer)
        else:
            limit = _FURTHEST if action in ("no waves", "no stuffing") else _FURTHEST_OPEN
            shift = _follow(variant, found, held, owner, fewer, limit)
        out.append(Knock(action=action, owner=owner, shift=tuple(shift)))
    return out


class _Sweep:
    """The sweep that every variant is solved over; what an element does there is worked out once for all of them."""

    def __init__(self, known: Admittances) -> None:
        self.known = known

    def natural(self, network: Network, staying: Sequence[Spot] = ()) -> list[ComplexArray]:
        """Return the free and the clamped natural frequencies of a variant.

        What should stay and the fit doesn't see is looked for where the whole box has it: it may be weak.
        """
        parts = self.known.of(network.branches, network.air)
        guesses = searched(network, self.known.omega, mobility(network, self.known.omega, parts), _MISS)
        new = refine_both(network, *guesses, _ROUNDS, _WITHIN)
        unseen = [
            np.array([s.omega for s in staying if s.cone == cone and _unseen(s, w)], dtype=np.complex128)
            for cone, w in zip(_CONES, new, strict=True)
        ]
        more = refine_both(network, unseen[0], unseen[1], _ROUNDS_MORE, _WITHIN)
        return [distinct(np.concatenate(pair)) for pair in zip(new, more, strict=True)]


def _unseen(spot: Spot, natural: ComplexArray) -> bool:
    if spot.omega is None:
        return False
    return not np.any(np.abs(natural - spot.omega) < max(_SEEN * abs(spot.omega), spot.omega.imag))


def _follow(
    network: Network, found: list[Spot], held: list[dict[str, Share]], owner: str, sweep: _Sweep, limit: float
) -> list[float | None]:
    """Pair the natural frequencies of a changed network with those of the features, one to one.

    A feature that moves far or lives on waves inside ``owner`` is the same one only if the same parts still swing.
    """
    none = Share(kinetic=0.0, potential=0.0)
    staying = [spot for spot, share in zip(found, held, strict=True) if share.get(owner, none).total < _STAYS]
    moved: dict[int, complex] = {}
    for cone, new in zip(_CONES, sweep.natural(network, staying), strict=True):
        mine = [(i, spot.omega) for i, spot in enumerate(found) if spot.cone == cone and spot.omega is not None]
        if not mine or not len(new):
            continue
        octaves = np.abs(np.log2(new.real[None, :] / np.array([w.real for _, w in mine])[:, None]))
        pull = np.sqrt(octaves)  # what stays is left alone: one goes far rather than each a little
        pairs = matching(np.where(octaves < limit, pull, np.inf), np.sqrt(limit))
        moved |= {mine[row][0]: complex(new[column]) for row, column in pairs.items()}
    ratio = {i: w.real / found[i].omega.real for i, w in moved.items()}  # type: ignore[union-attr]
    doubtful = [i for i in moved if abs(np.log2(ratio[i])) > _FAR or held[i].get(owner, none).wave > _LIVES_ON]
    now = shapes(network, [(moved[i], found[i].cone) for i in doubtful])
    gone = {i for i, ring in zip(doubtful, now, strict=True) if likeness(held[i], shares(ring)) < _ALIKE}
    return [None if i not in moved or i in gone else ratio[i] - 1 for i in range(len(found))]


def _sealed(
    network: Network, found: list[Spot], held: list[dict[str, Share]], sweep: _Sweep
) -> list[float | None]:  # fmt: skip
    """Find which free resonance becomes the driver's own when the box is closed.

    Coupled resonances never cross: the driver on the closed box and the tunings with the cone clamped, sorted, turn
    into the resonances of the whole in the same order.
    """
    shift: list[float | None] = [None] * len(found)
    new, _ = sweep.natural(network)
    if not len(new):
        return shift
    weight = [shares(ring)["driver"].kinetic for ring in shapes(network, [(w, "free") for w in new.tolist()])]
    driver = complex(new[int(np.argmax(weight))])
    dips = [s.omega.real for s in found if s.cone == "clamped" and s.omega is not None]
    low = max((w for w in dips if w < driver.real), default=0.0)
    high = min((w for w in dips if w >= driver.real), default=np.inf)
    free = {
        i: s.omega
        for i, s in enumerate(found)
        if s.cone == "free" and s.omega is not None and held[i]["driver"].kinetic > _DRIVEN
    }
    between = [i for i, w in free.items() if low < w.real < high]
    if between:
        own = min(between, key=lambda i: abs(np.log(free[i].real / driver.real)))
        shift[own] = driver.real / free[own].real - 1
    return shift


def _without_coil(network: Network, found: list[Spot], sweep: Admittances) -> list[float | None]:
    """Pair the extrema of the impedance with those of the same coil without its inductance."""
    moving = mobility(network, sweep.omega, sweep.of(network.branches, network.air))
    highs, lows = (sweep.omega[i] / (2 * np.pi) for i in turns(np.abs(motional(network, sweep.omega, moving))))
    shift: list[float | None] = [0.0 if spot.kind == "ripple" else None for spot in found]
    for kind, there in (("peak", highs), ("dip", lows)):
        own = [i for i, spot in enumerate(found) if spot.kind == kind]
        if not own or not len(there):
            continue
        moved = there[None, :] / np.array([found[i].frequency for i in own])[:, None] - 1
        for row, column in matching(np.where(np.abs(moved) < OTHER_TURN, np.abs(moved), np.inf), OTHER_TURN).items():
            shift[own[row]] = float(moved[row, column])
    return shift
