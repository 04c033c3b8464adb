"""Everything that ``explain`` shows: the features, what the cone feels at the tones, who does the work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from airpath.case.schema import Case
from airpath.findings.explaining.explain import Feature, features_of, networks_of
from airpath.findings.explaining.work import Held, WorkMap, held_at, work_map
from airpath.findings.rooms import solved_by
from airpath.findings.wording import sig
from airpath.network.respond import respond
from airpath.network.response import Response
from airpath.network.reuse import Admittances
from airpath.network.solve import solve_network
from airpath.network.sweep import sweep_frequencies


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """``responses``: per fidelity over the sweep, simplest first; the rest is by ``model``.

    ``tones``: one entry for each tone that the case names; ``notes``: what was assumed; ``missing``: which
    fidelities could not be built and are missing in ``seen_by``, and a peak below the sweep; one sentence each.
    """

    case: Case
    model: str
    responses: dict[str, Response]
    features: list[Feature]
    tones: list[Held]
    work: WorkMap
    notes: list[str]
    missing: list[str]

    @property
    def by(self) -> str:
        """By which model, and with which of its states of the room's door, in words."""
        return solved_by(self.case, self.model)

    def to_dict(self) -> dict[str, Any]:
        """Return the ``explain`` result."""
        return {
            "title": self.case.title,
            "scale": self.case.scale,
            "model": self.model,
            "features": [feature.to_dict() for feature in self.features],
            "tones": [tone.to_dict() for tone in self.tones],
            "work": self.work.to_dict(),
            "notes": [*self.missing, *self.notes],
        }


def explanation(case: Case, model: str | None = None) -> Explanation:
    """Explain a case's impedance in its highest fidelity, or in ``model``, and what it does at the tones.

    Raises FidelityError, CaseError or AccuracyError.
    """
    networks, missing = networks_of(case, model)
    best = list(networks)[-1] if model is None else model
    sweep = Admittances(2 * np.pi * sweep_frequencies(case))
    states = {m: solve_network(n, sweep.omega, sweep.of(n.branches, n.air)) for m, n in networks.items()}
    responses = {m: respond(case, networks[m], state, m) for m, state in states.items()}
    features = features_of(case, networks, sweep, best)
    missing += _below(responses[best])
    tones: list[Held] = []
    notes = list(dict.fromkeys(note for network in networks.values() for note in network.notes))
    if case.tones:
        network = networks[best]
        at_tones = respond(case, network, solve_network(network, 2 * np.pi * np.array(case.tones)), best)
        tones = held_at(at_tones, [(feature.kind, feature.frequency_hz) for feature in features])
    else:
        notes.append("the case names no tones")
    return Explanation(
        case=case, model=best, responses=responses, features=features, tones=tones,
        work=work_map(responses[best]), notes=notes, missing=missing,
    )  # fmt: skip


def _below(response: Response) -> list[str]:
    """Say that a peak lies below the sweep where the impedance falls from its start on: at 0 Hz it is the coil's."""
    size = np.abs(response.impedance[:2])
    if size[0] <= size[1]:
        return []
    start = sig(response.frequency[0])
    return [f"The impedance falls from {start} Hz on: a peak lies below the sweep; a lower sweep.start shows it."]
