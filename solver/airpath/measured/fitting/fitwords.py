"""What a fit found, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from airpath.findings.wording import listing, sig
from airpath.measured.fitting.covariance import Tie, groups
from airpath.measured.fitting.freedom import Free

if TYPE_CHECKING:
    from airpath.measured.fitting.auto import Choice
    from airpath.measured.fitting.fitresult import FittedValue
    from airpath.measured.fitting.misfit import Misfit

SUSPICIOUS = 3.0  # prior widths
_NAMED = 4
_MOSTLY = 0.9


def how_sure(one: Free, u: float, deviation: float, seen: bool, hangs_on: str, high: float) -> str:
    """Return how sure a value is; ``u`` and its standard ``deviation`` in prior widths, ``high`` [SI] the
    upper end of its interval."""
    if one.is_leak and not seen:
        return f"no leak seen: if there is one, it is smaller than a hole {_shown(one, high)} wide"
    if hangs_on:
        return f"hangs on {hangs_on}, which was held: free that too, or measure it"
    if not seen:
        return "not seen: the sweep says no more of it than was known before"
    better = f"known {sig(1 / deviation, 2)} times better than before"
    if one.new:
        return "a leak that the case does not have" if one.is_leak else "the case gives none"
    if abs(u) > SUSPICIOUS:
        return f"suspicious: {sig(abs(u), 2)} times as far off as expected; {better}"
    return better


def _shown(one: Free, value: float) -> str:
    return f"{sig(value / one.parameter.si)} {one.parameter.unit}".strip()


def summary(
    values: list[FittedValue], choices: list[Choice], pairs: list[Tie], before: float, after: float, noise: float,
    structural: bool, left: Misfit | None,
) -> list[str]:  # fmt: skip
    """Return the outcome in a few sentences; ``before``, ``after`` and ``noise`` relative."""
    out = [f"The model was off by {_percent(before)} (rms of the impedance) and is now off by {_percent(after)}."]
    out += _found(values, choices, structural)
    for group in groups(pairs):
        out.append(f"{listing(group)} can't be told apart: {_how(group, pairs)}.")
    if structural and noise < _MOSTLY * after:
        out.append(f"What is left is structural: {_percent(after)} rms, where the points scatter by {_percent(noise)} "
                   "only. No value that was free explains it.")  # fmt: skip
    elif structural:
        out.append(f"What is left, {_percent(after)} rms, is far more than noise: the case does not explain the sweep.")
    elif left is not None:
        far = listing([v.name for v in values if abs(v.pull) > SUSPICIOUS])
        out.append(f"What is left looks like noise of {_percent(noise)}, but it takes {far} further off than expected.")
    else:
        out.append(f"What is left looks like noise of {_percent(noise)}: the case explains the sweep.")
    return [*out, left.text] if left is not None else out


def _found(values: list[FittedValue], choices: list[Choice], structural: bool) -> list[str]:
    """Return what is known of the values now."""
    out = []
    moved = sorted((v for v in values if v.seen and v.was is not None), key=lambda v: -abs(v.pull))
    clear = [v for v in moved if abs(v.value - (v.was or 0.0)) > 1.96 * v.std]
    if clear:
        odd = ", if the box is otherwise as drawn" if structural else ""
        out.append(f"What differs{odd}: {listing([_difference(v) for v in clear[:_NAMED]])}.")
        for v in clear[:_NAMED]:
            like = [choice.name for choice in choices if choice.like == v.name]
            if like:
                out.append(f"{v.name} may stand for {listing(like)}: the sweep can't tell them apart.")
    elif moved and not any(v.hangs_on for v in values):
        out.append("No fitted value differs from the case by more than its error.")
    out += [_lacking(v) for v in values if v.was is None]
    for v in values:
        if v.hangs_on:
            out.append(f"{v.name} {v.text}; with all that was held exact it would be {_number(v, v.value)} ± "
                       f"{sig(v.std_noise / v.si, 2)} {v.unit}.".replace(" .", "."))  # fmt: skip
    blind = [v.name for v in values if not v.seen and not v.hangs_on and v.was is not None]
    if blind:
        whose = "its value is" if len(blind) == 1 else "their values are"
        out.append(f"The sweep does not see {listing(blind)}: {whose} known no better than before.")
    return out


def _lacking(value: FittedValue) -> str:
    """Return what is found of a value that the case does not have."""
    if "leak" not in value.name:
        return f"{value.name} is {_number(value, value.value)}: {value.text}."
    hole = f", like a hole {_number(value, value.value)} wide" if value.seen else ""
    return f"{value.name}: {value.text}{hole}."


def cautions(values: list[FittedValue], structural: bool) -> list[str]:
    """Return what to be careful of."""
    out = [
        f"{v.name} comes out at {_number(v, v.value)}, {sig(abs(v.pull), 2)} times as far from {_number(v, v.was)} as "
        "expected: measure it, or look for another cause."
        for v in values
        if v.was is not None and abs(v.pull) > SUSPICIOUS
    ]
    if structural:
        out.append("The case does not explain the sweep, so the fitted values may stand in for what it lacks: find the "
                   "cause before you build by them.")  # fmt: skip
    return out


def _difference(value: FittedValue) -> str:
    assert value.was is not None
    way = "above" if value.value > value.was else "below"
    change = abs(value.value - value.was)
    size = f"{sig(change / value.si, 2)} {value.unit}" if value.unit else sig(change, 2)
    return f"{value.name} is {_number(value, value.value)}, {size} ({_percent(change / abs(value.was))}) {way} the case"


def _number(value: FittedValue, number: float | None) -> str:
    assert number is not None
    finer = abs(number) / max(value.std, 1e-12)
    digits = max(3, min(6, int(np.floor(np.log10(max(finer, 1.0)))) + 2))
    return f"{sig(number / value.si, digits)} {value.unit}".strip()


def _percent(share: float) -> str:
    return f"{sig(100 * share, 2)} %"


def _how(group: list[str], pairs: list[Tie]) -> str:
    inside = [pair for pair in pairs if pair.first in group]
    if len(group) == 2:
        way = "both larger or both smaller" if inside[0].correlation > 0 else "one larger and the other smaller"
        return f"{way} gives the same curve (correlation {inside[0].correlation:+.2f})"
    return "only what they do together is known"


def columns(value: FittedValue) -> tuple[str, str, str, str]:
    """Return the cells of a table: fitted, was, standard error, 95 % interval, each with its unit."""
    unit = f" {value.unit}" if value.unit else ""
    low, high = (_number(value, end).removesuffix(unit) for end in (value.low, value.high))
    none = "no leak" if "leak" in value.name else "not given"
    was = none if value.was is None else _number(value, value.was)
    return _number(value, value.value), was, f"{sig(value.std / value.si, 2)}{unit}", f"{low} to {high}{unit}"
