"""Text tables of a sweep: columns parted by comma, semicolon, tab or blanks, with decimal point or comma."""

from __future__ import annotations

import math
import re
from pathlib import Path

from airpath.measured.reading.rows import Row, quoted, refuse

_NUMBER = re.compile(r"[+-]?([0-9]+[.,]?[0-9]*|[.,][0-9]+)([eE][+-]?[0-9]+)?|[+-]?(nan|inf|infinity)", re.IGNORECASE)
_COMMENT = ("#", "!", "*", "%", "//", "'")
_SPACED_COMMA = re.compile(r"\s,|,\s")
_HEADINGS = (
    (0, {"khz"}, 1e3, "kHz"),
    (1, {"kohm", "kohms"}, 1e3, "kohm"),
    (1, {"mohm", "mohms", "milliohm", "milliohms"}, 1e-3, "milliohm"),
    (2, {"rad", "radian", "radians"}, math.degrees(1.0), "radians"),
)
_ANOTHER = (  # words of a heading by which a column holds something else
    {"ohm", "ohms", "deg", "degree", "degrees", "phase", "magnitude", "index", "number", "n", "no"},
    {"hz", "khz", "freq", "frequency", "deg", "degree", "degrees", "phase", "re", "real", "im", "imag", "imaginary",
     "db", "dbohm", "v", "volt", "volts", "spl"},
    {"hz", "khz", "freq", "frequency", "ohm", "ohms", "im", "imag", "imaginary", "magnitude", "db"},
)  # fmt: skip
_COLUMNS = ("the frequency in Hz", "the magnitude in ohm", "the phase in degrees")
_DECIMAL_POINT = " (where commas part the columns, decimals need a point)"


def table(text: str, source: Path) -> tuple[list[Row], list[str], str]:
    """Return the rows of a text, notes on what was left out, and a hint for rows that do not rise.

    Lines before the first row of numbers are headers. Raises SweepError with the line for anything else that is no
    row: text among the numbers, a column too few, decimals with both point and comma.
    """
    rows: list[Row] = []
    skipped: list[int] = []
    marks: dict[str, int] = {}
    head = first = ""
    heading = 0
    wide = parted = False
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.lstrip().startswith(_COMMENT):
            continue
        fields, comma = split(line)
        values = fields[:3]
        if len(values) < 2 or not all(_NUMBER.fullmatch(field) for field in values):
            if rows and any(_NUMBER.fullmatch(field) for field in fields):
                raise refuse(source, number, f"{quoted(line)}: expected a frequency in Hz, a magnitude in ohm and, "
                                             "if the other rows have one, a phase in degrees")  # fmt: skip
            head, heading = (head, heading) if rows else (line, number)
            skipped += [number] if rows or _NUMBER.fullmatch(fields[0]) else []
            continue
        for mark in (m for m in ".," if any(m in value for value in values)):
            marks.setdefault(mark, number)
        if len(marks) == 2:
            raise refuse(source, number, f"{quoted(line)}: decimals have a point in one place and a comma in "
                                         f"another (line {min(marks.values())}): expected one of them")  # fmt: skip
        wide, parted = wide or len(fields) > 3, parted or comma
        hertz, ohm, *phase = (float(value.replace(",", ".")) for value in values)
        if hertz == 0.0 and not rows:
            skipped.append(number)
            continue
        first = first or line
        rows.append(Row(number, hertz, ohm, phase[0] if phase else None))
    names = _names(head, first)
    _same_quantities(names, source, heading)
    rows, notes = _in_units(rows, names)
    if skipped:
        notes.append(f"Left out, as they hold no row of a sweep above 0 Hz: line {', '.join(map(str, skipped[:5]))}"
                     + (f" and {len(skipped) - 5} more." if len(skipped) > 5 else "."))  # fmt: skip
    if wide:
        notes.append("Columns after the third are not used.")
    return rows, notes, _DECIMAL_POINT if parted and "." not in marks else ""


def split(line: str, like: str | None = None) -> tuple[list[str], bool]:
    """Return the fields of a line without quotes and empty ends, parted as the line ``like`` is (as it is itself), and
    whether commas part them."""
    line, like = (text.replace("\u2212", "-").replace("\u00a0", " ").strip() for text in (line, like or line))
    comma = "," in like and bool(_SPACED_COMMA.search(like) or not re.search(r"\s", like))
    mark = ";" if ";" in like else "\t" if "\t" in like else "," if comma else None
    fields = [field.strip().strip('"').strip() for field in line.split(mark)]
    while len(fields) > 1 and not fields[-1]:
        fields.pop()
    return fields, mark == ","


def _names(head: str, first: str) -> list[str]:
    """Return what the last header line calls the columns that are read, parted as the first row is; none if it has
    another number of parts: a sentence."""
    names, values = (split(line, first)[0] for line in (head, first))
    return names[:3] if head and len(names) == len(values) else []


def _words(name: str) -> list[str]:
    return re.sub(r"[^a-z]+", " ", name.lower()).split()


def _same_quantities(names: list[str], source: Path, line: int) -> None:
    """Raise SweepError if a heading says that its column holds another quantity than its place stands for."""
    for column, (name, others) in enumerate(zip(names, _ANOTHER, strict=False)):
        words = _words(name)
        if words and (set(words) <= others or words[0] in others):
            raise refuse(source, line, f"column {column + 1} is headed {quoted(name)}: expected {_COLUMNS[column]} "
                                       "there (the order is Hz, ohm, degrees)")  # fmt: skip


def _in_units(rows: list[Row], names: list[str]) -> tuple[list[Row], list[str]]:
    """Turn kHz, kohm, milliohm and radians into Hz, ohm and degrees where the headings name them."""
    factors = [1.0, 1.0, 1.0]
    notes = []
    for column, words, factor, unit in _HEADINGS:
        if column < len(names) and words & set(_words(names[column])):
            factors[column] = factor
            notes.append(f"Column {column + 1} is read in {unit}, as its heading says.")
    if not notes:
        return rows, notes
    hertz, ohm, degrees = factors
    changed = [Row(r.line, r.frequency * hertz, r.magnitude * ohm, r.phase and r.phase * degrees) for r in rows]
    return changed, notes
