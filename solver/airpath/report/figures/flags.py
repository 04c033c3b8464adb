"""Numbered flags: every feature of an impedance on its curve, its number in a row above, none on top of another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from airpath.findings.explaining.explain import Feature
from airpath.report.figures.frame import headroom, inches, spread
from airpath.report.style import CAUSES, INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_WIDE, _TALL, _SLOPE = 0.2, 0.19, 0.16  # in: a number's box, and the bent part of its line
_FULL = 0.8  # of a row, at most
_BOX = {"facecolor": "white", "linewidth": 1.3, "boxstyle": "round,pad=0.18"}


def draw_flags(axes: Axes, features: Sequence[Feature], taken: float) -> None:
    """Draw the flags of the features, in order of frequency; ``taken``: what is used at the top of the axes [in]."""
    if not features:
        return
    wide, tall = inches(axes)
    rows = int(np.ceil(len(features) * _WIDE / (_FULL * wide)))
    strip = rows * _TALL + _SLOPE + 0.04
    headroom(axes, strip / (tall - taken))
    low, high = axes.get_xlim()
    feet = np.array([f.frequency_hz for f in features])
    true = np.log(feet / low) / np.log(high / low)
    room = 0.5 * _WIDE / wide
    heads = spread(true, _WIDE / rows / wide, room, 1 - room)
    bottom = 1 - (taken + rows * _TALL) / tall
    for number, (feature, foot, head) in enumerate(zip(features, true, heads, strict=True), 1):
        look = CAUSES[feature.cause.type]
        row = (number - 1) % rows
        level = 1 - (taken + (row + 0.5) * _TALL) / tall
        point = axes.transData.transform((feature.frequency_hz, feature.impedance_ohm))
        at = axes.transAxes.inverted().transform(point)
        axes.plot(
            [head, head, foot, foot], [level, bottom, bottom - _SLOPE / tall, at[1]], color=look.colour, linewidth=0.7,
            alpha=0.75, zorder=2.2, transform=axes.transAxes,
        )  # fmt: skip
        axes.plot(
            [foot], [at[1]], marker=look.sign, color=look.colour, markersize=8 if look.sign == "*" else 5,
            markeredgecolor="white", markeredgewidth=0.5, zorder=4, transform=axes.transAxes, clip_on=False,
        )  # fmt: skip
        axes.text(
            head, level, str(number), transform=axes.transAxes, ha="center", va="center", fontsize=7.5, color=INK,
            zorder=5, bbox={**_BOX, "edgecolor": look.colour},
        )  # fmt: skip
