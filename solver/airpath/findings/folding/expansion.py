"""How a path widens: its local flare, and the profiles of the trade that fit it best."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEAST_GROWTH = 1.2  # mouth over throat, below which a path is no horn


@dataclass(frozen=True, kw_only=True)
class Fit:
    """The profile of a kind nearest to a path: ``throat_m2`` at its start, ``cutoff_hz`` (None: a cone has none, and a
    duct that does not widen), ``misfit`` the RMS of ln(S/S_fit), ``T`` of the hyperbolic family.
    """

    profile: str
    throat_m2: float
    cutoff_hz: float | None
    misfit: float
    T: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the fit under the names of ``fold.json``."""
        return {"profile": self.profile, "throat_m2": self.throat_m2, "cutoff_hz": self.cutoff_hz,
                "misfit": self.misfit, "T": self.T}  # fmt: skip


def flare_rate(distance: Floats, area: Floats) -> Floats:
    """Return m = d ln S/dx [1/m] at each station (n,); an exponential horn's is one number, its cut-off m c/(4 pi)."""
    return np.asarray(np.gradient(np.log(area), distance))


def stretch_rates(distance: Floats, area: Floats, folds: list[tuple[float, float]]) -> list[float]:
    """Return the mean flare rate m [1/m] of every stretch before, between and after ``folds`` (from, to) [m].

    Stretches shorter than a twentieth of the path are left out.
    """
    edges = [0.0, *(edge for fold in folds for edge in fold), float(distance[-1])]
    spans = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > distance[-1] / 20.0]
    level = np.log(area)
    return [float((np.interp(b, distance, level) - np.interp(a, distance, level)) / (b - a)) for a, b in spans]


def fits(distance: Floats, area: Floats, sound_speed: float) -> list[Fit]:
    """Return the exponential, hyperbolic and conical profile nearest to the areas (n,) [m^2] at equal steps (n,) [m].

    Least squares of ln S. Source of the family S1 (cosh mx + T sinh mx)^2 and of its cut-off m c/(2 pi): Salmon 1946,
    J. Acoust. Soc. Am. 17, 199; that of S1 e^(mx) is half of it.
    """
    from scipy.optimize import least_squares

    x, log_area, length = distance, np.log(area), float(distance[-1])
    slope, start = np.polyfit(x, log_area, 1)
    rate = max(float(slope) * length / 2.0, 1e-3)
    grows = float(slope) * length > np.log(LEAST_GROWTH)

    def hyperbolic(p: Floats) -> Floats:
        y = np.exp(p[1]) * x / length
        return np.asarray(p[0] + 2.0 * (y + np.log1p(0.5 * (p[2] - 1.0) * -np.expm1(-2.0 * y))))

    def conical(p: Floats) -> Floats:
        return np.asarray(p[0] + 2.0 * np.log1p(np.expm1(p[1]) * x / length))

    bounds = ([-np.inf, np.log(1e-3), 0.0], [np.inf, np.log(30.0), 30.0])
    family = least_squares(lambda p: hyperbolic(p) - log_area, [start, np.log(rate), 1.0], bounds=bounds)
    cone = least_squares(lambda p: conical(p) - log_area, [start, rate])
    m = float(np.exp(family.x[1])) / length
    return [
        Fit(profile="exponential", throat_m2=float(np.exp(start)), misfit=_rms(start + slope * x - log_area),
            cutoff_hz=float(slope) * sound_speed / (4.0 * np.pi) if grows else None),
        Fit(profile="hyperbolic", throat_m2=float(np.exp(family.x[0])), misfit=_rms(family.fun), T=float(family.x[2]),
            cutoff_hz=m * sound_speed / (2.0 * np.pi) if grows else None),
        Fit(profile="conical", throat_m2=float(np.exp(cone.x[0])), misfit=_rms(cone.fun), cutoff_hz=None),
    ]  # fmt: skip


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))
