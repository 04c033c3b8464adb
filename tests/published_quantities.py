"""What airpath makes of each published quantity: one function a quantity, called with the inputs of its row."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.optimize import brentq

from airpath import air as air_module
from airpath.acoustics import ends, hearing, mutual, porous, radiation, viscothermal
from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import cascade
from airpath.elements.duct import Duct
from airpath.elements.horn import Horn, horn_profile
from airpath.elements.mouth import Mouth
from airpath.elements.plug import Plug
from small_boxes import LOSSLESS, REFERENCE, branch, mass, real_crossings, spring, transmission_loss

C, RHO = REFERENCE.sound_speed, REFERENCE.density


def _omega(*hz: float) -> np.ndarray:
    return 2 * np.pi * np.array(hz, dtype=float)


# air


def sound_speed(t_C: float, p_Pa: float, x_CO2: float, x_w: float) -> float:
    return air_module.sound_speed_cramer(t_C + 273.15, p_Pa, x_w, x_CO2)


def density(t_C: float, p_Pa: float, x_CO2: float, RH: float) -> float:
    return air_module.density_cipm(t_C + 273.15, p_Pa, RH, x_CO2)


def vapour_pressure(t_C: float) -> float:
    return air_module.saturation_vapour_pressure(t_C + 273.15)


def viscosity(T_K: float) -> float:
    return air_module.viscosity_sutherland(T_K)


def conductivity(T_K: float) -> float:
    return air_module.heat_conductivity(T_K)


def dry_air(t_C: float, p_Pa: float, symbol: str) -> float:
    return getattr(air_module.air_at(t_C + 273.15, p_Pa, 0.0), symbol)


def viscous_layer(f: float) -> float:
    return viscothermal.layer_thickness(_omega(f), REFERENCE)[0]


# ducts


def _section(shape: str, d: float = 0, gap: float = 0, width: float = 0, height: float = 0) -> Section:
    if shape == "round":
        return Section(height=d)
    return Section(height=gap, width=1e6 * gap) if shape == "slit" else Section(height=height, width=width)


def _line(section: Section, omega: np.ndarray, air: Air) -> tuple[complex, complex]:
    """Gamma [1/m] and zc of a duct of 1 m from its two-terminal admittance: cosh(Gl) = -y11/y12, zc^2 from both."""
    y = Duct(section=section, length=0.1).admittance(omega, air)[0]
    gamma = np.arccosh(-y[0, 0] / y[0, 1]) / 0.1
    zc = 1 / np.sqrt(y[0, 0] ** 2 - y[0, 1] ** 2)
    return gamma * np.sign(gamma.real), zc * section.area / (air.density * air.sound_speed)


def duct_propagation(f: float, **shape: Any) -> complex:
    return _line(_section(**shape), _omega(f), REFERENCE)[0]


def duct_impedance(f: float, **shape: Any) -> complex:
    return _line(_section(**shape), _omega(f), REFERENCE)[1]


def wide_duct_attenuation(r_v: float, gamma: float, sqrt_pr: float) -> float:
    air = Air(density=1.2, sound_speed=340.0, viscosity=1.8e-5, gamma=gamma, prandtl=sqrt_pr**2)
    omega = _omega(100.0)
    radius = r_v * np.sqrt(air.kinematic_viscosity / omega[0])
    return _line(Section(height=2 * radius), omega, air)[0].real * air.sound_speed / omega[0]


def steady_resistance(shape: str, ratio: float) -> float:
    h = 1e-3
    section = Section(height=2 * h) if shape == "round" else Section(height=h, width=ratio * h)
    z = 1 / Plug(section=section, length=1.0).admittance(_omega(1e-3), REFERENCE)[0, 0, 0]
    return z.real * h**4 * (1.0 if shape == "round" else ratio) / REFERENCE.viscosity


def scaled_attenuation(radius: float, frequency: float, factor: float) -> float:
    full = _line(Section(height=2 * radius), _omega(frequency), REFERENCE)[0].real * factor
    return _line(Section(height=2 * radius / factor), _omega(frequency * factor), REFERENCE)[0].real / full


# openings


def mutual_resistance(ka: float, kd: float) -> float:
    return (mutual.piston_mutual(np.array([1.0]), ka, ka, kd)[0] * np.pi * ka**2).real


def baffled_piston(two_ka: float) -> complex:
    return Mouth(section=Section(height=2.0)).specific_impedance(np.array([two_ka / 2]))[0]


def _reflection(ka: float) -> complex:
    z = Mouth(section=Section(height=2.0), flanged=False).specific_impedance(np.array([ka]))[0]
    return (z - 1) / (z + 1)


def unflanged_reflection(ka: float) -> float:
    return abs(_reflection(ka))


def unflanged_length(ka: float) -> float:
    return -np.angle(-_reflection(ka)) / (2 * ka)


def piston_length(ka: float) -> float:
    return radiation.baffled_piston(np.array([ka]), 1.0)[0].imag / ka


def flanged_length() -> float:
    return ends.flanged_length(Section(height=2.0))


def free_length() -> float:
    return ends.free_length(Section(height=2.0))


def area_step(radius_ratio: float) -> float:
    return ends.wall_factor(radius_ratio**2) * ends.flanged_length(Section(height=2.0))


# horns

THROAT, MOUTH, LENGTH = 0.008, 0.2, 1.0


def finite_horn(profile: str, f: float, mouth: str) -> complex:
    omega = _omega(f)
    y = horn_profile(profile, THROAT, MOUTH, LENGTH).admittance(omega, LOSSLESS)[0]
    entry = y[0, 0]
    if mouth == "piston":
        load = Mouth(section=Section.round(MOUTH)).admittance(omega, LOSSLESS)[0, 0, 0]
        entry = entry - y[0, 1] ** 2 / (y[1, 1] + load)
    return THROAT / (RHO * C) / entry


def _endless(horn: Horn, k: float) -> complex:
    """Throat z of a horn whose mouth sees the outgoing wave psi = exp(-jbx), b^2 = k^2 - mu, of its own profile."""
    omega = np.array([k * C])
    y = horn.admittance(omega, LOSSLESS)[0]
    end = np.array([horn.length])
    b = np.sqrt(complex(k**2 - horn.curvature))
    b = b if b.imag == 0 else -1j * abs(b)  # below cut-off the wave decays
    load = horn.area(end)[0] / (1j * omega[0] * RHO) * (1j * b + horn.slope(end)[0] / horn.shape(end)[0])
    return horn.throat / (RHO * C) / (y[0, 0] - y[0, 1] ** 2 / (y[1, 1] + load))


def endless_horn(T: float, f_over_fc: float) -> complex:
    m = 1.6
    horn = Horn(throat=THROAT, length=LENGTH, curvature=m**2, opening=T * m)
    return _endless(horn, m * f_over_fc)


def endless_cone(f: float, x1: float) -> complex:
    return _endless(Horn(throat=THROAT, length=LENGTH, opening=1 / x1), float(_omega(f)[0]) / C)


# pipes


def _grid(stop: float) -> np.ndarray:
    return np.arange(1.37, stop, 0.731)


def _closed(y: np.ndarray) -> np.ndarray:
    return y[:, 0, 0] - y[:, 0, 1] ** 2 / y[:, 1, 1]


def pipe_resonances(length: float, far_end: str) -> list[float]:
    """Look both ways from a place inside a pipe whose near end is closed."""
    near, far = _round(0.05, 0.37 * length), _round(0.05, 0.63 * length)

    def entry(f: np.ndarray) -> np.ndarray:
        y = far.admittance(_omega(*f), LOSSLESS)
        beyond = y[:, 0, 0] if far_end == "open" else _closed(y)
        return (_closed(near.admittance(_omega(*f), LOSSLESS)) + beyond).imag

    return real_crossings(entry, _grid(900.0), rising=True)


def _round(diameter: float, length: float) -> Duct:
    return Duct(section=Section(height=diameter), length=length)


def expansion_chamber(pipe: float, chamber: float, length: float, f: list[float]) -> np.ndarray:
    parts = [branch(_round(chamber, 0.37 * length), "in", "mid"), branch(_round(chamber, 0.63 * length), "mid", "out")]
    return transmission_loss(parts, Section(height=pipe).area, "out", f)


def quarter_wave_branch(branch: float, main: float, length: float, f: list[float]) -> np.ndarray:
    from small_boxes import branch as part

    parts = [part(_round(branch, length), "in", "end")]
    return transmission_loss(parts, Section(height=main).area, "in", f)


def helmholtz_branch(neck: float, length: float, volume: float, main: float, f: list[float]) -> np.ndarray:
    parts = [branch(mass(neck, length), "in", "cavity"), branch(spring(volume), "cavity")]
    return transmission_loss(parts, Section(height=main).area, "in", f)


def helmholtz_lumped(neck: float, length: float, volume: float) -> float:
    def total(f: float) -> float:
        omega = _omega(f)
        parts = (mass(neck, length), spring(volume))
        return sum(part.admittance(omega, LOSSLESS)[0, 0, 0].imag for part in parts)

    return brentq(total, 1.0, 1000.0, xtol=1e-12, rtol=1e-14)


def helmholtz_line(neck: float, length: float, cavity: float, cavity_length: float, count: int) -> list[float]:
    """Count the resonances from a place inside the cavity where no mode of the row has its pressure node."""
    at = 0.26 * cavity_length

    def entry(f: np.ndarray) -> np.ndarray:
        omega = _omega(*f)
        y = _round(cavity, at).admittance(omega, LOSSLESS)
        rest = [_round(cavity, cavity_length - at), _round(neck, length)]
        return (_closed(y) + cascade([part.admittance(omega, LOSSLESS) for part in rest])[:, 0, 0]).imag

    return real_crossings(entry, _grid(1100.0), rising=True)[:count]


def closed_line_ratio(length: float, f: list[float]) -> np.ndarray:
    omega = _omega(*f)
    duct = _round(0.5, length)
    y = duct.admittance(omega, LOSSLESS)
    return (duct.storage(omega, LOSSLESS) / _closed(y)).real


def pressure_zone(volume: float, flow: float, f: list[float]) -> np.ndarray:
    return np.abs(flow / spring(volume).admittance(_omega(*f), LOSSLESS)[:, 0, 0])


# hearing and stuffing


def exposure_minutes(dBA: float) -> float:
    return hearing.exposure_minutes(dBA)


def a_weighting(f: float) -> float:
    return float(hearing.a_weighting_db([f])[0])


def fill_impedance(sigma: float, f: float) -> complex:
    return porous.miki(_omega(f), sigma)[0][0]


def fill_wavenumber(sigma: float, f: float) -> complex:
    return porous.miki(_omega(f), sigma)[1][0] * _omega(f)[0] / C
