"""The folder and the page of ``explain``: every feature with its cause, in pictures, a table and plain words."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from airpath.findings.explaining.explain import Feature
from airpath.findings.explaining.explanation import Explanation
from airpath.findings.explaining.sensitivity import Sensitivity
from airpath.findings.explaining.work import Held, Near
from airpath.findings.wording import capital, listing, percent
from airpath.report.figures.causes import before_and_after, energy_bars, numbered_impedance, who_works
from airpath.report.figures.interactive import Charts, Flag, charts
from airpath.report.figures.overlay import with_measured
from airpath.report.files import json_file, picture_files
from airpath.report.folder import write_whole
from airpath.report.style import CAUSES, plain, signed, styled, svg, tidy
from airpath.report.templating import embedded, render, scripts

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

    from airpath.measured.compare import Comparison

_PARTS = 3  # of the energy, and of what moves a feature, in the table
_PICTURES = ("impedance-explained", "energy", "work", "advice-*")
_WAYS = {"with": "in step", "against": "against it", "aside": "neither in step nor against it"}


def write_explanation(found: Explanation, folder: Path, beside: Comparison | None = None) -> list[Path]:
    """Write explain.json, explain.html and the pictures (PNG and SVG); return their paths.

    ``beside``: a measured sweep compared with the explained case.

    Raises AirpathError when the folder can't be written.
    """
    drawn = pictures(found, beside)
    vectors = {name: svg(figure) for name, figure in drawn.items()}
    content = {
        "explain.json": json_file((beside or found).to_dict()),
        **picture_files(drawn, vectors),
        "explain.html": explain_page(found, vectors, beside).encode(),
    }
    return write_whole(content, folder, [f"{name}.{kind}" for name in _PICTURES for kind in ("png", "svg")])


def pictures(found: Explanation, beside: Comparison | None = None) -> dict[str, FigureBase]:
    """Return every picture by its file name; advice-3-1 is the first advice for feature 3."""
    sweep = None if beside is None else beside.sweep
    with styled():
        drawn: dict[str, FigureBase] = {"impedance-explained": numbered_impedance(found, sweep)}
        if any(feature.shares for feature in found.features):
            drawn["energy"] = energy_bars(found)
        if len(found.work.share) > 1:
            drawn["work"] = who_works(found)
        for number, feature in enumerate(found.features, 1):
            for i, advice in enumerate(feature.advice, 1):
                drawn[f"advice-{number}-{i}"] = before_and_after(found, number, advice)
    return drawn


def explain_page(found: Explanation, vectors: dict[str, bytes], beside: Comparison | None = None) -> str:
    """Return the page; ``vectors``: the pictures as SVG by name."""
    case, drawn = found.case, flagged_charts(found)
    return render(
        "explain.html",
        title=case.title or case.name,
        case=case,
        found=found,
        counted=_counted(found),
        features=[_row(found, number) for number in range(1, len(found.features) + 1)],
        causes=[CAUSES[kind] for kind in CAUSES if any(f.cause.type == kind for f in found.features)],
        tones=[_tone(tone, case.scale) for tone in found.tones],
        sources={name: embedded(vector) for name, vector in vectors.items()},
        measured=beside,
        charts=(drawn if beside is None else with_measured(drawn, beside.sweep)).to_json(),
        scripts=scripts(),
        signs=_signs(),
    )


def _counted(found: Explanation) -> str:
    """Return how many features of each kind there are, in words: 2 peaks and 1 dip."""
    kinds = [feature.kind for feature in found.features]
    several = {"peak": "peaks", "dip": "dips", "ripple": "ripples"}
    return listing([
        f"{kinds.count(kind)} {several[kind] if kinds.count(kind) > 1 else kind}" for kind in several if kind in kinds
    ]) if kinds else ""  # fmt: skip


def flagged_charts(found: Explanation) -> Charts:
    """Return the interactive impedance with a flag on every feature."""
    drawn = charts(found.case, found.responses, np.array(found.case.tones))
    return drawn.only("impedance").with_flags(flags(found.features))


def flags(features: list[Feature]) -> list[Flag]:
    """Return the features as flags for a chart, numbered from 1."""
    return [
        Flag(number=number, frequency=f.frequency_hz, impedance=f.impedance_ohm, colour=CAUSES[f.cause.type].colour,
             marker=CAUSES[f.cause.type].marker, words=f.cause.text,
             heading=f"{f.kind} at {tidy(f.frequency_hz, 4)} Hz, {plain(f.impedance_ohm)} Ω")
        for number, f in enumerate(features, 1)
    ]  # fmt: skip


def _row(found: Explanation, number: int) -> dict[str, Any]:
    """Return the cells of one feature."""
    feature, scale = found.features[number - 1], found.case.scale
    parts = sorted(feature.shares.items(), key=lambda item: -item[1].total)[:_PARTS]
    return {
        "number": number,
        "kind": feature.kind,
        "hz": f"{tidy(feature.frequency_hz, 4)} Hz",
        "full_hz": f"{tidy(feature.frequency_hz / scale, 4)} Hz",
        "impedance": f"{plain(feature.impedance_ohm)} Ω",
        "q": "no resonance" if feature.q is None else f"Q {plain(feature.q, 2)}",
        "style": CAUSES[feature.cause.type],
        "text": feature.cause.text,
        "evidence": _sentence(feature.evidence),
        "seen_by": feature.seen_by,
        "energy": [(name, _part(share.total)) for name, share in parts if share.total >= 0.01],
        "moved": [(s.parameter, _slope(s)) for s in feature.sensitivity[:_PARTS]],
        "advice": [(f"advice-{number}-{i}", advice) for i, advice in enumerate(feature.advice, 1)],
    }


def _part(share: float) -> str:
    """Return a share of the energy in percent; beside a close neighbour a damped resonance may give one part over 1."""
    return percent(share) if share < 1.005 else "nearly all (another resonance overlaps)"


def _slope(turn: Sensitivity) -> str:
    return turn.slope.replace("-", "−").replace("*", "·").replace("^2", "²").replace("^3", "³")


def _sentence(phrases: list[str]) -> str:
    text = "; ".join(phrases)
    return f"{capital(text)}." if text else ""


def _tone(tone: Held, scale: float) -> dict[str, Any]:
    """Return the cells of one tone."""
    workers = sorted(tone.openings.items(), key=lambda item: -item[1].share)
    return {
        "hz": f"{tidy(tone.frequency_hz, 4)} Hz",
        "full_hz": f"{tidy(tone.frequency_hz / scale, 4)} Hz",
        "held": f"{signed(tone.loading_db)} dB",
        "workers": [
            (name, percent(worker.share), "" if i == 0 else _WAYS[worker.way])
            for i, (name, worker) in enumerate(workers)
        ],
        "peak": _near(tone.peak),
        "dip": _near(tone.dip),
        "text": tone.text,
    }


def _near(near: Near | None) -> tuple[str, str]:
    if near is None:
        return "–", "none within an octave"
    return f"number {near.number}", f"{_signed(near.distance_hz)} Hz ({_signed(near.distance_percent)} %)"


def _signed(value: float) -> str:
    return f"{'+' if value > 0 else ''}{plain(value, 2)}"


def _signs() -> dict[str, str]:
    """Return each marker as an SVG path in a square from -8 to 8, for keys and tables."""
    from matplotlib.markers import MarkerStyle

    out = {}
    for style in CAUSES.values():
        marker = MarkerStyle(style.sign)
        path = marker.get_path().transformed(marker.get_transform())
        corners = np.array(path.to_polygons()[0], float)
        points = (corners / np.abs(corners).max() * (7, -7)).round(2).tolist()
        out[style.marker] = "M" + "L".join(f"{x} {y}" for x, y in points) + "Z"
    return out
