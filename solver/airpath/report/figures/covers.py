"""The pictures of ``cover``: the matrix of tones and states, and the curves of the few states that matter."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from airpath.findings.designs.cover import Covering
from airpath.network.response import SILENT_DB
from airpath.report.figures.frame import End, end_labels, frame, limit_line, mark_tones
from airpath.report.style import ALARM, INK, WIDTH, blank, opening_style, shortened, signed, tidy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure, FigureBase

_MOST_CURVES = 5
_LEVEL_RANGE_DB = 45.0
_FULL_DB = 12.0  # change with the fullest colour
_LOUDER, _QUIETER = (0.12, 0.40, 0.68), (0.85, 0.45, 0.08)  # blue and orange: apart for every kind of colour vision
_QUIET = (0.90, 0.92, 0.93)
_ROW, _CELL, _MARK, _HEAD = 0.40, 0.72, 0.26, 0.42  # in


def matrix(found: Covering) -> Figure:
    """Draw a row per state and a column per tone: level, its change in colour, the loudest of each tone framed."""
    from matplotlib.patches import Rectangle

    rows, columns = found.shown, len(found.tones_hz) + 1
    names = max(1, len(found.openings))
    longest = max([len(shortened(name)) for name in found.openings] + [4])
    head = _HEAD + 0.062 * longest
    wide, tall = 0.16 + names * _MARK + 0.1 + columns * _CELL, head + len(rows) * _ROW + 0.08
    figure = blank(max(wide, 3.2), tall)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, max(wide, 3.2))
    axes.set_ylim(tall, 0)
    axes.axis("off")
    start = 0.16 + names * _MARK + 0.1
    _heads(axes, found, start, head)
    for r, i in enumerate(rows):
        middle = head + (r + 0.5) * _ROW
        _marks(axes, found, i, middle)
        for c in range(columns):
            place = (start + c * _CELL, head + r * _ROW)
            shade = _QUIET if max(found.states[i].spl_db) < SILENT_DB else _shade(_change(found, i, c))
            axes.add_patch(Rectangle(place, _CELL, _ROW, facecolor=shade, edgecolor="white"))
            _cell(axes, found, i, c, start + (c + 0.5) * _CELL, middle)
    for c in range(columns):
        best = (*found.best, found.best_mean)[c]
        if best in rows and len(found.states) > 1:
            place = (start + c * _CELL + 0.02, head + rows.index(best) * _ROW + 0.02)
            edge = Rectangle(place, _CELL - 0.04, _ROW - 0.04, fill=False, edgecolor=INK, linewidth=2.0)
            axes.add_patch(edge)
    return figure


def _heads(axes: Axes, found: Covering, start: float, head: float) -> None:
    for k, name in enumerate(found.openings):
        axes.text(0.16 + (k + 0.5) * _MARK, head - 0.08, shortened(name), rotation=90, ha="center", va="bottom")
    scaled = found.case.scale != 1
    for c, tone in enumerate(found.tones_hz.tolist()):
        text = f"{tidy(tone, 4)} Hz" + (f"\n({tidy(tone / found.case.scale, 4)})" if scaled else "")
        axes.text(start + (c + 0.5) * _CELL, head - 0.08, text, ha="center", va="bottom")
    axes.text(start + (len(found.tones_hz) + 0.5) * _CELL, head - 0.08, "mean", ha="center", va="bottom")


def _marks(axes: Axes, found: Covering, i: int, middle: float) -> None:
    """Draw what is covered in a state (full square) and what is open (ring)."""
    for k, name in enumerate(found.openings):
        covered = name in found.states[i].covered
        face, shape = (INK, "s") if covered else ("white", "o")
        at = 0.16 + (k + 0.5) * _MARK
        axes.plot([at], [middle], shape, markersize=8, markerfacecolor=face, markeredgecolor=INK, linestyle="none")


def _cell(axes: Axes, found: Covering, i: int, c: int, x: float, y: float) -> None:
    state, tones = found.states[i], len(found.tones_hz)
    level = state.mean_spl_db if c == tones else state.spl_db[c]
    change = _change(found, i, c)
    if level < SILENT_DB:
        axes.text(x, y, "silent", ha="center", va="center", color=INK, fontsize=8)
        return
    ink = "white" if change > 0.75 * _FULL_DB else INK
    axes.text(x, y - 0.075, f"{level:.1f}", ha="center", va="center", color=ink, fontsize=9.5)
    if i:
        axes.text(x, y + 0.095, signed(change), ha="center", va="center", color=ink, fontsize=7.5)
    xmax = found.case.driver.xmax
    if c < tones and xmax is not None and state.excursion_peak_m[c] > xmax:
        box = {"facecolor": "white", "edgecolor": ALARM, "pad": 1.0, "linewidth": 0.8}
        axes.text(x + 0.26, y - 0.07, "!", ha="center", va="center", color=ALARM, weight="bold", fontsize=8, bbox=box)


def _change(found: Covering, i: int, c: int) -> float:
    state = found.states[i]
    return state.mean_change_db if c == len(found.tones_hz) else state.change_db[c]


def _shade(change: float) -> tuple[float, ...]:
    part = min(abs(change) / _FULL_DB, 1.0)
    full = _LOUDER if change > 0 else _QUIETER
    return tuple(1 - part * (1 - own) for own in full)


def curve_states(found: Covering) -> list[int]:
    """Return the few states whose curves are worth seeing: open, the best ones, then the loudest single covers."""
    singles = [i for i, state in enumerate(found.states) if len(state.covered) == 1]
    singles.sort(key=lambda i: -found.states[i].mean_spl_db)
    return list(dict.fromkeys([0, found.best_mean, *found.best, *singles]))[:_MOST_CURVES]


def level_curves(found: Covering) -> FigureBase:
    """Draw the level [dB] of the states that matter over the band."""
    heard = [i for i in curve_states(found) if found.band.spl_db[i].max() > SILENT_DB]
    figure, axes = _curves(found, found.band.spl_db, heard)
    if heard:
        high = max(float(found.band.spl_db[i].max()) for i in heard)
        axes.set_ylim(high - _LEVEL_RANGE_DB, high + 2)
    axes.set_ylabel("level (dB re 20 µPa)")
    return _finished(figure, axes, found, found.band.spl_db, heard)


def impedance_curves(found: Covering) -> FigureBase:
    """Draw the impedance [ohm] of the same states."""
    size, some = np.abs(found.band.impedance), curve_states(found)
    figure, axes = _curves(found, size, some)
    axes.set_ylim(0, None)
    axes.set_ylabel("impedance (Ω)")
    return _finished(figure, axes, found, size, some)


def excursion_curves(found: Covering) -> FigureBase:
    """Draw the cone's excursion [mm] of the same states, with xmax."""
    travel, some = found.band.excursion_peak * 1e3, curve_states(found)
    figure, axes = _curves(found, travel, some)
    axes.set_ylim(0, max(float(travel[some].max()), (found.case.driver.xmax or 0.0) * 1e3) * 1.06)
    axes.set_ylabel("cone excursion, peak (mm)")
    return _finished(figure, axes, found, travel, some, limit=found.case.driver.xmax)


