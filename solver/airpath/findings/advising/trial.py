"""A box with one change in it, solved again: what became of its features and of its tones."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from airpath.case.check import check
from airpath.case.schema import Case
from airpath.errors import AirpathError
from airpath.findings.explaining.causes import WAVES, Type, suspects
from airpath.findings.explaining.features import Spot, heights, spots_over
from airpath.findings.explaining.pairing import energies, same
from airpath.findings.explaining.phrases import air_spaces
from airpath.findings.explaining.prominence import prominence_db
from airpath.findings.explaining.shares import Share
from airpath.findings.explaining.variants import roles
from airpath.findings.tones import HELD_FIRMLY_DB
from airpath.network.build import build
from airpath.network.graph import Network
from airpath.network.respond import respond
from airpath.network.response import Response
from airpath.network.reuse import Admittances
from airpath.network.solve import solve_network

TONE_DB = 0.5  # a wave that stands out of the level by less troubles no tone
BAND_DB = 1.0  # nor the band
_DRIFT = 0.01  # of a frequency: what 5 degrees of temperature do to it; closer to a tone is on it
_LOSES_DB = 1.0  # that a change may cost at a tone
_FREES_DB = 3.0  # that the cone may be held less at a tone


@dataclass(frozen=True, kw_only=True)
class Box:
    """One box in one fidelity, with its features ``found`` over a ``sweep`` and their energy shares."""

    case: Case
    model: str
    network: Network
    sweep: Admittances
    found: list[Spot]
    held: list[dict[str, Share]]

    @classmethod
    def of(cls, case: Case, model: str, sweep: Admittances) -> Box | None:
        """Return a changed box, or None where it is impossible, or can't be built or solved."""
        if check(case):
            return None
        try:
            network = build(case, model)
            found = spots_over(network, sweep)
        except (AirpathError, ValueError):
            return None
        held = energies(network, found)
        return cls(case=case, model=model, network=network, sweep=sweep, found=found, held=held)

    @cached_property
    def types(self) -> list[Type | None]:
        """What each feature is by its energy alone."""
        kinds, spaces = roles(self.network), air_spaces(self.network)
        return [ranked[0].type if (ranked := suspects(kinds, spaces, held)) else None for held in self.held]

    @cached_property
    def at_tones(self) -> Response:
        """The box at the tones of its case."""
        omega = 2 * np.pi * np.array(self.case.tones)
        return respond(self.case, self.network, solve_network(self.network, omega), self.model)

    @cached_property
    def stands_out_db(self) -> dict[int, float]:
        """By how much each wave stands out of the level around it [dB], up or down."""
        waves = [i for i, kind in enumerate(self.types) if kind in WAVES.values()]
        centre = [abs(self.found[i].omega or 0.0) / (2 * np.pi) for i in waves]
        apart = prominence_db(self.case, self.network, self.model, centre, [self.found[i].q or 1.0 for i in waves])
        return dict(zip(waves, np.abs(apart).tolist(), strict=True))

    def height(self, which: int) -> float:
        """Return by what share a feature with a free cone changes the impedance."""
        free = [spot.omega for spot in self.found if spot.cone == "free" and spot.omega is not None]
        return float(heights(self.network, np.array(free))[free.index(self.found[which].omega or 0j)])

    @cached_property
    def troubled(self) -> dict[float, list[int]]:
        """Per tone [Hz] the features that are unwanted waves on it and can be heard there."""
        return {tone: self._waves_on(tone) for tone in self.case.tones}

    def _waves_on(self, tone: float) -> list[int]:
        near = [
            i
            for i, (spot, kind) in enumerate(zip(self.found, self.types, strict=True))
            if abs(spot.frequency - tone) < clearance(spot) and unwanted(kind, spot)
        ]
        return [i for i in near if self.stands_out_db[i] >= TONE_DB]

    def follow(self, which: int, changed: Box) -> int | None:
        """Return the number of a feature in a changed box, None if it is gone there."""
        return same(self.found, self.held, changed.found, changed.held).get(which)

    def keeps_tones_of(self, before: Box, tone: float | None, stood_out_db: float) -> bool:
        """Whether no tone loses level or hold on the cone by this change.

        ``tone``: the one that the change is for; it may lose as much as the wave stood out of the level.
        """
        if not self.case.tones:
            return True
        mine = np.array([other == tone for other in self.case.tones])
        now, then = self.at_tones, before.at_tones
        quieter = now.spl_db - then.spl_db < -_LOSES_DB - np.where(mine, stood_out_db, 0.0)
        freer = (now.loading_db - then.loading_db > _FREES_DB) & (now.loading_db > HELD_FIRMLY_DB) & ~mine
        return not np.any(quieter | freer)


def clearance(spot: Spot) -> float:
    """Return how far [Hz] a tone has to be from a feature not to be on it: its half-width, 1 % at least."""
    return max(spot.frequency / (2 * spot.q) if spot.q else 0.0, _DRIFT * spot.frequency)


def unwanted(kind: str | None, spot: Spot) -> bool:
    """Whether a feature can be in the way: waves are, but for a horn's dips, where it holds the cone."""
    return kind in WAVES.values() and not (kind == "horn" and spot.kind == "dip")
