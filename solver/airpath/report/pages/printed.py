"""The report on paper: what the page says, as PDF in A4."""

from __future__ import annotations

from airpath.findings.clean import CLEAN_NOTE
from airpath.findings.predict import Prediction
from airpath.findings.wording import capital
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.report.cells import assumptions, caption, port_cells, room_note, summary, tone_cells
from airpath.report.figures.curves import curve_drawings
from airpath.report.pages.paper import Paper
from airpath.report.sketching.sketch import sketch
from airpath.report.style import SOFT, plain, signed, size_of, styled, tidy

_LOWER = 0.78  # of the height on a screen: two curves go on a page
_OVER = ", over the limit"
_FOOT = "A calculation is no permit: before loud or long use, follow local rules on noise and mains wiring."


def report_pdf(prediction: Prediction, sweep: MeasuredSweep | None = None) -> bytes:
    """Return the report as PDF."""
    return report_paper(prediction, sweep).pdf()


def report_paper(prediction: Prediction, sweep: MeasuredSweep | None = None) -> Paper:
    """Return the report's pages: cautions first, then tones, ports, curves and what was assumed."""
    case = prediction.case
    paper = Paper(title=case.title or case.name, foot=_FOOT)
    with styled():
        paper.heading(paper.title, 16.0)
        if prediction.warnings:
            paper.heading("Read this before switching on", 11.0)
            for warning in prediction.warnings:
                paper.paragraph(warning, indent=0.12, bar=True)
        paper.paragraph(summary(prediction))
        if case.notes:
            paper.paragraph(case.notes, color=SOFT)
        if case.scale != 1:
            paper.paragraph(
                f"The case is a model at 1:{tidy(case.scale)}. Full-size frequencies are those of the model divided by "
                f"{tidy(case.scale)}."
            )
        paper.figure(size_of(sketch(case))[1], lambda on: sketch(case, on), caption(prediction, "sketch"))
        _tones(paper, prediction)
        _room(paper, prediction)
        _clean(paper, prediction)
        _ports(paper, prediction)
        _curves(paper, prediction, sweep)
        paper.heading("What was assumed")
        for subject, sentences in assumptions(prediction):
            paper.paragraph(f"{subject}: {' '.join(sentences)}", 8.5)
    return paper


def _tones(paper: Paper, prediction: Prediction) -> None:
    paper.heading("Tones")
    if prediction.tones_text:
        paper.paragraph(prediction.tones_text, color=SOFT)
    scaled = prediction.case.scale != 1
    rows = []
    for tone in (tone_cells(prediction, row) for row in prediction.best_tones()):
        shares = "\n".join(f"{name} {share}" for name, share, _ in tone["shares"])
        speeds = "\n".join(f"{name} {speed}{_OVER if over else ''}" for name, speed, over in tone["speeds"])
        full_size = f"\nfull size {tone['full_hz']} Hz" if scaled else ""
        of_xmax = f"\n{tone['of_xmax']}" if tone["of_xmax"] else ""
        rows.append([
            f"{tone['hz']} Hz{full_size}", f"{tone['impedance']}\n{tone['phase']}", f"{tone['excursion']}{of_xmax}",
            tone["held"], tone["level"], shares, speeds or "no openings", tone["verdict"],
        ])  # fmt: skip
    names = ("Tone", "Impedance", "Excursion, peak", "Against free air", "Level", "Alone, against the sum",
             "Air speed, peak", "In words")  # fmt: skip
    paper.table(names, (1.02, 1.02, 1.02, 0.8, 0.72, 1.15, 1.17, 1.6), rows)


def _room(paper: Paper, prediction: Prediction) -> None:
    doors = prediction.doors
    if doors is None:
        return
    paper.heading("The room")
    rows = []
    for state in doors.states:
        levels = [
            f"{level:.1f} dB\n{signed(gain)} dB\nformula {signed(formula)}"
            for level, gain, formula in zip(state.spl_db, state.gain_db, state.closed_form_db, strict=True)
        ]
        near = f"{plain(state.helmholtz_hz)} Hz" if state.helmholtz_hz else "–"
        rows.append([state.label, near, *levels, f"{capital(state.text)}."])
    names = ("Door", "Rings near (closed form)", *(f"{tidy(tone, 4)} Hz" for tone in doors.tones_hz), "In words")
    paper.table(names, (1.0, 1.0, *(0.95 for _ in doors.tones_hz), 2.0), rows)
    paper.space(0.05)
    paper.paragraph(room_note(doors), 8.0, color=SOFT)


def _clean(paper: Paper, prediction: Prediction) -> None:
    rows = [
        [f"{tidy(row.frequency_hz, 4)} Hz", f"{row.spl_db:.1f} dB", f"{plain(row.voltage_v)} V",
         f"{plain(row.power_w)} W", row.reached]
        for row in prediction.clean
        if row.spl_db is not None and row.voltage_v is not None and row.power_w is not None
    ]  # fmt: skip
    if not rows:
        return
    paper.heading("Maximum clean level")
    paper.table(("Tone", "Level", "Voltage", "Power into Re", "What is reached first"), (0.8, 0.8, 0.8, 1, 3), rows)
    paper.space(0.05)
    paper.paragraph(CLEAN_NOTE, 8.0, color=SOFT)


def _ports(paper: Paper, prediction: Prediction) -> None:
    if not prediction.ports:
        return
    paper.heading("Ports")
    rows = []
    for port in (port_cells(prediction, name, row) for name, row in prediction.ports.items()):
        full_size = f"\nfull size {port['full_tuning']}" if port["full_tuning"] else ""
        rows.append([
            port["name"], port["length"], "\n".join(port["ends"]), port["tuning"] + full_size, port["pipes"],
            f"{port['speed']}{_OVER if port['over'] else ''}\nlimit {port['limit']}", port["verdict"],
        ])  # fmt: skip
    names = ("Port", "Effective length", "End corrections", "Tuning", "Rings as a pipe at", "Air speed, peak",
             "In words")  # fmt: skip
    paper.table(names, (0.8, 0.75, 1.35, 1.2, 1.1, 0.95, 1.7), rows)
    paper.space(0.05)
    paper.paragraph(
        "The limit of 5 % of the sound speed is common practice. "
        "Pipe resonances are those of the whole box, or of the port alone where no wave of the box is mostly its own.",
        8.0, color=SOFT,
    )  # fmt: skip


def _curves(paper: Paper, prediction: Prediction, sweep: MeasuredSweep | None) -> None:
    drawings = {name: (_LOWER * height, draw) for name, (height, draw) in curve_drawings(prediction, sweep).items()}
    paper.heading("Curves", keep=max(height for height, _ in drawings.values()) + 0.4)
    for name, (height, draw) in drawings.items():
        below = caption(prediction, name, sweep)
        paper.figure(height, lambda on, draw=draw: draw(prediction, on), below)  # type: ignore[misc]
