"""Writing into a case file: values change, comments and layout stay."""

from __future__ import annotations

import pickle
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from airpath.case.parameters import Parameter, Step, parameters
from airpath.case.schema import Case
from airpath.units import parse_quantity, unit_of

_DIGITS = 6


def edited(text: str, changes: Mapping[tuple[Step, ...], Any]) -> str:
    """Return the text of a case file with other values at some paths; None takes a key away.

    A value is what TOML holds there: a text such as ``"120 mm"``, a number, a truth value or a list. Missing tables
    are made. Comments, order and layout stay.
    """
    import tomlkit

    document = pickle.loads(_parsed(text))
    for path, value in changes.items():
        holder: Any = document
        for step in path[:-1]:
            if not isinstance(step, int) and step not in holder:
                holder[step] = tomlkit.table()
            holder = holder[step]
        if value is None:
            holder.pop(path[-1], None)
        else:
            holder[path[-1]] = value
    return tomlkit.dumps(document)


@lru_cache(maxsize=8)
def _parsed(text: str) -> bytes:
    """Return a text as tomlkit holds it, to be unpacked: under the hand the same text is edited again and again."""
    import tomlkit

    return pickle.dumps(tomlkit.parse(text))


def written(text: str, parameter: Parameter, value: float) -> Any:
    """Return how a parameter's new ``value`` [SI] is written: in the unit that the file uses there already."""
    if not parameter.unit:
        return float(f"{value:.{_DIGITS}g}")
    there: Any = tomllib.loads(text)
    try:
        for step in parameter.path:
            there = there[step]
    except (KeyError, IndexError, TypeError):  # a default, not in the file
        there = f"1 {parameter.unit}"
    unit = unit_of(there)
    return f"{value / parse_quantity(f'1 {unit}', parameter.dimension):.{_DIGITS}g} {unit}"


def differences(text: str, before: Case, after: Case) -> dict[tuple[Step, ...], Any]:
    """Return what to write into the file of ``before`` to make it ``after``, for :func:`edited`."""
    was = parameters(before)
    return {
        new.path: written(text, new, new.value)
        for name, new in parameters(after).items()
        if name not in was or was[name].value != new.value
    }
