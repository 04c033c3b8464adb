"""The level in the room for every state of its door, and outdoors."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from airpath.findings.predict import Prediction
from airpath.report.figures.frame import End, end_labels, frame, mark_tones
from airpath.report.style import INK, opening_style

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

TALL = 4.2  # in
_RANGE_DB = 60.0
_OUTDOORS: dict[str, Any] = {"color": "#8d99a4", "linestyle": (0, (2, 1.5)), "linewidth": 1.2}


def door_levels(prediction: Prediction, on: FigureBase | None = None) -> FigureBase:
    """Draw the level at the listener [dB re 20 uPa] for every state of the room's door, and of the box outdoors."""
    doors, frequency = prediction.doors, prediction.responses[prediction.best].frequency
    assert doors is not None
    figure, (axes,) = frame(prediction.case, frequency, TALL, on=on)
    ends: list[End] = []
    curves = [("outdoors", doors.outdoors_spl_db, _OUTDOORS)]
    for i, state in enumerate(doors.states):
        style = {"color": INK, "linestyle": "solid", "linewidth": 2.2} if i == 0 else opening_style(i - 1)
        curves.append((state.label, state.curve_spl_db, style))
    for label, level, style in curves:
        axes.plot(frequency, level, **style)
        ends.append((level[-1], label, style))
    high = max(float(level.max()) for _, level, _ in curves)
    axes.set_ylim(high - _RANGE_DB, high + 2)
    axes.set_ylabel("level (dB re 20 µPa)")
    mark_tones(axes, prediction.tones_hz)
    end_labels(axes, ends)
    return figure
