"""The open Touchstone format, one-port: S, Z or Y parameters as the specification writes them.

Source: Touchstone File Format Specification, version 2.0, IBIS Open Forum 2009 (versions 1.0 and 2.0 of files).
"""

from __future__ import annotations

import cmath
import math
import re
from dataclasses import dataclass
from pathlib import Path

from airpath.measured.reading.rows import Row, quoted, refuse

_UNITS = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9}
_OPTION = re.compile(r"#(\s+(hz|khz|mhz|ghz|[syzgh]|ri|ma|db|r\s+\S+))+\s*", re.IGNORECASE)
_EXPECTED = "expected three numbers: a frequency and the two parts of one parameter"


@dataclass(frozen=True, kw_only=True)
class Options:
    """The option line: factor from its unit to Hz, parameter, format, reference [ohm], version 2 or not."""

    unit: float = 1e9
    parameter: str = "s"
    form: str = "ma"
    reference: float = 50.0
    absolute: bool = False


def is_touchstone(text: str, source: Path) -> bool:
    """Whether a file is in this format: by its ending .s1p, its version keyword or its option line."""
    if source.suffix.lower() == ".s1p":
        return True
    plain = (line.split("!")[0].strip() for line in text.splitlines())
    first = next((line for line in plain if line), "")
    return first.lower().startswith("[version]") or (_OPTION.fullmatch(first) is not None and len(first.split()) > 2)


def touchstone(text: str, source: Path) -> list[Row]:
    """Return the impedance rows of a one-port file. Raises SweepError with the line.

    Symbols: Z = R (1 + S)/(1 - S); version 1 files hold Z/R and Y R, version 2 files Z and Y themselves.
    """
    options: Options | None = None
    absolute, rows = False, []
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.split("!")[0].strip()
        if not line:
            continue
        if line.startswith("["):
            absolute = _keyword(line, source, number) or absolute
        elif line.startswith("#"):
            options = options or _options(line, source, number)
        else:
            rows.append(_row(line, options or Options(), absolute, source, number))
    return rows


def _keyword(line: str, source: Path, number: int) -> bool:
    """Whether a keyword says that the file is of version 2; refuse more than one port."""
    word, _, value = line.lower().partition("]")
    if word == "[number of ports" and value.strip() != "1":
        raise refuse(source, number, f"{quoted(line)}: expected one port, the terminals of the driver")
    if word in ("[reference", "[mixed-mode order"):
        raise refuse(source, number, f"{quoted(line)}: expected the reference resistance in the option line")
    return word == "[version" and value.strip().startswith("2")


def _options(line: str, source: Path, number: int) -> Options:
    words = line[1:].lower().split()
    given: dict[str, float | str] = {}
    while words:
        word = words.pop(0)
        if word in _UNITS:
            given["unit"] = _UNITS[word]
        elif word in ("s", "y", "z"):
            given["parameter"] = word
        elif word in ("ri", "ma", "db"):
            given["form"] = word
        elif word == "r" and words and _is_positive(words[0]):
            given["reference"] = float(words.pop(0))
        else:
            raise refuse(source, number, f"{quoted(line)}: {quoted(word)} is not understood: expected a unit (Hz, kHz, "
                                         "MHz, GHz), S, Y or Z, RI, MA or DB, and R with ohms")  # fmt: skip
    return Options(**given)  # type: ignore[arg-type]


def _row(line: str, options: Options, absolute: bool, source: Path, number: int) -> Row:
    words = line.split()
    try:
        hertz, a, b = (float(word) for word in words if "_" not in word)
        if len(words) != 3:
            raise ValueError
    except ValueError:
        raise refuse(source, number, f"{quoted(line)}: {_EXPECTED}") from None
    if not all(map(math.isfinite, (hertz, a, b))):
        raise refuse(source, number, f"{quoted(line)}: a number is not finite: {_EXPECTED}")
    try:
        impedance = _impedance(_value(a, b, options.form), options, absolute)
        return Row(number, hertz * options.unit, abs(impedance), math.degrees(cmath.phase(impedance)))
    except (ZeroDivisionError, OverflowError):
        raise refuse(source, number, f"{quoted(line)}: this is no finite impedance") from None


def _value(a: float, b: float, form: str) -> complex:
    if form == "ri":
        return complex(a, b)
    size = a if form == "ma" else 10.0 ** (a / 20.0)
    return size * cmath.exp(1j * math.radians(b))


def _impedance(value: complex, options: Options, absolute: bool) -> complex:
    reference = options.reference
    if options.parameter == "s":
        return reference * (1.0 + value) / (1.0 - value)
    if options.parameter == "z":
        return value if absolute else value * reference
    return 1.0 / value if absolute else reference / value


def _is_positive(word: str) -> bool:
    try:
        return 0.0 < float(word) < math.inf
    except ValueError:
        return False
