"""What a folded path really is: the horn that the air finds in a drawing, fold by fold, and what it does to sound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case import Case
from airpath.elements.base import ComplexArray
from airpath.elements.mouth import Mouth
from airpath.errors import GeometryError
from airpath.field.centreline import CentreLine, drawn_line, middle_line
from airpath.field.folds import Bend, bends
from airpath.field.potential import EquivalentHorn, Potential, horn_of, path_mesh, solve_potential
from airpath.field.sides import Sides, sides_of
from airpath.findings.explaining.features import turns
from airpath.findings.folding.expansion import Fit, fits, flare_rate, stretch_rates
from airpath.findings.folding.foldinput import PathInput, read_input
from airpath.findings.folding.foldrows import FoldRow, fold_rows
from airpath.findings.folding.ways import (
    FieldWay,
    Way,
    field_way,
    level_db,
    line_way,
    mouth_of,
    parts_from,
)  # fmt: skip
from airpath.network.response import complex_dict

Floats = NDArray[np.float64]

_RADIAL = 1.2197  # first zero of J1, 3.8317, over pi: first radial wave of a round section (Rayleigh)
_MOST_MAPS = 4


@dataclass(frozen=True, kw_only=True)
class PressureMap:
    """Pressure in the path over that at the throat, at ``frequency_hz``: complex (n,) on the field's fine points."""

    frequency_hz: float
    pressure: ComplexArray


@dataclass(frozen=True, kw_only=True)
class Fold:
    """A drawn path: the equivalent ``horn``, its ``centreline``, its ``rows`` (folds), and what each does to sound.

    ``middle`` is the computed centre line, the same as ``centreline`` unless one was drawn. ``frequency`` [Hz] (n,);
    ``centre``, ``line`` and ``field``: the path by its centre line, by its equivalent horn, and by the full field.
    ``flare_per_m`` m (stations,) [1/m] along the equivalent horn, ``stretches_per_m`` its mean outside the folds.
    ``parts``: from which frequency [Hz] the throat impedance by "centreline" and "line" is off the field by 1 dB, or
    None.
    """

    source: PathInput
    sides: Sides
    potential: Potential
    horn: EquivalentHorn
    middle: CentreLine
    centreline: CentreLine
    turns: tuple[Bend, ...]
    rows: tuple[FoldRow, ...]
    flare_per_m: Floats
    stretches_per_m: tuple[float, ...]
    profiles: tuple[Fit, ...]
    cut_on_hz: float
    frequency: Floats
    centre: Way
    line: Way
    field: FieldWay
    parts: dict[str, float | None]
    maps: tuple[PressureMap, ...]

    @cached_property
    def text(self) -> tuple[str, ...]:
        """What the whole says, in sentences."""
        from airpath.findings.folding.foldwords import summary

        return summary(self)

    def to_dict(self) -> dict[str, Any]:
        """Return the result under the names of ``fold.json``."""
        horn, best = self.horn, self.profiles[0]
        return {
            "title": self.source.title, "scale": self.source.scale, "volume_m3": horn.volume_m3,
            "centreline_length_m": self.centreline.length_m, "centreline_drawn": self.centreline.drawn,
            "equivalent_length_m": float(horn.distance_m[-1]), "inertance_length_m": horn.inertance_length_m,
            "distance_m": horn.distance_m.tolist(), "area_m2": horn.area_m2.tolist(),
            "flare_per_m": self.flare_per_m.tolist(), "stretches_flare_per_m": list(self.stretches_per_m),
            "cutoff_hz": best.cutoff_hz,
            "profiles": [fit.to_dict() for fit in self.profiles],
            "folds": [row.to_dict() for row in self.rows], "cross_mode_hz": self.cut_on_hz,
            "parts_from_hz": self.parts,
            "throat_impedance": self._curves("impedance"), "mouth_transfer": self._curves("transfer"),
            "text": list(self.text),
        }  # fmt: skip

    def _curves(self, name: str) -> dict[str, Any]:
        ways = {"centreline": self.centre, "line": self.line, "field": self.field.way}
        curves = {key: complex_dict(getattr(way, name)) for key, way in ways.items()}
        return {"frequency_hz": self.frequency.tolist(), **curves}


