"""Outlines from files: the TOML form, and the choice between TOML and drawings."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any

from airpath.errors import GeometryError
from airpath.field.outline import LENGTH_UNITS, Outline, brief, make_outline
from airpath.units import parse_quantity

_INTENDED = ("profile", "throat", "mouth", "length", "T")
_KEYS = ("title", "notes", "kind", "unit", "depth", "points", "holes", "stuffed", "openings", "centreline", *_INTENDED)
_LARGEST_BYTES = 5_000_000


def load_outline(
    path: Path | str, *, kind: str | None = None, depth_m: float | None = None, unit: str | None = None
) -> Outline:
    """Return the outline in a .toml or .dxf file.

    ``kind``, ``depth_m`` [m] and ``unit`` ("mm", "cm", "m", "in", "ft") belong to drawings, which can't hold
    the first two. Raises GeometryError, starting with the file's name, whatever the file holds.
    """
    path = Path(path)
    try:
        if path.suffix.lower() == ".dxf":
            from airpath.field.drawing import read_drawing

            return read_drawing(path, kind=kind, depth_m=depth_m, unit=unit)
        if path.suffix.lower() != ".toml":
            raise GeometryError(f"expected an outline (.toml) or a drawing (.dxf), found {path.suffix!r}")
        if (kind, depth_m, unit) != (None, None, None):
            raise GeometryError("a .toml outline states its own kind, depth and unit: leave them out here")
        return parse_outline(_text(path))
    except GeometryError as error:
        raise GeometryError(f"{path.name}: {error}") from error


def parse_outline(text: str) -> Outline:
    """Return the outline written in TOML ``text``; raises GeometryError for anything that is not one."""
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise GeometryError(f"not readable as TOML: {brief(error)}") from error
    for key in table:
        if key not in _KEYS:
            near = difflib.get_close_matches(key, _KEYS, n=1)
            hint = f"did you mean {near[0]!r}?" if near else f"known keys: {', '.join(_KEYS)}"
            raise GeometryError(f"unknown key {key!r}; {hint}")
    unit = _needed(table, "unit", f"one of {', '.join(LENGTH_UNITS)}")
    if not isinstance(unit, str) or unit not in LENGTH_UNITS:
        raise GeometryError(f"unit is {unit!r}; expected one of {', '.join(LENGTH_UNITS)}")
    kind = _needed(table, "kind", '"planar" or "axisymmetric"')
    scale = LENGTH_UNITS[unit]
    points = _scaled(_needed(table, "points", "a list of [x, y] pairs"), scale, "points")
    holes = table.get("holes", [])
    if not isinstance(holes, list):
        raise GeometryError("holes: expected a list of closed polygons, [[[x, y], ...], ...]")
    stuffed = table.get("stuffed", [])
    if not isinstance(stuffed, list):
        raise GeometryError("stuffed: expected a list of closed polygons, [[[x, y], ...], ...]")
    openings = table.get("openings", {})
    if not isinstance(openings, dict):
        raise GeometryError("openings: expected a table of segments, name = [[x1, y1], [x2, y2]]")
    return make_outline(
        kind=str(kind),
        points=points,
        holes=[_scaled(hole, scale, "holes") for hole in holes],
        stuffed=[_scaled(part, scale, "stuffed") for part in stuffed],
        openings={name: _scaled(value, scale, f"opening {name!r}") for name, value in openings.items()},
        depth=parse_length(table["depth"], "depth") if "depth" in table else None,
        centreline=_scaled(table["centreline"], scale, "centreline") if "centreline" in table else None,
        intended=_intended(table),
        unit=unit,
    )


def parse_length(value: Any, key: str) -> float:
    """Return a length [m] written as a number and a unit, "180 mm"; raises GeometryError naming ``key``."""
    if not isinstance(value, str):
        raise GeometryError(f'{key} is {value!r:.60}; expected a length with its unit, such as "180 mm"')
    try:
        return parse_quantity(value, "length")
    except ValueError as error:
        raise GeometryError(f"{key} is {value!r:.60}: {error}") from error


def _needed(table: dict[str, Any], key: str, expected: str) -> Any:
    if key not in table:
        raise GeometryError(f"{key} is missing; expected {expected}")
    return table[key]


def _scaled(path: Any, scale: float, what: str) -> list[list[float]]:
    """Return a list of [x, y] pairs in metres; refuse whatever is not made of finite numbers."""
    if not isinstance(path, list):
        raise GeometryError(f"{what}: expected a list of [x, y] pairs, found {path!r:.60}")
    for i, pair in enumerate(path, start=1):
        if not isinstance(pair, list) or len(pair) != 2 or not all(type(v) in (int, float) for v in pair):
            raise GeometryError(f"{what}: item {i} is {pair!r:.60}; expected a pair of numbers [x, y]")
    try:
        return [[float(x) * scale, float(y) * scale] for x, y in path]
    except OverflowError as error:
        raise GeometryError(f"{what}: a number is too large") from error


def _intended(table: dict[str, Any]) -> dict[str, str | float]:
    found = {key: table[key] for key in _INTENDED if key in table}
    for key, value in found.items():
        if type(value) not in (str, int, float):
            raise GeometryError(f"{key} is {value!r:.60}; expected a word, a number or a quantity with its unit")
    return found


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise GeometryError(f"the file is larger than {_LARGEST_BYTES // 1_000_000} MB: not an outline")
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise GeometryError(f"can't be read: {error.strerror or error}") from error
    except UnicodeDecodeError as error:
        raise GeometryError(f"is not text in UTF-8 (byte {error.start + 1})") from error
