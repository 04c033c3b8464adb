"""Pictures of what the air inside a chamber does: the shape of each standing wave, and pressure maps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.patch import Patch
from airpath.findings.maps import ChamberMap, CuboidField, DrawnField, Grid
from airpath.findings.modes import ChamberModes, ModeRow
from airpath.report.style import INK, SOFT, opening_style, shortened, signed, tidy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.tri import Triangulation

PICTURED = 40  # modes drawn of one chamber
_ON_A_SHEET, _ACROSS = 12, 3
_CELL = (2.45, 2.3)  # in, a panel with its title
_TITLED = 1.2  # in, of a panel's height its title and axis
_SHAPE, _LEVEL, _PHASE = "PuOr", "cividis", "twilight"  # each even in lightness, and told apart without red and green
_FLOOR_DB = -40.0
_AXES = "xyz"
_DASHED = "dashed: an opening in the wall opposite"

Field = CuboidField | DrawnField


@dataclass(frozen=True, kw_only=True)
class View:
    """A flat picture of a chamber: ``grid``, its two ``axes`` with their ``names``, and edges (n, 2, 2) [m] on it.

    ``walls`` are the edges of the picture itself, ``openings`` those of each opening.
    """

    grid: Grid
    axes: tuple[int, int]
    names: tuple[str, str]
    walls: NDArray[np.float64]
    openings: dict[str, NDArray[np.float64]]

    @cached_property
    def triangles(self) -> Triangulation:
        """The grid in the plane of the picture, in mm."""
        from matplotlib.tri import Triangulation

        a, b = self.axes
        return Triangulation(self.grid.points[:, a] * 1e3, self.grid.points[:, b] * 1e3, self.grid.cells)


def mode_figures(chamber: ChamberModes, field: Field, scale: float = 1.0) -> Iterator[tuple[str, Figure]]:
    """Yield sheets with the lowest ``PICTURED`` modes' shapes, each with its file name's stem.

    A mode of a cuboid is shown on the wall in which it changes most; ``scale``: of a model, for its title. Of a solid
    mesh there are no pictures.
    """
    rows, views = chamber.rows[:PICTURED], _views(chamber, field)
    several = "" if len(views) < 2 else "; each on the wall that shows it best\n" + _DASHED
    for first in range(0, len(rows) if views else 0, _ON_A_SHEET):
        part = rows[first : first + _ON_A_SHEET]
        across = min(len(part), _ACROSS)
        lines = -(-len(part) // across)
        which = f", {first + 1} to {first + len(part)} of {len(chamber.rows)}" if len(chamber.rows) > len(part) else ""
        figure, panels = _sheet(lines, across, views, f'Standing waves of chamber "{chamber.name}"{which}')
        for panel in panels[len(part) :]:
            panel.set_visible(False)
        for i, (row, panel) in enumerate(zip(part, panels, strict=False), start=first):
            view = views[0] if row.order is None else views[_wall_for(row.order, field)]
            _draw_shape(panel, view, field.shape(i, view.grid), row.order)
            _finish(panel, view)
            _title(panel, row, scale)
        _key(figure, views, "shape: orange high, purple low, maximum 1; black line: pressure node" + several)
        yield f"modes-{first // _ON_A_SHEET + 1}", figure


def map_figure(chamber: ChamberModes, field: Field, found: ChamberMap, scale: float = 1.0) -> Figure | None:
    """Return level and phase of the pressure in a chamber at one frequency; None for a solid mesh."""
    views = _views(chamber, field)
    if not views:
        return None
    values = [field.pressure(found, view.grid) for view in views]
    top = max(float(np.abs(p).max()) for p in values) or 1.0
    level = [np.maximum(20 * np.log10(np.maximum(np.abs(p), top * 1e-9) / top), _FLOOR_DB) for p in values]
    low = min(-3.0, float(np.floor(min(part.min() for part in level))))
    title = f'Pressure in chamber "{chamber.name}" at {_hertz(found.frequency_hz, scale)}'
    across = max(2, len(views))
    figure, panels = _sheet(-(-2 * len(views) // across), across, views, f"{title}\nat most {tidy(top)} Pa RMS")
    upper, lower = panels[: len(views)], panels[len(views) :]
    for panel, view, part in zip(upper, views, level, strict=True):
        drawn = _fill(panel, view, part, _LEVEL, (low, 0.0))
    where: dict[str, Any] = {"location": "bottom" if len(views) == 1 else "right", "shrink": 0.9}
    figure.colorbar(drawn, ax=upper, label="level against the maximum, dB", **where)
    for panel, view, pressure in zip(lower, views, values, strict=True):
        drawn = _fill(panel, view, np.degrees(np.angle(pressure)), _PHASE, (-180.0, 180.0))
    figure.colorbar(drawn, ax=lower, label="phase against the source, degrees", ticks=[-180, -90, 0, 90, 180], **where)
    for panel, view in zip(panels, [*views, *views], strict=True):
        _finish(panel, view)
    _key(figure, views, "" if len(views) < 2 else f"the walls x = 0, y = 0 and z = 0; {_DASHED}")
    return figure


def _views(chamber: ChamberModes, field: Field) -> list[View]:
    """Return the pictures of a chamber: its section, or its walls x = 0, y = 0 and z = 0; none of a solid mesh."""
    if isinstance(field, DrawnField):
        if field.solid:
            return []
        edges = list(field.openings.values())
        openings = {n: edges[t] for n, t in zip(chamber.openings, chamber.terminals, strict=True)}
        return [View(grid=field.whole, axes=(0, 1), names=field.axis_names, walls=field.edges,
                     openings=openings)]  # fmt: skip
    patches = dict(zip(chamber.openings, field.chamber.patches, strict=True))
    out = []
    for axis, grid in enumerate(field.walls):
        a, b = (i for i in range(3) if i != axis)
        marks = {name: _outline(patch, a, b) for name, patch in patches.items()}
        x, y = field.chamber.size[a], field.chamber.size[b]
        corners = np.array([[0.0, 0.0], [x, 0.0], [x, y], [0.0, y], [0.0, 0.0]])
        walls = np.stack([corners[:-1], corners[1:]], axis=1)
        out.append(View(grid=grid, axes=(a, b), names=(_AXES[a], _AXES[b]), walls=walls, openings=marks))
    return out


def _outline(patch: Patch, a: int, b: int) -> NDArray[np.float64]:
    """Return the edges (n, 2, 2) [m] of an opening seen along the axis that is neither a nor b.

    Of one that is not in the wall itself, but beyond it, every other edge is left out: a dashed line.
    """
    turn = np.linspace(0, 2 * np.pi, 41)
    ring = np.stack([np.cos(turn), np.sin(turn)])
    if patch.sides is not None:
        ring = ring * np.sqrt(2)  # then cut to a square
        ring = ring.clip(-1.0, 1.0)
    points = np.repeat(np.array(patch.centre)[:, None], ring.shape[1], axis=1)
    for i, axis in enumerate(patch.plane):
        points[axis] += patch.halves[i] * ring[i]
    flat = points[[a, b]].T
    edges = np.stack([flat[:-1], flat[1:]], axis=1)
    behind = patch.normal not in (a, b) and patch.centre[patch.normal] > 0.0
    return edges[::2] if behind else edges


def _wall_for(order: tuple[int, int, int], field: Field) -> int:
    """Return the axis of the wall that shows a mode of this order best: across the axis that it needs least."""
    assert isinstance(field, CuboidField)
    used = sorted(range(3), key=lambda i: (order[i] == 0, order[i], -field.chamber.size[i]))
    empty = [i for i in range(3) if order[i] == 0]
    if len(empty) == 2:  # along one side only: with the longer of the other two
        return min(empty, key=lambda i: field.chamber.size[i])
    return empty[0] if empty else used[2]


def _sheet(lines: int, across: int, views: list[View], title: str) -> tuple[Figure, list[Axes]]:
    """Return a figure with its panels, as tall as the tallest of the pictures needs them."""
    from matplotlib.figure import Figure

    width = max(_CELL[0] * across, 6.2)
    spans = [np.ptp(view.walls.reshape(-1, 2), axis=0) for view in views]
    tallest = min(max(float(span[1] / span[0]) for span in spans), 1.0)
    height = (_TITLED + (_CELL[1] - _TITLED) * tallest * width / across / _CELL[0]) * lines + 0.9 + (across == 2)
    figure = Figure(figsize=(width, height), layout="constrained")
    figure.suptitle(title, fontsize=11, fontweight="bold")
    panels = figure.subplots(lines, across, squeeze=False)
    return figure, list(panels.ravel())


def _fill(panel: Axes, view: View, values: NDArray[Any], colours: str, limits: tuple[float, float]) -> Any:
    """Fill a panel with values on the points of its grid; colours, not values, run across a cell, so phase may wrap."""
    return panel.tripcolor(
        view.triangles, values, shading="gouraud", cmap=colours, vmin=limits[0], vmax=limits[1], rasterized=True
    )


def _finish(panel: Axes, view: View) -> None:
    """Add walls, openings and axes to a filled panel."""
    _mark(panel, view.walls * 1e3, INK, 0.9)
    for i, edges in enumerate(view.openings.values()):
        _mark(panel, edges * 1e3, "white", 4.2)
        _mark(panel, edges * 1e3, opening_style(i)["color"], 2.4)
    panel.set_aspect("equal")
    panel.use_sticky_edges = False
    panel.margins(0.04)
    panel.autoscale_view()
    for spine in panel.spines.values():
        spine.set_visible(False)
    panel.set_xlabel(f"{view.names[0]}, mm", fontsize=7, labelpad=1)
    panel.set_ylabel(f"{view.names[1]}, mm", fontsize=7, labelpad=1)
    panel.tick_params(labelsize=7, length=2)


def _mark(panel: Axes, edges: NDArray[np.float64], colour: str, width: float) -> None:
    from matplotlib.collections import LineCollection

    panel.add_collection(LineCollection(list(edges), colors=colour, linewidths=width, zorder=4, capstyle="round"))


def _draw_shape(
    panel: Axes, view: View, shape: NDArray[np.float64], order: tuple[int, int, int] | None
) -> None:
    """Draw a mode's shape, lines of equal pressure, and its nodes: those of a cuboid are straight, known exactly."""
    _fill(panel, view, -shape, _SHAPE, (-1.0, 1.0))
    levels = [-0.75, -0.5, -0.25, 0.25, 0.5, 0.75]
    panel.tricontour(view.triangles, shape, levels=levels, colors=SOFT, linewidths=0.4, linestyles="solid")
    if order is None:
        panel.tricontour(view.triangles, shape, levels=[0.0], colors=INK, linewidths=1.1)
        return
    for i, axis in enumerate(view.axes):
        across, along = (view.walls.reshape(-1, 2)[:, j].max() * 1e3 for j in (1 - i, i))
        for k in range(order[axis]):
            at = (2 * k + 1) / (2 * order[axis]) * along
            line = np.array([[at, 0.0], [at, across]])
            _mark(panel, (line if i == 0 else line[:, ::-1])[None], INK, 1.1)


