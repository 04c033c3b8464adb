"""Every port and horn: effective length, tuning, pipe resonances and how fast its air moves."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from airpath.air import Air
from airpath.case.media import case_air
from airpath.case.schema import Case
from airpath.elements.plug import Plug
from airpath.findings.airspeed import SPEED_LIMIT_SHARE, fastest, speed_verdict
from airpath.findings.explaining.coupled import Pipe, coupled_pipes, coupled_tunings
from airpath.findings.reach import Reach, reach
from airpath.findings.wording import listing, sig
from airpath.network import passages
from airpath.network.graph import Network
from airpath.network.horns import horn_way
from airpath.network.response import Response


@dataclass(frozen=True, kw_only=True)
class PortRow:
    """One port; lengths in m, frequencies in Hz, speeds in m/s.

    ``tuning_hz``: the impedance dip in which its plug takes part most, None for a covered port; ``pipes``: its pipe
    resonances in the box, ``pipe_resonances_hz`` their frequencies.
    """

    effective_length_m: float
    end_correction_from_m: float
    end_correction_to_m: float
    tuning_hz: float | None
    tuning_text: str
    pipe_resonances_hz: list[float]
    pipes: list[Pipe]
    air_speed_peak_m_s: float
    air_speed_at_hz: float
    air_speed_limit_m_s: float
    verdict: str

    def to_dict(self) -> dict[str, Any]:
        """Return the row under the names of the ``ports`` result."""
        return asdict(self)


def port_rows(
    case: Case, network: Network, model: str, at_tones: Response, sweep: Response
) -> dict[str, PortRow]:
    """Return a row per port of a box in one fidelity; air speeds are the highest of its response at the tones."""
    air = case_air(case)
    reached = {name: reach(case, port) for name, port in case.ports.items()}
    alone = tunings(case, air, network.volumes, {name: (r.total, r.area) for name, r in reached.items()})
    tuning = coupled_tunings(network, alone)
    pipes = coupled_pipes(case, network, model, {name: r.total for name, r in reached.items()})
    return {
        name: _row(case, name, air, reached[name], tuning, pipes[name], at_tones, sweep) for name in case.ports
    }


def _row(
    case: Case, name: str, air: Air, reached: Reach, tuning: dict[str, tuple[float, list[str]]], pipes: list[Pipe],
    at_tones: Response, sweep: Response,
) -> PortRow:  # fmt: skip
    tones, whole = ((of.frequency, of.openings[name].air_speed_peak) for of in (at_tones, sweep))
    speed, where = fastest(tones)
    hz, group = tuning.get(name, (None, []))
    return PortRow(
        effective_length_m=reached.total,
        end_correction_from_m=reached.start,
        end_correction_to_m=reached.end,
        tuning_hz=hz,
        tuning_text=_tuning_text(hz, [other for other in group if other != name]),
        pipe_resonances_hz=[pipe.frequency_hz for pipe in pipes],
        pipes=pipes,
        air_speed_peak_m_s=speed,
        air_speed_at_hz=where,
        air_speed_limit_m_s=SPEED_LIMIT_SHARE * air.sound_speed,
        verdict=speed_verdict(case, name, tones, whole, air),
    )


def tunings(
    case: Case, air: Air, volumes: dict[str, float], ports: dict[str, tuple[float, float]]
) -> dict[str, tuple[float, list[str]]]:
    """Return per open port its Helmholtz tuning [Hz] and the ports that swing with it.

    Natural frequencies of the chambers' springs and the ports' plugs with the cone held still, without losses; a port
    belongs to the one in which it has the largest share of the moving energy. ``volumes`` [m^3]; ``ports``: effective
    length [m], area [m^2]. One chamber and one port give c/(2 pi) sqrt(S/(V l)) (Helmholtz).
    """
    from scipy.linalg import eigh

    chambers = list(case.chambers)
    spring = np.diag([volumes[c] / air.bulk_modulus for c in chambers])
    inertia, incidence, names = [], [], []
    for name, (length, area) in ports.items():
        port = case.ports[name]
        if port.covered:
            continue
        row = np.array([float(c == port.from_) - float(c == port.to) for c in chambers])
        incidence.append(row)
        inertia.append(air.density * length / area)
        names.append(name)
    for name, horn in case.horns.items():
        if horn.from_ is not None:
            row = np.array([float(c == horn.from_) - float(c == horn.to) for c in chambers])
            incidence.append(row)
            inertia.append(sum(p.length * air.density / p.section.area for p in _plugs(case, name)))
            names.append("")
    if not names:
        return {}
    b, m = np.array(incidence), np.array(inertia)
    squares, shapes = eigh(b.T @ (b / m[:, None]), spring)
    moving = squares > squares.max() * 1e-9
    energy = (b @ shapes[:, moving]) ** 2 / m[:, None]
    energy = energy / energy.sum(axis=0)
    frequency = np.sqrt(squares[moving]) / (2 * np.pi)
    own = energy.argmax(axis=1)
    return {
        name: (float(frequency[own[i]]), [names[j] for j in range(len(names)) if own[j] == own[i] and names[j]])
        for i, name in enumerate(names)
        if name
    }


def _plugs(case: Case, horn: str) -> list[Plug]:
    return [stage for stage in passages.profile(horn_way(case, horn).pieces, lumped=True) if isinstance(stage, Plug)]


def _tuning_text(hz: float | None, others: list[str]) -> str:
    if hz is None:
        return "none (covered)"
    return f"{sig(hz)} Hz" + (f", together with {listing(others)}" if others else "")
