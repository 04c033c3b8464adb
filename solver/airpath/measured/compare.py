"""A measured sweep against a case: the features of each, which are the same, and what is left on each side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.errors import FidelityError, SweepError
from airpath.findings.explaining.explain import Feature, networks_of
from airpath.findings.explaining.explanation import Explanation, explanation
from airpath.findings.explaining.features import matching
from airpath.findings.wording import percent, sig
from airpath.measured.comparewords import counterpart, in_common, nothing_there, only_predicted
from airpath.measured.drift import Drift, drift
from airpath.measured.fitting.fit import fit
from airpath.measured.losses import Losses, losses
from airpath.measured.reading.checks import Doubt, sweep_doubts, with_coil
from airpath.measured.reading.found import Found, features_in
from airpath.measured.reading.rational import rational_fit
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.network.respond import respond
from airpath.network.response import Response
from airpath.network.solve import solve_network

FloatArray = NDArray[np.float64]
_FAR = 0.35  # octaves between a measured feature and its counterpart, at most
_OTHER_KIND = 0.08  # octaves that another kind counts: a ripple may be a small peak
_OTHER_HEIGHT = 0.05  # octaves per factor e in how far the two stand out
_SAME = 0.06  # octaves between a feature of the causes and the same one of the curve
_AS_GOOD = 1.5  # times the least difference: dimensions a little off matter more than the model then
_PLAIN = 3.0  # times the noise: here the curves part
_AROUND = 0.03  # of the frequency
_FEWEST = 5  # points that a sweep and a case must share


@dataclass(frozen=True, kw_only=True)
class Match:
    """One line of the comparison: ``measured`` and ``predicted``, one of them None where the other has no counterpart.

    ``deviation``: measured frequency over predicted, less 1; ``feature``: the predicted one with its cause.
    """

    measured: Found | None
    predicted: Found | None
    feature: Feature | None
    text: str

    @property
    def deviation(self) -> float | None:
        """Measured frequency over predicted, less 1."""
        if self.measured is None or self.predicted is None:
            return None
        return self.measured.frequency_hz / self.predicted.frequency_hz - 1

    def to_dict(self) -> dict[str, Any]:
        """Return it for the ``measured`` list of the ``explain`` result."""
        return {
            "measured": None if self.measured is None else self.measured.to_dict(),
            "predicted": None if self.predicted is None else self.predicted.to_dict(),
            "deviation": self.deviation,
            "cause": None if self.feature is None else self.feature.cause.to_dict(),
            "text": self.text,
        }


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """A sweep beside its case: ``explained`` in the highest fidelity that fits, ``rms``: per fidelity the relative rms
    difference of the impedance, ``doubts`` about the sweep itself, ``matches`` in rising order, and a ``summary``;
    ``losses`` and the ``drift`` to another sweep where they were asked for."""

    sweep: MeasuredSweep
    explained: Explanation
    rms: dict[str, float]
    noise: float
    doubts: list[Doubt]
    matches: list[Match]
    summary: str
    losses: Losses | None = None
    drift: Drift | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the ``explain`` result with what was measured."""
        return {
            **self.explained.to_dict(),
            **({} if self.losses is None else {"losses": self.losses.to_dict()}),
            **({} if self.drift is None else {"drift": self.drift.to_dict()}),
            "measured": [match.to_dict() for match in self.matches],
            "sweep": {
                "file": self.sweep.source.name, "rms_error": self.rms, "noise": self.noise, "summary": self.summary,
                "doubts": [doubt.to_dict() for doubt in self.doubts], "notes": list(self.sweep.notes),
            },
        }  # fmt: skip


def compare(
    case: Case, sweep: MeasuredSweep, model: str | None = None, *, against: MeasuredSweep | None = None,
    with_losses: bool = False,
) -> Comparison:  # fmt: skip
    """Compare a sweep with a case in the highest fidelity that comes about as close to it as any, or in ``model``.

    ``against``: a second sweep of the same box, for what changed until then; ``with_losses``: look for leak and
    absorption too, which takes a while.
    Raises SweepError when the two have hardly a frequency in common, and what ``explanation`` raises.
    Checked by: unit/test_compare.
    """
    inside = (sweep.frequency >= case.sweep.start) & (sweep.frequency <= case.sweep.stop)
    if inside.sum() < _FEWEST:
        raise SweepError(
            f"{sweep.source.name}: {sig(sweep.frequency[0])} Hz to {sig(sweep.frequency[-1])} Hz has hardly a "
            f"frequency in common with the case's sweep, {sig(case.sweep.start)} Hz to {sig(case.sweep.stop)} Hz"
        )
    cut = sweep.part(inside)
    case, without = with_coil(case, cut)
    apart = _distances(case, cut, model)
    rms = {name: float(np.sqrt(np.mean(size**2))) for name, size in apart.items()}
    best = [name for name in rms if rms[name] < _AS_GOOD * min(rms.values())][-1] if model is None else model
    explained = explanation(case, best)
    curve = rational_fit(cut)
    found = features_in(curve)
    predicted = _predicted(explained.responses[best], cut, curve.noise)
    pairs = matching(_apart(found, predicted), _FAR) if found and predicted else {}
    others = {
        name: _predicted(response, cut, curve.noise) for name, response in explained.responses.items() if name != best
    }
    matches = [
        match for match in _matches(explained, found, predicted, pairs, others)
        if (match.measured and match.predicted) or _differs(match, cut.frequency, apart[best], curve.noise)
    ]  # fmt: skip
    seen = [match for match in matches if match.measured]
    share = f"{len(pairs)} of {len(seen)} measured features have their counterpart there."
    quick = "lumped" if best == "lumped" else "line"
    fitted = fit(case, sweep, model=quick, localise=False) if with_losses or against is not None else None
    meshed = any(chamber.outline is not None for chamber in case.chambers.values())
    lost = losses(case, sweep, quick, quick if meshed else best, fitted) if with_losses else None
    return Comparison(
        losses=None if lost is None else lost.at([one.frequency_hz for one in found if one.kind == "dip"]),
        drift=None if against is None else drift(case, sweep, against, quick, fitted),
        sweep=sweep, explained=explained, rms=rms, noise=curve.noise,
        doubts=[*without, *sweep_doubts(cut, case, curve)],
        matches=matches, summary=" ".join(part for part in (_fits(rms, best), share, in_common(matches)) if part),
    )  # fmt: skip