def _title(panel: Axes, row: ModeRow, scale: float) -> None:
    order = "" if row.order is None else f"  ({', '.join(map(str, row.order))})"
    grips = [f"{shortened(name, 10)} {_signed(value)}" for name, value in row.coupling.items()]
    lines = [", ".join(grips[i : i + 3]) for i in range(0, min(len(grips), 6), 3)]
    panel.set_title("\n".join([_hertz(row.frequency_hz, scale) + order, *lines]), fontsize=7.5)


def _signed(value: float) -> str:
    return "0" if abs(value) < 0.005 else signed(value, 2)


def _hertz(frequency: float, scale: float) -> str:
    text = f"{tidy(frequency, 4)} Hz"
    return text if scale == 1 else f"{text} (full size {tidy(frequency / scale, 4)} Hz)"


def _key(figure: Figure, views: list[View], words: str) -> None:
    """Put the openings' colours and what else to know under the panels."""
    from matplotlib.lines import Line2D

    names = list(views[0].openings)
    handles = [Line2D([], [], color=opening_style(i)["color"], linewidth=3) for i in range(len(names))]
    figure.legend(
        handles, [shortened(name) for name in names], loc="outside lower center", ncols=min(6, max(1, len(names))),
        frameon=False, fontsize=8, title=words or None, title_fontsize=8,
    )  # fmt: skip
