"""What airpath makes of the published boxes: one function a quantity, called with the inputs of its row."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import brentq

from airpath.elements.cone import Cone
from airpath.network.graph import Network
from small_boxes import (
    LOSSLESS,
    cone,
    double_chamber,
    extremum,
    far_field_db,
    impedance,
    real_crossings,
    vented,
)

HALF_POWER_DB = 10 * np.log10(2)
FS = 40.0


def driver_value(driver: dict[str, float], symbol: str) -> float:
    made = cone(driver)
    values = {
        "Cms": made.compliance, "Rms": made.resistance, "Bl": made.force_factor,
        "Vas": LOSSLESS.bulk_modulus * made.area**2 * made.compliance,
    }  # fmt: skip
    if symbol == "Zmax":
        omega = np.array([2 * np.pi * driver["fs"]])
        return float(abs(1 / made.current(omega, made.velocity(omega, np.zeros(1, dtype=complex)))[0]))
    return values[symbol]


def driver_level(driver: dict[str, float], voltage: float) -> float:
    made, omega = cone(driver), np.array([2 * np.pi * 20e3])
    flow = voltage * made.area * made.velocity(omega, np.zeros(1, dtype=complex))
    return float(20 * np.log10(abs(omega * LOSSLESS.density * flow / (2 * np.pi))[0] / 20e-6))


def _alignment(Qts: float, alpha: float, h: float, QL: float = 0.0) -> Network:
    omega = 2 * np.pi * FS
    moving, area, Re = 0.03, 0.02, 6.0
    compliance = 1 / (omega**2 * moving)
    damping = omega * moving / Qts  # of the suspension and the coil together
    resistance = 1e-3 * damping
    driver = Cone(
        mass=moving, compliance=compliance, resistance=resistance, area=area, Re=Re,
        force_factor=float(np.sqrt(Re * (damping - resistance))),
    )  # fmt: skip
    volume = LOSSLESS.bulk_modulus * area**2 * compliance / alpha
    leak = omega * h * volume / LOSSLESS.bulk_modulus / QL if QL else 0.0
    return vented(driver, volume, FS * h, leak)


def _half_power(network: Network, start: float, stop: float) -> float:
    def over(f: np.ndarray) -> np.ndarray:
        return far_field_db(network, f) + HALF_POWER_DB

    return real_crossings(over, np.geomspace(start, stop, 200), rising=True)[-1]


def vented_f3(Qts: float, alpha: float, h: float, QL: float = 0.0) -> float:
    return _half_power(_alignment(Qts, alpha, h, QL), 0.3 * FS, 5 * FS) / FS


def vented_peak(Qts: float, alpha: float, h: float) -> float:
    return float(far_field_db(_alignment(Qts, alpha, h), np.geomspace(0.5 * FS, 5 * FS, 4000)).max())


def closed_f3(Qtc: float) -> float:
    alpha = 1.0
    network = _alignment(Qtc / np.sqrt(1 + alpha), alpha, 0.0)
    return _half_power(network, 0.3 * FS, 5 * FS) / (FS * np.sqrt(1 + alpha))


def _size(network: Network, f: float) -> float:
    return float(abs(impedance(network, f)[0]))


def closed_box(driver: dict[str, float], volume: float, symbol: str) -> float:
    network = vented(cone(driver), volume, 0.0)
    if symbol == "f3":
        return _half_power(network, 20.0, 200.0)
    peak = resistive(network, 40.0, 80.0, maxima=True)[0]
    return peak if symbol == "fc" else float(10 ** (far_field_db(network, peak)[0] / 20))


def resistive(network: Network, start: float, stop: float, maxima: bool) -> list[float]:
    """Return where the motional admittance changes sign: the peaks (falling phase) or the dips between them."""
    def phase(f: np.ndarray) -> np.ndarray:
        return (impedance(network, f) - network.cone.Re).imag

    return real_crossings(phase, np.arange(start, stop, 0.0713), rising=not maxima)


def vented_box(driver: dict[str, float], volume: float, fb: float, symbol: str) -> float:
    network, closed = vented(cone(driver), volume, fb), vented(cone(driver), volume, 0.0)
    if symbol == "f3":
        return _half_power(network, 25.0, 200.0)
    low, high = extremum(lambda f: _size(network, f), 15.0, 80.0, 0.25, 1.0)
    fc = extremum(lambda f: _size(closed, f), 30.0, 80.0, 0.25, 1.0)[0]
    if symbol == "Z_peaks":
        return _size(network, low)
    identity = float(np.sqrt(low**2 + high**2 - fc**2))
    alpha = (high**2 - identity**2) * (identity**2 - low**2) / (low * high) ** 2
    return {"fL": low, "fH": high, "fC": fc, "fB_from_identity": identity, "alpha_from_peaks": alpha}[symbol]


def vented_response(driver: dict[str, float], volume: float, fb: float, f: list[float]) -> np.ndarray:
    return far_field_db(vented(cone(driver), volume, fb), f)


def double_maxima(**inputs: Any) -> list[float]:
    return resistive(double_chamber(inputs), 10.0, 150.0, maxima=True)


def double_minima(**inputs: Any) -> list[float]:
    network = double_chamber(inputs)

    def motional(f: float) -> float:  # at a dip the cone stands still: Z - Re passes zero
        return float((impedance(network, f) - network.cone.Re).imag[0])

    rough = extremum(lambda f: _size(network, f), 10.0, 150.0, 0.25, -1.0)
    return [brentq(motional, f - 0.2, f + 0.2, xtol=1e-11) for f in rough]


def double_impedance(**inputs: Any) -> list[float]:
    network = double_chamber(inputs)
    return [
        max(_size(network, f) for f in double_maxima(**inputs)),
        min(_size(network, f) for f in double_minima(**inputs)),
    ]


def double_far_field(f: list[float], **inputs: Any) -> np.ndarray:
    return far_field_db(double_chamber(inputs), f)
