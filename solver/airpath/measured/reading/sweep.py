"""A measured impedance sweep: frequency, magnitude and, if it was measured, phase."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.errors import SweepError
from airpath.measured.reading.columns import table
from airpath.measured.reading.rows import checked, refuse
from airpath.measured.reading.touchstone import is_touchstone, touchstone

_LARGEST_FILE = 20_000_000  # bytes
_EXPECTED = "a text file with rows of frequency in Hz, magnitude in ohm and, optionally, phase in degrees is expected"
_MARKS = {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16", b"\xef\xbb\xbf": "utf-8-sig"}


@dataclass(frozen=True, kw_only=True)
class MeasuredSweep:
    """An impedance measured at the terminals: ``frequency`` (n,) [Hz] rising, ``magnitude`` (n,) [ohm], ``phase_deg``
    (n,) [degrees] or None, the file it came from, and notes on how the file was read."""

    frequency: NDArray[np.float64]
    magnitude: NDArray[np.float64]
    phase_deg: NDArray[np.float64] | None
    source: Path
    notes: tuple[str, ...] = ()

    @property
    def impedance(self) -> NDArray[np.complex128] | None:
        """The complex impedance (n,) [ohm]; None if only the magnitude was measured."""
        if self.phase_deg is None:
            return None
        return np.asarray(self.magnitude * np.exp(1j * np.deg2rad(self.phase_deg)))

    @property
    def wrapped_phase_deg(self) -> NDArray[np.float64] | None:
        """The phase (n,) [degrees] within half a turn, -180 to 180; None if only the magnitude was measured."""
        return None if self.phase_deg is None else (self.phase_deg + 180) % 360 - 180

    def part(self, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> MeasuredSweep:
        """Return the same sweep at some of its points, by a mask or by their indices in order."""
        phase = None if self.phase_deg is None else self.phase_deg[chosen]
        return replace(self, frequency=self.frequency[chosen], magnitude=self.magnitude[chosen], phase_deg=phase)


def read_sweep(path: str | Path) -> MeasuredSweep:
    """Return the sweep of a text table or a Touchstone one-port file.

    A table has a row per frequency: Hz, ohm, degrees (optional), parted by commas, semicolons, tabs or blanks; headers
    and comment lines are skipped. Raises SweepError, naming the line, for rows out of order, repeated, negative or
    non-finite, and for anything that is no sweep.
    Checked by: unit/test_sweep (fuzzed), crosscheck/test_touchstone.
    """
    source = Path(path)
    text = _text(source)
    notes: list[str] = []
    hint = ""
    if is_touchstone(text, source):
        rows = touchstone(text, source)
    else:
        rows, notes, hint = table(text, source)
    rows = checked(rows, source, hint)
    phase = None if rows[0].phase is None else np.array([row.phase for row in rows], dtype=float)
    if phase is None:
        notes.append("The sweep has no phase: magnitude only.")
    return MeasuredSweep(
        frequency=np.array([row.frequency for row in rows]), magnitude=np.array([row.magnitude for row in rows]),
        phase_deg=phase, source=source, notes=tuple(notes),
    )  # fmt: skip


def measured_of(case: Case) -> MeasuredSweep | None:
    """Return the sweep that a case names under ``measured``, None if it names none. Raises SweepError."""
    return None if case.measured is None else read_sweep(case.resolve(case.measured))


def _text(source: Path) -> str:
    """Return the text of a file; UTF-16 by its mark, else UTF-8, else Latin-1, which the headings may need."""
    try:
        if source.is_dir():
            raise SweepError(f"{source}: a folder was found where {_EXPECTED}")
        if source.stat().st_size > _LARGEST_FILE:
            raise SweepError(f"{source}: larger than {_LARGEST_FILE // 1_000_000} MB; {_EXPECTED}")
        data = source.read_bytes()
    except (OSError, ValueError) as error:
        if isinstance(error, SweepError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise SweepError(f"{source}: cannot be read ({reason}); {_EXPECTED}") from None
    coding = next((name for mark, name in _MARKS.items() if data.startswith(mark)), "utf-8")
    try:
        text = data.decode(coding)
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise refuse(source, line, f"not a text: {_EXPECTED}")
    return text
