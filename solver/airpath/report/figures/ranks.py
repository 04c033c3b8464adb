"""The picture of ``rank``: level per tone of every design, and the mean with what 1 mm and 5 % move it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from airpath.findings.designs.rank import Ranking
from airpath.report.figures.frame import End, end_labels
from airpath.report.style import INK, SOFT, blank, opening_style, tidy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_TONES, _NAMES, _LEFT, _GAP, _RIGHT = 2.6, 1.2, 0.74, 0.6, 0.11  # in
_MEAN, _EACH = 1.15, 0.34  # in: width of the means, at least, and of each, so that their numbers stay apart
_SIGNS = ("o", "s", "^", "D", "v", "P", "X", "*")


def rank_picture(found: Ranking) -> Figure:
    """Draw the levels [dB] over the tones, and beside them the means with their spread."""
    high = max(3.4, 0.22 * len(found.designs) + 1.6)
    mean = max(_MEAN, _EACH * len(found.designs))
    wide = _LEFT + _TONES + _NAMES + _GAP + mean + _RIGHT
    figure = blank(wide, high)
    bottom, tall = 0.55 / high, 1 - 0.85 / high
    left = figure.add_axes((_LEFT / wide, bottom, _TONES / wide, tall))
    right = figure.add_axes(((_LEFT + _TONES + _NAMES + _GAP) / wide, bottom, mean / wide, tall))
    _levels(left, found)
    _means(right, found)
    return figure


def _levels(axes: Axes, found: Ranking) -> None:
    places = np.arange(len(found.tones_hz))
    ends: list[End] = []
    for k, design in enumerate(found.designs):
        style = {**opening_style(k), "marker": _SIGNS[k % len(_SIGNS)], "markersize": 5, "clip_on": False}
        axes.plot(places, design.spl_db, **style)
        ends.append((design.spl_db[-1], design.name, opening_style(k)))
    low = min(min(d.spl_db) for d in found.designs)
    high = max(max(d.spl_db) for d in found.designs)
    room = max(1.0, 0.08 * (high - low))
    axes.set_xlim(-0.15, len(places) - 1 if len(places) > 1 else 0.5)
    axes.set_ylim(low - room, high + room)
    axes.set_xticks(places, [f"{tidy(t, 4)}" for t in found.tones_hz.tolist()])
    _grid(axes)
    axes.set_xlabel("tone, full size (Hz)" if any(c.scale != 1 for c in found.cases) else "tone (Hz)")
    axes.set_ylabel("level (dB re 20 µPa)")
    end_labels(axes, ends)


def _means(axes: Axes, found: Ranking) -> None:
    """Draw each mean with a bar of what moves it, in the order of the ranking."""
    for k, design in enumerate(found.designs):
        style = opening_style(k)
        bar: dict[str, Any] = {"color": style["color"], "linewidth": 1.6}
        axes.plot([k, k], [design.mean_spl_db - design.moves_db, design.mean_spl_db + design.moves_db], **bar)
        sign = _SIGNS[k % len(_SIGNS)]
        axes.plot([k], [design.mean_spl_db], sign, color=style["color"], markersize=6)
        text = f"{design.mean_spl_db:.1f}"
        above = design.mean_spl_db + design.moves_db
        axes.annotate(text, (k, above), (0, 3), textcoords="offset points", ha="center", fontsize=7.5, color=INK)
    tops = [d.mean_spl_db + d.moves_db for d in found.designs]
    floors = [d.mean_spl_db - d.moves_db for d in found.designs]
    room = max(0.3, 0.12 * (max(tops) - min(floors)))
    axes.set_ylim(min(floors) - room, max(tops) + 2 * room)
    axes.set_xlim(-0.6, len(found.designs) - 0.4)
    places = [f"{d.place}" for d in found.designs]
    axes.set_xticks(range(len(places)), places)
    _grid(axes)
    axes.set_xlabel("place")
    axes.set_ylabel("mean (dB)")


def _grid(axes: Axes) -> None:
    axes.grid(True, axis="y", color="#dde2e6", linewidth=0.7)
    axes.set_axisbelow(True)
    axes.tick_params(length=3, color=SOFT)

