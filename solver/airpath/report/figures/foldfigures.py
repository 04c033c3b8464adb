"""Pictures of a folded path: its levels and folds, its areas, what the throat feels, and pressure maps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.field.outline import Outline
from airpath.field.polygon import contains
from airpath.findings.folding.fold import Fold, PressureMap
from airpath.findings.maps import DrawnField
from airpath.report.style import INK, SOFT, WIDTH, tidy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = NDArray[np.float64]

_LEVELS = 40  # lines along the path
_WAYS: dict[str, dict[str, Any]] = {
    "centreline": {"color": "#c4681a", "linestyle": (0, (5, 2)), "linewidth": 1.3, "label": "centre line"},
    "line": {"color": "#14508c", "linestyle": "solid", "linewidth": 1.6, "label": "equivalent horn"},
    "field": {"color": "#7d3c78", "linestyle": (0, (7, 2, 1.5, 2)), "linewidth": 1.5, "label": "full field"},
    "intended": {"color": SOFT, "linestyle": (0, (1.6, 1.4)), "linewidth": 1.4, "label": "intended"},
}
_FLOOR_DB = -30.0


def fold_figures(found: Fold) -> dict[str, Figure]:
    """Return every figure by its file name: path, areas, throat, mouth, and a map for each tone."""
    figures = {
        "fold-path": path_figure(found),
        "fold-areas": areas_figure(found),
        "fold-throat": throat_figure(found),
        "fold-mouth": mouth_figure(found),
    }
    for drawn in found.maps:
        figures[f"fold-map-{drawn.frequency_hz:.6g}-hz"] = map_figure(found, drawn)
    return figures


def path_figure(found: Fold) -> Figure:
    """Return the outline with lines of equal potential, evenly spaced along the equivalent horn, and the folds."""
    from matplotlib.tri import Triangulation

    figure, panel = _drawing(found)
    steps = np.linspace(0.0, found.horn.distance_m[-1], _LEVELS + 1)[1:-1]
    levels = np.interp(steps, found.horn.distance_m, found.horn.potential)
    grid = found.potential
    triangles = Triangulation(grid.points[:, 0] * 1e3, grid.points[:, 1] * 1e3, grid.cells)
    panel.tricontour(triangles, grid.value, levels=np.unique(levels), colors="#7fa3c7", linewidths=0.7)
    panel.plot(*(found.middle.points.T * 1e3), color="#14508c", linewidth=1.5, label="middle of the flow")
    if found.centreline.drawn:
        style = {**_WAYS["centreline"], "label": "drawn centre line"}
        panel.plot(*(found.centreline.points.T * 1e3), **style)
    for row in found.rows:
        panel.annotate(
            str(row.number), (row.place[0] * 1e3, row.place[1] * 1e3), ha="center", va="center", color="white",
            fontsize=9, fontweight="bold", bbox={"boxstyle": "circle,pad=0.25", "facecolor": INK, "edgecolor": "white"},
            zorder=6,
        )  # fmt: skip
        if row.restored is not None and row.restored.by_m != 0.0:
            place = row.restored.move.place * 1e3
            panel.plot(*place, marker="s", markersize=5, color="#a3262a", zorder=5, linestyle="none",
                       label="board to move" if row.number == found.rows[0].number else None)  # fmt: skip
    _finish(panel, found)
    figure.legend(loc="outside lower center", ncols=2, frameon=False, fontsize=8)
    return figure


def areas_figure(found: Fold) -> Figure:
    """Return area against distance: intended, centre line, equivalent horn; the folds are shaded."""
    figure, panel = _chart()
    meant = found.source.intended
    if meant is not None:
        x = np.linspace(0.0, meant.length, 200)
        panel.plot(x, meant.area(x) * 1e4, **_WAYS["intended"])
    line, horn = found.centreline, found.horn
    panel.plot(line.distance_m, line.area_m2 * 1e4, **_WAYS["centreline"])
    panel.plot(horn.distance_m, horn.area_m2 * 1e4, **_WAYS["line"])
    for row, turn in zip(found.rows, found.turns, strict=True):
        low, high = np.interp(turn.levels, horn.potential, horn.distance_m)
        panel.axvspan(low, high, color="#14508c", alpha=0.07, linewidth=0)
        panel.text(0.5 * (low + high), 0.97, str(row.number), transform=panel.get_xaxis_transform(), ha="center",
                   va="top", fontsize=9, fontweight="bold")  # fmt: skip
    panel.set_yscale("log")
    _plain_ticks(panel.yaxis)
    panel.set_xlim(left=0.0)
    panel.set_xlabel("distance from the throat, m")
    panel.set_ylabel("area, cm²")
    _key(figure, panel)
    return figure


def throat_figure(found: Fold) -> Figure:
    """Return the size of the throat impedance of the three, over that of an endless duct of the throat's area."""
    air = found.source.air
    plane = air.density * air.sound_speed / found.horn.throat_area_m2
    return _ways(found, "throat impedance over ρc/S", "impedance", lambda z: np.abs(z) / plane, log=True)


def mouth_figure(found: Fold) -> Figure:
    """Return the volume velocity at the mouth over that at the throat, of the three."""
    return _ways(found, "mouth over throat flow, dB", "transfer", lambda t: 20.0 * np.log10(np.abs(t)), log=False)


