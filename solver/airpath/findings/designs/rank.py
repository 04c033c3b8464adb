"""Designs side by side at the same tones and drive: levels, margins, size, and which of them really differ."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from airpath.case.media import case_air
from airpath.case.schema import Case
from airpath.errors import CaseError
from airpath.findings.airspeed import SPEED_LIMIT_SHARE, open_ways
from airpath.findings.clean import clean_rows
from airpath.findings.designs.ranktext import Margin, dangers, drive_words, notes, place_words
from airpath.findings.designs.spread import Spread, spread_of
from airpath.findings.wording import sig
from airpath.network.build import build, chosen_model, label, models_for
from airpath.network.covered import air_volume
from airpath.network.respond import respond, source_voltage
from airpath.network.response import FloatArray, Response
from airpath.network.solve import solve_network

_SAME_HZ = 1e-9  # relative


@dataclass(frozen=True, kw_only=True)
class Design:
    """One design in a ranking; lists hold a value per tone, levels in dB at the drive of the ranking.

    ``place``: 1 is the loudest on average; designs that tie share a place. ``mean_spl_db``: arithmetic mean of the
    levels in dB, common practice; ``spread_db``: loudest minus quietest tone. Margins: how much more drive it takes
    until xmax, or the usual air speed in a port, is reached, negative beyond; None without one. ``volume_m3``: air in
    chambers, ports and horns, at full size. ``moves_db``: what 1 mm and 5 % move the mean.
    """

    name: str
    title: str
    place: int
    spl_db: list[float]
    mean_spl_db: float
    spread_db: float
    worst_hz: float
    worst_db: float
    voltage_v: list[float]
    excursion_margin: Margin | None
    air_speed_margin: Margin | None
    volume_m3: float
    moves_db: float
    moved_most_by: str


@dataclass(frozen=True, kw_only=True)
class Ranking:
    """Designs, the loudest first; ``tones_hz`` at full size; ``texts`` say the order, and what is a tie."""

    cases: tuple[Case, ...]
    model: str
    tones_hz: FloatArray
    drive: str
    designs: tuple[Design, ...]
    texts: tuple[str, ...]
    notes: tuple[str, ...]
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the result under the names of the ``rank`` result."""
        return {
            "model": self.model, "tones_hz": self.tones_hz.tolist(), "drive": self.drive,
            "designs": [asdict(design) for design in self.designs],
            "texts": list(self.texts), "notes": list(self.notes), "warnings": list(self.warnings),
        }  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class CommonDrive:
    """The drive of all designs: a ``voltage`` [V], a ``power`` [W] into Re, or each tone up to its ``clean`` level.

    Raises ValueError unless it is just one of them, above zero.
    """

    voltage: float | None = None
    power: float | None = None
    clean: bool = False

    def __post_init__(self) -> None:
        given = [value for value in (self.voltage, self.power, self.clean or None) if value is not None]
        if len(given) != 1 or not 0 < given[0] < math.inf:
            raise ValueError("drive: expected one of voltage, power and clean, above zero")


@dataclass(frozen=True, kw_only=True)
class _Solved:
    name: str
    case: Case
    response: Response
    level: FloatArray
    voltage: FloatArray
    spread: Spread
    volume: float


def rank(
    cases: Sequence[Case], drive: CommonDrive | None = None, tones_hz: Sequence[float] | None = None,
    model: str | None = None,
) -> Ranking:  # fmt: skip
    """Compare designs at the same tones and the same drive.

    ``drive``: of the first case if left out. ``tones_hz``: at full size; those of the first case that names any if left
    out. ``model``: the highest fidelity that all allow if left out. Raises CaseError or AccuracyError.
    """
    if len(cases) < 2:
        raise CaseError("rank: expected two cases or more to compare")
    model, tones = _common_model(cases, model), _tones(cases, tones_hz)
    drive = drive or _own_drive(cases[0])
    driven = [_driven(case, drive) for case in cases]
    names = _names(cases)
    solved = [_solve(name, case, model, tones, drive) for name, case in zip(names, driven, strict=True)]
    solved.sort(key=lambda one: -float(one.level.mean()))
    places = _places(solved)
    designs = tuple(_design(one, place, tones) for one, place in zip(solved, places, strict=True))

    def moved(i: int, j: int) -> float:
        return solved[i].spread.between(solved[j].spread)

    return Ranking(
        cases=tuple(cases), model=model, tones_hz=tones, drive=drive_words(drive.voltage, drive.power, drive.clean),
        designs=designs, texts=tuple(place_words([(d.name, d.place, d.mean_spl_db) for d in designs], moved)),
        notes=tuple(notes(cases, names, tones, own=tones_hz is None)),
        warnings=tuple(
            text for one in solved for text in dangers(one.name, one.case, one.response, one.level, one.voltage)
        ),
    )  # fmt: skip


def _common_model(cases: Sequence[Case], model: str | None) -> str:
    for case in cases:
        chosen_model(case, model)
    allowed = [found for found in models_for(cases[0]) if all(found in models_for(case) for case in cases)]
    return model or allowed[-1]


