"""A measured sweep on top of calculated curves: small rings, in a picture and in a chart."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from airpath.measured.reading.sweep import MeasuredSweep
from airpath.report.figures.interactive import Chart, Charts, Curve, rounded

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MEASURED = "#b0234f"
_MOST = 160  # rings in a picture


def measured_rings(axes: Axes, sweep: MeasuredSweep, phase: bool = False) -> None:
    """Draw a sweep's impedance [ohm], named, or phase [degrees] into a picture, without changing what it shows."""
    values = sweep.wrapped_phase_deg if phase else sweep.magnitude
    if values is None:
        return
    pick = np.unique(np.linspace(0, len(values) - 1, min(_MOST, len(values))).astype(int))
    low, high = axes.get_xlim()
    axes.plot(sweep.frequency[pick], values[pick], linestyle="none", marker="o", markersize=2.6, markeredgewidth=0.7,
              markerfacecolor="none", color=MEASURED, zorder=5, label="measured")  # fmt: skip
    axes.set_xlim(low, high)
    if not phase:
        axes.legend(handles=axes.lines[-1:], loc="upper left", bbox_to_anchor=(1.0, 1.0), borderaxespad=0.0,
                    borderpad=0.0, handlelength=1.0, handletextpad=0.2, frameon=False, labelcolor=MEASURED)  # fmt: skip


def with_measured(drawn: Charts, sweep: MeasuredSweep) -> Charts:
    """Return the charts with a sweep beside the impedance and, if it was measured, the phase."""
    sources = {**drawn.sources, "measured": measured_columns(sweep, drawn.scale)}
    return replace(drawn, sources=sources, charts=[with_dots(chart, sweep) for chart in drawn.charts])


def measured_columns(sweep: MeasuredSweep, scale: float, most: int | None = None) -> dict[str, list[float]]:
    """Return a sweep as the columns of a source; ``most``: of a longer one every second row, or third, or so on."""
    every = slice(None, None, 1 if most is None else -(-len(sweep.frequency) // most))
    out = {"frequency": sweep.frequency, "full_size": sweep.frequency / scale, "impedance": sweep.magnitude}
    if sweep.wrapped_phase_deg is not None:
        out["phase"] = sweep.wrapped_phase_deg
    return {name: rounded(values[every]) for name, values in out.items()}


def with_dots(chart: Chart, sweep: MeasuredSweep, colour: str = MEASURED, width: float = 1.0) -> Chart:
    """Return a chart of impedance or phase with the source "measured" as dots in it; others as they are."""
    if chart.name not in ("impedance", "phase") or (chart.name == "phase" and sweep.phase_deg is None):
        return chart
    curve = Curve(source="measured", column=chart.name, label="measured", reading=f"{chart.name}, measured",
                  colour=colour, dash=[], width=width, dots=True)  # fmt: skip
    high = max(chart.high, 1.04 * float(sweep.magnitude.max())) if chart.name == "impedance" else chart.high
    return replace(chart, curves=[*chart.curves, curve], high=high)
