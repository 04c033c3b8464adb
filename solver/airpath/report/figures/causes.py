"""The pictures of ``explain``: numbered features, where their energy is, who moves the air, before and after advice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from airpath.findings.advising.advice import Advice
from airpath.findings.explaining.explain import Feature
from airpath.findings.explaining.explanation import Explanation
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.report.figures.flags import draw_flags
from airpath.report.figures.frame import End, end_labels, frame, mark_tones
from airpath.report.figures.overlay import measured_rings
from airpath.report.style import COLOURS, INK, MODEL_STYLE, SOFT, WIDTH, blank, opening_style, shortened, tidy

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import FigureBase

WIDE = 7.2  # in
_ROW = 0.27  # in, a bar with its gap
_HATCHES = ("", "////", "\\\\\\\\", "xxx")
_LETTER = 0.068  # in
_AROUND = 1.3  # around a feature and where it goes: the band of the picture


def numbered_impedance(found: Explanation, sweep: MeasuredSweep | None = None) -> FigureBase:
    """Draw the impedance [ohm] in every fidelity, with each feature of the explained one numbered, and a sweep."""
    best = found.responses[found.model]
    figure, (axes,) = frame(found.case, best.frequency, 4.3, width=WIDE, names=0.95)
    ends: list[End] = []
    for name, response in found.responses.items():
        style: dict[str, Any] = {"color": INK, "linestyle": "solid", "linewidth": 1.5}
        if name != found.model:
            style = {"color": "#7f8b96", "linestyle": MODEL_STYLE[name]["linestyle"], "linewidth": 1.0}
        size = np.abs(response.impedance)
        axes.plot(response.frequency, size, **style)
        ends.append((size[-1], name, style))
    if sweep is not None:
        measured_rings(axes, sweep)
    axes.set_ylim(0, None)
    axes.set_ylabel("impedance (Ω)")
    taken = mark_tones(axes, np.array(found.case.tones))
    draw_flags(axes, found.features, taken)
    end_labels(axes, ends)
    return figure


def energy_bars(found: Explanation) -> FigureBase:
    """Draw one bar per feature: the share of each part in its energy; dark is motion, light is pressure."""
    parts = parts_of(found)
    lines = -(-len(parts) // 4)
    height = _ROW * len(found.features) + 0.22 * lines + 0.62
    figure = blank(WIDTH, height)
    left, top = 0.95 / WIDTH, 1 - (0.22 * lines + 0.12) / height
    axes = figure.add_axes((left, 0.42 / height, 0.97 - left, top - 0.42 / height))
    wide = (0.97 - left) * WIDTH
    for row, feature in enumerate(found.features):
        _bar(axes, row, feature, parts, wide)
    axes.set_yticks(range(len(found.features)))
    axes.set_yticklabels([f"{n}: {tidy(f.frequency_hz, 4)} Hz" for n, f in enumerate(found.features, 1)], fontsize=8)
    axes.set_ylim(len(found.features) - 0.45, -0.55)
    axes.set_xlim(0, 100)
    axes.set_xlabel("share of the energy (%)", labelpad=2)
    axes.tick_params(length=0)
    axes.spines[["top", "right", "left"]].set_visible(False)
    _parts_key(figure, parts)
    return figure


def parts_of(found: Explanation) -> list[str]:
    """Return every part with some share of a feature's energy, in the order of the case."""
    case = found.case
    held = {name for feature in found.features for name, share in feature.shares.items() if share.total >= 0.005}
    order = ["driver", *case.chambers, *case.ports, *case.horns]
    return [*(n for n in order if n in held), *sorted(held - set(order))]


def who_works(found: Explanation) -> FigureBase:
    """Draw the share of each opening in the moved air over frequency, and how far they move together."""
    work = found.work
    figure, (top, bottom) = frame(found.case, work.frequency_hz, 3.6, (0.7, 0.3))
    ends: list[End] = []
    upper = 100 * np.cumsum(list(work.share.values()), axis=0)
    for i, name in reversed(list(enumerate(work.share))):  # each over the one above it
        style = opening_style(i)
        top.fill(
            [work.frequency_hz[0], *work.frequency_hz, work.frequency_hz[-1]], [0, *upper[i], 0], edgecolor="white",
            facecolor=style["color"], linewidth=0.5, hatch=_HATCHES[i % len(_HATCHES)], zorder=1.5,
        )  # fmt: skip
        middle = float(upper[i, -1]) - 50 * float(work.share[name][-1])
        ends.append((middle, name, {"color": style["color"], "linewidth": 2.0}))
    top.set_ylim(0, 100)
    top.set_yticks(range(0, 101, 25))
    top.set_ylabel("moved air (%)")
    bottom.plot(work.frequency_hz, work.together, color=INK, linewidth=1.3)
    bottom.set_ylim(-0.03, 1.05)
    bottom.set_yticks([0, 0.5, 1])
    bottom.set_ylabel("together")
    mark_tones(top, np.array(found.case.tones))
    mark_tones(bottom, np.array(found.case.tones), named=False)
    end_labels(top, ends)
    return figure


