"""Which unknowns a driver's sweeps share, how much of the coil they show, and where to start."""

from __future__ import annotations

import numpy as np

from airpath.measured.drivers.motor import NAMES, Circuit, Fit, FloatArray, fit
from airpath.measured.drivers.peak import main_peak, read_peak
from airpath.measured.reading.sweep import MeasuredSweep

COILS = ((), ("Le",), ("Le", "Le2", "Re2"))
# Very strong evidence, of the information criterion: Kass & Raftery 1995, J. Am. Stat. Assoc. 90, 773, from memory.
_BETTER = 10.0
_KNOWN = 0.3  # a coil value with a larger relative error is not supported by the data


def coil_and_fit(free: MeasuredSweep, Re: float | None) -> tuple[tuple[str, ...], Fit]:
    """Choose how much of the coil the data support, and fit the free-air sweep with it."""
    best: tuple[tuple[str, ...], Fit] | None = None
    for parts in COILS:
        circuits, start = layout([free], parts, Re, False)
        if best is not None and parts != COILS[1]:
            start[:3] = best[1].x[:3]
        found = fit([free], circuits, start)
        error = np.sqrt(np.diag(found.covariance))
        known = error[3 : 3 + len(parts)].max(initial=0.0) < _KNOWN
        if best is None or (known and found.criterion < best[1].criterion - _BETTER):
            best = (parts, found)
    assert best is not None
    return best


def layout(
    sweeps: list[MeasuredSweep], coil: tuple[str, ...], Re: float | None, volume: bool
) -> tuple[list[Circuit], FloatArray]:
    """Return the circuit of each sweep and a start. Unknowns: Res, f0, Q, coil, Re; then the same of the second.

    With an added mass the second Q follows from the stiffness: Q' = Res' f0 Q/(Res f0').
    """
    first = ["Res", "f0", "Q", *coil, *([] if Re is not None else ["Re"])]
    more = [] if len(sweeps) == 1 else ["Res", "f0", *(["Q"] if volume else []), *([] if Re is not None else ["Re"])]
    guess = [_guess(sweep, Re) for sweep in sweeps]
    start = np.log([*(guess[0][name] for name in first), *(guess[-1][name] for name in more)])
    circuits = []
    for number in range(len(sweeps)):
        matrix, offset = np.zeros((len(NAMES), len(start))), np.full(len(NAMES), -np.inf)
        for row, name in enumerate(NAMES):
            own = more if number else first
            column = len(first) + more.index(name) if number and name in more else first.index(name) \
                if name in first else None  # fmt: skip
            if name == "Re" and Re is not None:
                offset[row] = np.log(Re)
            elif name == "Q" and name not in own:
                for other, sign in (("Res", 1.0), ("f0", -1.0)):
                    matrix[row, len(first) + more.index(other)] = sign
                    matrix[row, first.index(other)] = -sign
                matrix[row, first.index("Q")], offset[row] = 1.0, 0.0
            elif column is not None:
                matrix[row, column], offset[row] = 1.0, 0.0
        circuits.append(Circuit(matrix=matrix, offset=offset))
    return circuits, start


def _guess(sweep: MeasuredSweep, Re: float | None) -> dict[str, float]:
    """Return starting values from the look of a curve."""
    at = main_peak(sweep)
    rest = Re if Re is not None else float(sweep.magnitude[[0, at + int(np.argmin(sweep.magnitude[at:]))]].min())
    rest = min(rest, 0.95 * float(sweep.magnitude[at]))
    peak = read_peak(sweep, rest)
    last, omega = float(sweep.magnitude[-1]), 2 * np.pi * float(sweep.frequency[-1])
    coil = float(np.sqrt(max(last**2 - rest**2, (0.1 * rest) ** 2))) / omega
    return {"Re": rest, "Le": coil, "Le2": coil, "Re2": rest, "Res": peak.top - rest, "f0": peak.f0, "Q": peak.Qms}
