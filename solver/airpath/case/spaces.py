"""Tables of the spaces that hold air: chambers with what is in them, and the room around the box."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from airpath.case.quantity import (
    AreaOrZero,
    Choice,
    FilePath,
    FlowResistivity,
    Fraction,
    Length,
    QualityFactor,
    Volume,
)
from airpath.case.table import Position, Size, Table, check_size, exactly_one, refuse

_Unit = Annotated[Literal["mm", "cm", "m", "in", "ft"], Choice(("mm", "cm", "m", "in", "ft"))]
Drawing = Annotated[
    FilePath | None, Field(description="Drawing of the air inside: a .toml, .dxf or .msh file, relative to this file.")
]
DrawingDepth = Annotated[
    Length | None,
    Field(
        description="Depth of a flat drawing or mesh that can't say it itself (.dxf, .msh); left out: a half section "
        "turned about its axis (.dxf), or a solid (.msh)."
    ),
]
DrawingUnit = Annotated[
    _Unit | None,
    Field(description="Unit of a drawing or mesh that doesn't say it itself (.dxf, .msh): mm, cm, m, in or ft."),
]


def check_outline(outline: str | None, **given: object) -> None:
    """Refuse what a drawing says itself; ``given``: the keys and values that complete it."""
    silent = outline is not None and not outline.lower().endswith(".toml")
    for key, value in given.items():
        if value is not None and not silent:
            refuse(key, "only with an outline that can't say it itself, a .dxf or .msh file")


class Fill(Table):
    """Stuffing: a fibrous material in a chamber or along a horn."""

    flow_resistivity: FlowResistivity = Field(
        description='Airflow resistivity of the stuffing as packed, as in "5000 Pa*s/m^2".'
    )
    fraction: Fraction = Field(1.0, description="Part of the space that is stuffed, 0 to 1.")


class Leak(Table):
    """A small hole from a chamber to the outside."""

    diameter: Length = Field(description='Diameter of the hole, as in "1 mm".')
    length: Length = Field(
        0.010,
        description="Length of the hole through the wall; 10 mm if left out.",
        json_schema_extra={"default": "10 mm"},
    )


class Chamber(Table):
    """A closed volume of air."""

    volume: Volume | None = Field(None, description='Net air volume, as in "38 L".')
    size: Size | None = Field(
        None, description='Interior of a cuboid: [x, y, z], as in ["120 mm", "100 mm", "133 mm"].'
    )
    outline: Drawing = None
    outline_depth: DrawingDepth = None
    outline_unit: DrawingUnit = None
    loss_q: QualityFactor | None = Field(
        None, description="Absorption Q of the air volume; left out: the walls' thermal layer alone."
    )
    fill: Fill | None = Field(None, description="Stuffing in the chamber.")
    leak: Leak | None = Field(None, description="A small hole from the chamber to the outside.")

    @model_validator(mode="after")
    def _one_shape(self) -> Chamber:
        exactly_one(self, "volume", "size", "outline")
        check_size(self.size)
        check_outline(self.outline, outline_depth=self.outline_depth, outline_unit=self.outline_unit)
        return self

    @property
    def known_volume(self) -> float | None:
        """Air volume [m^3]; None when it has to be taken from an outline."""
        return _volume(self.volume, self.size)


def _as_list(found: Any) -> Any:
    return [found] if not isinstance(found, (list, tuple)) else found


def _one_or_list(schema: dict[str, Any]) -> None:
    """Let editors accept the single area too."""
    many = {key: schema.pop(key) for key in ("items", "maxItems", "maxLength", "type") if key in schema}
    schema["anyOf"] = [many["items"], {"type": "array", "items": many["items"], "maxItems": 64}]


Openings = Annotated[tuple[AreaOrZero, ...], BeforeValidator(_as_list), Field(max_length=64)]


class Room(Table):
    """The closed space that everything "outside" opens into; the listener is in it."""

    volume: Volume | None = Field(None, description='Air volume of the room, as in "1.2 m^3".')
    size: Size | None = Field(None, description="Interior of a cuboid room: [x, y, z].")
    opening: Openings = Field(
        (),
        description='Area of a door or window that stands open, or a list of areas, as in "0.4 m^2".',
        json_schema_extra=_one_or_list,
    )
    opening_height: Length | None = Field(
        None, description="Height of that opening, a slot then; left out: it counts as round."
    )
    opening_at: Position | None = Field(
        None, description="Centre of that opening in a wall of the room, [x, y, z]; the room needs a size."
    )
    loss_q: QualityFactor = Field(8.0, description="Absorption Q of the room: walls, furniture and small gaps.")
    leak: Leak | None = Field(None, description="A hole that stays open when the door is shut; left out: airtight.")

    @model_validator(mode="after")
    def _one_shape(self) -> Room:
        exactly_one(self, "volume", "size")
        check_size(self.size)
        return self

    @property
    def known_volume(self) -> float:
        """Air volume [m^3]."""
        volume = _volume(self.volume, self.size)
        assert volume is not None  # one of the two is given, or the table was refused
        return volume


def _volume(volume: float | None, size: tuple[float, float, float] | None) -> float | None:
    return size[0] * size[1] * size[2] if size is not None else volume
