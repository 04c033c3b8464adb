"""What the box does at each tone, with a verdict in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from airpath.case.schema import Case
from airpath.findings.wording import listing, sig
from airpath.network.response import Response

HELD_FIRMLY_DB = -12.0  # excursion a quarter of the free-air one or less
HELD_DB = -3.0
SWINGS_DB = 3.0
_TOGETHER_DB = 3.0  # openings this close share the work
_AGAINST_DB = 1.0  # openings that together are this far above the total are being cancelled


@dataclass(frozen=True, kw_only=True)
class ToneRow:
    """One tone in one fidelity; ``share_db`` and ``air_speed_peak_m_s`` per opening, ``leader``: the loudest."""

    frequency_hz: float
    model: str
    impedance_ohm: float
    phase_deg: float
    excursion_peak_m: float
    loading_db: float
    spl_db: float
    share_db: dict[str, float | None]
    air_speed_peak_m_s: dict[str, float]
    leader: str
    verdict: str

    def to_dict(self) -> dict[str, Any]:
        """Return the row under the names of ``result.json``."""
        openings: dict[str, dict[str, float | None]] = {
            name: {"share_db": share} for name, share in self.share_db.items()
        }
        for name, speed in self.air_speed_peak_m_s.items():
            openings[name]["air_speed_peak_m_s"] = speed
        keys = ("frequency_hz", "model", "impedance_ohm", "phase_deg", "excursion_peak_m", "loading_db", "spl_db")
        return {**{key: getattr(self, key) for key in keys}, "openings": openings, "verdict": self.verdict}


def tone_rows(case: Case, response: Response) -> list[ToneRow]:
    """Return one row per frequency of a response that was solved at the tones."""
    return [_row(case, response, i) for i in range(len(response.frequency))]


def _row(case: Case, response: Response, i: int) -> ToneRow:
    share = {}
    for name in response.openings:
        values = response.share_db(name)
        share[name] = None if values is None else float(values[i])
    speed = {name: float(o.air_speed_peak[i]) for name, o in response.openings.items() if name != "cone"}
    audible = {name: complex(o.pressure[i]) for name, o in response.openings.items() if o.pressure is not None}
    leader = max(audible, key=lambda name: abs(audible[name]))
    excursion, loading = float(response.excursion_peak[i]), float(response.loading_db[i])
    verdict = f"{cone_held(loading)}; {_work(audible, leader)}"
    if case.driver.xmax is not None and excursion > case.driver.xmax:
        verdict += f"; beyond xmax: {sig(excursion * 1e3, 2)} mm of {sig(case.driver.xmax * 1e3, 2)} mm"
    return ToneRow(
        frequency_hz=float(response.frequency[i]),
        model=response.model,
        impedance_ohm=float(abs(response.impedance[i])),
        phase_deg=float(np.degrees(np.angle(response.impedance[i]))),
        excursion_peak_m=excursion,
        loading_db=loading,
        spl_db=float(response.spl_db[i]),
        share_db=share,
        air_speed_peak_m_s=speed,
        leader=leader,
        verdict=verdict,
    )


def cone_held(loading_db: float) -> str:
    """Say how firmly the air holds the cone."""
    if loading_db <= HELD_FIRMLY_DB:
        return f"the air holds the cone firmly ({loading_db:.0f} dB)"
    if loading_db <= HELD_DB:
        return f"the air holds the cone ({loading_db:.0f} dB)"
    if loading_db < SWINGS_DB:
        return "the cone moves about as in free air"
    return f"the air helps the cone to swing ({loading_db:+.0f} dB)"


def _work(pressure: dict[str, complex], leader: str) -> str:
    """Say which openings do the work, and which work against them; ``pressure``: of each at the listener."""
    if len(pressure) == 1:
        return f"only {label(leader)} radiates"
    ahead = {name: (p * pressure[leader].conjugate()).real > 0 for name, p in pressure.items()}
    sides = [{name: p for name, p in pressure.items() if ahead[name] is side} for side in (True, False)]
    most, total = max(abs(sum(side.values())) for side in sides), abs(sum(pressure.values()))
    if most <= total * 10 ** (_AGAINST_DB / 20):
        near = _loudest(pressure)
        return f"{_listed(near)} {'do' if len(near) > 1 else 'does'} the work"
    first, second = (_loudest(side) for side in sorted(sides, key=lambda side: -abs(sum(side.values()))))
    if len(first) == len(second) == 1:
        near = _loudest(pressure)
        both = [name for name in pressure if name in near] if len(near) > 1 else [leader, *first, *second]
        return f"{_listed(list(dict.fromkeys(both)))} work against each other"
    return f"{_listed(first)} {'work' if len(first) > 1 else 'works'} against {_listed(second)}"


def _loudest(pressure: dict[str, complex]) -> list[str]:
    """Return the loudest and what is as loud within a few dB."""
    least = max(map(abs, pressure.values())) * 10 ** (-_TOGETHER_DB / 20)
    return [name for name, p in pressure.items() if abs(p) > least]


def _listed(names: list[str]) -> str:
    return listing([label(name) for name in names])


def band(case: Case) -> tuple[float, float]:
    """Return the band that a case uses [Hz]: from its lowest to its highest tone, or its sweep if it names none."""
    return (min(case.tones), max(case.tones)) if case.tones else (case.sweep.start, case.sweep.stop)


def label(name: str) -> str:
    """Return how sentences call an opening."""
    if name == "cone":
        return "the cone"
    if name == "cone.rear":
        return "the cone's rear"
    return f'the leak of "{name[:-5]}"' if name.endswith(".leak") else f'"{name}"'
