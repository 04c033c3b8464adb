"""Moist air: density, sound speed, viscosity and heat conduction from temperature, pressure and humidity."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

_MOLAR_GAS = 8.314472  # J/(mol K), the value CIPM-2007 is written with
_MOLAR_WATER = 18.01528e-3  # kg/mol
_CO2_FRACTION = 400e-6


@dataclass(frozen=True, kw_only=True)
class Air:
    """State of the air as the acoustics needs it, all SI.

    Symbols: ``density`` rho [kg/m^3], ``sound_speed`` c [m/s], ``viscosity`` mu [Pa s], ``prandtl`` Pr,
    ``gamma`` ratio of specific heats.
    """

    density: float
    sound_speed: float
    viscosity: float
    prandtl: float
    gamma: float

    @property
    def bulk_modulus(self) -> float:
        """Adiabatic bulk modulus rho c^2 [Pa]."""
        return self.density * self.sound_speed**2

    @property
    def kinematic_viscosity(self) -> float:
        """Momentum diffusivity mu/rho [m^2/s]."""
        return self.viscosity / self.density

    @property
    def thermal_diffusivity(self) -> float:
        """Heat diffusivity mu/(rho Pr) [m^2/s]."""
        return self.kinematic_viscosity / self.prandtl

    def lossless(self) -> Air:
        """Return the same air without viscosity and heat conduction."""
        return replace(self, viscosity=0.0)


def saturation_vapour_pressure(temperature_k: float) -> float:
    """Return the pressure of saturated water vapour [Pa].

    Source: Picard et al. 2008 (CIPM-2007), appendix A1.1. Valid: 273 K to 310 K.
    Checked by: published/air.
    """
    t = temperature_k
    return math.exp(1.2378847e-5 * t**2 - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)


def vapour_fraction(temperature_k: float, pressure_pa: float, relative_humidity: float) -> float:
    """Return the mole fraction of water vapour in moist air (0 to 1).

    Source: Picard et al. 2008, appendix A1.2 and A1.3. Checked by: published/air.
    """
    celsius = temperature_k - 273.15
    enhancement = 1.00062 + 3.14e-8 * pressure_pa + 5.6e-7 * celsius**2
    return relative_humidity * enhancement * saturation_vapour_pressure(temperature_k) / pressure_pa


def density_cipm(
    temperature_k: float, pressure_pa: float, relative_humidity: float, co2_fraction: float = _CO2_FRACTION
) -> float:
    """Return the density of moist air [kg/m^3].

    Source: Picard, Davis, Glaser & Fujii 2008, Metrologia 45, 149 (CIPM-2007), eq. 1 to 4.
    Valid: 15 to 27 degC, 60 to 110 kPa; smooth well beyond. Checked by: published/air.
    """
    t, p = temperature_k - 273.15, pressure_pa
    x = vapour_fraction(temperature_k, p, relative_humidity)
    virial = (
        1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
        + (5.707e-6 - 2.051e-8 * t) * x
        + (1.9898e-4 - 2.376e-6 * t) * x**2
    )  # fmt: skip
    ratio = p / temperature_k
    compressibility = 1.0 - ratio * virial + ratio**2 * (1.83e-11 - 0.765e-8 * x**2)
    molar_dry = (28.96546 + 12.011 * (co2_fraction - 400e-6)) * 1e-3
    dry = p * molar_dry / (compressibility * _MOLAR_GAS * temperature_k)
    return dry * (1.0 - x * (1.0 - _MOLAR_WATER / molar_dry))


def sound_speed_cramer(
    temperature_k: float, pressure_pa: float, vapour: float, co2_fraction: float = _CO2_FRACTION
) -> float:
    """Return the speed of sound in moist air [m/s]; ``vapour`` is the mole fraction of water.

    Source: Cramer 1993, J. Acoust. Soc. Am. 93, 2510, eq. 15 and table III.
    Valid: 0 to 30 degC, 75 to 102 kPa, water up to 0.06. Checked by: published/air.
    """
    t, p, w, g = temperature_k - 273.15, pressure_pa, vapour, co2_fraction
    return (
        331.5024 + 0.603055 * t - 0.000528 * t**2
        + (51.471935 + 0.1495874 * t - 0.000782 * t**2) * w
        + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * p
        + (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * g
        - 2.835149 * w**2 - 2.15e-13 * p**2 + 29.179762 * g**2 + 0.000486 * w * p * g
    )  # fmt: skip


def viscosity_sutherland(temperature_k: float) -> float:
    """Return the dynamic viscosity of air [Pa s].

    Source: US Standard Atmosphere 1976, eq. 51 (Sutherland). Checked by: published/air.
    """
    return float(1.458e-6 * temperature_k**1.5 / (temperature_k + 110.4))


def heat_conductivity(temperature_k: float) -> float:
    """Return the heat conductivity of air [W/(m K)].

    Source: US Standard Atmosphere 1976, eq. 53. Checked by: published/air.
    """
    return float(2.64638e-3 * temperature_k**1.5 / (temperature_k + 245.4 * 10.0 ** (-12.0 / temperature_k)))


def air_at(
    temperature_k: float = 293.15, pressure_pa: float = 101325.0, relative_humidity: float = 0.5
) -> Air:
    """Return the air at a temperature [K], pressure [Pa] and relative humidity (0 to 1).

    gamma follows from density and sound speed (c^2 = gamma p/rho), so that slow compression is isothermal with
    exactly 1/p; the heat capacity follows from gamma and the gas constant of this air, the Prandtl number from it.
    """
    density = density_cipm(temperature_k, pressure_pa, relative_humidity)
    vapour = vapour_fraction(temperature_k, pressure_pa, relative_humidity)
    speed = sound_speed_cramer(temperature_k, pressure_pa, vapour)
    gamma = density * speed**2 / pressure_pa
    heat_capacity = gamma / (gamma - 1.0) * pressure_pa / (density * temperature_k)
    viscosity = viscosity_sutherland(temperature_k)
    prandtl = viscosity * heat_capacity / heat_conductivity(temperature_k)
    return Air(density=density, sound_speed=speed, viscosity=viscosity, prandtl=prandtl, gamma=gamma)
