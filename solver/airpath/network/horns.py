"""Horns of a case: profiles and stations as they are given, drawn paths as their equivalent horn or as a field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import Section
from airpath.case.media import fill_of
from airpath.case.schema import Case
from airpath.case.schema import Horn as HornTable
from airpath.elements.horn import Horn, horn_profile
from airpath.errors import GeometryError
from airpath.network.graph import Places
from airpath.network.meshed import Drawn, read_drawn
from airpath.network.passages import pieces, places

if TYPE_CHECKING:
    from airpath.field.centreline import CentreLine
    from airpath.field.potential import EquivalentHorn

ENDS = ("throat", "mouth")  # the two openings of a drawn horn
_DUCTS = 64  # of a drawn path
_RADIAL = 1.2197  # first zero of J1, 3.8317, over pi


@dataclass(frozen=True, kw_only=True)
class Way:
    """The way of the air through a horn: exact ``pieces`` from ``throat`` to ``mouth``; ``drawn`` with an outline."""

    pieces: list[Horn]
    throat: Section
    mouth: Section
    drawn: Drawn | None = None

    @property
    def length(self) -> float:
        """Length along the way [m]."""
        return sum(piece.length for piece in self.pieces)

    @property
    def places(self) -> Places:
        """Where its air may be fastest, see :func:`airpath.network.passages.places`."""
        return places(self.pieces, self.mouth.area)

    def cut_on(self, sound_speed: float) -> float | None:
        """Return above which frequency [Hz] waves run across a drawn path too; None for one given by areas.

        Half a wavelength across the widest part of a flat path; 1.2197 c/(2 a), the first radial wave (Rayleigh), of
        a turned one.
        """
        if self.drawn is None or self.drawn.mesh.kind == "solid":
            return None
        widest, depth = max(piece.throat for piece in self.pieces), self.drawn.mesh.depth
        if depth is not None:
            return sound_speed * depth / (2 * widest)
        return float(_RADIAL * sound_speed / (2 * np.sqrt(widest / np.pi)))


def horn_way(case: Case, name: str) -> Way:
    """Return the way through a horn of a case. Raises GeometryError for a drawing that is no path."""
    table = case.horns[name]
    if table.outline is not None:
        return _drawn_way(case, name, table)
    horns = _given(table)
    end = horns[-1]
    mouth = float(end.area(np.array([end.length]))[0])
    return Way(pieces=horns, throat=Section.round(horns[0].throat), mouth=Section.round(mouth))


def _given(table: HornTable) -> list[Horn]:
    """Return the horn as one exact profile, or as cones through its stations."""
    if table.stations is not None:
        return pieces(table.stations, fill=fill_of(table))
    assert table.throat
    assert table.mouth
    assert table.length
    family = 1.0 if table.T is None else table.T
    return [
        horn_profile(table.profile or "conical", table.throat, table.mouth, table.length, family, fill=fill_of(table))
    ]


def _drawn_way(case: Case, name: str, table: HornTable) -> Way:
    drawn = read_drawn(case, f"horns.{name}", table, ENDS)
    found = drawn.matrices.names
    if set(found) != set(ENDS):
        raise GeometryError(
            f'[horns.{name}] outline: a horn\'s drawing has two openings, "throat" and "mouth"; this one has '
            f"{', '.join(found) or 'none'}"
        )
    depth = drawn.mesh.depth
    ends = [
        Section.round(area) if depth is None else Section(height=area / depth, width=depth)
        for area in drawn.matrices.areas.tolist()
    ]
    try:
        stretches = ducts(drawn.equivalent, depth=depth, fill=drawn.spread(fill_of(table)))
    except GeometryError as error:
        raise GeometryError(f"[horns.{name}] outline: {error}") from None
    return Way(pieces=stretches, throat=ends[0], mouth=ends[1], drawn=drawn)


def ducts(path: EquivalentHorn | CentreLine, *, depth: float | None, fill: Fill | None = None) -> list[Horn]:
    """Return short straight ducts, each with the volume and the inertance of its stretch of ``path``.

    The area of a path peaks at outer corners, where the air stands still: areas read off at points would not keep the
    volume there, and shift resonances. ``depth`` [m] of a flat path.
    """
    x = np.linspace(0.0, float(path.distance_m[-1]), _DUCTS + 1)
    volume = np.diff(np.interp(x, path.distance_m, path.volume_to_m3))
    inertance = np.diff(np.interp(x, path.distance_m, path.inertance_to_per_m))
    sizes = zip(np.sqrt(volume / inertance).tolist(), np.sqrt(volume * inertance).tolist(), strict=True)
    return [Horn(throat=area, length=length, depth=depth, fill=fill, pieces=1) for area, length in sizes]
