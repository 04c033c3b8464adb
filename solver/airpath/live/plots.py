"""The charts of the page: the report's own, with a frozen curve from before the change and a fidelity that changes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from airpath.findings.predict import Prediction
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.network.build import models_for
from airpath.network.response import Response
from airpath.report.figures.interactive import Chart, Charts, Curve, Flag, charts, columns
from airpath.report.figures.overlay import measured_columns, with_dots
from airpath.report.style import INK

BEFORE, OPENINGS, MEASURED = "before", "openings", "measured"
Columns = dict[str, list[float]]
_MOST_DOTS = 4000  # of a measured sweep: more than the page has columns of dots
_BEFORE_LABEL = "before this change (line)"


class Plots:
    """What the page's charts show now.

    ``now``: the prediction shown, by the line model while a hand is on it, by every fidelity after; ``before``: the
    line model's response before the change; ``measured``: a sweep of the built box.
    """

    def __init__(self) -> None:
        self.now: Prediction | None = None
        self.before: Response | None = None
        self.measured: MeasuredSweep | None = None
        self.flags: list[Flag] = []
        self._sources: dict[str, Columns] = {}
        self._shape: list[Any] = []

    def freeze(self) -> None:
        """Keep the line model's curve as the one from before the change that begins."""
        if self.now is not None:
            self.before = self.now.responses["line"]

    def whole(self) -> dict[str, Any]:
        """Return everything, for a page that has nothing yet."""
        return {"what": "charts", "content": self._content().to_dict()}

    def news(self) -> dict[str, Any]:
        """Return what has changed since the last news; everything if the charts have to be built anew."""
        content = self._content()
        form, known = _shape(content), self._sources
        built, self._shape, self._sources = self._shape, form, content.sources
        if form != built:
            return {"what": "charts", "content": content.to_dict()}
        return {
            "what": "curves",
            "fresh": {
                "sources": {name: c for name, c in content.sources.items() if c != known.get(name)},
                "flags": [vars(flag) for flag in content.flags],
                "charts": [{"name": chart.name, "low": chart.low, "high": chart.high} for chart in content.charts],
            },
        }

    def _content(self) -> Charts:
        now = self.now
        assert now is not None
        line = now.responses["line"]
        fidelities = models_for(now.case)
        stand_in = {name: now.responses.get(name, line) for name in fidelities}
        tones = np.array(now.case.tones)  # tones that airpath chose itself would move under the hand
        whole = charts(now.case, {BEFORE: self.before or line, **stand_in}, tones).with_flags(self.flags)
        drawn = [_told(chart, fidelities[-1]) for chart in whole.charts]
        if self.measured is not None:
            drawn = [with_dots(chart, self.measured, INK, 1.5) for chart in drawn]
        return replace(whole, charts=drawn, sources=self._columns(now, fidelities))

    def _columns(self, now: Prediction, fidelities: tuple[str, ...]) -> dict[str, Columns]:
        full = {name: columns(response, now.case.scale) for name, response in now.responses.items()}
        none: Columns = {name: [] for name in full[now.best]}
        before = none if self.before is None else columns(self.before, now.case.scale)
        sources = {OPENINGS: full[now.best], BEFORE: before, **{name: full.get(name, none) for name in fidelities}}
        if self.measured is not None:
            sources[MEASURED] = measured_columns(self.measured, now.case.scale, _MOST_DOTS)
        return sources


def _shape(whole: Charts) -> list[Any]:
    """Return what can't change without the charts being built anew."""
    return [
        [list(whole.sources), whole.tones, whole.scale],
        *[[c.name, c.limits, [(k.source, k.column, k.label) for k in c.curves]] for c in whole.charts],
    ]


def _told(chart: Chart, best: str) -> Chart:
    """Let curves of single openings come from whatever fidelity is shown, and say which the frozen one is."""
    return replace(chart, curves=[_curve(curve, best) for curve in chart.curves])


def _curve(curve: Curve, best: str) -> Curve:
    if curve.source == BEFORE:
        return replace(curve, label=_BEFORE_LABEL, reading=curve.reading.replace(BEFORE, _BEFORE_LABEL))
    if curve.source == best and curve.column.split("_")[0] in ("level", "speed") and "_" in curve.column:
        return replace(curve, source=OPENINGS, reading=curve.reading.removesuffix(f", {best} model"))
    return curve
