"""Where inside the sweep a model of the box stops being true, or leaves something out: one sentence each."""

from __future__ import annotations

import math

from airpath.case.schema import Case
from airpath.network.graph import OUTSIDE
from airpath.network.passages import end_section

_ACROSS_ROUND = 1.8412  # first zero of J1': the first wave across a round duct (Rayleigh, Theory of Sound, vol. 2)
_FITTED_FROM = 0.01  # f/sigma down to which the formula of the stuffing was fitted (Delany & Bazley 1970)

SPREAD = (
    'the stuffing of "{}" is spread evenly, before its openings too, where the field model lets it rub: a port damped '
    "by this is freer if the stuffing keeps clear of it, as in the lumped and line models"
)


def limits(case: Case, sound_speed: float, volumes: dict[str, float], waves: dict[str, float]) -> list[str]:
    """Return what the models leave out within the sweep; ``sound_speed`` [m/s].

    ``volumes`` [m^3] of the chambers, ``waves``: the lowest wavenumber [1/m] of those that are drawn.
    """
    return [
        *_one_pressure(case, sound_speed, volumes, waves), *_plane_waves(case, sound_speed),
        *_piston(case, sound_speed), *_stuffing(case), *_equal_openings(case), *_space(case),
    ]  # fmt: skip


def _one_pressure(
    case: Case, sound_speed: float, volumes: dict[str, float], waves: dict[str, float]
) -> list[str]:
    """Half a wave along the longest side that is known: Kuttruff, Room Acoustics, section 3.2 (from memory)."""
    first = {
        name: sound_speed / (2 * (max(table.size) if table.size else volumes[name] ** (1 / 3)))
        for name, table in case.chambers.items()
    } | {name: sound_speed * wave / (2 * math.pi) for name, wave in waves.items()}
    low = _listed({name: hz for name, hz in first.items() if hz < case.sweep.stop})
    text = "a chamber acts as one pressure (in the lumped model every one does) well below its first standing wave"
    text += ", that of a cube if only its volume is given:"
    return [f"{text} {low}"] if low else []


def _plane_waves(case: Case, sound_speed: float) -> list[str]:
    """First wave across: 1.8412 c/(2 pi a) in a round duct, half a wave across the longer side of a slot."""
    across = {}
    for name, port in case.ports.items():
        sections = [end_section(port, end) for end in ("from", "to")]
        across[name] = min(
            _across_round(sound_speed, s.radius) if s.width is None else sound_speed / (2 * max(s.width, s.height))
            for s in sections
        )
    for name, horn in case.horns.items():
        areas = [area for _, area in horn.stations or ()] or [horn.throat or 0.0, horn.mouth or 0.0]
        if max(areas) > 0:
            across[name] = _across_round(sound_speed, math.sqrt(max(areas) / math.pi))
    low = _listed({name: hz for name, hz in across.items() if hz < case.sweep.stop})
    text = "ports and horns carry plane waves: at their widest, waves also run across, from about"
    return [f"{text} {low} on"] if low else []


def _across_round(sound_speed: float, radius: float) -> float:
    return _ACROSS_ROUND * sound_speed / (2 * math.pi * radius)


def _piston(case: Case, sound_speed: float) -> list[str]:
    whole = sound_speed / (2 * math.pi * math.sqrt(case.driver.Sd / math.pi))
    if whole > case.sweep.stop:
        return []
    return [f"the cone is a rigid piston: from about {_hertz(whole)} (ka = 1) on real cones bend and beam"]


def _stuffing(case: Case) -> list[str]:
    filled = {n: t.fill.flow_resistivity for n, t in (case.chambers | case.horns).items() if t.fill is not None}
    low = _listed({n: _FITTED_FROM * sigma for n, sigma in filled.items() if _FITTED_FROM * sigma > case.sweep.start})
    text = "the formula of the stuffing (Miki 1990) was fitted to higher frequencies: it is stretched below"
    return [f"{text} {low}"] if low else []


def _equal_openings(case: Case) -> list[str]:
    many = [f'the {port.count} of "{name}"' for name, port in case.ports.items() if port.count > 1]
    many += [f"the {case.driver.count} cones"] * (case.driver.count > 1)
    text = "each radiate on their own, as if far apart; the field model of a chamber takes them as one of their area"
    return [f"equal openings ({', '.join(many)}) {text}"] if many else []


def _space(case: Case) -> list[str]:
    outside = case.driver.front == OUTSIDE or any(p.to == OUTSIDE for p in (case.ports | case.horns).values())
    if case.room is not None or case.listener.space == "half" or not outside:
        return []
    return [
        f'"{case.listener.space}" space sets the level at the listener; the air before a flanged opening stays that '
        "of an endless wall"
    ]


def _listed(found: dict[str, float]) -> str:
    return ", ".join(f'{_hertz(hz)} ("{name}")' for name, hz in found.items())


def _hertz(hz: float) -> str:
    return f"{float(f'{hz:.3g}'):g} Hz"
