"""The curves: impedance, excursion, level and air speed over frequency."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.findings.ports import SPEED_LIMIT_SHARE
from airpath.findings.predict import Prediction
from airpath.report.style import ALARM, INK, MODEL_STYLE, SOFT, WIDTH, opening_style, plain, shortened, tidy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEVEL_RANGE_DB = 50.0
_EXCURSION_DECADES = 3.0
_End = tuple[float, str, dict[str, Any]]  # last value, name and style of a curve
_LEFT, _RIGHT = 0.125, 0.775
_TONE_WIDTH, _TONE_ROW, _TONE_ROWS = 0.48, 0.14, 3  # in, in, at most


def curve_figures(prediction: Prediction) -> dict[str, Figure]:
    """Return the figures by file name; the air speed is left out of a box without openings."""
    drawn = {
        "impedance": impedance(prediction),
        "level": level(prediction),
        "excursion": excursion(prediction),
    }
    if moving_openings(prediction):
        drawn["air-speed"] = air_speed(prediction)
    return drawn


def impedance(prediction: Prediction) -> Figure:
    """Draw magnitude [ohm] and phase [degrees] at the terminals in every fidelity."""
    figure, (top, bottom) = _figure(prediction, 4.2, (0.62, 0.38))
    size: list[_End] = []
    turn: list[_End] = []
    for model, response in prediction.responses.items():
        z, style = np.abs(response.impedance), MODEL_STYLE[model]
        phase = np.degrees(np.angle(response.impedance))
        top.plot(response.frequency, z, **style)
        bottom.plot(response.frequency, phase, **style)
        size.append((z[-1], model, style))
        turn.append((phase[-1], model, style))
    top.set_ylim(0, None)
    top.set_ylabel("impedance (Ω)")
    bottom.set_ylim(-95, 95)
    bottom.set_yticks([-90, -45, 0, 45, 90])
    bottom.set_ylabel("phase (degrees)")
    _mark_tones(top, prediction)
    _mark_tones(bottom, prediction, named=False)
    _end_labels(top, size)
    _end_labels(bottom, turn)
    return figure


def excursion(prediction: Prediction) -> Figure:
    """Draw the cone's peak excursion [mm] in every fidelity, with xmax."""
    figure, (axes,) = _figure(prediction, 3.0, (1.0,))
    ends, highest = [], 0.0
    for model, response in prediction.responses.items():
        travel = response.excursion_peak * 1e3
        axes.plot(response.frequency, travel, **MODEL_STYLE[model])
        ends.append((travel[-1], model, MODEL_STYLE[model]))
        highest = max(highest, float(travel.max()))
    lowest = min(float(r.excursion_peak.min()) * 1e3 for r in prediction.responses.values())
    xmax = prediction.case.driver.xmax
    if xmax is not None:
        ends.append(_limit_line(axes, xmax * 1e3, f"xmax {tidy(xmax * 1e3, 2)} mm"))
        highest = max(highest, xmax * 1e3)
    axes.set_yscale("log")
    axes.set_ylim(max(lowest, highest / 10**_EXCURSION_DECADES) / 1.3, highest * 1.3)
    axes.set_ylabel("cone excursion, peak (mm)")
    _plain_decades(axes)
    _mark_tones(axes, prediction)
    _end_labels(axes, ends)
    return figure


def level(prediction: Prediction) -> Figure:
    """Draw the level at the listener [dB re 20 uPa]: every opening alone and their sum."""
    figure, (axes,) = _figure(prediction, 4.2, (1.0,))
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
    _mark_tones(axes, prediction)
    _end_labels(axes, ends)
    return figure


