"""The rows of a measured sweep as they stand in a file, and what makes one unusable."""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

from airpath.errors import SweepError

_HIGHEST = 1e6  # Hz
_SMALLEST, _LARGEST = 1e-6, 1e6  # ohm
_FEWEST = 2
_SHOWN = 60  # characters of a line


class Row(NamedTuple):
    """One frequency: number of the line in the file, Hz, ohm, degrees (None: magnitude only)."""

    line: int
    frequency: float
    magnitude: float
    phase: float | None


def refuse(source: Path, line: int, text: str) -> SweepError:
    """Return the error for one line of a file, to be raised."""
    return SweepError(f"{source.name}, line {line}: {text}")


def quoted(text: str) -> str:
    """Return a piece of a line between quotes, short and printable."""
    short = text.strip() if len(text.strip()) <= _SHOWN else text.strip()[:_SHOWN] + " ..."
    return '"' + "".join(sign if sign.isprintable() else "?" for sign in short) + '"'


def checked(rows: list[Row], source: Path, hint: str = "") -> list[Row]:
    """Return the rows if each rises above the one before it and holds usable numbers.

    Raises SweepError that names the first wrong line and says how many more there are; ``hint`` is added to what is
    said of rows that do not rise.
    """
    if len(rows) < _FEWEST:
        line = rows[0].line if rows else 1
        raise refuse(source, line, f"a sweep needs at least {_FEWEST} rows with a frequency in Hz and ohms; "
                                   f"this file has {len(rows)}")  # fmt: skip
    wrong: list[tuple[int, str]] = []
    last: Row | None = None
    phases = rows[0].phase is not None
    for row in rows:
        problem = _problem(row, last, phases, hint)
        if problem:
            wrong.append((row.line, problem))
        else:
            last = row
    if wrong:
        line, text = wrong[0]
        rest = [number for number, _ in wrong[1:]]
        more = f" (and {len(rest)} more, the next in line {rest[0]})" if rest else ""
        raise refuse(source, line, text + more)
    return rows


def _problem(row: Row, last: Row | None, phases: bool, hint: str) -> str:
    """Say what is wrong with a row that follows the row ``last``; "" if nothing is."""
    hertz, ohm, degrees = row.frequency, row.magnitude, row.phase
    if not all(math.isfinite(value) for value in (hertz, ohm, degrees or 0.0)):
        return "a number is not finite: expected a frequency in Hz, a magnitude in ohm, a phase in degrees"
    if not 0.0 < hertz <= _HIGHEST:
        return f"frequency {hertz:g} Hz: expected more than 0 and at most {_HIGHEST:g} Hz"
    if not _SMALLEST <= ohm <= _LARGEST:
        return f"magnitude {ohm:g} ohm: expected {_SMALLEST:g} to {_LARGEST:g} ohm"
    if (degrees is not None) != phases:
        return "the phase is missing" if phases else "a phase stands here, the rows before have none"
    if last is not None and hertz == last.frequency:
        return f"{hertz:.10g} Hz is repeated, it stands in line {last.line} too: expected each frequency once{hint}"
    if last is not None and hertz < last.frequency:
        return (
            f"{hertz:.10g} Hz after {last.frequency:.10g} Hz in line {last.line}: rows are out of order, "
            f"expected them in rising frequency{hint}"
        )
    return ""
