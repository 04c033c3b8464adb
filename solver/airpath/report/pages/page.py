"""The report page: one HTML file that needs nothing else, for a desk, a phone and a printer."""

from __future__ import annotations

from airpath.findings.clean import CLEAN_NOTE
from airpath.findings.predict import Prediction
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.report.cells import alternative, assumptions, caption, port_cells, room_note, summary, tone_cells
from airpath.report.figures.interactive import charts
from airpath.report.figures.overlay import with_measured
from airpath.report.templating import embedded, render, scripts


def page(prediction: Prediction, vectors: dict[str, bytes], sweep: MeasuredSweep | None = None) -> str:
    """Return the page; ``vectors``: figures as SVG by their name in the report folder; ``sweep``: measured."""
    drawn = charts(prediction.case, prediction.responses, prediction.tones_hz)
    return render(
        "predict.html",
        prediction=prediction,
        case=prediction.case,
        title=prediction.case.title or prediction.case.name,
        summary=summary(prediction),
        tones=[tone_cells(prediction, row) for row in prediction.best_tones()],
        ports=[port_cells(prediction, name, row) for name, row in prediction.ports.items()],
        figures=[
            {"name": name, "source": embedded(data), "caption": caption(prediction, name, sweep),
             "alt": alternative(prediction, name)}
            for name, data in vectors.items()
        ],
        room_note=room_note(prediction.doors) if prediction.doors else "",
        assumed=assumptions(prediction),
        clean_note=CLEAN_NOTE,
        charts=(drawn if sweep is None else with_measured(drawn, sweep)).to_json(),
        scripts=scripts(),
    )