def air_speed(prediction: Prediction) -> Figure:
    """Draw the peak air speed [m/s] in every port and horn, with the usual limit."""
    figure, (axes,) = _figure(prediction, 3.0, (1.0,))
    from matplotlib.ticker import MaxNLocator

    best, ends = _best(prediction), []
    for i, name in moving_openings(prediction):
        speed = best.openings[name].air_speed_peak
        axes.plot(best.frequency, speed, **opening_style(i))
        ends.append((speed[-1], name, opening_style(i)))
    limit = SPEED_LIMIT_SHARE * prediction.air.sound_speed
    ends.append(_limit_line(axes, limit, f"limit {plain(limit, 2)} m/s"))
    high = max(limit, *(float(best.openings[n].air_speed_peak.max()) for _, n in moving_openings(prediction)))
    axes.set_ylim(0, high * 1.06)
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_ylabel("air speed, peak (m/s)")
    _mark_tones(axes, prediction)
    _end_labels(axes, ends)
    return figure


def moving_openings(prediction: Prediction) -> list[tuple[int, str]]:
    """Return index and name of the ports and horns; a leak's fast air is friction, not a port to size."""
    known = {*prediction.case.ports, *prediction.case.horns}
    return [(i, name) for i, name in enumerate(_best(prediction).openings) if name in known]


def _best(prediction: Prediction) -> Any:
    return prediction.responses[prediction.best]


def _figure(prediction: Prediction, height: float, shares: tuple[float, ...]) -> tuple[Figure, list[Axes]]:
    """Return a figure with axes on top of each other that share a logarithmic frequency axis."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, height))
    FigureCanvasAgg(figure)
    scaled = prediction.case.scale != 1
    floor, ceiling = 0.46 / height, 1 - (0.46 if scaled else 0.12) / height
    frequency = _best(prediction).frequency
    out: list[Axes] = []
    edge = ceiling
    for i, share in enumerate(shares):
        tall = share * (ceiling - floor)
        gap = 0.0 if i == len(shares) - 1 else 0.12 / height
        axes = figure.add_axes((_LEFT, edge - tall + gap, _RIGHT - _LEFT, tall - gap))
        _frequency_axis(axes, float(frequency[0]), float(frequency[-1]), last=i == len(shares) - 1)
        edge -= tall
        out.append(axes)
    out[-1].set_xlabel("frequency of the model (Hz)" if scaled else "frequency (Hz)", labelpad=2)
    if scaled:
        twin = out[0].twiny()
        scale = prediction.case.scale
        _frequency_axis(twin, float(frequency[0] / scale), float(frequency[-1] / scale), last=True)
        twin.grid(False)
        twin.set_xlabel("full-size frequency (Hz)", labelpad=4)
    return figure, out


def _frequency_axis(axes: Axes, low: float, high: float, *, last: bool) -> None:
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullFormatter, NullLocator

    axes.set_xscale("log")
    axes.set_xlim(low, high)
    ticks = frequency_ticks(low, high)
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_major_formatter(FixedFormatter([tidy(t) for t in ticks]) if last else NullFormatter())
    axes.xaxis.set_minor_locator(NullLocator())
    axes.grid(True, color="#dde2e6", linewidth=0.7)
    axes.set_axisbelow(True)
    axes.tick_params(length=3)


def frequency_ticks(low: float, high: float) -> list[float]:
    """Return round frequencies [Hz] for an axis: 1, 2, 5 a decade, more in a narrow band."""
    decades = np.log10(high / low)
    digits = (1, 2, 5) if decades > 1.2 else (1, 1.5, 2, 3, 4, 5, 7) if decades > 0.5 else np.arange(10, 100) / 10
    first, past = int(np.floor(np.log10(low))), int(np.ceil(np.log10(high)))
    ticks = [float(d * 10.0**e) for e in range(first, past + 1) for d in digits]
    ticks = [t for t in ticks if low * (1 - 1e-9) <= t <= high * (1 + 1e-9)]
    return ticks[:: max(1, len(ticks) // 10)]


def _plain_decades(axes: Axes) -> None:
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

    low, high = axes.get_ylim()
    ticks = [t for t in frequency_ticks(low, high) if low <= t <= high]
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_major_formatter(FixedFormatter([tidy(t) for t in ticks]))
    axes.yaxis.set_minor_locator(NullLocator())


def _mark_tones(axes: Axes, prediction: Prediction, *, named: bool = True) -> None:
    """Draw a line at every tone, its frequency in a strip above the curves where there is room for it."""
    for tone in prediction.tones_hz:
        axes.axvline(tone, color=SOFT, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1)
    if not named:
        return
    low, high = axes.get_xlim()
    wide, tall = _inches(axes)
    tones = np.sort(prediction.tones_hz)
    rows = _tone_rows(np.log(tones / low) / np.log(high / low) * wide)
    _headroom(axes, (0.06 + _TONE_ROW * (max(rows) + 1)) / tall)
    for tone, row in zip(tones.tolist(), rows, strict=True):
        if row >= 0:
            place = np.log(tone / low) / np.log(high / low)
            side = "left" if place < 0.05 else "right" if place > 0.95 else "center"
            axes.text(
                tone, 1 - (0.05 + _TONE_ROW * row) / tall, f"{tidy(tone, 4)} Hz",
                transform=axes.get_xaxis_transform(), ha=side, va="top", fontsize=7.5,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
            )  # fmt: skip


def _tone_rows(places: NDArray[np.float64]) -> list[int]:
    """Return the row in which each tone's label has room, places [in] ascending; -1 where none has."""
    taken = [-9.0] * _TONE_ROWS
    rows = []
    for place in places.tolist():
        row = next((r for r, last in enumerate(taken) if place - last > _TONE_WIDTH), -1)
        if row >= 0:
            taken[row] = place
        rows.append(row)
    return rows