def fold(
    target: Case | Path | str, *, kind: str | None = None, depth_m: float | None = None, unit: str | None = None,
    horn: str | None = None, at: Sequence[float] = (),
) -> Fold:  # fmt: skip
    """Return what the drawn path of a file (.toml, .dxf) or of a case's horn really is.

    ``depth_m`` [m] and ``unit`` complete a .dxf drawing; ``horn`` chooses among several in a case; ``at`` [Hz]:
    frequencies to map the pressure at. Raises GeometryError, CaseError, AccuracyError.
    Checked by: crosscheck/test_paths, crosscheck/test_fold.
    """
    source = read_input(target, kind=kind, depth_m=depth_m, unit=unit, horn=horn, at=at)
    try:
        return _study(source)
    except GeometryError as error:
        raise GeometryError(f"{source.file}: {error}") from None


def _study(source: PathInput) -> Fold:
    outline, air = source.outline, source.air
    sides = sides_of(outline)
    mesh = path_mesh(outline)
    found = solve_potential(mesh)
    horn = horn_of(found, outline.opening_area("throat"), outline.opening_area("mouth"))
    middle = middle_line(sides, mesh, found, horn.potential)
    centreline = drawn_line(sides, found) or middle
    turns = bends(sides, found, middle)
    cut_on = _cut_on(sides, middle, air.sound_speed)
    frequency = source.frequencies(cut_on)
    omega = 2.0 * np.pi * frequency
    centre = line_way(centreline, outline, omega, air)
    line = line_way(horn, outline, omega, air)
    field = field_way(outline, frequency, air)
    parts = {
        name: parts_from(frequency, level_db(way.impedance, field.way.impedance))
        for name, way in (("centreline", centre), ("line", line))
    }
    rows = fold_rows(source, sides, found, horn, middle, centreline, turns, float(frequency[-1]))
    return Fold(
        source=source, sides=sides, potential=found, horn=horn, middle=middle, centreline=centreline,
        turns=tuple(turns), rows=tuple(rows), flare_per_m=flare_rate(horn.distance_m, horn.area_m2),
        stretches_per_m=tuple(stretch_rates(horn.distance_m, horn.area_m2, _spans(horn, turns))),
        profiles=tuple(fits(horn.distance_m, horn.area_m2, air.sound_speed)), cut_on_hz=cut_on, frequency=frequency,
        centre=centre, line=line, field=field, parts=parts, maps=tuple(_maps(source, field, mouth_of(outline))),
    )  # fmt: skip


def _spans(horn: EquivalentHorn, turns: list[Bend]) -> list[tuple[float, float]]:
    """Return from where to where each turn goes along the equivalent horn [m]."""
    ends = [np.interp(turn.levels, horn.potential, horn.distance_m) for turn in turns]
    return [(float(a), float(b)) for a, b in ends]


def _cut_on(sides: Sides, middle: CentreLine, sound_speed: float) -> float:
    """Return above which frequency [Hz] waves run across the path at its widest place, mouth included."""
    outline = sides.outline
    (left, near_left), (right, near_right) = (sides.distance(side, middle.points) for side in ("left", "right"))
    mouth = outline.openings["mouth"]
    widths = np.append(left + right, np.linalg.norm(mouth[1] - mouth[0]))
    if outline.depth is None:
        on_axis = np.append((near_left[:, 1] * near_right[:, 1]) == 0.0, mouth[:, 1].min() == 0.0)
        return float(np.min(np.where(on_axis, _RADIAL, 1.0) * sound_speed / (2.0 * widths)))
    return float(sound_speed / (2.0 * widths.max()))


def _maps(source: PathInput, field: FieldWay, mouth: Mouth) -> list[PressureMap]:
    """Return the pressure at the tones asked for, or at the first peak of the throat impedance."""
    out = []
    frequency = field.sweep.frequency
    size = np.abs(field.way.impedance)
    peaks, _ = turns(size)
    peak = float(f"{frequency[peaks[0] if len(peaks) else int(size.argmax())]:.3g}")
    matrices = field.model.matrices
    throat = matrices.means[:, matrices.names.index("throat")]
    for tone in source.tones[:_MOST_MAPS] or (peak,):
        omega = 2.0 * np.pi * tone
        pressure = field.model.pressure(omega, field.flows(omega, mouth))
        out.append(PressureMap(frequency_hz=float(tone), pressure=pressure / (throat @ pressure)))
    return out
