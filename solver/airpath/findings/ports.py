"""Every port and horn: effective length, tuning, pipe resonances and how fast its air moves."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from airpath.acoustics.viscothermal import Section, layer_thickness
from airpath.air import Air
from airpath.case.schema import Case, Port
from airpath.elements.mouth import Mouth
from airpath.elements.plug import Plug
from airpath.findings.explaining.coupled import Pipe, coupled_pipes, coupled_tunings
from airpath.findings.wording import listing, sig
from airpath.network import joints, passages
from airpath.network.graph import OUTSIDE, Network
from airpath.network.horns import horn_way
from airpath.network.meshed import case_air
from airpath.network.response import Response

SPEED_LIMIT_SHARE = 0.05  # of the sound speed: common practice, about 17 m/s
_QUIET_SHARE = 0.5  # of the limit


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


@dataclass(frozen=True, kw_only=True)
class _Reach:
    body: float
    start: float
    end: float
    area: float

    @property
    def total(self) -> float:
        return self.body + self.start + self.end


def port_rows(case: Case, network: Network, model: str, at_tones: Response) -> dict[str, PortRow]:
    """Return a row per port of a box in one fidelity; air speeds are the highest of its response at the tones."""
    air = case_air(case)
    reach = {name: _reach(case, port) for name, port in case.ports.items()}
    alone = tunings(case, air, network.volumes, {name: (r.total, r.area) for name, r in reach.items()})
    tuning = coupled_tunings(network, alone)
    pipes = coupled_pipes(case, network, model, {name: r.total for name, r in reach.items()})
    return {name: _row(case, name, air, reach[name], tuning, pipes[name], at_tones) for name in case.ports}


def _row(
    case: Case, name: str, air: Air, reach: _Reach, tuning: dict[str, tuple[float, list[str]]], pipes: list[Pipe],
    at_tones: Response,
) -> PortRow:  # fmt: skip
    port = case.ports[name]
    speeds = at_tones.openings[name].air_speed_peak
    worst = int(np.argmax(speeds))
    speed, where = float(speeds[worst]), float(at_tones.frequency[worst])
    limit = SPEED_LIMIT_SHARE * air.sound_speed
    hz, group = tuning.get(name, (None, []))
    return PortRow(
        effective_length_m=reach.total,
        end_correction_from_m=reach.start,
        end_correction_to_m=reach.end,
        tuning_hz=hz,
        tuning_text=_tuning_text(hz, [other for other in group if other != name]),
        pipe_resonances_hz=[pipe.frequency_hz for pipe in pipes],
        pipes=pipes,
        air_speed_peak_m_s=speed,
        air_speed_at_hz=where,
        air_speed_limit_m_s=limit,
        verdict=speed_verdict(speed, limit, where, passages.port_section(port), port, air),
    )


def _reach(case: Case, port: Port) -> _Reach:
    """Return body and end lengths [m], all for the port's narrowest section."""
    section = passages.port_section(port)
    area = section.area * port.count
    body = 0.0
    for stage in passages.body(port, lumped=True):
        assert isinstance(stage, Plug)
        body += stage.length * section.area / stage.section.area
    wall = joints.wall_at(case.chambers[port.from_], port.from_at)
    start_section = passages.end_section(port, "from")
    start = passages.inner_end_length(port, "from", wall) * section.area / start_section.area
    end_section = passages.end_section(port, "to")
    if port.covered:
        end = 0.0
    elif port.to == OUTSIDE:
        mouth = Mouth(section=end_section, flanged=port.to_end != "free", along_wall=port.along_wall)
        k = np.array([1e-4 / end_section.radius])
        end = float(mouth.specific_impedance(k).imag[0] / k[0])
    else:
        wall = joints.wall_at(case.chambers[port.to], port.to_at)
        end = passages.inner_end_length(port, "to", wall)
    return _Reach(body=body, start=start, end=end * section.area / end_section.area, area=area)


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


def speed_verdict(speed: float, limit: float, frequency: float, section: Section, port: Port, air: Air) -> str:
    """Word the risk of audible air noise at the worst tone.

    The limit of 5 % of the sound speed is common practice. Roozen et al. 1998, J. Acoust. Soc. Am. 104, 1914: blowing
    noise comes from vortices shed at the ends; rounded ends lower it. A risk, not a prediction.
    """
    stroke = speed / (2 * np.pi * frequency)  # peak travel of the air [m]
    at = f"{sig(speed, 2)} m/s at {sig(frequency, 4)} Hz"
    half = min(section.height, section.width or section.height) / 2
    flared = "flared" in (port.from_end, port.to_end)
    if port.covered:
        return f"{at}: covered, only its own air moves"
    if speed < _QUIET_SHARE * limit:
        return f"{at}: below half of the usual limit; air noise is unlikely"
    if speed < limit:
        risk = "inside the usual limit; " + ("its flares keep the risk small" if flared else "listen at the edges")
    else:
        risk = "over the usual limit; " + (
            "flares help, but expect air noise" if flared else "expect air noise: a wider or flared port lowers it"
        )
    if stroke > half:
        risk += f"; the air travels {sig(stroke * 1e3, 2)} mm each way, more than half its width: vortices form"
    layer = float(layer_thickness(np.array([2 * np.pi * frequency]), air)[0])
    if layer > 0.1 * half:
        risk += "; friction in this narrow port is large"
    return f"{at}: {risk}"
