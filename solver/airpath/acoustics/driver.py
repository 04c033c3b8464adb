"""Driver values: the mechanical set Mms, Cms, Rms, Bl from whichever datasheet values are given."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air, air_at

MECHANICAL = ("Mms", "Cms", "Rms", "Bl")
SMALL_SIGNAL = ("fs", "Qms", "Qes", "Vas")
_PREFERENCE = (*SMALL_SIGNAL, "Mms", "Bl", "Rms", "Cms")
_TOLERANCE = 0.05
_ROWS = {  # over (ln Mms, ln Cms, ln Rms, ln Bl)
    "Mms": (1.0, 0.0, 0.0, 0.0), "Cms": (0.0, 1.0, 0.0, 0.0), "Rms": (0.0, 0.0, 1.0, 0.0), "Bl": (0.0, 0.0, 0.0, 1.0),
    "fs": (-0.5, -0.5, 0.0, 0.0), "Qms": (0.5, -0.5, -1.0, 0.0), "Qes": (0.5, -0.5, 0.0, -2.0),
    "Vas": (0.0, 1.0, 0.0, 0.0),
}  # fmt: skip


class Disagreement(NamedTuple):
    """A given value that the other given values contradict by more than 5 %; both SI."""

    name: str
    given: float
    derived: float


@dataclass(frozen=True, kw_only=True)
class MechanicalSet:
    """Moving mass [kg] with its air, compliance [m/N], resistance [N s/m], force factor [T m]."""

    Mms: float
    Cms: float
    Rms: float
    Bl: float
    disagreements: tuple[Disagreement, ...] = ()


def mechanical_set(given: Mapping[str, float], Sd: float, Re: float, air: Air | None = None) -> MechanicalSet:
    """Return Mms, Cms, Rms and Bl from given values of fs, Qms, Qes, Qts, Vas, Mms, Cms, Rms, Bl (all SI, > 0).

    Qts stands in for the one of Qms and Qes that is missing, or is compared. The small-signal values come
    first, the mechanical ones fill what is left; every further value is compared with what the chosen ones
    give. ``Sd`` [m^2], ``Re`` [ohm]; ``air`` is the air that Vas was stated for (default 20 degC, 101.325 kPa,
    50 % humidity). Raises ValueError when the values do not determine all four, or Qts is no lower than its
    part.

    Symbols: fs = 1/(2 pi sqrt(Mms Cms)), Qms = sqrt(Mms/Cms)/Rms, Qes = Re sqrt(Mms/Cms)/Bl^2,
    Vas = rho c^2 Sd^2 Cms: linear in the logarithms; 1/Qts = 1/Qms + 1/Qes.
    Source: Small 1972, J. Audio Eng. Soc. 20, 383 (direct-radiator analysis).
    Checked by: unit/test_driver_parameters.
    """
    total = given.get("Qts")
    given = _with_both_q(given)
    relations = _relations(Sd, Re, air if air is not None else air_at())
    chosen = _independent(tuple(name for name in _PREFERENCE if name in given))
    if len(chosen) < len(MECHANICAL):
        raise ValueError("Qms or Qes besides Qts" if total and chosen == ("fs", "Vas") else _what_is_missing(chosen))
    rows = np.array([relations[name][0] for name in chosen])
    right = np.array([math.log(given[name]) - relations[name][1] for name in chosen])
    logs = np.linalg.solve(rows, right)
    derived = {name: math.exp(float(row @ logs) + constant) for name, (row, constant) in relations.items()}
    checked = {name: given[name] for name in _PREFERENCE if name in given}
    if total is not None:
        checked["Qts"], derived["Qts"] = total, 1.0 / (1.0 / derived["Qms"] + 1.0 / derived["Qes"])
    odd = tuple(
        Disagreement(name=name, given=value, derived=derived[name])
        for name, value in checked.items()
        if abs(value / derived[name] - 1.0) > _TOLERANCE
    )
    return MechanicalSet(**{name: derived[name] for name in MECHANICAL}, disagreements=odd)


def _with_both_q(given: Mapping[str, float]) -> Mapping[str, float]:
    """Return the values with the one of Qms and Qes that follows from Qts and the other, if just one is given."""
    known = [name for name in ("Qms", "Qes") if name in given]
    if "Qts" not in given or len(known) != 1:
        return given
    (name,), total = known, given["Qts"]
    if total >= given[name]:
        raise ValueError(f"a Qts below {name} = {given[name]:g}, since 1/Qts = 1/Qms + 1/Qes")
    return {**given, "Qes" if name == "Qms" else "Qms": 1.0 / (1.0 / total - 1.0 / given[name])}


def _relations(Sd: float, Re: float, air: Air) -> dict[str, tuple[NDArray[np.float64], float]]:
    """Return for each value its row and its constant."""
    constant = {
        "fs": -math.log(2.0 * math.pi), "Qes": math.log(Re), "Vas": math.log(air.bulk_modulus * Sd**2),
    }  # fmt: skip
    return {name: (np.array(row), constant.get(name, 0.0)) for name, row in _ROWS.items()}


@cache
def _independent(names: tuple[str, ...]) -> tuple[str, ...]:
    """Return the names in their order, without those that add nothing new to the ones before."""
    chosen: tuple[str, ...] = ()
    for name in names:
        rows = np.array([_ROWS[other] for other in (*chosen, name)])
        if np.linalg.matrix_rank(rows) == len(rows):
            chosen = (*chosen, name)
    return chosen


def _what_is_missing(chosen: tuple[str, ...]) -> str:
    have = ", ".join(chosen) if chosen else "nothing"
    if len(chosen) == len(MECHANICAL) - 1:
        others = [name for name in _PREFERENCE if name not in chosen]
        helpful = [name for name in others if len(_independent((*chosen, name))) == len(MECHANICAL)]
        return f"one more value besides {have}: {' or '.join(helpful)}"
    return f"the set {', '.join(SMALL_SIGNAL)} or the set {', '.join(MECHANICAL)} (usable so far: {have})"
