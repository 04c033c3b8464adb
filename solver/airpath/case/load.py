"""From a TOML file to a `Case`, or to one message that says what to change."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from airpath.case.check import check
from airpath.case.problem import MISSING, Problem, message, nearest
from airpath.case.schema import Case
from airpath.case.walk import expected_of, fields_of, split
from airpath.errors import CaseError

_SHAPES = {
    "model_type": "expected a table of keys and values",
    "dict_type": "expected tables under names of your own, as in [chambers.main]",
    "tuple_type": "expected a list in square brackets",
    "too_long": "expected a list of at most {max_length} items",
    "too_short": "expected a list of at least {min_length} items",
    "missing": "expected a longer list",
}
_LARGEST_FILE = 1_000_000  # bytes


def load(path: str | Path) -> Case:
    """Return the validated case of a TOML file. Raises CaseError: file, table, key, found, expected."""
    path = Path(path)
    return parse(read(path), path)


def parse(text: str, source: Path) -> Case:
    """Return the validated case of a TOML text that stands in the file ``source``. Raises CaseError."""
    data = _toml(text, source.name)
    try:
        case = Case.model_validate(data)
    except ValidationError as error:
        problems = [_translate(dict(item), data) for item in error.errors(include_url=False)]
        raise CaseError(message(source.name, problems)) from None
    case._source = source
    problems = check(case)
    if problems:
        raise CaseError(message(source.name, [_as_written(problem, data) for problem in problems]))
    return case


def _as_written(problem: Problem, data: dict[str, Any]) -> Problem:
    """Show the value as it stands in the file, not as it was understood."""
    path = problem.table.split(".") if problem.table else []
    found = _found([*path, problem.key], data)
    return problem if found is MISSING else replace(problem, found=found)


def read(path: Path) -> str:
    """Return the text of a case file. Raises CaseError: no file, a folder, too large, not UTF-8."""
    try:
        if path.is_dir():
            raise CaseError(f"{path}: a folder was found where a case file (TOML text) is expected")
        if path.stat().st_size > _LARGEST_FILE:
            raise CaseError(f"{path}: larger than 1 MB; a case file (TOML text) is expected")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        expected = f"byte {error.start} is not UTF-8; a text file in UTF-8 is expected"
        raise CaseError(f"{path.name}: {expected}") from None
    except (OSError, ValueError) as error:
        if isinstance(error, CaseError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise CaseError(f"{path}: cannot be read ({reason}); a case file (TOML text) is expected") from None


def _toml(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        reason = "nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise CaseError(f"{name}: not valid TOML: {reason}") from None


def _translate(error: dict[str, Any], data: dict[str, Any]) -> Problem:
    """Turn one of pydantic's errors into a problem in the words of the case file."""
    place = [part for part in error["loc"] if part != "[key]"]
    kind, context = error["type"], error.get("ctx", {})
    if kind == "table":
        place.append(context["key"])
    path, model, rest = split(place)
    known = fields_of(model) if model is not None else {}
    expected = str(error["msg"])
    if kind == "table":
        expected = context["expected"]
    elif kind == "value_error":
        expected = str(context["error"])
    elif kind == "extra_forbidden":
        expected = f"unknown key; {nearest(str(rest[0]), known)}"
    elif kind == "missing":
        expected = expected_of(str(rest[0]), known.get(str(rest[0])))
    elif kind in _SHAPES:
        expected = _SHAPES[kind].format(**context)
    found = MISSING if kind == "missing" else _found([*path, *rest], data)
    key = str(rest[0]) + "".join(f", item {part + 1}" for part in rest[1:] if isinstance(part, int))
    return Problem(table=".".join(path), key=key, found=found, expected=expected)


def _found(place: Sequence[str | int], data: Any) -> object:
    """Return what stands at a place of the file; MISSING if nothing does."""
    for part in place:
        inside = part in data if isinstance(data, dict) else isinstance(part, int) and _reaches(data, part)
        if inside:
            data = data[part]
        elif part != 0 or isinstance(data, (dict, list)):  # item 0 of a single value is that value
            return MISSING
    return data


def _reaches(data: object, index: int) -> bool:
    return isinstance(data, list) and index < len(data)
