"""Every peak, dip and ripple of a case's impedance, with its cause."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from airpath.case.schema import Case
from airpath.errors import AirpathError
from airpath.findings.advising.advice import Advice, advise
from airpath.findings.advising.trial import Box
from airpath.findings.explaining.causes import Cause, causes
from airpath.findings.explaining.features import Kind, Spot, spots_over
from airpath.findings.explaining.knockout import Knock, knock_out
from airpath.findings.explaining.pairing import energies, same, swings
from airpath.findings.explaining.phrases import quoted, sentence
from airpath.findings.explaining.sensitivity import Sensitivity, sensitivities
from airpath.findings.explaining.shares import Share, shares
from airpath.findings.tones import label
from airpath.findings.wording import sig
from airpath.network.build import build, chosen_model, models_for
from airpath.network.graph import Network
from airpath.network.respond import wired
from airpath.network.reuse import Admittances
from airpath.network.sweep import sweep_frequencies

_PART = 0.01  # of the energy


@dataclass(frozen=True, kw_only=True)
class Feature:
    """One feature: ``impedance_ohm`` at the terminals; ``q`` of the resonance behind it, None if there is none.

    ``shares``: fraction of the energy per part of the case; ``seen_by``: the fidelities that show it; ``evidence``:
    what the knock-outs did to it, a phrase each; ``advice``: changes that would take it out of the way.
    """

    kind: Kind
    frequency_hz: float
    impedance_ohm: float
    q: float | None
    cause: Cause
    shares: dict[str, Share]
    seen_by: tuple[str, ...]
    sensitivity: list[Sensitivity]
    evidence: list[str]
    advice: list[Advice]

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the ``explain`` result."""
        return {
            "kind": self.kind,
            "frequency_hz": self.frequency_hz,
            "impedance_ohm": self.impedance_ohm,
            "q": self.q,
            "cause": self.cause.to_dict(),
            "shares": {name: share.total for name, share in self.shares.items()},
            "seen_by": list(self.seen_by),
            "sensitivity": [entry.to_dict() for entry in self.sensitivity],
            "evidence": self.evidence,
            "advice": [entry.to_dict() for entry in self.advice],
        }


def explain(case: Case, model: str | None = None) -> list[Feature]:
    """Return the features of a case's impedance in its highest fidelity, or in ``model``, in rising order.

    Raises FidelityError, CaseError or AccuracyError.
    """
    sweep = Admittances(2 * np.pi * sweep_frequencies(case))
    return features_of(case, networks_of(case, model)[0], sweep, model)


def networks_of(case: Case, model: str | None = None) -> tuple[dict[str, Network], list[str]]:
    """Return the networks of a case per fidelity, simplest first, and what to say of those that can't be built.

    With ``model`` the others may be missing. Raises FidelityError, CaseError or AccuracyError.
    """
    chosen_model(case, model)
    networks, notes = {}, []
    for name in models_for(case):
        try:
            networks[name] = build(case, name)
        except AirpathError as error:
            if model is None or name == model:
                raise
            notes.append(f"The {name} model can't be built, so seen_by says nothing of it: {error}.")
    return networks, notes


def features_of(
    case: Case, networks: dict[str, Network], sweep: Admittances, model: str | None = None
) -> list[Feature]:
    """Return the features over a sweep in the highest fidelity of ``networks``, or in ``model``, in rising order."""
    best = list(networks)[-1] if model is None else model
    network = networks[best]
    found = spots_over(network, sweep)
    rings = swings(network, found)
    held = [{} if ring is None else shares(ring) for ring in rings]
    knocks = knock_out(network, found, held, sweep)
    why = causes(case, network, found, rings, held, knocks)
    seen = seen_by(networks, best, found, held, sweep)
    turns = sensitivities(case, best, network, found)
    box = Box(case=case, model=best, network=network, sweep=sweep, found=found, held=held)
    advice = advise(box, why, turns)
    terminals = wired(case)
    return [
        Feature(
            kind=spot.kind, frequency_hz=spot.frequency, impedance_ohm=abs(spot.impedance) * terminals, q=spot.q,
            cause=replace(why[i], text=sentence(spot, why[i].text, [name for name in seen if i not in seen[name]])),
            shares=held[i], sensitivity=turns[i], advice=advice[i],
            seen_by=tuple(name for name in seen if i in seen[name]), evidence=evidence(i, spot, held[i], knocks),
        )
        for i, spot in enumerate(found)
    ]


def seen_by(
    networks: dict[str, Network], best: str, found: list[Spot], held: list[dict[str, Share]], sweep: Admittances
) -> dict[str, set[int]]:
    """Return per fidelity, simplest first, which of the features of ``best`` it shows."""
    seen: dict[str, set[int]] = {}
    for name, other in networks.items():
        if name == best:
            seen[name] = set(range(len(found)))
            continue
        others = spots_over(other, sweep)
        seen[name] = set(same(found, held, others, energies(other, others)))
    return seen


def evidence(i: int, spot: Spot, share: dict[str, Share], knocks: list[Knock]) -> list[str]:
    """Return what each knock-out that matters did to a feature: what takes it away first, then the largest shift.

    By Rayleigh's principle a part with hardly any of the energy can't take a resonance away: nothing is said of it.
    """
    out: list[tuple[bool, float, str]] = []
    holding = {owner for owner, part in share.items() if part.total >= _PART}
    fatal = [k.owner for k in knocks if k.action == "capped" and k.shift[i] is None and k.owner in holding]
    kept = {k.owner for k in knocks if k.action == "sealed" and k.shift[i] is not None}
    for knock in knocks:
        shift = knock.shift[i]
        if knock.action == "capped" and shift is None and knock.owner in kept:
            continue  # the one opening: the driver's peak is what a closed box keeps
        if knock.action == "sealed" and (shift is None or any(k.shift[i] == shift for k in knocks if k is not knock)):
            continue  # nothing to add
        if knock.action == "capped" and knock.owner in fatal[1:]:
            continue  # said with the first of them
        if knock.action in ("capped", "no waves") and knock.owner not in holding:
            continue
        if (spot.omega is None) != (knock.action == "no coil") or (shift is not None and abs(shift) < 0.01):
            continue
        what = "it vanishes" if shift is None else f"it moves to {sig(spot.frequency * (1 + shift))} Hz"
        inside = "in the room" if knock.owner == "room" else f'inside "{knock.owner}"'
        part = {
            "no waves": f"without waves {inside}",
            "capped": f"with {quoted(fatal if knock.owner in fatal else [knock.owner], 'or')} closed",
            "sealed": "with every opening closed", "no leak": f"without {label(knock.owner)}",
            "no coil": "without the coil's inductance", "no stuffing": f'without the stuffing of "{knock.owner}"',
        }[knock.action]  # fmt: skip
        out.append((shift is not None, -abs(shift or 0.0), f"{part} {what}"))
    return [words for *_, words in sorted(out, key=lambda one: one[:2])]
