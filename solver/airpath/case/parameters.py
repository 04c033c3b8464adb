"""Every value of a case that can be turned alone: dimensions, places, losses, driver values."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any, Literal

from airpath.case.quantity import Number, Quantity
from airpath.case.schema import Case
from airpath.case.table import Table
from airpath.case.walk import fields_of, is_named, parts_of, table_of
from airpath.units import DIMENSIONS, parse_quantity

Kind = Literal["dimension", "place", "loss", "driver"]
Step = str | int
_Place = tuple[float, float, float]

_TABLES = ("driver", "chambers", "ports", "horns")
_LOSSES = ("loss_q", "fill", "leak")
_RATINGS = ("xmax", "power")
_SHOWN = {"length": "mm", "area": "cm^2", "volume": "L", "inductance": "mH", "mass": "g", "compliance": "mm/N",
          "mechanical resistance": "kg/s"}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One value of a case: ``value`` in SI, shown in ``unit`` of ``si`` SI units each ("" for plain numbers).

    ``path``: where it stands in the file, as ``("chambers", "main", "size", 0)``; ``dimension``: a key of
    `airpath.units.DIMENSIONS`, or ""; ``low`` and ``high`` [SI]: what a case file may hold there; ``text``: what it
    is, in the words of the case's models.
    """

    case: Case
    path: tuple[Step, ...]
    kind: Kind
    value: float
    unit: str
    dimension: str
    si: float
    low: float
    high: float
    text: str

    @cached_property
    def name(self) -> str:
        """The path in one word, as ``chambers.main.size[0]``."""
        return "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in self.path)[1:]

    @property
    def per_metre(self) -> float:
        """Change [SI] of a size per metre that its lengths are off; 0 for what is no size.

        Of an area the diameter of its circle is off, of a volume each side of its cube on its own, a root of a sum of
        squares.
        """
        if self.dimension == "area":
            return math.sqrt(math.pi * self.value)
        if self.dimension == "volume":
            return math.sqrt(3) * math.pow(self.value, 2 / 3)
        return 1.0 if self.dimension == "length" else 0.0

    def changed(self, value: float) -> Case:
        """Return the case with another value [SI], not checked again.

        What sits in a cuboid chamber keeps its place in proportion when a side of the chamber changes.
        """
        case: Case = put(self.case, self.path, value)
        if self.path[0] == "chambers" and self.path[2] == "size":
            return _moved_along(case, str(self.path[1]), int(self.path[3]), value / self.value)
        return case


def parameters(case: Case) -> dict[str, Parameter]:
    """Return every value of a case that can be turned alone, by name, in the order of the file's tables.

    Left out: counts, ratings, stations of horns and ports, and what the case does not give.
    """
    found: dict[str, Parameter] = {}
    for key, field in fields_of(Case).items():
        if key not in _TABLES:
            continue
        entries = getattr(case, key)
        tables = entries.items() if is_named(field.annotation) else [(None, entries)]
        for name, table in tables:
            path = (key,) if name is None else (key, name)
            for parameter in _of_table(case, table, path):
                found[parameter.name] = parameter
    return found


def _of_table(case: Case, table: Table, path: tuple[Step, ...]) -> Iterator[Parameter]:
    for key, attribute, rule, text in _turnable(type(table)):
        value = getattr(table, attribute)
        if value is None:
            continue
        if rule is None:
            yield from _of_table(case, value, (*path, key))
            continue
        values = value if isinstance(value, tuple) else (value,)
        for i, one in enumerate(values):
            if not isinstance(one, float) or (one == 0.0 and attribute not in table.model_fields_set):
                continue
            place = (*path, key, i) if isinstance(value, tuple) else (*path, key)
            yield _parameter(case, place, one, rule, text)


@cache
def _turnable(model: type[Table]) -> tuple[tuple[str, str, Quantity | Number | None, str], ...]:
    """Return key, attribute, rule and text of what can be turned in a table; the rule is None for a table in it."""
    found: list[tuple[str, str, Quantity | Number | None, str]] = []
    for key, field in fields_of(model).items():
        attribute = next(name for name, f in model.model_fields.items() if f is field)
        if key in _RATINGS:
            continue
        if table_of(field.annotation) is not None:
            found.append((key, attribute, None, ""))
            continue
        rules = [*field.metadata, *parts_of(field.annotation)]
        rule = next((r for r in rules if isinstance(r, Quantity | Number)), None)
        if rule is not None and not (isinstance(rule, Number) and rule.whole):
            found.append((key, attribute, rule, (field.description or "").split(", as in")[0].rstrip(".")))
    return tuple(found)


def _parameter(case: Case, path: tuple[Step, ...], value: float, rule: Quantity | Number, text: str) -> Parameter:
    low, high, unit, dimension, si = rule.low, rule.high, "", "", 1.0
    if isinstance(rule, Quantity):
        dimension = rule.dimension
        unit = _SHOWN.get(rule.dimension, DIMENSIONS[rule.dimension].units[0])
        si = _si(f"1 {unit}", rule.dimension)
        low, high = (_si(bound, rule.dimension) for bound in (rule.low, rule.high))
    return Parameter(
        case=case, path=path, kind=_kind(path), value=value, unit=unit, dimension=dimension, si=si,
        low=float(low), high=float(high), text=text,
    )  # fmt: skip


@cache
def _si(text: str, dimension: str) -> float:
    return parse_quantity(text, dimension)


def _kind(path: tuple[Step, ...]) -> Kind:
    words = [str(step) for step in path]
    if any(word.endswith(("_at", "_along")) or word == "at" for word in words):
        return "place"
    if any(word in _LOSSES for word in words[2:]):
        return "loss"
    return "driver" if words[0] == "driver" else "dimension"


def put(holder: Any, path: tuple[Step, ...], value: float) -> Any:
    """Return a copy of a table, dictionary or tuple with another value at a path."""
    if not path:
        return value
    step, rest = path[0], path[1:]
    if isinstance(holder, tuple):
        return tuple(put(item, rest, value) if i == step else item for i, item in enumerate(holder))
    if isinstance(holder, dict):
        return {**holder, step: put(holder[step], rest, value)}
    attribute = next(name for name, field in type(holder).model_fields.items() if (field.alias or name) == step)
    return holder.model_copy(update={attribute: put(getattr(holder, attribute), rest, value)})


def _moved_along(case: Case, chamber: str, axis: int, factor: float) -> Case:
    """Return the case with every place in a chamber moved in proportion along one axis."""

    def moved(at: _Place | None, space: str | None) -> tuple[float, ...] | None:
        if at is None or space != chamber:
            return at
        return tuple(x * factor if i == axis else x for i, x in enumerate(at))

    return with_places(case, moved)


def with_places(case: Case, moved: Callable[[_Place | None, str | None], tuple[float, ...] | None]) -> Case:
    """Return the case with other places in its chambers; ``moved``: what becomes of one in the chamber it names [m]."""
    driver = case.driver
    ports = {
        name: p.model_copy(update={"from_at": moved(p.from_at, p.from_), "to_at": moved(p.to_at, p.to)})
        for name, p in case.ports.items()
    }
    horns = {name: h.model_copy(update={"from_at": moved(h.from_at, h.from_)}) for name, h in case.horns.items()}
    sides = {"front_at": moved(driver.front_at, driver.front), "rear_at": moved(driver.rear_at, driver.rear)}
    return case.model_copy(update={"ports": ports, "horns": horns, "driver": driver.model_copy(update=sides)})
