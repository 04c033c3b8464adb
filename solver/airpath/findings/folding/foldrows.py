"""Each fold of a path: what the air finds there, what the drawing promised, and which board puts it right."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air
from airpath.elements.horn import horn_profile
from airpath.field.centreline import CentreLine
from airpath.field.folds import Bend
from airpath.field.potential import EquivalentHorn, Potential
from airpath.field.sides import Sides
from airpath.field.stretch import cut_out, reflection
from airpath.findings.folding.boards import Restored, mean_areas, restore
from airpath.findings.folding.foldinput import PathInput
from airpath.findings.folding.foldwords import describe

Floats = NDArray[np.float64]

_REFLECTION_POINTS = 10
_BELOW_CUT_ON = 0.9


@dataclass(frozen=True, kw_only=True)
class Reflection:
    """What a fold turns back of the pressure, straight ducts on both sides: where it exceeds a straight horn most.

    ``frequency_hz`` of that, ``size`` there and ``straight`` of the straight horn between the same ends; up to
    ``highest_hz``.
    """

    frequency_hz: float
    size: float
    straight: float
    highest_hz: float


@dataclass(frozen=True, kw_only=True)
class FoldRow:
    """One fold: ``at_m`` along the equivalent horn, ``turn_deg`` positive to the left, ``place`` [m] in the drawing.

    ``length_m`` of the equivalent horn through it and ``centre_length_m`` of the centre line; mean areas (of the
    uniform duct of the same volume and inertance): ``area_m2`` as drawn, ``centre_area_m2`` by the gap along the centre
    line, ``meant_m2`` as intended there (without a profile that is the gap).
    """

    number: int
    at_m: float
    turn_deg: float
    place: tuple[float, float]
    length_m: float
    centre_length_m: float
    area_m2: float
    centre_area_m2: float
    meant_m2: float
    intended: bool
    restored: Restored | None
    reflection: Reflection | None
    text: str = ""

    @property
    def area_error(self) -> float:
        """Mean area over what is meant, less 1."""
        return self.area_m2 / self.meant_m2 - 1.0

    def to_dict(self) -> dict[str, Any]:
        """Return the row under the names of ``fold.json``."""
        board, back = self.restored, self.reflection
        return {
            "at_m": self.at_m, "area_error": self.area_error, "text": self.text, "turn_deg": self.turn_deg,
            "place_m": list(self.place), "length_m": self.length_m, "centreline_length_m": self.centre_length_m,
            "area_m2": self.area_m2, "centreline_area_m2": self.centre_area_m2, "meant_area_m2": self.meant_m2,
            "board": None if board is None else {
                "kind": board.move.kind, "place_m": board.move.place.tolist(), "by_m": board.by_m,
                "area_m2": board.area_m2,
            },
            "reflection": None if back is None else {
                "frequency_hz": back.frequency_hz, "size": back.size, "straight": back.straight,
                "highest_hz": back.highest_hz,
            },
        }  # fmt: skip


def fold_rows(
    source: PathInput, sides: Sides, found: Potential, horn: EquivalentHorn, middle: CentreLine, centreline: CentreLine,
    turns: list[Bend], highest_hz: float,
) -> list[FoldRow]:  # fmt: skip
    """Return a row for every turn of a path, with the boards that restore the areas when all are moved together."""
    levels = [np.array(turn.levels) for turn in turns]
    places = [_on(middle, level) for level in levels]
    areas = mean_areas(found, np.array(levels)).tolist() if levels else []
    spans = [centreline.at_level(level) for level in levels]
    gaps = [_mean(np.interp(_steps(span), centreline.distance_m, centreline.area_m2)) for span in spans]
    meant = gaps if source.intended is None else [_mean(source.intended.area(_steps(span))) for span in spans]
    boards = restore(sides, turns, places, areas, meant)
    rows = []
    for i, turn in enumerate(turns):
        along = np.interp(levels[i], horn.potential, horn.distance_m)
        row = FoldRow(
            number=turn.number, at_m=float(along.mean()), turn_deg=turn.turn_deg,
            place=(float(turn.place[0]), float(turn.place[1])), length_m=float(np.ptp(along)),
            centre_length_m=float(np.ptp(spans[i])), area_m2=areas[i], centre_area_m2=gaps[i], meant_m2=meant[i],
            intended=source.intended is not None, restored=boards[i],
            reflection=_reflection(sides, found, turn, float(np.ptp(along)), source.air, highest_hz),
        )  # fmt: skip
        rows.append(replace(row, text=describe(row, source.outline)))
    return rows


def _on(line: CentreLine, levels: Floats) -> Floats:
    return np.stack([np.interp(levels, line.potential, line.points[:, axis]) for axis in (0, 1)], axis=1)


def _steps(span: Floats) -> Floats:
    return np.linspace(float(span[0]), float(span[1]), 201)


def _mean(area: Floats) -> float:
    """Return the area of the uniform duct with the volume and the inertance of equal steps of ``area`` (n,)."""
    weight = np.full(len(area), 1.0)
    weight[[0, -1]] = 0.5
    return float(np.sqrt(np.sum(weight * area) / np.sum(weight / area)))


def _reflection(
    sides: Sides, found: Potential, turn: Bend, length: float, air: Air, highest_hz: float
) -> Reflection | None:
    piece = cut_out(sides, found, turn.levels)
    if piece is None:
        return None
    ends = [piece.opening_area(name) for name in ("throat", "mouth")]
    spans = [float(np.linalg.norm(np.diff(piece.openings[name], axis=0))) for name in ("throat", "mouth")]
    top = min(highest_hz, _BELOW_CUT_ON * air.sound_speed / (2.0 * max(spans)))
    frequency = np.linspace(top / _REFLECTION_POINTS, top, _REFLECTION_POINTS)
    size = np.abs(reflection(piece, frequency, air))
    straight = np.abs(_straight(ends, length, frequency, air))
    k = int((size - straight).argmax())
    return Reflection(
        frequency_hz=float(frequency[k]), size=float(size[k]), straight=float(straight[k]), highest_hz=float(top)
    )


def _straight(ends: list[float], length: float, frequency: Floats, air: Air) -> NDArray[np.complex128]:
    """Return the reflection (n,) of a straight exponential horn between the areas ``ends`` [m^2]."""
    horn = horn_profile("exponential", ends[0], ends[1], length)
    y = horn.admittance(2.0 * np.pi * frequency, air)
    plane = np.array(ends) / (air.density * air.sound_speed)
    seen = y[:, 0, 0] - y[:, 0, 1] ** 2 / (y[:, 1, 1] + plane[1])
    return np.asarray((plane[0] - seen) / (plane[0] + seen))
