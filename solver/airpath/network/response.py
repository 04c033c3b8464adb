"""What a solved box does: impedance, excursion, flow through every opening, level; all in SI units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.elements.base import ComplexArray

FloatArray = NDArray[np.float64]
REFERENCE_PRESSURE = 20e-6  # Pa
SILENT_DB = -100.0  # below it nothing opens to the listener: what is left is rounding


@dataclass(frozen=True, kw_only=True)
class OpeningResponse:
    """Flow through one opening: ``volume_velocity`` (n,) [m^3/s, RMS] out of it, ``air_speed_peak`` (n,) [m/s].

    ``pressure`` (n,): its own share of the pressure at the listener [Pa], None for a port inside the box.
    """

    volume_velocity: ComplexArray
    air_speed_peak: FloatArray
    pressure: ComplexArray | None


@dataclass(frozen=True, kw_only=True)
class Response:
    """Solution at ``frequency`` (n,) [Hz] in one fidelity; RMS unless the name says peak.

    All other arrays are (n,), or (states, n) for several states of a box at once.
    ``impedance`` [ohm] at the terminals without the source resistance; ``loading_db``: excursion relative to the same
    driver in free air with the same drive; ``pressure`` [Pa] and ``spl_db`` at the listener.
    """

    model: str
    frequency: FloatArray
    impedance: ComplexArray
    current: ComplexArray
    voltage: FloatArray
    cone_velocity: ComplexArray
    excursion_peak: FloatArray
    loading_db: FloatArray
    openings: dict[str, OpeningResponse]
    chambers: dict[str, ComplexArray]
    pressure: ComplexArray
    imbalance: float

    @property
    def spl_db(self) -> FloatArray:
        """Sound pressure level at the listener [dB re 20 uPa]."""
        return level_db(self.pressure)

    @property
    def power(self) -> FloatArray:
        """Power that the terminals take [W]."""
        return np.asarray(self.voltage * np.abs(self.current) * np.cos(np.angle(self.impedance)))

    def share_db(self, name: str) -> FloatArray | None:
        """Level of one opening alone relative to the total [dB]; None for a port inside the box."""
        own = self.openings[name].pressure
        return None if own is None else level_db(own) - self.spl_db

    def to_dict(self) -> dict[str, Any]:
        """Return the arrays under the names of ``result.json``."""
        return {
            "impedance_ohm": complex_dict(self.impedance),
            "excursion_peak_m": self.excursion_peak.tolist(),
            "cone_velocity_m_s": complex_dict(self.cone_velocity),
            "openings": {
                name: {
                    "volume_velocity_m3_s": complex_dict(opening.volume_velocity),
                    "air_speed_peak_m_s": opening.air_speed_peak.tolist(),
                }
                for name, opening in self.openings.items()
            },
            "pressure_pa": complex_dict(self.pressure),
            "spl_db": self.spl_db.tolist(),
            "loading_db": self.loading_db.tolist(),
            "chambers": {name: {"pressure_pa": complex_dict(p)} for name, p in self.chambers.items()},
            "power_balance_error": self.imbalance,
        }


def level_db(pressure: ComplexArray) -> FloatArray:
    """Return the level of an RMS pressure [dB re 20 uPa]; silence is held at -200 dB."""
    return np.asarray(20 * np.log10(np.maximum(np.abs(pressure), REFERENCE_PRESSURE * 1e-10) / REFERENCE_PRESSURE))


def complex_dict(values: ComplexArray) -> dict[str, list[float]]:
    """Return a complex array as ``{"re": [...], "im": [...]}``."""
    return {"re": values.real.tolist(), "im": values.imag.tolist()}
