"""The sentences of a comparison: measured against predicted, one feature at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np

from airpath.case.parameters import parameters
from airpath.findings.explaining.explain import Feature
from airpath.findings.explaining.explanation import Explanation
from airpath.findings.wording import listing, sig
from airpath.measured.reading.found import Found

_EXACT = 0.005  # of the frequency: closer ones agree
_WORTH = 0.01  # of the frequency: from here on a dimension is named
_MOST = 0.3  # a dimension that would have to change by more is no explanation
_LOWER = 0.15  # of ln|Z| at a peak
_NAMED = 2  # dimensions
_FEWEST = 3  # features that must be off alike
_ALIKE = 0.3  # of their median deviation
_MOST_OF_THEM = 0.8


class Pair(Protocol):
    """What is asked of a line of the comparison."""

    @property
    def deviation(self) -> float | None:
        """Measured frequency over predicted, less 1."""
        ...


def counterpart(explained: Explanation, measured: Found, predicted: Found, feature: Feature | None) -> str:
    """Return what a measured feature is, how far it is from where it was predicted, and what would move it there."""
    off = measured.frequency_hz / predicted.frequency_hz - 1
    there = f"the {explained.model} model has it at {sig(predicted.frequency_hz, 4)} Hz"
    if predicted.kind != measured.kind:
        there = f"the {explained.model} model has a {predicted.kind} at {sig(predicted.frequency_hz, 4)} Hz"
    if abs(off) < _EXACT:
        way = ", the same"
    else:
        way = f": measured {_percent(off)} {'higher' if off > 0 else 'lower'}"
    parts = [f"{_what(measured)}: {there}{way}."]
    if feature is not None:
        parts.append(feature.cause.text)
        if abs(off) > _WORTH:
            parts.append(_dimension(explained, measured, feature))
    less = float(np.log(measured.impedance_ohm / predicted.impedance_ohm))
    if measured.kind == predicted.kind == "peak" and abs(less) > _LOWER:
        tops = f"{sig(measured.impedance_ohm)} ohm instead of {sig(predicted.impedance_ohm)}"
        parts.append(f"Its top is {tops}: {'more' if less < 0 else 'less'} loss than the model has.")
    return " ".join(part for part in parts if part)


def nothing_there(model: str, measured: Found, near: Mapping[str, Found], beside: Found | None = None) -> str:
    """Return what to say of a measured feature that the model does not have.

    ``near``: by fidelity, those that have it; ``beside``: the unknown peak whose flank a dip is.
    """
    if near:
        have = [f"the {name} model has one at {sig(one.frequency_hz, 4)} Hz" for name, one in near.items()]
        return f"{_what(measured)}: nothing in the {model} model, but {listing(have)}."
    if beside is not None:
        return f"{_what(measured)}: it goes with the {beside.kind} at {sig(beside.frequency_hz, 4)} Hz, see there."
    if measured.kind == "dip":
        return f"{_what(measured)}: no model has one."
    return (
        f"{_what(measured)}: nothing in any model. Something that the case leaves out: a leak, a part that rattles or "
        "swings, a standing wave in a chamber that is given by its volume alone."
    )


def only_predicted(model: str, predicted: Found, feature: Feature | None) -> str:
    """Return what to say of a predicted feature that was not measured although it would stand out of the noise."""
    cause = "" if feature is None else f" {feature.cause.text}"
    return (
        f"The {model} model has a {predicted.kind} at {sig(predicted.frequency_hz, 4)} Hz that the sweep does not "
        f"show: damped more than modelled, moved far away, or not built so.{cause}"
    )


def in_common(matches: Sequence[Pair]) -> str:
    """Say so if all features are off by about the same share; else, if several are off, what finds their causes."""
    off = np.array([m.deviation for m in matches if m.deviation is not None])
    apart = np.abs(off) > _WORTH
    several = "Each line looks for one dimension alone; airpath fit finds the values that explain them together."
    if len(off) < _FEWEST:
        return several if apart.sum() > 1 else ""
    middle = float(np.median(off))
    alike = float(np.mean(np.abs(off - middle) < _ALIKE * abs(middle)))
    if abs(middle) < _WORTH or alike < _MOST_OF_THEM:
        return several if apart.sum() > 1 else ""
    whose, way = "All" if alike == 1 else "Nearly all", "higher" if middle > 0 else "lower"
    return (
        f"{whose} lie about {_percent(middle)} {way} than predicted: look first for one cause of all, as the "
        "temperature of the air, the scale of the build, or the driver's own resonance."
    )


def _what(measured: Found) -> str:
    q = "" if measured.q is None or measured.kind != "ripple" else f", Q {sig(measured.q, 2)}"
    return f"Measured {measured.kind} at {sig(measured.frequency_hz, 4)} Hz{q}"


def _percent(off: float) -> str:
    return f"{sig(abs(off) * 100, 2)} %"


def _dimension(explained: Explanation, measured: Found, feature: Feature) -> str:
    """Return which one value, changed how far, would bring the prediction to where it was measured; two at most."""
    known = parameters(explained.case)
    shift = measured.frequency_hz - feature.frequency_hz
    fits = []
    for entry in feature.sensitivity:
        parameter = known.get(entry.parameter)
        if parameter is None or not entry.hz_per_unit or parameter.kind == "driver":
            continue
        was = parameter.value / parameter.si
        new = was + shift / entry.hz_per_unit
        if was > 0 and abs(new / was - 1) < _MOST:
            unit = f" {entry.unit}" if entry.unit else ""
            fits.append(f"{entry.parameter} at about {sig(new)}{unit} instead of {sig(was)}{unit}")
    return f"It would fit with {', or with '.join(fits[:_NAMED])}." if fits else ""
