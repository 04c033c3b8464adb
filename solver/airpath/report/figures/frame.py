"""The frame of every chart over frequency: axes, ticks, tones, names at the ends of curves, all kept apart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.report.style import ALARM, SOFT, WIDTH, blank, shortened, size_of, tidy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import FigureBase

End = tuple[float, str, dict[str, Any]]  # last value, name and style of a curve
_LEFT, _NAMES = 0.65, 1.17  # in: room for the numbers, and for the names of the curves
_NARROW, _STEPS = 0.5, 6  # decades in which steps are even, and how many
_TONE_WIDTH, _TONE_ROW, _TONE_ROWS = 0.48, 0.14, 3  # in, in, at most


def frame(
    case: Case, frequency: NDArray[np.float64], height: float, shares: tuple[float, ...] = (1.0,), *,
    width: float = WIDTH, names: float = _NAMES, on: FigureBase | None = None,
) -> tuple[FigureBase, list[Axes]]:  # fmt: skip
    """Return a figure with axes on top of each other, ``shares`` of its height [in], over ``frequency`` (n,) [Hz].

    ``names``: room for names beside the curves [in]; ``on``: a piece of a page to draw on, whose size counts.
    """
    figure = blank(width, height) if on is None else on
    width, height = size_of(figure)
    scaled = case.scale != 1
    floor, ceiling = 0.46 / height, 1 - (0.46 if scaled else 0.12) / height
    left, wide = _LEFT / width, (width - _LEFT - names) / width
    out: list[Axes] = []
    edge = ceiling
    for i, share in enumerate(shares):
        tall = share * (ceiling - floor)
        gap = 0.0 if i == len(shares) - 1 else 0.12 / height
        axes = figure.add_axes((left, edge - tall + gap, wide, tall - gap))
        frequency_axis(axes, float(frequency[0]), float(frequency[-1]), last=i == len(shares) - 1)
        edge -= tall
        out.append(axes)
    out[-1].set_xlabel("frequency of the model (Hz)" if scaled else "frequency (Hz)", labelpad=2)
    if scaled:
        twin = out[0].twiny()
        frequency_axis(twin, float(frequency[0] / case.scale), float(frequency[-1] / case.scale), last=True)
        twin.grid(False)
        twin.set_xlabel("full-size frequency (Hz)", labelpad=4)
    return figure, out


def frequency_axis(axes: Axes, low: float, high: float, *, last: bool) -> None:
    """Give axes a logarithmic frequency axis, ``low`` to ``high`` [Hz]; only the ``last`` of a stack has numbers."""
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
    """Return round frequencies [Hz] for an axis: 1, 2, 5 a decade, even steps in a narrow band."""
    decades = np.log10(high / low)
    if decades < _NARROW:
        rough = (high - low) / _STEPS
        power = 10.0 ** np.floor(np.log10(rough))
        step = power * next(digit for digit in (1, 2, 5, 10) if digit * power >= rough)
        return [float(step * n) for n in range(int(np.ceil(low / step)), int(high / step * (1 + 1e-9)) + 1)]
    digits = (1, 2, 5) if decades > 1.2 else (1, 1.5, 2, 3, 4, 5, 7)
    first, past = int(np.floor(np.log10(low))), int(np.ceil(np.log10(high)))
    ticks = [float(d * 10.0**e) for e in range(first, past + 1) for d in digits]
    ticks = [t for t in ticks if low * (1 - 1e-9) <= t <= high * (1 + 1e-9)]
    return ticks[:: max(1, len(ticks) // 10)]


def mark_tones(axes: Axes, tones_hz: NDArray[np.float64], *, named: bool = True) -> float:
    """Draw a line at every tone, its frequency in a strip above the curves where there is room for it.

    Returns the height of the strip [in].
    """
    for tone in tones_hz.tolist():
        axes.axvline(tone, color=SOFT, linewidth=0.8, linestyle=(0, (1, 2)), zorder=1)
    if not named or not len(tones_hz):
        return 0.0
    low, high = axes.get_xlim()
    wide, tall = inches(axes)
    tones = np.sort(tones_hz)
    rows = _tone_rows(np.log(tones / low) / np.log(high / low) * wide)
    strip = 0.06 + _TONE_ROW * (max(rows) + 1)
    headroom(axes, strip / tall)
    for tone, row in zip(tones.tolist(), rows, strict=True):
        if row >= 0:
            place = np.log(tone / low) / np.log(high / low)
            side = "left" if place < 0.05 else "right" if place > 0.95 else "center"
            axes.text(
                tone, 1 - (0.05 + _TONE_ROW * row) / tall, f"{tidy(tone, 4)} Hz",
                transform=axes.get_xaxis_transform(), ha=side, va="top", fontsize=7.5,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
            )  # fmt: skip
    return strip


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


def inches(axes: Axes) -> tuple[float, float]:
    """Return width and height of the axes [in]."""
    figure = axes.get_figure()
    assert figure is not None  # or there would be nothing to draw on
    (wide, tall), (width, height) = axes.get_position().size, size_of(figure)
    return float(wide * width), float(tall * height)


def headroom(axes: Axes, share: float) -> None:
    """Leave a share of the axes' height free above what they show."""
    low, high = axes.get_ylim()
    if axes.get_yscale() == "log":
        axes.set_ylim(low, high * (high / low) ** (share / (1 - share)))
    else:
        axes.set_ylim(low, high + (high - low) * share / (1 - share))