def _tones(cases: Sequence[Case], asked: Sequence[float] | None) -> FloatArray:
    """Return the tones at full size [Hz]; each has to be inside every sweep."""
    first = next((case for case in cases if case.tones), None)
    if asked is None and first is None:
        raise CaseError('rank: no case names tones: give them with --tones "40 Hz,60 Hz" or in the first file')
    tones = np.array(asked) if asked is not None else np.array(first.tones if first else ()) / (first or cases[0]).scale
    for case in cases:
        low, high = case.sweep.start * (1 - _SAME_HZ), case.sweep.stop * (1 + _SAME_HZ)
        for tone in (tones * case.scale).tolist():
            if not low <= tone <= high:
                full = f" ({sig(tone / case.scale, 4)} Hz at full size)" if case.scale != 1 else ""
                raise CaseError(
                    f"{label(case)}: the tone {sig(tone, 4)} Hz{full} is outside its sweep, {case.sweep.start:g} Hz to "
                    f"{case.sweep.stop:g} Hz"
                )
    return tones


def _own_drive(case: Case) -> CommonDrive:
    own = case.drive
    return CommonDrive(voltage=own.voltage) if own.power is None else CommonDrive(power=own.power)


def _driven(case: Case, drive: CommonDrive) -> Case:
    if drive.clean:
        return case
    changes = {"power": drive.power} if drive.power is not None else {"power": None, "voltage": drive.voltage}
    return case.model_copy(update={"drive": case.drive.model_copy(update=changes)})


def _names(cases: Sequence[Case]) -> list[str]:
    """Return the files' names without ending, with their folder where two are alike, numbered where that is too."""
    names = [case.name for case in cases]
    folders = [case.source.resolve().parent.name if case.source is not None else "" for case in cases]
    both = list(zip(folders, names, strict=True))
    apart = [folders[i] and names.count(name) > both.count(both[i]) for i, name in enumerate(names)]
    names = [f"{folders[i]}/{name}" if apart[i] else name for i, name in enumerate(names)]
    return [f"{name} ({i + 1})" if names.count(name) > 1 else name for i, name in enumerate(names)]


def _solve(name: str, case: Case, model: str, tones: FloatArray, drive: CommonDrive) -> _Solved:
    omega = 2 * np.pi * tones * case.scale
    network = build(case, model)

    def levels(changed: Case) -> FloatArray:
        own = build(changed, model)
        return _levels(changed, respond(changed, own, solve_network(own, omega), model), drive)[0]

    response = respond(case, network, solve_network(network, omega), model)
    level, volts = _levels(case, response, drive)
    volume = sum(network.volumes.values()) + sum(air_volume(case, way) for way in (*case.ports, *case.horns))
    return _Solved(
        name=name, case=case, response=response, level=level, voltage=volts, spread=spread_of(case, levels),
        volume=volume * case.scale**3,
    )  # fmt: skip


def _levels(case: Case, response: Response, drive: CommonDrive) -> tuple[FloatArray, FloatArray]:
    """Return level [dB] and voltage [V] at each tone: as driven, or at its first limit.

    Raises CaseError where a clean level has none.
    """
    if not drive.clean:
        return response.spl_db, np.full(len(response.frequency), source_voltage(case))
    rows = clean_rows(case, response)
    if any(row.limit is None for row in rows):
        raise CaseError(
            f"{label(case)}: [driver] xmax is missing: a clean level needs xmax, power or an open port whose air moves"
        )
    return np.array([row.spl_db for row in rows]), np.array([row.voltage_v for row in rows])


def _places(solved: list[_Solved]) -> list[int]:
    """Return the place of each: the same as the leader of its group if they are closer than what moves them."""
    places, leader = [], 0
    for i, one in enumerate(solved):
        gap = float(solved[leader].level.mean() - one.level.mean())
        if gap > solved[leader].spread.between(one.spread):
            leader = i
        places.append(leader + 1)
    return places


def _design(one: _Solved, place: int, tones: FloatArray) -> Design:
    case, level = one.case, one.level
    worst = int(level.argmin())
    drive = one.voltage / source_voltage(case)
    excursion, air = None, None
    if case.driver.xmax is not None:
        excursion = _margin(case.driver.xmax / (one.response.excursion_peak * drive), tones, "driver")
    limit = SPEED_LIMIT_SHARE * case_air(case).sound_speed
    for name in open_ways(case):
        speed = one.response.openings[name].air_speed_peak * drive
        if not speed.any():
            continue  # a port of a chamber that only the outside joins
        found = _margin(limit / np.maximum(speed, np.finfo(float).tiny), tones, name)
        air = found if air is None or found.db < air.db else air
    return Design(
        name=one.name, title=case.title, place=place, spl_db=level.tolist(), mean_spl_db=float(level.mean()),
        spread_db=float(level.max() - level.min()), worst_hz=float(tones[worst]), worst_db=float(level[worst]),
        voltage_v=one.voltage.tolist(), excursion_margin=excursion, air_speed_margin=air, volume_m3=one.volume,
        moves_db=one.spread.whole, moved_most_by=one.spread.most,
    )  # fmt: skip


def _margin(ratio: FloatArray, tones: FloatArray, element: str) -> Margin:
    i = int(ratio.argmin())
    return Margin(db=20 * float(np.log10(ratio[i])), at_hz=float(tones[i]), element=element)
