"""Driver values from measured sweeps: free air, then with an added mass or on a known closed volume."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from airpath.air import air_at
from airpath.errors import SweepError
from airpath.measured.drivers.circuits import coil_and_fit, layout
from airpath.measured.drivers.driverwords import UNITS, Value, driver_table, notes, tilted, warnings
from airpath.measured.drivers.motor import NAMES, Circuit, Fit, FloatArray, fit
from airpath.measured.drivers.peak import Peak, read_peak
from airpath.measured.reading.sweep import MeasuredSweep


@dataclass(frozen=True, kw_only=True)
class DriverValues:
    """Driver values by name (``UNITS``; Q's without unit) from a fit of the whole curves.

    ``classical``: the same from the reading of the peaks alone; ``misfit``: rms relative deviation of the curve;
    ``curves``: per sweep the fitted |Z| (n,) [ohm]; ``warnings`` and ``notes``: a sentence each.
    """

    values: dict[str, Value]
    classical: dict[str, float]
    misfit: float
    curves: list[FloatArray]
    warnings: list[str]
    notes: list[str]

    @property
    def table(self) -> str:
        """The ``[driver]`` table for a case file, with its doubts as comments."""
        return "".join(f"# Careful: {warning}\n" for warning in self.warnings) + driver_table(self.values)

    def to_dict(self) -> dict[str, Any]:
        """Return it for ``--json``, the unit in each key."""
        def key(name: str) -> str:
            return f"{name}_{UNITS[name].replace('*', '_').replace('/', '_per_').replace('^', '')}" if name in UNITS \
                else name  # fmt: skip

        return {
            "driver": {key(name): {"value": v.value, "std": v.std} for name, v in self.values.items()},
            "classical": {key(name): value for name, value in self.classical.items()},
            "rms_error": self.misfit, "warnings": self.warnings, "notes": self.notes,
        }  # fmt: skip


def driver_values(
    free: MeasuredSweep, second: MeasuredSweep | None = None, *, Sd: float | None = None,
    added_mass: float | None = None, known_volume: float | None = None, Re: float | None = None,
) -> DriverValues:  # fmt: skip
    """Return the values of a driver from its sweep in free air and, with a ``second`` one, those that need it.

    ``second``: with ``added_mass`` [kg] on the cone, or on a closed unstuffed box of ``known_volume`` [m^3]. ``Sd``
    [m^2]; ``Re`` [ohm]: measured at DC, else found by the fit. Raises SweepError when a sweep shows no resonance or the
    second differs from the first in the wrong direction, ValueError when the arguments don't fit together or aren't
    above zero.

    Symbols: with Lces = Bl^2 Cms, Cmes = Mms/Bl^2: the added mass changes Cmes alone, the closed volume adds
    rho c^2 Sd^2/V to the stiffness 1/Cms. Source: Small 1972, J. Audio Eng. Soc. 20, 383; IEC 60268-5 (from memory).
    Checked by: published/test_driver_sweeps, unit/test_driver_values.
    """
    _check(second is not None, Sd=Sd, Re=Re, added_mass=added_mass, known_volume=known_volume)
    sweeps = [free] if second is None else [free, second]
    coil, alone = coil_and_fit(free, Re)
    circuits, start = layout(sweeps, coil, Re, known_volume is not None)
    start[: len(alone.x)] = alone.x
    whole = alone if second is None else fit(sweeps, circuits, start)
    bulk = air_at().bulk_modulus

    def derived(x: FloatArray) -> dict[str, float]:
        return _derived(circuits, x, Sd, added_mass, known_volume, bulk)

    if second is not None:
        _right_way(circuits, whole.x, sweeps, added_mass is not None)
    values = _with_errors(derived, whole)
    classical = _classical(sweeps, values["Re"].value, Sd, added_mass, known_volume, bulk)
    curves = [s.magnitude * np.exp(r.real) for s, r in zip(sweeps, whole.residuals, strict=True)]
    fitted = [replace(s, magnitude=c, phase_deg=None) for s, c in zip(sweeps, curves, strict=True)]
    ruled = _classical(fitted, values["Re"].value, Sd, added_mass, known_volume, bulk)
    way = None if second is None else added_mass is not None
    said = [note for sweep in sweeps for note in sweep.notes]
    said += [*notes(coil, free, way), *tilted(values, classical, ruled)]
    return DriverValues(
        values=values if Sd is None else {**values, "Sd": Value(value=Sd, std=0.0)}, classical=classical,
        misfit=float(np.sqrt(np.mean(np.abs(np.concatenate(whole.residuals)) ** 2))),
        warnings=warnings(values, classical, ruled, whole, sweeps, circuits, Re),
        notes=list(dict.fromkeys(said)), curves=curves,
    )  # fmt: skip


def _check(two: bool, **given: float | None) -> None:
    """Refuse sizes that are not above zero, and those that do not go with the number of sweeps."""
    for name, value in given.items():
        if value is not None and not 0 < value < np.inf:
            raise ValueError(f"{name} = {value:g}: expected a size above zero")
    changes = [name for name in ("added_mass", "known_volume") if given[name] is not None]
    if two and (len(changes) != 1 or given["Sd"] is None):
        raise ValueError("a second sweep needs Sd and either added_mass or known_volume")
    if not two and changes:
        raise ValueError(f"{changes[0]} needs the second sweep, the one that was taken with it")


def _derived(
    circuits: list[Circuit], x: FloatArray, Sd: float | None, mass: float | None, volume: float | None, bulk: float
) -> dict[str, float]:
    """Return every value that the circuits give."""
    first = dict(zip(NAMES, np.exp(circuits[0].logs(x)).tolist(), strict=True))
    Qms, Qes = first["Q"], first["Q"] * first["Re"] / first["Res"]
    out = {"fs": first["f0"], "Qms": Qms, "Qes": Qes, "Qts": Qms * Qes / (Qms + Qes), "Re": first["Re"]}
    out |= {name: first[name] for name in ("Le", "Le2", "Re2") if first[name] > 0}
    if len(circuits) == 1 or Sd is None:
        return out
    stiff, moved = (_electrical(circuit.logs(x)) for circuit in circuits)
    if mass is not None:
        squared = mass / (moved[1] - stiff[1])
    else:
        squared = bulk * Sd**2 / (volume or 1.0) / (moved[0] - stiff[0])
    Cms = 1 / (stiff[0] * squared)
    out |= {"Mms": stiff[1] * squared, "Cms": Cms, "Rms": squared / first["Res"], "Bl": float(np.sqrt(abs(squared)))}
    return {**out, "Vas": bulk * Sd**2 * Cms}


def _electrical(logs: FloatArray) -> tuple[float, float]:
    """Return stiffness and mass divided by Bl^2: 1/Lces [1/H] and Cmes [F]."""
    Res, f0, Q = np.exp(logs[4:])
    return float(2 * np.pi * f0 * Q / Res), float(Q / (2 * np.pi * f0 * Res))


def _with_errors(derived: Any, whole: Fit) -> dict[str, Value]:
    """Return the values with their standard errors, by the slopes over the fitted logarithms."""
    here = derived(whole.x)
    slopes = np.zeros((len(here), len(whole.x)))
    step = 1e-5
    for k in range(len(whole.x)):
        ends = [derived(whole.x + sign * step * np.eye(len(whole.x))[k]) for sign in (1, -1)]
        slopes[:, k] = [(ends[0][name] - ends[1][name]) / (2 * step) for name in here]
    error = np.sqrt(np.maximum(np.einsum("ik,kl,il->i", slopes, whole.covariance, slopes), 0.0))
    return {name: Value(value=value, std=float(error[i])) for i, (name, value) in enumerate(here.items())}


def _right_way(circuits: list[Circuit], x: FloatArray, sweeps: list[MeasuredSweep], mass: bool) -> None:
    f0 = [float(np.exp(circuit.logs(x)[5])) for circuit in circuits]
    stiff, moved = (_electrical(circuit.logs(x)) for circuit in circuits)
    names = [sweep.source.name for sweep in sweeps]
    if (f0[1] >= f0[0] or moved[1] <= stiff[1]) if mass else (f0[1] <= f0[0] or moved[0] <= stiff[0]):
        way = "an added mass lowers" if mass else "a closed box raises"
        raise SweepError(f"{names[1]}: its resonance is at {f0[1]:.4g} Hz, that of {names[0]} at {f0[0]:.4g} Hz, but "
                         f"{way} it: check which file is which")  # fmt: skip


def _classical(
    sweeps: list[MeasuredSweep], Re: float, Sd: float | None, mass: float | None, volume: float | None, bulk: float
) -> dict[str, float]:
    """Return what the peaks alone say; the relations of IEC 60268-5 as published (from memory)."""
    peaks: list[Peak] = [read_peak(sweep, Re) for sweep in sweeps]
    first = peaks[0]
    out = {"fs": first.f0, "Qms": first.Qms, "Qes": first.Qes, "Qts": first.Qts}
    if len(peaks) == 2 and mass is not None and peaks[1].f0 < first.f0:
        out["Mms"] = mass / ((first.f0 / peaks[1].f0) ** 2 - 1)
        if Sd is not None:
            out["Vas"] = bulk * Sd**2 / ((2 * np.pi * first.f0) ** 2 * out["Mms"])
    if len(peaks) == 2 and volume is not None:
        out["Vas"] = volume * (peaks[1].f0 * peaks[1].Qes / (first.f0 * first.Qes) - 1)
    return out