def limit_line(axes: Axes, value: float, text: str) -> End:
    """Draw a limit, and return what :func:`end_labels` needs to name it."""
    style: dict[str, Any] = {"color": ALARM, "linestyle": (0, (8, 3)), "linewidth": 1.1}
    axes.axhline(value, **style)
    return value, text, style


def end_labels(axes: Axes, ends: list[End]) -> None:
    """Write each curve's name at its right end, apart from each other, with a piece of the curve's line before it."""
    low, high = axes.get_ylim()
    if axes.get_yscale() == "log":
        places = [np.log(max(v, low * 1e-3) / low) / np.log(high / low) for v, _, _ in ends]
    else:
        places = [(v - low) / (high - low) for v, _, _ in ends]
    tall = inches(axes)[1]
    apart = spread(np.clip(np.array(places, float), 0.0, 1.0), 0.165 / tall)
    for place, to, (_, text, style) in zip(np.clip(places, 0, 1), apart, ends, strict=True):
        line = {**style, "clip_on": False, "transform": axes.transAxes}
        axes.plot([1.0, 1.022, 1.062], [place, to, to], **line)
        axes.text(1.07, to, shortened(text), transform=axes.transAxes, va="center", color=style["color"], fontsize=8.5)


def spread(
    places: NDArray[np.float64], apart: float, low: float = 0.0, high: float = 1.0
) -> NDArray[np.float64]:  # fmt: skip
    """Push places at least ``apart`` from each other inside [low, high], moving them as little as it takes.

    Least squares by pooling neighbours (isotonic regression of what is left after even steps).
    """
    count = len(places)
    if not count:
        return places
    apart = min(apart, (high - low) / (count - 1)) if count > 1 else apart
    order = np.argsort(places, kind="stable")
    steps = apart * np.arange(count)
    pools: list[tuple[float, int]] = []  # mean and number
    for value in (places[order] - steps).tolist():
        mean, number = value, 1
        while pools and pools[-1][0] > mean:
            before, more = pools.pop()
            mean, number = (mean * number + before * more) / (number + more), number + more
        pools.append((mean, number))
    level = np.repeat([mean for mean, _ in pools], [number for _, number in pools])
    result = np.empty(count)
    result[order] = np.clip(level, low, high - steps[-1]) + steps
    return result
