"""What ``fold`` is given: a drawing alone, or the drawn horn of a case, with the frequencies to look at."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air, air_at
from airpath.case import Case, load
from airpath.case.media import case_air
from airpath.elements.horn import Horn, horn_profile
from airpath.errors import CaseError, GeometryError
from airpath.field.intended import intended_horn
from airpath.field.outline import Outline
from airpath.field.outlinefile import load_outline
from airpath.findings.wording import sig
from airpath.network.build import label

Floats = NDArray[np.float64]

_FREQUENCIES = 400
_CUT_ONS, _HIGHEST_HZ, _SPAN = 4.0, 2000.0, 100.0  # of a drawing without a case: four cut-ons, at most 2 kHz
_MOST_CUT_ONS, _AUDIBLE_HZ = 10.0, 20e3
_DRAWINGS = (".toml", ".dxf")


@dataclass(frozen=True, kw_only=True)
class PathInput:
    """A path to look at: its ``outline``, the ``intended`` horn if any, the ``air``, and where to look.

    ``name`` for new files, ``file`` that it came from, ``title`` for people, ``horn`` the horn's name in its case;
    ``band`` [Hz] or None, then the path's own width decides; ``tones`` [Hz] for pressure maps; ``scale`` of a model;
    ``stuffed``: there is stuffing, which is left out of ``outline``.
    """

    name: str
    file: str
    title: str
    outline: Outline
    intended: Horn | None
    air: Air
    band: tuple[float, float] | None = None
    tones: tuple[float, ...] = ()
    scale: float = 1.0
    horn: str | None = None
    stuffed: bool = False

    def frequencies(self, cut_on_hz: float) -> Floats:
        """Return 400 frequencies [Hz] that include the tones, (n,); ``cut_on_hz`` of the path's widest place.

        Raises CaseError for a tone far above both: a field of so many waves says nothing about a path.
        """
        top = max(self.band[1] if self.band else 0.0, min(_MOST_CUT_ONS * cut_on_hz, _AUDIBLE_HZ))
        for tone in self.tones:
            if not 1.0 <= tone <= top:
                raise CaseError(
                    f'{self.file}: a pressure map at "{sig(tone, 6)} Hz" makes no sense here: choose from 1 Hz to '
                    f"{sig(top)} Hz"
                )
        stop = min(_CUT_ONS * cut_on_hz, _HIGHEST_HZ)
        low, high = self.band or (stop / _SPAN, stop)
        low, high = min([low, *self.tones]), max([high, *self.tones])
        return np.union1d(np.geomspace(low, high, _FREQUENCIES - len(self.tones)), self.tones)


def read_input(
    target: Case | Path | str, *, kind: str | None = None, depth_m: float | None = None, unit: str | None = None,
    horn: str | None = None, at: Sequence[float] = (),
) -> PathInput:  # fmt: skip
    """Return what a file or a case asks for. Raises GeometryError, CaseError."""
    if isinstance(target, Case):
        return _from_case(target, horn, at)
    path = Path(target)
    if path.suffix.lower() == ".toml" and _is_case(path):
        if (kind, depth_m, unit) != (None, None, None):
            raise CaseError(f"{path.name}: a case states depth and unit of its drawings itself: leave them out here")
        return _from_case(load(path), horn, at)
    if horn is not None:
        raise CaseError(f'{path.name}: is a drawing, not a case: leave out the horn "{horn}"')
    return _from_drawing(path, kind, depth_m, unit, at)


def _is_case(path: Path) -> bool:
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return False
    return "points" not in table and ("driver" in table or "horns" in table)


def _from_drawing(
    path: Path, kind: str | None, depth_m: float | None, unit: str | None, at: Sequence[float]
) -> PathInput:
    outline = _drawing(path, kind, depth_m, unit)
    try:
        intended = intended_horn(outline.intended)
    except GeometryError as error:
        raise GeometryError(f"{path.name}: {error}") from None
    return PathInput(
        name=path.stem, file=path.name, title=_title(path) or path.stem, outline=replace(outline, stuffed=()),
        intended=intended, air=air_at(), tones=tuple(at), stuffed=bool(outline.stuffed),
    )  # fmt: skip


def _title(path: Path) -> str | None:
    if path.suffix.lower() != ".toml":
        return None
    found = tomllib.loads(path.read_text(encoding="utf-8")).get("title")
    return found if isinstance(found, str) else None


def _drawing(path: Path, kind: str | None, depth_m: float | None, unit: str | None) -> Outline:
    if path.suffix.lower() not in _DRAWINGS:
        raise GeometryError(
            f"{path.name}: fold reads drawings (.toml, .dxf), whose walls it can follow; found "
            f"{path.suffix or 'no ending'!r}"
        )
    if not path.exists():
        raise GeometryError(f"{path.name}: can't be read: no such file")
    if path.suffix.lower() == ".dxf" and kind is None and depth_m is None:
        raise GeometryError(
            f"{path.name}: a drawing can't say how deep its boards are: give the depth, as in --depth \"180 mm\""
        )
    return load_outline(path, kind=kind, depth_m=depth_m, unit=unit)


def _from_case(case: Case, horn: str | None, at: Sequence[float]) -> PathInput:
    drawn = [name for name, table in case.horns.items() if table.outline is not None]
    if horn is None and len(drawn) != 1:
        which = f"has {len(drawn)} drawn horns, {', '.join(drawn)}: choose one with --horn" if drawn else (
            "has no horn with an outline; fold shows what a drawn path is"
        )  # fmt: skip
        raise CaseError(f"{label(case)}: {which}")
    name = horn or drawn[0]
    if name not in drawn:
        raise CaseError(f'{label(case)}: "{name}" is no drawn horn; drawn here: {", ".join(drawn) or "none"}')
    table = case.horns[name]
    assert table.outline is not None
    path = case.resolve(table.outline)
    turned = "axisymmetric" if path.suffix.lower() == ".dxf" and table.outline_depth is None else None
    kind = "planar" if table.outline_depth is not None else turned
    try:
        outline = _drawing(path, kind, table.outline_depth, table.outline_unit)
        intended = _meant(case, name) or intended_horn(outline.intended)
    except GeometryError as error:
        raise GeometryError(f"{label(case)}: [horns.{name}] outline: {error}") from None
    return PathInput(
        name=case.name, file=label(case), title=case.title or case.name, outline=replace(outline, stuffed=()),
        intended=intended, air=case_air(case), band=(case.sweep.start, case.sweep.stop),
        tones=tuple(at) or tuple(case.tones), scale=case.scale, horn=name,
        stuffed=bool(outline.stuffed) or table.fill is not None,
    )  # fmt: skip


def _meant(case: Case, name: str) -> Horn | None:
    """Return the profile that the case gives beside the outline."""
    table = case.horns[name]
    if table.profile is None or table.throat is None or table.mouth is None or table.length is None:
        return None
    return horn_profile(table.profile, table.throat, table.mouth, table.length, 1.0 if table.T is None else table.T)
