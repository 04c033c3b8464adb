"""Field types of the case file: quantities with units, numbers, counts, names and texts, all with bounds."""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from airpath.units import DIMENSIONS, PATTERN, parse_quantity

RESERVED_NAMES = ("outside", "cone", "driver")


class _Rule:
    """A field rule: ``parse`` returns the value or raises ValueError with what is expected."""

    def parse(self, found: object) -> Any:
        raise NotImplementedError

    def json_schema(self) -> dict[str, Any]:
        raise NotImplementedError

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.parse)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return self.json_schema()


@lru_cache(maxsize=256)
def _bound(text: str, dimension: str) -> float:
    return parse_quantity(text, dimension)


@dataclass(frozen=True)
class Quantity(_Rule):
    """A string with a number and a unit, stored as an SI float; the bounds are quantities too."""

    dimension: str
    low: str
    high: str

    def parse(self, found: object) -> float:
        """Return the SI value of what stands in the file."""
        if not isinstance(found, str):
            raise ValueError(DIMENSIONS[self.dimension].expected)
        value = parse_quantity(found, self.dimension)
        low, high = _bound(self.low, self.dimension), _bound(self.high, self.dimension)
        if not low * (1 - 1e-12) <= value <= high * (1 + 1e-12):
            raise ValueError(f"{DIMENSIONS[self.dimension].phrase} here is from {self.low} to {self.high}")
        return value

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of such a string."""
        wanted = DIMENSIONS[self.dimension]
        units = f"Units: {', '.join(wanted.units)}."
        return {"type": "string", "pattern": PATTERN, "examples": [wanted.example], "$comment": units}


@dataclass(frozen=True)
class Number(_Rule):
    """A number without a dimension, from ``low`` to ``high``; ``whole`` asks for an integer."""

    low: float
    high: float
    whole: bool = False

    def parse(self, found: object) -> float | int:
        """Return the number."""
        kind = "a whole number" if self.whole else "a plain number"
        expected = f"expected {kind} from {self.low:g} to {self.high:g}"
        if isinstance(found, bool) or not isinstance(found, int if self.whole else (int, float)):
            raise ValueError(expected)
        if not (self.low <= found <= self.high) or (isinstance(found, float) and not math.isfinite(found)):
            raise ValueError(expected)
        return int(found) if self.whole else float(found)

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of such a number."""
        kind = "integer" if self.whole else "number"
        return {"type": kind, "minimum": self.low, "maximum": self.high}


@dataclass(frozen=True)
class Text(_Rule):
    """A string of ``shortest`` to ``longest`` characters; ``lines`` allows line breaks and tabs."""

    longest: int
    shortest: int = 0
    lines: bool = False

    def parse(self, found: object) -> str:
        """Return the text."""
        expected = f"expected a text of {self.shortest} to {self.longest} characters in quotes"
        if not isinstance(found, str) or not self.shortest <= len(found) <= self.longest:
            raise ValueError(expected)
        allowed = "\n\r\t" if self.lines else ""
        if any(unicodedata.category(sign) in ("Cc", "Cs") and sign not in allowed for sign in found):
            raise ValueError("expected a text without control characters")
        return found

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of such a text."""
        return {"type": "string", "minLength": self.shortest, "maxLength": self.longest}


@dataclass(frozen=True)
class NewName(Text):
    """The name a user gives to a chamber, port or horn; it comes back unchanged in every result."""

    longest: int = 40
    shortest: int = 1

    def parse(self, found: object) -> str:
        """Return the name."""
        name = super().parse(found)
        if name in RESERVED_NAMES:
            raise ValueError(f"expected a name other than {', '.join(RESERVED_NAMES)}, which mean something else")
        if "." in name or name != name.strip():
            raise ValueError("expected a name without dots and without blanks at its ends")
        return name


@dataclass(frozen=True)
class Choice(_Rule):
    """One of a few words."""

    words: tuple[str, ...]

    def parse(self, found: object) -> str:
        """Return the word."""
        if not isinstance(found, str) or found not in self.words:
            raise ValueError("expected one of " + ", ".join(f'"{word}"' for word in self.words))
        return found

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of such a word."""
        return {"type": "string", "enum": list(self.words)}


@dataclass(frozen=True)
class Switch(_Rule):
    """Yes or no."""

    def parse(self, found: object) -> bool:
        """Return the truth value."""
        if not isinstance(found, bool):
            raise ValueError("expected true or false, without quotes")
        return found

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of a truth value."""
        return {"type": "boolean"}


Length = Annotated[float, Quantity("length", "0.1 mm", "20 m")]
Offset = Annotated[float, Quantity("length", "0 mm", "20 m")]
Coordinate = Annotated[float, Quantity("length", "-1000 m", "1000 m")]
Distance = Annotated[float, Quantity("length", "1 mm", "1000 m")]
Area = Annotated[float, Quantity("area", "0.01 mm^2", "100 m^2")]
AreaOrZero = Annotated[float, Quantity("area", "0 mm^2", "100 m^2")]
Volume = Annotated[float, Quantity("volume", "1 mL", "10000 m^3")]
Frequency = Annotated[float, Quantity("frequency", "0.1 Hz", "100 kHz")]
Resistance = Annotated[float, Quantity("resistance", "0.1 ohm", "1000 ohm")]
ResistanceOrZero = Annotated[float, Quantity("resistance", "0 ohm", "1000 ohm")]
Inductance = Annotated[float, Quantity("inductance", "0 H", "1 H")]
Voltage = Annotated[float, Quantity("voltage", "0.001 V", "1000 V")]
Power = Annotated[float, Quantity("power", "0.000001 W", "100 kW")]
Mass = Annotated[float, Quantity("mass", "0.01 g", "10 kg")]
Compliance = Annotated[float, Quantity("compliance", "0.0001 mm/N", "1000 mm/N")]
MechanicalResistance = Annotated[float, Quantity("mechanical resistance", "0.0001 kg/s", "1000 kg/s")]
ForceFactor = Annotated[float, Quantity("force factor", "0.01 T*m", "1000 T*m")]
FlowResistivity = Annotated[float, Quantity("flow resistivity", "1 Pa*s/m^2", "1000000 Pa*s/m^2")]
Temperature = Annotated[float, Quantity("temperature", "-40 degC", "80 degC")]
Pressure = Annotated[float, Quantity("pressure", "20 kPa", "200 kPa")]
QualityFactor = Annotated[float, Number(0.05, 1000.0)]
MechanicalQ = Annotated[float, Number(0.05, 200.0)]
Fraction = Annotated[float, Number(0.0, 1.0)]
Count = Annotated[int, Number(1, 64, whole=True)]
YesNo = Annotated[bool, Switch()]
Title = Annotated[str, Text(200)]
Notes = Annotated[str, Text(10_000, lines=True)]
FilePath = Annotated[str, Text(1000, shortest=1)]
Name = Annotated[str, Text(40, shortest=1)]
Given = Annotated[str, NewName()]