def _curves(found: Covering, values: Any, some: list[int]) -> tuple[FigureBase, Axes]:
    figure, panels = frame(found.case, found.band.frequency, 3.6, width=WIDTH, names=1.4)
    for k, i in enumerate(some):
        panels[0].plot(found.band.frequency, values[i], **_style(k))
    return figure, panels[0]


def _finished(
    figure: FigureBase, axes: Axes, found: Covering, values: Any, some: list[int], limit: float | None = None
) -> FigureBase:
    names = curve_names(found)
    ends: list[End] = [(values[i, -1], names[i], _style(k)) for k, i in enumerate(some)]
    if limit is not None:
        ends.append(limit_line(axes, limit * 1e3, f"xmax {tidy(limit * 1e3)} mm"))
    mark_tones(axes, found.tones_hz)
    end_labels(axes, ends)
    return figure


def curve_names(found: Covering) -> dict[int, str]:
    """Return how the curves of states are called: by what is covered, or by a letter where that is too long."""
    names = {i: _curve_name(found, i) for i in curve_states(found)}
    long = [i for i, name in names.items() if shortened(name) != name]
    return names | {i: chr(ord("A") + k) for k, i in enumerate(long)}


def _curve_name(found: Covering, i: int) -> str:
    covered = found.states[i].covered
    if len(covered) > 1 and set(covered) == set(found.openings):
        return "all covered"
    return "no " + ", ".join(covered) if covered else "all open"


def _style(k: int) -> dict[str, Any]:
    if k == 0:
        return {"color": INK, "linestyle": "solid", "linewidth": 2.0}
    return opening_style(k)
