"""The report folder: built in memory first, then put in place; a failure leaves what was there as it was."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from airpath.findings.predict import Prediction
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.report.figures.curves import curve_drawings
from airpath.report.files import csv_text, json_file, picture_files
from airpath.report.folder import write_whole
from airpath.report.pages.page import page
from airpath.report.sketching.sketch import sketch
from airpath.report.style import styled, svg

if TYPE_CHECKING:
    from matplotlib.figure import FigureBase

_FIGURES = ("sketch", "impedance", "excursion", "level", "air-speed", "room")


def write_report(
    prediction: Prediction, folder: Path, sweep: MeasuredSweep | None = None, *, pdf: bool = False
) -> list[Path]:
    """Write result.json, curves.csv, the figures (PNG and SVG) and report.html; return their paths.

    ``sweep``: measured, drawn over the impedance; ``pdf``: report.pdf for paper as well.

    Files of an earlier report are replaced, files of others stay. Raises AirpathError when the folder can't be written.
    """
    drawn = figures(prediction, sweep)
    vectors = {name: svg(figure) for name, figure in drawn.items()}
    content = {
        "result.json": json_file(prediction.to_dict()),
        "curves.csv": curves_csv(prediction).encode(),
        **picture_files(drawn, vectors),
        "report.html": page(prediction, vectors, sweep).encode(),
    }
    if pdf:
        from airpath.report.pages.printed import report_pdf

        content["report.pdf"] = report_pdf(prediction, sweep)
    earlier = [f"{name}.{kind}" for name in _FIGURES for kind in ("png", "svg")]
    return write_whole(content, folder, ["report.pdf", *earlier])


def figures(prediction: Prediction, sweep: MeasuredSweep | None = None) -> dict[str, FigureBase]:
    """Return every figure by its file name: sketch, impedance, excursion, level, air-speed."""
    with styled():
        curves = {name: draw(prediction, None) for name, (_, draw) in curve_drawings(prediction, sweep).items()}
        return {"sketch": sketch(prediction.case), **curves}


def curves_csv(prediction: Prediction) -> str:
    """Return the curves as CSV with one header line; the end of each name is its unit (SI, dB, degrees)."""
    first = next(iter(prediction.responses.values()))
    columns = {"frequency_hz": first.frequency}
    if prediction.case.scale != 1:
        columns["full_size_frequency_hz"] = first.frequency / prediction.case.scale
    for model, r in prediction.responses.items():
        columns[f"{model}.impedance_ohm"] = np.abs(r.impedance)
        columns[f"{model}.impedance_phase_deg"] = np.degrees(np.angle(r.impedance))
        columns[f"{model}.excursion_peak_m"] = r.excursion_peak
        columns[f"{model}.loading_db"] = r.loading_db
        columns[f"{model}.spl_db"] = r.spl_db
        for name, opening in r.openings.items():
            share = r.share_db(name)
            if share is not None:
                columns[f"{model}.{name}.spl_db"] = share + r.spl_db
            if name != "cone":
                columns[f"{model}.{name}.air_speed_peak_m_s"] = opening.air_speed_peak
    return csv_text(columns, digits=9)
