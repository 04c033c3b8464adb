"""What a fit sets out to find: the values that are free, the ones that are held, and how far each may be off."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.case.parameters import Parameter, parameters
from airpath.case.schema import Case
from airpath.errors import CaseError, SweepError
from airpath.measured.fitting.auto import Choice, choose
from airpath.measured.fitting.freedom import Free, chosen, possible, stated_width, width, with_leak
from airpath.measured.fitting.noise import FINEST, scatter
from airpath.measured.fitting.squares import Squares, Target
from airpath.network.build import label


@dataclass(frozen=True, kw_only=True)
class Widths:
    """How far values may be off, one standard deviation: ``tolerance`` [m] of dimensions, ``driver`` relative, ``own``
    [SI] by full name; 0: exact. Raises ValueError for other widths.
    """

    tolerance: float
    driver: float
    own: Mapping[str, float]

    def __post_init__(self) -> None:
        given = {"tolerance": self.tolerance, "driver_tolerance": self.driver, **self.own}
        for name, size in given.items():
            if not 0 <= size < math.inf:
                raise ValueError(f"{name} = {size:g}: expected a tolerance of zero or more")


@dataclass(frozen=True, kw_only=True)
class Setting:
    """``case``: where the fit starts, with the leaks and the inductance that are looked for; ``choices``: why values
    were taken or not, if that was left to the data."""

    case: Case
    free: list[Free]
    held: list[Free]
    choices: list[Choice]


def setting(
    case: Case, free: str | Iterable[str] | None, widths: Widths, targets: list[Target], model: str,
    coiled: Case | None = None,
) -> Setting:  # fmt: skip
    """Return the setting of a fit; ``coiled``: the case with the inductance of its sweep, always free if it is new.

    Raises CaseError for unknown names, SweepError if there is nothing to fit.
    """
    words = ["auto"] if free is None else free.split(",") if isinstance(free, str) else list(free)
    automatic = words == ["auto"]
    names, stated = ([], {}) if automatic else _named(case, words)
    own, base = parameters(case), case if coiled is None else coiled
    names += [name for name in parameters(base) if name not in own and not automatic]
    for name in names:
        if name not in parameters(base):
            base = with_leak(base, name.split(".")[1])
    known = parameters(base)
    values = _values(known, own, widths, stated, names)
    for name in names:
        one = known[name]
        if one.value == 0 and one.kind != "place":
            raise CaseError(f'{label(case)}: --free "{name}": it is zero in the case, and a fit works with factors: '
                            "give the case a small value to start from")  # fmt: skip
        if name not in values:
            raise CaseError(f'{label(case)}: --free "{name}": with a tolerance of zero it needs a spread of its own, '
                            f'as in "{name}=5 %"')  # fmt: skip
    choices: list[Choice] = []
    if automatic:
        choices = _choices(Squares(case=base, model=model, free=list(values.values()), targets=targets))
        names = [choice.name for choice in choices if choice.taken]
    if not names:
        raise SweepError("the sweep tells no value of this case better than its tolerance does: nothing to fit")
    held = [one for name, one in values.items() if name not in names]
    return Setting(case=base, free=[values[name] for name in names], held=held, choices=choices)


def _named(case: Case, words: list[str]) -> tuple[list[str], dict[str, float]]:
    """Return the full names that words stand for, and the widths stated with them."""
    known, names, stated = possible(case), [], {}
    for word in words:
        name, _, size = word.partition("=")
        found = chosen(case, [name.strip()])
        names += [one for one in found if one not in names]
        if size:
            stated.update({one: stated_width(case, known[one], size) for one in found})
    return names, stated


def _values(
    known: Mapping[str, Parameter], own: Mapping[str, Parameter], widths: Widths, stated: Mapping[str, float],
    names: list[str],
) -> dict[str, Free]:  # fmt: skip
    """Return what may move, free or held: all but exact values, and places that nobody named; ``own``: the case's."""
    out, stated = {}, {**widths.own, **stated}
    for name, parameter in known.items():
        new = name not in own
        if new and not name.endswith(("leak.diameter", ".Le")):
            continue
        size = stated.get(name, width(parameter, widths.tolerance, widths.driver, new))
        if size > 0 and (parameter.value != 0 if parameter.kind != "place" else name in names):
            out[name] = Free(parameter=parameter, width=size, new=new)
    return out


def _choices(squares: Squares) -> list[Choice]:
    left, slopes = squares.linear(np.zeros(len(squares.free)))
    weights: NDArray[np.float64] = np.empty(len(left))
    for rows in squares.channels:
        weights[rows] = max(scatter(left[rows]), FINEST)
    return choose([one.parameter.name for one in squares.free], slopes / weights[:, None])
