"""Quantities with units: exact factors, and what is refused."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airpath.units import DIMENSIONS, parse_quantity

# The inch of 25.4 mm and the foot of 12 in are exact (international yard and pound agreement, 1959); SI prefixes, the
# litre, the bar and the Celsius scale follow the SI Brochure, 9th edition (2019), tables 7 and 8 and section 2.3.4.
EXACT = [
    ("120 mm", "length", 0.120),
    ("12cm", "length", 0.12),
    ("6 in", "length", 0.1524),
    ("2 ft", "length", 0.6096),
    ("1.5e-1 m", "length", 0.15),
    ("  .5   m ", "length", 0.5),
    ("60 cm^2", "area", 60e-4),
    ("60 cm²", "area", 60e-4),
    ("60 cm**2", "area", 60e-4),
    ("10 in^2", "area", 64.516e-4),
    ("250 mm^2", "area", 250e-6),
    ("38 L", "volume", 0.038),
    ("38 l", "volume", 0.038),
    ("950 mL", "volume", 950e-6),
    ("1 ft^3", "volume", 0.028316846592),
    ("1 in^3", "volume", 16.387064e-6),
    ("1.2 m^3", "volume", 1.2),
    ("2 kHz", "frequency", 2000.0),
    ("21 g", "mass", 0.021),
    ("0.02 kg", "mass", 0.02),
    ("0.6 mm/N", "compliance", 0.6e-3),
    ("0.0006 m/N", "compliance", 0.6e-3),
    ("600 um/N", "compliance", 0.6e-3),
    ("1.2 kg/s", "mechanical resistance", 1.2),
    ("1.2 N*s/m", "mechanical resistance", 1.2),
    ("1.2 N·s/m", "mechanical resistance", 1.2),
    ("7.5 T*m", "force factor", 7.5),
    ("7.5 N/A", "force factor", 7.5),
    ("5.6 ohm", "resistance", 5.6),
    ("5.6 Ω", "resistance", 5.6),
    ("0.31 mH", "inductance", 0.31e-3),
    ("310 uH", "inductance", 0.31e-3),
    ("310 µH", "inductance", 0.31e-3),
    ("2.83 V", "voltage", 2.83),
    ("40 W", "power", 40.0),
    ("20 degC", "temperature", 293.15),
    ("20 °C", "temperature", 293.15),
    ("-40 degF", "temperature", 233.15),
    ("300 K", "temperature", 300.0),
    ("101.325 kPa", "pressure", 101325.0),
    ("1013.25 hPa", "pressure", 101325.0),
    ("1013.25 mbar", "pressure", 101325.0),
    ("5000 Pa*s/m^2", "flow resistivity", 5000.0),
    ("5 kPa*s/m^2", "flow resistivity", 5000.0),
]


@pytest.mark.parametrize(("text", "dimension", "value"), EXACT)
def test_exact_conversions(text: str, dimension: str, value: float) -> None:
    assert parse_quantity(text, dimension) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_every_unit_that_a_message_proposes_works(dimension: str) -> None:
    known = DIMENSIONS[dimension]
    parse_quantity(known.example, dimension)
    for unit in known.units:
        parse_quantity(f"1 {unit}", dimension)
    assert parse_quantity(f"1 {known.unit}", dimension) == 1.0


@pytest.mark.parametrize(
    "text",
    ["", "120", "mm", "120 Hz", "1,5 mm", "1_0 mm", "nan mm", "inf mm", "1e400 mm", "12 m m", "12 m^9^9^9^9^9", "0x1 m",
     "2 * 3 m", "12 furlong", "12 mm;", "١٢ mm x", "1 __import__"],
)  # fmt: skip
def test_anything_else_says_what_a_length_needs(text: str) -> None:
    with pytest.raises(ValueError, match=r'a length needs its unit, as in "120 mm" \(m, cm, mm, in, ft\)'):
        parse_quantity(text, "length")


@given(value=st.floats(-1e12, 1e12), unit=st.sampled_from(DIMENSIONS["length"].units))
def test_conversion_is_linear(value: float, unit: str) -> None:
    one = parse_quantity(f"1 {unit}", "length")
    assert parse_quantity(f"{value!r} {unit}", "length") == pytest.approx(value * one, rel=1e-14)


@given(text=st.text(max_size=30), dimension=st.sampled_from(sorted(DIMENSIONS)))
def test_no_text_does_more_than_fail(text: str, dimension: str) -> None:
    message = DIMENSIONS[dimension].expected
    try:
        value = parse_quantity(text, dimension)
    except ValueError as refused:
        message = str(refused)
    else:
        assert isinstance(value, float)
    assert DIMENSIONS[dimension].expected in message


def test_importing_units_does_not_import_pint() -> None:
    code = "import sys, airpath.units; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize(("text", "comma"), [("3,6 ohm", True), (" -1,5 ohm", True), ("3.6", False), ("3, ohm", False)])
def test_a_decimal_comma_is_named_as_what_is_wrong(text: str, comma: bool) -> None:
    with pytest.raises(ValueError, match="a resistance needs its unit") as refused:
        parse_quantity(text, "resistance")
    assert str(refused.value).startswith("a decimal point, not a comma: ") is comma
