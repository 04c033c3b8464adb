"""The same box at another scale: every quantity of a case times its power of the factor, the air the same.

Lengths grow by n, frequencies fall by n, and the air's density and sound speed stay; so does electrical resistance.
That fixes every other unit: mass n^3, force n^2, volt n, and so on, by dimensional analysis. Then springs, plugs,
waves, radiation and the driver map exactly (impedance, level at n times the distance, air speed are the same at
frequency/n; excursion grows by n). Friction and heat at the walls do not: air has its own length there (Pierce,
Acoustics, ch. 10).
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from airpath.case.edit import edited
from airpath.case.parameters import Step, put
from airpath.case.quantity import Quantity
from airpath.case.schema import Case
from airpath.case.table import Table
from airpath.case.walk import fields_of
from airpath.errors import CaseError
from airpath.units import DIMENSIONS, parse_quantity, unit_of

EXPONENT = {
    "length": 1, "area": 2, "volume": 3, "frequency": -1, "mass": 3, "compliance": -1, "mechanical resistance": 2,
    "force factor": 1, "resistance": 0, "inductance": 1, "voltage": 1, "power": 2, "temperature": 0, "pressure": 0,
    "flow resistivity": -1,
}  # fmt: skip
_PLACES = ("front_at", "rear_at", "front_along", "rear_along")  # of a driver that stays as it is
_DIGITS = 9
_OUTLINED = ("points", "holes", "stuffed", "openings", "centreline")
_WITH_UNIT = {"depth": "length", "length": "length", "throat": "area", "mouth": "area"}

Path_ = tuple[Step, ...]


def scaled(case: Case, to: float, *, keep_driver: bool = False) -> Case:
    """Return the case as a 1:``to`` model of what it is a 1:scale model of; ``to`` = 1 is full size.

    ``keep_driver``: the same driver at the same drive, only its places move. The measured sweep belongs to the old one
    and goes. The result is not checked again. Raises CaseError for a case with drawings: see :func:`scaled_files`,
    ValueError for a scale that is not above zero.
    """
    for kind, tables in (("chambers", case.chambers), ("horns", case.horns)):
        for name, table in tables.items():
            if table.outline is not None:
                raise CaseError(f"[{kind}.{name}] outline: a drawing is scaled in a file of its own (scaled_files)")
    if not 0 < to < math.inf:
        raise ValueError(f"to = {to:g}: expected a scale above zero, 1 for full size")
    factor = case.scale / to
    for path, (dimension, value) in _scaling(case, keep_driver).items():
        case = put(case, path, value * factor ** EXPONENT[dimension])
    return case.model_copy(update={"scale": to, "measured": None})


def scaled_files(case: Case, text: str, to: float, target: Path, *, keep_driver: bool = False) -> dict[str, str]:
    """Return what to write beside ``target``: the scaled case file under its name, comments kept, and its outlines.

    ``text``: the file of ``case``. Raises CaseError for a drawing that can't be scaled as text, and when there is
    nothing to scale.
    """
    if to == case.scale:
        file = case.source.name if case.source is not None else case.name
        raise CaseError(f"{file}: the case is at 1:{to:g} already: expected another scale to go to")
    factor, there = case.scale / to, tomllib.loads(text)
    changes: dict[Path_, Any] = {}
    for path, (dimension, value) in _scaling(case, keep_driver).items():
        new = value * factor ** EXPONENT[dimension]
        found = _found(there, path)
        if found is None and new != value:
            found = f"1 {DIMENSIONS[dimension].units[0]}"
        if found is not None and new != value:
            unit = unit_of(found)
            single = isinstance(_found(there, path[:-1]), str)  # one opening instead of a list of them
            size = new / parse_quantity(f"1 {unit}", dimension)
            changes[path[:-1] if single else path] = f"{size:.{_DIGITS}g} {unit}"
    changes[("scale",)] = to
    if "title" in there:
        changes[("title",)] = f"{case.title}, scaled to 1:{to:g}"[:200]
    if case.measured is not None:
        changes[("measured",)] = None
    outlines, files = _outlines(case, factor, target)
    return {target.name: edited(text, changes | outlines), **files}


def scaled_outline(text: str, factor: float) -> str:
    """Return a TOML outline with all its lengths multiplied, comments kept."""
    import tomlkit

    document = tomlkit.parse(text)
    for key in _OUTLINED:
        if key in document:
            _multiply(document[key], factor)
    for key, dimension in _WITH_UNIT.items():
        if isinstance(document.get(key), str):
            value, unit = parse_quantity(document[key], dimension), unit_of(document[key])
            new = value * factor ** EXPONENT[dimension] / parse_quantity(f"1 {unit}", dimension)
            document[key] = f"{new:.{_DIGITS}g} {unit}"
    return tomlkit.dumps(document)


def _multiply(holder: Any, factor: float) -> None:
    for key in list(holder) if isinstance(holder, dict) else range(len(holder)):
        if isinstance(holder[key], int | float):
            new = float(f"{holder[key] * factor:.{_DIGITS}g}")
            holder[key] = int(new) if new.is_integer() else new
        else:
            _multiply(holder[key], factor)


def _outlines(case: Case, factor: float, target: Path) -> tuple[dict[Path_, Any], dict[str, str]]:
    """Return the paths to change in the case file, and the scaled outlines by the names of their files."""
    changes: dict[Path_, Any] = {}
    files: dict[str, str] = {}
    for kind, tables in (("chambers", case.chambers), ("horns", case.horns)):
        for name, table in tables.items():
            if table.outline is None:
                continue
            if not table.outline.lower().endswith(".toml"):
                file = case.source.name if case.source is not None else case.name
                raise CaseError(
                    f'{file}: [{kind}.{name}] outline = "{table.outline}": expected a .toml outline, of which a scaled '
                    "copy can be written; drawings and meshes have to be scaled where they were made"
                )
            copy = f"{target.stem}-{re.sub(r'[^0-9A-Za-z_-]+', '-', name)}.toml"
            while copy in files or copy == target.name:
                copy = f"{Path(copy).stem}-.toml"
            files[copy] = scaled_outline(case.resolve(table.outline).read_text(encoding="utf-8"), factor)
            changes[(kind, name, "outline")] = copy
    return changes, files


def _scaling(case: Case, keep_driver: bool) -> dict[Path_, tuple[str, float]]:
    """Return the quantities of a case that scale: dimension and SI value by path."""
    unused = {("drive", "voltage")} if case.drive.power is not None else set()
    unused |= {("listener", "distance")} if case.listener.at is not None else set()
    out = {}
    for path, dimension, value in _quantities(case, ()):
        kept = keep_driver and (path[0] == "drive" or (path[0] == "driver" and path[1] not in _PLACES))
        if EXPONENT[dimension] and not kept and path not in unused:
            out[path] = (dimension, value)
    return out


def _quantities(table: Table, path: Path_) -> Iterator[tuple[Path_, str, float]]:
    """Yield path, dimension and SI value of every quantity in a table and the tables below it."""
    for key, field in fields_of(type(table)).items():
        attribute = next(name for name, other in type(table).model_fields.items() if other is field)
        value = getattr(table, attribute)
        if isinstance(value, Table):
            yield from _quantities(value, (*path, key))
        elif isinstance(value, dict):
            for name, inner in value.items():
                yield from _quantities(inner, (*path, key, name))
        elif value is not None:
            yield from _values(Annotated[field.annotation, *field.metadata, None], value, (*path, key))


def _values(annotation: Any, value: Any, path: Path_) -> Iterator[tuple[Path_, str, float]]:
    """Yield the quantities in a value, by its annotation: a quantity, an optional one, a tuple of them."""
    origin, parts = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        rule = next((r for r in parts[1:] if isinstance(r, Quantity)), None)
        if rule is None:
            yield from _values(parts[0], value, path)
        else:
            yield path, rule.dimension, value
    elif origin in (Union, UnionType):
        for kind in parts:
            yield from _values(kind, value, path)
    elif origin is tuple:
        for i, item in enumerate(value):
            yield from _values(parts[0] if parts[-1] is Ellipsis else parts[i], item, (*path, i))


def _found(data: Any, path: Path_) -> Any:
    """Return what the file holds at a path; of a single value, that is item 0 of it; None if nothing is there."""
    for step in path:
        if isinstance(data, str) and step == 0:
            continue
        inside = isinstance(data, dict) and step in data
        inside = inside or (isinstance(data, list) and isinstance(step, int) and step < len(data))
        if not inside:
            return None
        data = data[step]
    return data
