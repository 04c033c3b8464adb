"""The folder and the page of ``cover``: the matrix, the curves that matter, a table of every state."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from airpath.case.media import case_air
from airpath.findings.airspeed import SPEED_LIMIT_SHARE, fastest_way
from airpath.findings.designs.cover import Covering
from airpath.findings.designs.covertext import EQUAL_DB, state_name
from airpath.network.response import SILENT_DB
from airpath.report.figures.covers import (
    curve_names,
    excursion_curves,
    impedance_curves,
    level_curves,
    matrix,
)
from airpath.report.files import csv_text, json_file, picture_files
from airpath.report.folder import write_whole
from airpath.report.style import plain, signed, styled, svg, tidy
from airpath.report.templating import embedded, render

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase


def write_covering(found: Covering, folder: Path) -> list[Path]:
    """Write cover.json, cover.csv, cover.html and the pictures (PNG and SVG); return their paths.

    Raises AirpathError when the folder can't be written.
    """
    drawn = cover_pictures(found)
    vectors = {name: svg(figure) for name, figure in drawn.items()}
    content = {
        "cover.json": json_file(found.to_dict()),
        "cover.csv": cover_csv(found).encode(),
        **picture_files(drawn, vectors),
        "cover.html": cover_page(found, vectors).encode(),
    }
    return write_whole(content, folder)


def cover_pictures(found: Covering) -> dict[str, FigureBase]:
    """Return every picture by its file name."""
    with styled():
        return {
            "cover-matrix": matrix(found), "cover-level": level_curves(found),
            "cover-impedance": impedance_curves(found), "cover-excursion": excursion_curves(found),
        }  # fmt: skip


def cover_csv(found: Covering) -> str:
    """Return the curves of every state as CSV; a column's name is what is covered, the quantity and its unit."""
    band = found.band
    columns = {"frequency_hz": band.frequency}
    if found.case.scale != 1:
        columns["full_size_frequency_hz"] = band.frequency / found.case.scale
    for i, state in enumerate(found.states):
        name = "+".join(state.covered) or "all open"
        columns[f"{name}.spl_db"] = band.spl_db[i]
        columns[f"{name}.change_db"] = band.spl_db[i] - band.spl_db[0]
        columns[f"{name}.impedance_ohm"] = np.abs(band.impedance[i])
        columns[f"{name}.impedance_phase_deg"] = np.degrees(np.angle(band.impedance[i]))
        columns[f"{name}.excursion_peak_m"] = band.excursion_peak[i]
        columns[f"{name}.loading_db"] = band.loading_db[i]
        for way, speed in band.air_speed_peak.items():
            if way not in state.covered:
                columns[f"{name}.{way}.air_speed_peak_m_s"] = speed[i]
    return csv_text(columns, digits=7)


def cover_page(found: Covering, vectors: dict[str, bytes]) -> str:
    """Return the page; ``vectors``: the pictures as SVG by name."""
    case = found.case
    many = len(found.states)
    states = [_state(found, i) for i in range(many)]
    return render(
        "cover.html",
        title=case.title or case.name,
        case=case,
        found=found,
        tones=[(tidy(t, 4), tidy(t / case.scale, 4)) for t in found.tones_hz.tolist()],
        states=states,
        beyond=any(tone["beyond"] for state in states for tone in state["tones"]),
        curves=[(name, state_name(case, found.states[i].covered)) for i, name in curve_names(found).items()],
        left_out=many - len(found.shown),
        equal=tidy(EQUAL_DB),
        sources={name: embedded(vector) for name, vector in vectors.items()},
    )


def _state(found: Covering, i: int) -> dict[str, Any]:
    state = found.states[i]
    silent = max(state.spl_db) < SILENT_DB
    return {
        "name": ", ".join(state.covered) or "none",
        "text": state.text,
        "mean": "silent" if silent else f"{state.mean_spl_db:.1f} dB",
        "mean_change": "" if silent or not i else f"{signed(state.mean_change_db)} dB",
        "best_mean": i == found.best_mean and len(found.states) > 1,
        "tones": [_tone(found, i, j) for j in range(len(found.tones_hz))],
    }


def _tone(found: Covering, i: int, j: int) -> dict[str, Any]:
    state, case = found.states[i], found.case
    travel = state.excursion_peak_m[j]
    fastest = fastest_way(case, {name: speeds[j] for name, speeds in state.air_speed_peak_m_s.items()})
    limit = SPEED_LIMIT_SHARE * case_air(case).sound_speed
    return {
        "level": "silent" if state.spl_db[j] < SILENT_DB else f"{state.spl_db[j]:.1f} dB",
        "change": "" if not i or state.spl_db[j] < SILENT_DB else f"{signed(state.change_db[j])} dB",
        "best": found.best[j] == i and len(found.states) > 1,
        "impedance": f"{plain(state.impedance_ohm[j])} Ω",
        "excursion": f"{plain(travel * 1e3, 2)} mm",
        "held": f"{signed(state.loading_db[j])} dB",
        "beyond": case.driver.xmax is not None and travel > case.driver.xmax,
        "air": None if fastest is None else f"{plain(fastest[1], 2)} m/s in {fastest[0]}",
        "fast": fastest is not None and fastest[1] > limit,
    }
