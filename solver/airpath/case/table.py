"""What the tables of the case file share: frozen, no unknown keys, and how a table refuses its content."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, NoReturn

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import PydanticCustomError

from airpath.case.quantity import Area, Coordinate, Length, Offset


class Table(BaseModel):
    """A table of the case file: frozen; its attributes are SI values under the names of the TOML keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, serialize_by_alias=True)


Position = tuple[Offset, Offset, Offset]
Place = tuple[Coordinate, Coordinate, Coordinate]
Size = tuple[Length, Length, Length]
Station = tuple[Offset, Area]
Stations = Annotated[tuple[Station, ...], Field(min_length=2, max_length=500)]


def refuse(key: str, expected: str) -> NoReturn:
    """Refuse a table because of ``key``; ``expected`` is shown to the user."""
    raise PydanticCustomError("table", "{expected}", {"key": key, "expected": expected})


def exactly_one(table: Table, *keys: str) -> None:
    """Refuse the table unless just one of the keys is given."""
    given = [key for key in keys if getattr(table, key) is not None]
    if len(given) != 1:
        count = "none of them is" if not given else f"{' and '.join(given)} are"
        refuse(given[-1] if given else keys[0], f"expected exactly one of {', '.join(keys)} ({count} given)")


def check_size(size: tuple[float, float, float] | None) -> None:
    """Refuse a cuboid of less than a millilitre."""
    if size is not None and size[0] * size[1] * size[2] < 1e-6:
        refuse("size", "expected a cuboid of 1 mL or more")


def check_stations(stations: tuple[Station, ...]) -> None:
    """Refuse stations that do not start at zero or do not go onwards."""
    places = [place for place, _ in stations]
    if places[0] != 0.0:
        refuse("stations", 'expected distances that start at "0 mm"')
    if any(b - a < 1e-4 for a, b in pairwise(places)):
        refuse("stations", "expected distances that grow from row to row, by 0.1 mm or more")
