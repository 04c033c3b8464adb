"""Figures of a fit: the curve before and after against the measured one, and what is left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from airpath.measured.fitting.fitresult import FitCurve, FitResult
from airpath.report.figures.frame import frequency_axis
from airpath.report.style import INK, SOFT, WIDTH, blank, styled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MEASURED: dict[str, Any] = {
    "color": INK, "linestyle": "none", "marker": "o", "markersize": 2.6, "markerfacecolor": "white",
    "markeredgewidth": 0.7, "zorder": 2,
}  # fmt: skip
_BEFORE: dict[str, Any] = {"color": "#c4681a", "linestyle": (0, (5, 2)), "linewidth": 1.3, "zorder": 3}
_AFTER: dict[str, Any] = {"color": "#14508c", "linestyle": "solid", "linewidth": 1.5, "zorder": 4}
_MOST_DOTS = 240


def fit_figures(result: FitResult) -> dict[str, Figure]:
    """Return the figures by file name: ``fit-impedance`` and ``fit-residual``, numbered from the second sweep on."""
    drawn = {}
    with styled():
        for i, curve in enumerate(result.curves, 1):
            number = "" if i == 1 else f"-{i}"
            drawn[f"fit-impedance{number}"] = _impedance(curve)
            drawn[f"fit-residual{number}"] = _residual(curve)
    return drawn


def _impedance(curve: FitCurve) -> Figure:
    """Draw magnitude [ohm] and, if it was measured, phase [degrees]."""
    phase = np.iscomplexobj(curve.measured)
    figure, axes = _stack(curve, 4.0 if phase else 3.0, 2 if phase else 1)
    every = max(1, len(curve.frequency) // _MOST_DOTS)
    for z, style, name, step in (
        (curve.measured, _MEASURED, "measured", every), (curve.before, _BEFORE, "as drawn", 1),
        (curve.after, _AFTER, "fitted", 1),
    ):  # fmt: skip
        axes[0].plot(curve.frequency[::step], np.abs(z)[::step], label=name, **style)
        if phase:
            axes[1].plot(curve.frequency[::step], np.degrees(np.angle(z))[::step], **style)
    axes[0].set_ylim(0, None)
    axes[0].set_ylabel("impedance (Ω)")
    if phase:
        axes[1].set_ylim(-95, 95)
        axes[1].set_yticks([-90, -45, 0, 45, 90])
        axes[1].set_ylabel("phase (degrees)")
    figure.legend(*axes[0].get_legend_handles_labels(), loc="upper center", ncols=3, frameon=False, fontsize=8.5)
    return figure


def _residual(curve: FitCurve) -> Figure:
    """Draw measured over fitted: magnitude [%] and phase [degrees], with twice the noise as a band."""
    phase = np.iscomplexobj(curve.measured)
    figure, axes = _stack(curve, 3.4 if phase else 2.4, 2 if phase else 1)
    left = curve.residual
    for one, values, name in zip(axes, (100 * np.expm1(left.real), np.degrees(left.imag)), _NAMES, strict=False):
        one.plot(curve.frequency, values, color="#14508c", linewidth=0.9)
        one.axhline(0.0, color=SOFT, linewidth=0.8)
        wide = max(1.15 * float(np.max(np.abs(values))), 1e-3)
        one.set_ylim(-wide, wide)
        one.set_ylabel(name)
    axes[0].axhspan(-200 * curve.noise, 200 * curve.noise, color="#dde6ee", zorder=0, label="twice the noise")
    figure.legend(*axes[0].get_legend_handles_labels(), loc="upper center", frameon=False, fontsize=8.5)
    return figure


_NAMES = ("magnitude (%)", "phase (degrees)")


def _stack(curve: FitCurve, height: float, rows: int) -> tuple[Figure, list[Axes]]:
    figure = blank(WIDTH, height)
    shares = [0.62, 0.38] if rows == 2 else [1.0]
    axes = list(np.ravel(figure.subplots(rows, 1, gridspec_kw={"height_ratios": shares, "hspace": 0.08})))
    figure.subplots_adjust(left=0.135, right=0.96, bottom=0.46 / height, top=1 - 0.3 / height)
    low, high = float(curve.frequency[0]), float(curve.frequency[-1])
    for i, one in enumerate(axes):
        frequency_axis(one, low, high, last=i == rows - 1)
    axes[-1].set_xlabel("frequency (Hz)", labelpad=2)
    return figure, axes