def before_and_after(found: Explanation, number: int, advice: Advice) -> FigureBase:
    """Draw impedance [ohm] and level [dB] around a feature as the case is, and with the advice followed."""
    feature, before = found.features[number - 1], found.responses[found.model]
    places = [feature.frequency_hz, *([] if advice.becomes_hz is None else [advice.becomes_hz])]
    tones = np.array(found.case.tones)
    near = tones[(tones > min(places) / _AROUND) & (tones < max(places) * _AROUND)].tolist()
    low, high = min(*places, *near) / _AROUND, max(*places, *near) * _AROUND
    seen = (before.frequency > low) & (before.frequency < high)
    figure, (top, bottom) = frame(found.case, before.frequency[seen], 3.4, (0.55, 0.45))
    looks: tuple[dict[str, Any], ...] = (
        {"color": "#7f8b96", "linestyle": (0, (4, 1.5)), "linewidth": 1.4},
        {"color": INK, "linestyle": "solid", "linewidth": 1.6},
    )
    ends: dict[Axes, list[End]] = {top: [], bottom: []}
    for response, name, style in zip((before, advice.response), ("as it is", "changed"), looks, strict=True):
        for axes, values in ((top, np.abs(response.impedance)[seen]), (bottom, response.spl_db[seen])):
            axes.plot(response.frequency[seen], values, **style)
            ends[axes].append((values[-1], name, style))
    for axes, words in ((top, "impedance (Ω)"), (bottom, "level (dB)")):
        axes.margins(y=0.16)
        axes.set_ylabel(words)
        mark_tones(axes, np.array(near), named=axes is top)
        end_labels(axes, ends[axes])
    top.annotate(
        str(number), (feature.frequency_hz, feature.impedance_ohm), textcoords="offset points", ha="center",
        xytext=(13, -7 if feature.kind == "dip" else 7), va="center", fontsize=8, zorder=5, color=INK,
        bbox={"facecolor": "white", "edgecolor": SOFT, "boxstyle": "round,pad=0.15"},
    )  # fmt: skip
    return figure


def _bar(axes: Axes, row: int, feature: Feature, parts: list[str], wide: float) -> None:
    if not feature.shares:
        axes.text(1, row, "nothing rings here", va="center", fontsize=8, color=SOFT)
        return
    start = 0.0
    for part in parts:
        share = feature.shares.get(part)
        if share is None:
            continue
        colour, hatch = _part_look(parts.index(part))
        for value, alpha in ((max(0.0, share.kinetic), 1.0), (max(0.0, share.potential), 0.5)):
            axes.barh(row, 100 * value, left=start, height=0.72, color=colour, alpha=alpha, hatch=hatch,
                      edgecolor="white", linewidth=0.0)  # fmt: skip
            start += 100 * value
        axes.plot([start, start], [row - 0.36, row + 0.36], color="white", linewidth=1.2)
        words = f"{shortened(part, 14)} {100 * min(1.0, share.total):.0f} %"
        if share.total * wide > len(words) * _LETTER + 0.06:
            axes.text(start - 50 * share.total, row, words, ha="center", va="center", fontsize=7.5,
                      bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.8})  # fmt: skip


def _part_look(index: int) -> tuple[str, str]:
    return COLOURS[index % len(COLOURS)], _HATCHES[(index // len(COLOURS)) % len(_HATCHES)]


def _parts_key(figure: FigureBase, parts: list[str]) -> None:
    from matplotlib.patches import Patch

    looks = [_part_look(i) for i in range(len(parts))]
    handles = [
        Patch(facecolor=colour, hatch=hatch, edgecolor="white", label=shortened(part, 18))
        for part, (colour, hatch) in zip(parts, looks, strict=True)
    ]
    figure.legend(handles=handles, loc="upper left", ncols=4, frameon=False, fontsize=8, borderaxespad=0.1,
                  handlelength=1.2, columnspacing=1.2)  # fmt: skip