def _inches(axes: Axes) -> tuple[float, float]:
    """Return width and height of the axes [in]."""
    figure = axes.get_figure(root=True)
    assert figure is not None  # or there would be nothing to draw on
    wide, tall = axes.get_position().size * figure.get_size_inches()
    return float(wide), float(tall)


def _headroom(axes: Axes, share: float) -> None:
    low, high = axes.get_ylim()
    if axes.get_yscale() == "log":
        axes.set_ylim(low, high * (high / low) ** (share / (1 - share)))
    else:
        axes.set_ylim(low, high + (high - low) * share / (1 - share))


def _limit_line(axes: Axes, value: float, text: str) -> tuple[float, str, dict[str, Any]]:
    style: dict[str, Any] = {"color": ALARM, "linestyle": (0, (8, 3)), "linewidth": 1.1}
    axes.axhline(value, **style)
    return value, text, style


def _end_labels(axes: Axes, ends: list[_End]) -> None:
    """Write each curve's name at its right end, apart from each other, with a piece of the curve's line before it."""
    low, high = axes.get_ylim()
    if axes.get_yscale() == "log":
        places = [np.log(max(v, low * 1e-3) / low) / np.log(high / low) for v, _, _ in ends]
    else:
        places = [(v - low) / (high - low) for v, _, _ in ends]
    tall = _inches(axes)[1]
    spread = _spread(np.clip(np.array(places, float), 0.0, 1.0), 0.165 / tall)
    for place, to, (_, text, style) in zip(np.clip(places, 0, 1), spread, ends, strict=True):
        line = {**style, "clip_on": False, "transform": axes.transAxes}
        axes.plot([1.0, 1.022, 1.062], [place, to, to], **line)
        axes.text(1.07, to, shortened(text), transform=axes.transAxes, va="center", color=style["color"], fontsize=8.5)


def _spread(places: NDArray[np.float64], apart: float) -> NDArray[np.float64]:
    """Push places in [0, 1] at least ``apart`` from each other, as little as it takes."""
    order = np.argsort(places, kind="stable")
    apart = min(apart, 1.0 / max(1, len(places) - 1)) if len(places) > 1 else apart
    out = places[order].copy()
    for i in range(1, len(out)):
        out[i] = max(out[i], out[i - 1] + apart)
    out[-1] = min(out[-1], 1.0)
    for i in range(len(out) - 2, -1, -1):
        out[i] = min(out[i], out[i + 1] - apart)
    result = np.empty_like(out)
    result[order] = out
    return result
