"""Finds its way in the models: which table and which field a place in the file belongs to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from airpath.case.quantity import Quantity
from airpath.case.schema import Case
from airpath.case.table import Table
from airpath.units import DIMENSIONS


def fields_of(table: type[Table]) -> dict[str, FieldInfo]:
    """Return the fields of a table under their TOML keys."""
    return {field.alias or name: field for name, field in table.model_fields.items()}


def parts_of(annotation: Any) -> Iterator[Any]:
    """Yield the types inside a field's annotation, outermost first, and the rules attached to them."""
    yield annotation
    origin = get_origin(annotation)
    if origin in (Annotated, Union, UnionType, tuple, dict):
        for part in get_args(annotation):
            yield from parts_of(part)


def table_of(annotation: Any) -> type[Table] | None:
    """Return the table model that a field holds, be it one or a dictionary of them."""
    for part in parts_of(annotation):
        if isinstance(part, type) and issubclass(part, Table):
            return part
    return None


def is_named(annotation: Any) -> bool:
    """Whether a field holds a dictionary of tables under the user's names."""
    return get_origin(annotation) is dict


def split(place: Sequence[str | int]) -> tuple[list[str], type[Table] | None, list[str | int]]:
    """Split a place into the path of its table, the table's model (None: a table of names), and the rest."""
    model: type[Table] | None = Case
    path: list[str] = []
    rest = list(place)
    named: type[Table] | None = None
    while len(rest) > 1:
        if model is None:
            model = named
        else:
            field = fields_of(model).get(str(rest[0]))
            inner = table_of(field.annotation) if field is not None else None
            if field is None or inner is None:
                break
            model, named = (None, inner) if is_named(field.annotation) else (inner, None)
        path.append(str(rest.pop(0)))
    return path, model, rest


def expected_of(key: str, field: FieldInfo | None) -> str:
    """Return what a field takes, in words."""
    if field is None:
        return "expected a value"
    if table_of(field.annotation) is not None:
        return f"expected a table, as in [{key}]"
    for rule in [*field.metadata, *parts_of(field.annotation)]:
        if isinstance(rule, Quantity):
            return DIMENSIONS[rule.dimension].expected
    return f"expected: {(field.description or 'a value').rstrip('.')}"
