"""Quantities written by people, ``"120 mm"``, turned into SI floats by a small set of units of its own."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

_DEFINITIONS = """
micro- = 1e-6 = u-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
deci- = 1e-1 = d-
hecto- = 1e2 = h-
kilo- = 1e3 = k-
meter = [length] = m
second = [time] = s
gram = [mass] = g
ampere = [current] = A
kelvin = [temperature]; offset: 0 = K
degree_celsius = kelvin; offset: 273.15 = degC
degree_fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF
inch = 0.0254 * meter = in
foot = 0.3048 * meter = ft
liter = 1e-3 * meter ** 3 = L = l
hertz = 1 / second = Hz
newton = kilogram * meter / second ** 2 = N
pascal = newton / meter ** 2 = Pa
bar = 1e5 * pascal
watt = newton * meter / second = W
volt = watt / ampere = V
ohm = volt / ampere
henry = ohm * second = H
tesla = newton / ampere / meter = T
"""

_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_FACTOR = r"[A-Za-z]+(?:\^\d)?"
_UNIT = rf"(?:1/)?{_FACTOR}(?:[*/]{_FACTOR})*"
PATTERN = rf"^\s*{_NUMBER}\s*[^\s\d.].*$"
"""What an editor can check of a quantity: a number, then a unit."""

_COMMA = re.compile(r"\s*[+-]?\d+,\d")
_QUANTITY = re.compile(rf"({_NUMBER})\s*({_UNIT})")
_SIGNS = {
    "²": "^2", "³": "^3", "·": "*", "⋅": "*", "µ": "u", "μ": "u", "Ω": "ohm", "\u2126": "ohm",
    "°": "deg", "−": "-", "**": "^",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """A kind of quantity: its name with article, SI unit, an example and the units people use for it."""

    phrase: str
    unit: str
    example: str
    units: tuple[str, ...]

    @property
    def expected(self) -> str:
        """What to write instead, in words."""
        return f'{self.phrase} needs its unit, as in "{self.example}" ({", ".join(self.units)})'


def _dimension(phrase: str, unit: str, example: str, *more: str) -> Dimension:
    return Dimension(phrase=phrase, unit=unit, example=example, units=more)


DIMENSIONS: dict[str, Dimension] = {
    "length": _dimension("a length", "m", "120 mm", "m", "cm", "mm", "in", "ft"),
    "area": _dimension("an area", "m^2", "60 cm^2", "m^2", "cm^2", "mm^2", "in^2", "ft^2"),
    "volume": _dimension("a volume", "m^3", "38 L", "L", "mL", "m^3", "cm^3", "in^3", "ft^3"),
    "frequency": _dimension("a frequency", "Hz", "62 Hz", "Hz", "kHz"),
    "mass": _dimension("a mass", "kg", "21 g", "g", "kg", "mg"),
    "compliance": _dimension("a compliance", "m/N", "0.6 mm/N", "mm/N", "m/N"),
    "mechanical resistance": _dimension("a mechanical resistance", "N*s/m", "1.2 kg/s", "kg/s", "N*s/m"),
    "force factor": _dimension("a force factor", "T*m", "7.5 T*m", "T*m", "N/A"),
    "resistance": _dimension("a resistance", "ohm", "5.6 ohm", "ohm", "mohm", "kohm"),
    "inductance": _dimension("an inductance", "H", "0.31 mH", "H", "mH", "uH"),
    "voltage": _dimension("a voltage", "V", "2.83 V", "V", "mV"),
    "power": _dimension("a power", "W", "40 W", "W", "mW", "kW"),
    "temperature": _dimension("a temperature", "K", "20 degC", "degC", "K", "degF"),
    "pressure": _dimension("a pressure", "Pa", "101.325 kPa", "kPa", "hPa", "mbar", "Pa"),
    "flow resistivity": _dimension("a flow resistivity", "Pa*s/m^2", "5000 Pa*s/m^2", "Pa*s/m^2", "kPa*s/m^2"),
}


def parse_quantity(text: str, dimension: str) -> float:
    """Return the SI value of ``text``, a number with a unit, as in ``"120 mm"``.

    ``dimension`` is a key of `DIMENSIONS`. Raises ValueError, saying what is expected, when the text is no
    finite number with a unit or the unit is of another dimension.
    """
    wanted = DIMENSIONS[dimension]
    match = _QUANTITY.fullmatch(_plain(text))
    if match is None:
        comma = "a decimal point, not a comma: " if _COMMA.match(text) else ""
        raise ValueError(f"{comma}{wanted.expected}")
    number, unit = float(match[1]), match[2]
    factor = _conversion(unit, wanted.unit)
    if factor is None:
        raise ValueError(f'"{unit}" is no unit of {wanted.phrase.split(" ", 1)[1]}: {wanted.expected}')
    value = number * factor[0] + factor[1]
    if not math.isfinite(value):
        raise ValueError(f"the number is too large: {wanted.expected}")
    return value


def unit_of(text: str) -> str:
    """Return the unit of a quantity such as ``"120 mm"``. Raises ValueError when it has none."""
    match = _QUANTITY.fullmatch(_plain(text))
    if match is None:
        raise ValueError(f"no unit in {text!r}")
    return match[2]


def _plain(text: str) -> str:
    for sign, plain in _SIGNS.items():
        text = text.replace(sign, plain)
    return re.sub(r"\s*([*/^])\s*", r"\1", text.strip())


@lru_cache(maxsize=512)
def _conversion(unit: str, si_unit: str) -> tuple[float, float] | None:
    """Return (factor, offset) so that SI = number * factor + offset; None if the dimensions differ."""
    registry = _registry()
    try:
        written = registry.parse_units(unit)
        zero = registry.Quantity(0.0, written).to(si_unit).magnitude
        one = registry.Quantity(1.0, written).to(si_unit).magnitude
    except Exception:  # pint raises many kinds, attribute and syntax errors among them
        return None
    return (float(one), 0.0) if zero == 0.0 else (float(one - zero), float(zero))


@lru_cache(maxsize=1)
def _registry() -> Any:
    """Return the registry of this project's units, made on first use, since importing pint takes a while."""
    import pint

    registry: Any = pint.UnitRegistry(None)
    registry.load_definitions([line for line in _DEFINITIONS.splitlines() if line])
    return registry