def map_figure(found: Fold, drawn: PressureMap) -> Figure:
    """Return the level of the pressure in the path against the throat at one frequency."""
    from matplotlib.tri import Triangulation

    figure, panel = _drawing(found)
    field = DrawnField(found.field.model)
    x, y = field.whole.points[:, :2].T * 1e3
    level = 20.0 * np.log10(np.maximum(np.abs(field.on_grid(drawn.pressure)), 1e-9))
    top = float(np.ceil(level.max()))
    low = max(top + _FLOOR_DB, float(np.floor(level.min())))
    filled = panel.tripcolor(
        Triangulation(x, y, field.whole.cells), np.maximum(level, low), shading="gouraud", cmap="cividis", vmin=low,
        vmax=top, rasterized=True,
    )  # fmt: skip
    figure.colorbar(filled, ax=panel, location="bottom", shrink=0.8, label="pressure against the throat, dB")
    scale = found.source.scale
    full = "" if scale == 1 else f" (full size {tidy(drawn.frequency_hz / scale, 4)} Hz)"
    panel.set_title(f"{tidy(drawn.frequency_hz, 4)} Hz{full}", fontsize=10)
    _finish(panel, found)
    return figure


def _drawing(found: Fold) -> tuple[Figure, Axes]:
    from matplotlib.figure import Figure

    wide, high = np.ptp(found.source.outline.points, axis=0)
    height = float(np.clip(0.85 * WIDTH * high / wide, 1.6, 1.5 * WIDTH))
    figure = Figure(figsize=(WIDTH, height + 1.1), layout="constrained")
    return figure, figure.subplots()


def _finish(panel: Axes, found: Fold) -> None:
    """Add walls, openings and axes to a drawing."""
    outline = found.source.outline
    for loop in outline.loops:
        closed = np.concatenate([loop, loop[:1]]) * 1e3
        panel.plot(closed[:, 0], closed[:, 1], color=INK, linewidth=1.3, zorder=4)
    for name in ("throat", "mouth"):
        segment = outline.openings[name] * 1e3
        panel.plot(segment[:, 0], segment[:, 1], color="white", linewidth=2.6, zorder=4)
        panel.plot(segment[:, 0], segment[:, 1], color="#1f8a70", linewidth=2.0, linestyle=(0, (2, 1)), zorder=5)
        upright = abs(np.diff(segment[:, 1])[0]) > abs(np.diff(segment[:, 0])[0])
        x, y = _beside(outline, segment).tolist()
        panel.annotate(name, (x, y), ha="center", va="center", fontsize=8, color="#146651",
                       rotation=90 if upright else 0)  # fmt: skip
    panel.set_aspect("equal")
    panel.margins(0.06)
    for spine in panel.spines.values():
        spine.set_visible(False)
    turned = outline.depth is None
    panel.set_xlabel("along the axis, mm" if turned else "x, mm")
    panel.set_ylabel("radius, mm" if turned else "y, mm")
    panel.tick_params(labelsize=8)


def _beside(outline: Outline, segment: Floats) -> Floats:
    """Return a place [mm] just outside of the middle of an opening (2, 2) [mm]."""
    step = segment[1] - segment[0]
    away = 0.035 * np.ptp(outline.points * 1e3, axis=0).max() * np.array([step[1], -step[0]]) / np.linalg.norm(step)
    middle = segment.mean(axis=0)
    return np.asarray(middle - away if contains(outline.points * 1e3, middle + 0.05 * away) else middle + away)


def _chart() -> tuple[Figure, Axes]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(WIDTH, 3.4), layout="constrained")
    panel = figure.subplots()
    panel.grid(visible=True, which="major", color="#d5dbe0", linewidth=0.6)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
    return figure, panel


def _ways(found: Fold, label: str, name: str, value: Any, *, log: bool) -> Figure:
    figure, panel = _chart()
    for key, way in (("centreline", found.centre), ("line", found.line), ("field", found.field.way)):
        panel.plot(found.frequency, value(getattr(way, name)), **_WAYS[key])
    panel.set_xscale("log")
    if log:
        panel.set_yscale("log")
        _plain_ticks(panel.yaxis)
    _plain_ticks(panel.xaxis)
    if found.frequency[0] < found.cut_on_hz < found.frequency[-1]:
        panel.axvspan(found.cut_on_hz, found.frequency[-1], color=SOFT, alpha=0.1, linewidth=0)
        panel.text(found.cut_on_hz, 0.02, " waves across", transform=panel.get_xaxis_transform(), fontsize=7.5,
                   va="bottom", color=INK)  # fmt: skip
    for drawn in found.maps:
        panel.axvline(drawn.frequency_hz, color=SOFT, linewidth=0.7, linestyle=(0, (1, 2)))
    panel.set_xlim(found.frequency[0], found.frequency[-1])
    scale = found.source.scale
    panel.set_xlabel("frequency, Hz" + ("" if scale == 1 else f" (of the 1:{tidy(scale)} model)"))
    panel.set_ylabel(label)
    _key(figure, panel)
    return figure


def _plain_ticks(axis: Any) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    axis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0)))
    axis.set_major_formatter(FuncFormatter(lambda value, _: tidy(float(value))))
    axis.set_minor_formatter(NullFormatter())


def _key(figure: Figure, panel: Axes) -> None:
    handles, labels = panel.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=4, frameon=False, fontsize=8)
