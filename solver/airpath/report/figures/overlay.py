"""A measured sweep on top of calculated curves: small rings, in a picture and in a chart."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from airpath.measured.reading.sweep import MeasuredSweep
from airpath.report.figures.interactive import Charts, Curve

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MEASURED = "#b0234f"
_MOST = 160  # rings in a picture
_DIGITS = 6


def measured_rings(axes: Axes, sweep: MeasuredSweep, phase: bool = False) -> None:
    """Draw a sweep's impedance [ohm] or phase [degrees] into a picture, without changing what it shows."""
    values = sweep.phase_deg if phase else sweep.magnitude
    if values is None:
        return
    pick = np.unique(np.linspace(0, len(values) - 1, min(_MOST, len(values))).astype(int))
    low, high = axes.get_xlim()
    axes.plot(sweep.frequency[pick], values[pick], linestyle="none", marker="o", markersize=2.6, markeredgewidth=0.7,
              markerfacecolor="none", color=MEASURED, zorder=5, label="measured")  # fmt: skip
    axes.set_xlim(low, high)


def with_measured(drawn: Charts, sweep: MeasuredSweep) -> Charts:
    """Return the charts with a sweep beside the impedance and, if it was measured, the phase."""
    columns = {"frequency": sweep.frequency, "full_size": sweep.frequency / drawn.scale, "impedance": sweep.magnitude}
    if sweep.phase_deg is not None:
        columns["phase"] = (sweep.phase_deg + 180) % 360 - 180
    source = {name: [float(f"{v:.{_DIGITS}g}") for v in values.tolist()] for name, values in columns.items()}
    charts = []
    for chart in drawn.charts:
        if chart.name in source:
            curve = Curve(source="measured", column=chart.name, label="measured", reading=f"{chart.name}, measured",
                          colour=MEASURED, dash=[], width=1.0, dots=True)  # fmt: skip
            high = max(chart.high, 1.04 * float(sweep.magnitude.max())) if chart.name == "impedance" else chart.high
            chart = replace(chart, curves=[*chart.curves, curve], high=high)
        charts.append(chart)
    return replace(drawn, sources={**drawn.sources, "measured": source}, charts=charts)
