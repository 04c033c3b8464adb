"""Tunings and pipe resonances of ports as they are in the whole box, from its own natural frequencies."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from airpath.case.schema import Case
from airpath.elements.base import ComplexArray
from airpath.findings.explaining.features import extrema, impedance
from airpath.findings.explaining.orders import ordinal
from airpath.findings.explaining.prominence import prominence_db
from airpath.findings.explaining.resonances import distinct, refine, shapes
from airpath.findings.explaining.shares import shares, wave_in
from airpath.findings.tones import band
from airpath.findings.wording import sig
from airpath.network.graph import Network

_SHARP = 0.01  # half-width of a guess, relative
_STARTS = np.outer(np.linspace(0.88, 1.12, 9), (1 + 0.003j, 1 + 0.02j)).ravel()  # times a port's own frequency
_HOLDS = 0.25  # of the energy in waves inside a port and at its ends: a pipe resonance of it
_NEAR = 0.2  # relative, from what the port alone would have
_PLUG = 0.05  # of the energy: a port with less takes no part in a tuning
_HEARD_DB = 1.0


@dataclass(frozen=True, kw_only=True)
class Pipe:
    """One pipe resonance of a port in the box.

    ``order``: of half-waves, of quarter-waves in a covered port; ``q``: None where the box has no such resonance and
    the port alone is meant; ``stands_out_db``: of the level around it; ``in_band``: between the lowest and the highest
    tone, or within its half-width of them.
    """

    frequency_hz: float
    order: int
    q: float | None
    stands_out_db: float | None
    in_band: bool
    text: str

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the ``ports`` result."""
        return asdict(self)


def coupled_tunings(
    network: Network, alone: Mapping[str, tuple[float, list[str]]]
) -> dict[str, tuple[float, list[str]]]:
    """Return per port the dip [Hz] at which its plug swings most, with the ports that do likewise.

    ``alone``: the same without losses and with plugs and springs only, as guesses. Natural frequencies with the cone
    held still; where the impedance has its dip next to one, the dip.
    """
    start = np.array(sorted({hz for hz, _ in alone.values()})) * 2 * np.pi * (1 + _SHARP * 1j)
    found = distinct(refine(network, start, "clamped"))
    parts = [shares(ring) for ring in shapes(network, [(w, "clamped") for w in found.tolist()])]
    moving = {
        name: [max(p[name].kinetic - p[name].wave / 2, 0.0) if name in p else 0.0 for p in parts] for name in alone
    }
    own = {name: int(np.argmax(share)) for name, share in moving.items() if share and max(share) > _PLUG}
    out = dict(alone)
    for name, which in own.items():
        out[name] = (_turn(network, found, which, 1), [other for other in alone if own.get(other) == which])
    return out


def _turn(network: Network, natural: ComplexArray, i: int, which: int) -> float:
    """Return the impedance peak (0) or dip (1) [Hz] that natural frequency ``i`` makes, itself where it makes none."""
    w = complex(natural[i])
    reach = float(np.clip(2 * w.imag / w.real, 0.04, 0.15))
    grid = w.real * np.exp(np.linspace(-reach, reach, 61))
    found = extrema(network, grid, np.abs(impedance(network, grid)))[which]
    own = [x for x in found.tolist() if np.abs(natural - x).argmin() == i]  # no other one is nearer
    return float(min(own, key=lambda x: abs(x - w.real), default=w.real) / (2 * np.pi))


def coupled_pipes(
    case: Case, network: Network, model: str, length: Mapping[str, float]
) -> dict[str, list[Pipe]]:
    """Return the pipe resonances of each port within the sweep; ``length`` [m] of each with its ends.

    Natural frequencies of the box with the cone free, near those of the port alone, with a quarter of the energy or
    more in waves inside it and at its ends; where the impedance has its peak next to one, the peak. What isn't found so
    is given as the port alone has it.
    """
    guesses = [(name, order, hz) for name in case.ports for order, hz in _alone(case, network, name, length[name])]
    start = np.outer([2 * np.pi * hz for *_, hz in guesses], _STARTS).ravel()
    natural = distinct(refine(network, start, "free"))
    parts = [shares(ring) for ring in shapes(network, [(w, "free") for w in natural.tolist()])]
    spaces = {name: [end for end in (port.from_, port.to) if end in case.chambers] for name, port in case.ports.items()}
    taken: set[tuple[str, int]] = set()
    found: list[tuple[str, int, float, float | None]] = []
    for name, order, hz in guesses:
        near = [
            (wave_in(name, parts[j], spaces[name]), j)
            for j, w in enumerate(natural.tolist())
            if (name, j) not in taken and name in parts[j] and abs(w.real / (2 * np.pi * hz) - 1) < _NEAR
        ]
        holds, j = max(near, default=(0.0, -1))
        if holds > _HOLDS:
            taken.add((name, j))
            w = complex(natural[j])
            found.append((name, order, _turn(network, natural, j, 0), abs(w) / (2 * w.imag)))
        else:
            found.append((name, order, hz, None))
    return _heard(case, network, model, found)


def _alone(case: Case, network: Network, name: str, length: float) -> list[tuple[int, float]]:
    """Return order and frequency [Hz] of a port's own pipe resonances up to the end of the sweep."""
    step = network.air.sound_speed / (2 * length)
    orders = range(1, int(case.sweep.stop / step + 0.5) + 1)
    covered = case.ports[name].covered
    every = [(n, (n - 0.5) * step if covered else n * step) for n in orders]
    return [(n, hz) for n, hz in every if hz <= case.sweep.stop]


def _heard(
    case: Case, network: Network, model: str, found: Sequence[tuple[str, int, float, float | None]]
) -> dict[str, list[Pipe]]:
    rings = [i for i, (*_, q) in enumerate(found) if q is not None]
    apart = prominence_db(case, network, model, [found[i][2] for i in rings], [found[i][3] or 1.0 for i in rings])
    level = dict(zip(rings, apart.tolist(), strict=True))
    low, high = band(case)
    out: dict[str, list[Pipe]] = {name: [] for name in case.ports}
    for i, (name, order, hz, q) in enumerate(found):
        half = hz / (2 * q) if q else 0.0
        inside = low - half <= hz <= high + half
        pipe = Pipe(
            frequency_hz=hz, order=order, q=q, stands_out_db=level.get(i), in_band=inside,
            text=_text(case, name, order, hz, level.get(i), inside),
        )  # fmt: skip
        out[name].append(pipe)
    return out


def _text(case: Case, name: str, order: int, hz: float, apart: float | None, inside: bool) -> str:
    wave = "quarter-wave" if case.ports[name].covered else "half-wave"
    used = "the band of the tones" if case.tones else "the sweep"
    where = f"inside {used}" if inside else f"outside {used}"
    if apart is None:
        heard = "by the port alone: in the box it is spread over other waves"
    elif abs(apart) < _HEARD_DB:
        heard = "hardly heard"
    else:
        heard = f"the level {'rises' if apart > 0 else 'falls'} by {sig(abs(apart), 2)} dB there"
    return f"{ordinal(order)} {wave} at {sig(hz, 4)} Hz, {heard}, {where}"