def _distances(case: Case, sweep: MeasuredSweep, model: str | None) -> dict[str, FloatArray]:
    """Return per fidelity how far its impedance is from a sweep (n,): the size of the difference of the logarithms."""
    networks, _ = networks_of(case, model)
    if not networks:
        raise FidelityError(f"{case.name}: no model can be built")
    omega = 2 * np.pi * sweep.frequency
    out = {}
    for name, network in networks.items():
        z = respond(case, network, solve_network(network, omega), name).impedance
        measured = sweep.impedance
        out[name] = np.abs(np.log(np.abs(z) / sweep.magnitude) if measured is None else np.log(z / measured))
    return out


def _predicted(response: Response, sweep: MeasuredSweep, noise: float) -> list[Found]:
    """Return the features of a response that would stand out of the noise of a sweep."""
    low, high = sweep.frequency[[0, -1]]
    kept = (response.frequency >= low) & (response.frequency <= high)
    z, frequency = response.impedance[kept], response.frequency[kept]
    made = MeasuredSweep(
        frequency=frequency, magnitude=np.abs(z), phase_deg=np.rad2deg(np.angle(z)), source=sweep.source
    )
    return features_in(rational_fit(made), noise) if len(frequency) >= _FEWEST else []


def _apart(found: list[Found], predicted: list[Found]) -> FloatArray:
    """Return how far features are from each other, octaves with what else speaks against a pair."""
    distance = np.full((len(found), len(predicted)), np.inf)
    for i, a in enumerate(found):
        for j, b in enumerate(predicted):
            octaves = abs(np.log2(a.frequency_hz / b.frequency_hz))
            if octaves < _FAR and (a.kind == "dip") == (b.kind == "dip"):
                kind = _OTHER_KIND * (a.kind != b.kind)
                distance[i, j] = octaves + kind + _OTHER_HEIGHT * abs(np.log(a.height / b.height))
    return np.where(distance < _FAR, distance, np.inf)


def _matches(
    explained: Explanation, found: list[Found], predicted: list[Found], pairs: dict[int, int],
    others: dict[str, list[Found]],
) -> list[Match]:  # fmt: skip
    features = [_same(explained.features, one) for one in predicted]
    out = []
    for i, one in enumerate(found):
        if i in pairs:
            there, feature = predicted[pairs[i]], features[pairs[i]]
            text = counterpart(explained, one, there, feature)
            out.append(Match(measured=one, predicted=there, feature=feature, text=text))
        else:
            near = {name: hit for name, them in others.items() if (hit := _nearest(them, one)) is not None}
            text = nothing_there(explained.model, one, near, _beside(found, pairs, one))
            out.append(Match(measured=one, predicted=None, feature=None, text=text))
    for j, (one, feature) in enumerate(zip(predicted, features, strict=True)):
        if j not in pairs.values():
            text = only_predicted(explained.model, one, feature)
            out.append(Match(measured=None, predicted=one, feature=feature, text=text))
    return sorted(out, key=lambda m: (m.measured or m.predicted or found[0]).frequency_hz)


def _same(features: list[Feature], one: Found) -> Feature | None:
    """Return the feature with its cause that a feature of the curve is."""
    alike = [f for f in features if (f.kind == "dip") == (one.kind == "dip")]
    near = [f for f in alike if abs(np.log2(f.frequency_hz / one.frequency_hz)) < _SAME]
    return min(near, key=lambda f: abs(np.log2(f.frequency_hz / one.frequency_hz)), default=None)


def _differs(match: Match, frequency: FloatArray, apart: FloatArray, noise: float) -> bool:
    """Whether the curves really part where one of them has a feature alone: a weak one may be a matter of the fit."""
    one = match.measured or match.predicted
    assert one is not None
    wide = max(_AROUND, 0.5 / one.q if one.q else 0.0)
    near = np.abs(frequency / one.frequency_hz - 1) < wide
    return bool(near.any() and np.sqrt(np.mean(apart[near] ** 2)) > _PLAIN * noise)


def _beside(found: list[Found], pairs: dict[int, int], one: Found) -> Found | None:
    """Return the peak or ripple without counterpart whose flank a dip without counterpart is."""
    left = [f for i, f in enumerate(found) if i not in pairs and f.kind != "dip"]
    near = [f for f in left if one.kind == "dip" and abs(np.log2(f.frequency_hz / one.frequency_hz)) < _FAR]
    return min(near, key=lambda f: abs(np.log2(f.frequency_hz / one.frequency_hz)), default=None)


def _nearest(them: list[Found], one: Found) -> Found | None:
    near = [o for o in them if o.kind == one.kind and abs(np.log2(o.frequency_hz / one.frequency_hz)) < _SAME]
    return min(near, key=lambda o: abs(np.log2(o.frequency_hz / one.frequency_hz)), default=None)


def _fits(rms: dict[str, float], best: str) -> str:
    rest = [f"{name} by {percent(error, 1)}" for name, error in rms.items() if name != best]
    lead = f"The {best} model departs from the sweep by {percent(rms[best], 1)} rms"
    return f"{lead} ({', '.join(rest)})." if rest else f"{lead}."
