"""The curves: impedance, excursion, level and air speed over frequency."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from airpath.findings.airspeed import SPEED_LIMIT_SHARE
from airpath.findings.predict import Prediction
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.report.figures.doorfigure import TALL as DOORS_TALL
from airpath.report.figures.doorfigure import door_levels
from airpath.report.figures.frame import End, end_labels, frame, frequency_ticks, limit_line, mark_tones
from airpath.report.figures.overlay import measured_rings
from airpath.report.style import INK, MODEL_STYLE, opening_style, plain, tidy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import FigureBase

_LEVEL_RANGE_DB = 50.0
_EXCURSION_DECADES = 3.0
_TALL, _LOW = 4.2, 3.0  # in
Drawing = Callable[[Prediction, "FigureBase | None"], "FigureBase"]


def curve_drawings(
    prediction: Prediction, sweep: MeasuredSweep | None = None
) -> dict[str, tuple[float, Drawing]]:
    """Return height [in] and drawing of each figure by file name; no air speed for a box without openings.

    A drawing takes the prediction and what to draw on, None for a figure of its own. ``sweep``: measured, drawn over
    the impedance.
    """
    drawn: dict[str, tuple[float, Drawing]] = {
        "impedance": (_TALL, partial(impedance, sweep=sweep)), "level": (_TALL, level), "excursion": (_LOW, excursion),
    }  # fmt: skip
    if moving_openings(prediction):
        drawn["air-speed"] = (_LOW, air_speed)
    return {**drawn, "room": (DOORS_TALL, door_levels)} if prediction.doors is not None else drawn


def impedance(
    prediction: Prediction, on: FigureBase | None = None, sweep: MeasuredSweep | None = None
) -> FigureBase:
    """Draw magnitude [ohm] and phase [degrees] at the terminals in every fidelity, and rings where measured."""
    figure, (top, bottom) = frame(prediction.case, _best(prediction).frequency, _TALL, (0.62, 0.38), on=on)
    size: list[End] = []
    turn: list[End] = []
    for model, response in prediction.responses.items():
        z, style = np.abs(response.impedance), MODEL_STYLE[model]
        phase = np.degrees(np.angle(response.impedance))
        top.plot(response.frequency, z, **style)
        bottom.plot(response.frequency, phase, **style)
        size.append((z[-1], model, style))
        turn.append((phase[-1], model, style))
    if sweep is not None:
        measured_rings(top, sweep)
        measured_rings(bottom, sweep, phase=True)
    top.set_ylim(0, None)
    top.set_ylabel("impedance (Ω)")
    bottom.set_ylim(-95, 95)
    bottom.set_yticks([-90, -45, 0, 45, 90])
    bottom.set_ylabel("phase (degrees)")
    mark_tones(top, prediction.tones_hz)
    mark_tones(bottom, prediction.tones_hz, named=False)
    end_labels(top, size)
    end_labels(bottom, turn)
    return figure


def excursion(prediction: Prediction, on: FigureBase | None = None) -> FigureBase:
    """Draw the cone's peak excursion [mm] in every fidelity, with xmax."""
    figure, (axes,) = frame(prediction.case, _best(prediction).frequency, _LOW, on=on)
    ends, highest = [], 0.0
    for model, response in prediction.responses.items():
        travel = response.excursion_peak * 1e3
        axes.plot(response.frequency, travel, **MODEL_STYLE[model])
        ends.append((travel[-1], model, MODEL_STYLE[model]))
        highest = max(highest, float(travel.max()))
    lowest = min(float(r.excursion_peak.min()) * 1e3 for r in prediction.responses.values())
    xmax = prediction.case.driver.xmax
    if xmax is not None:
        ends.append(limit_line(axes, xmax * 1e3, f"xmax {tidy(xmax * 1e3, 2)} mm"))
        highest = max(highest, xmax * 1e3)
    axes.set_yscale("log")
    axes.set_ylim(max(lowest, highest / 10**_EXCURSION_DECADES) / 1.3, highest * 1.3)
    axes.set_ylabel("cone excursion, peak (mm)")
    _plain_decades(axes)
    mark_tones(axes, prediction.tones_hz)
    end_labels(axes, ends)
    return figure


def level(prediction: Prediction, on: FigureBase | None = None) -> FigureBase:
    """Draw the level at the listener [dB re 20 uPa]: every opening alone and their sum."""
    figure, (axes,) = frame(prediction.case, _best(prediction).frequency, _TALL, on=on)
    best, ends = _best(prediction), []
    for model, response in prediction.responses.items():
        if model != prediction.best:
            style: dict[str, Any] = {"color": "#8d99a4", "linestyle": (0, (2, 1.5)), "linewidth": 1.2, "zorder": 4}
            axes.plot(response.frequency, response.spl_db, **style)
            ends.append((response.spl_db[-1], f"sum, {model}", style))
    for i, (name, opening) in enumerate(best.openings.items()):
        if opening.pressure is not None:
            own = best.share_db(name)
            assert own is not None  # since it has a pressure
            axes.plot(best.frequency, own + best.spl_db, **opening_style(i))
            ends.append(((own + best.spl_db)[-1], name, opening_style(i)))
    total: dict[str, Any] = {"color": INK, "linestyle": "solid", "linewidth": 2.2}
    axes.plot(best.frequency, best.spl_db, **total)
    ends.append((best.spl_db[-1], f"sum, {prediction.best}" if len(prediction.responses) > 1 else "sum", total))
    high = max(float(np.asarray(line.get_ydata(), float).max()) for line in axes.lines)
    axes.set_ylim(high - _LEVEL_RANGE_DB, high + 2)
    axes.set_ylabel("level (dB re 20 µPa)")
    mark_tones(axes, prediction.tones_hz)
    end_labels(axes, ends)
    return figure


def air_speed(prediction: Prediction, on: FigureBase | None = None) -> FigureBase:
    """Draw the peak air speed [m/s] in every port and horn, with the usual limit."""
    figure, (axes,) = frame(prediction.case, _best(prediction).frequency, _LOW, on=on)
    from matplotlib.ticker import MaxNLocator

    best, ends = _best(prediction), []
    for i, name in moving_openings(prediction):
        speed = best.openings[name].air_speed_peak
        axes.plot(best.frequency, speed, **opening_style(i))
        ends.append((speed[-1], name, opening_style(i)))
    limit = SPEED_LIMIT_SHARE * prediction.air.sound_speed
    ends.append(limit_line(axes, limit, f"limit {plain(limit, 2)} m/s"))
    high = max(limit, *(float(best.openings[n].air_speed_peak.max()) for _, n in moving_openings(prediction)))
    axes.set_ylim(0, high * 1.06)
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_ylabel("air speed, peak (m/s)")
    mark_tones(axes, prediction.tones_hz)
    end_labels(axes, ends)
    return figure


def moving_openings(prediction: Prediction) -> list[tuple[int, str]]:
    """Return index and name of the ports and horns; a leak's fast air is friction, not a port to size."""
    known = {*prediction.case.ports, *prediction.case.horns}
    return [(i, name) for i, name in enumerate(_best(prediction).openings) if name in known]


def _best(prediction: Prediction) -> Any:
    return prediction.responses[prediction.best]


def _plain_decades(axes: Axes) -> None:
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

    low, high = axes.get_ylim()
    ticks = [t for t in frequency_ticks(low, high) if low <= t <= high]
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_major_formatter(FixedFormatter([tidy(t) for t in ticks]))
    axes.yaxis.set_minor_locator(NullLocator())
