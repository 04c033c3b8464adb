"""The folder of a fit: result, fitted case, figures and page."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from airpath.case import parse
from airpath.case.edit import edited
from airpath.case.schema import Case
from airpath.errors import CaseError
from airpath.findings.wording import listing
from airpath.measured.fitting.fitresult import FitCurve, FitResult
from airpath.measured.fitting.fitwords import columns
from airpath.report.figures.fitfigures import fit_figures
from airpath.report.files import json_file, picture_files
from airpath.report.folder import write_whole
from airpath.report.style import plain, svg
from airpath.report.templating import embedded, render


def write_fit(result: FitResult, folder: Path) -> list[Path]:
    """Write fit.json, the fitted case, the figures (PNG and SVG) and fit.html; return their paths.

    Raises AirpathError when the folder can't be written.
    """
    figures = fit_figures(result)
    vectors = {name: svg(figure) for name, figure in figures.items()}
    case = {} if result.before.source is None else {f"{result.before.name}-fitted.toml": fitted_case(result, folder)}
    content = {
        "fit.json": json_file(result.to_dict()),
        **{name: text.encode() for name, text in case.items()},
        **picture_files(figures, vectors),
        "fit.html": page(result, vectors, next(iter(case), "")).encode(),
    }
    return write_whole(content, folder)


def fitted_case(result: FitResult, folder: Path) -> str:
    """Return the case file's text with the fitted values, for a file in ``folder``: comments stay, paths are led back.

    Raises CaseError if the fitted values make no valid case.
    """
    source = result.before.source
    assert source is not None
    text = result.written(source.read_text(encoding="utf-8-sig"))
    try:
        parse(text, source)
    except CaseError as error:
        raise CaseError(f"the fitted values make no valid case: {error}") from None
    return edited(text, _paths(result.before, folder))


def _paths(case: Case, folder: Path) -> dict[tuple[str | int, ...], str]:
    """Return the files that a case names, as seen from another folder."""
    named: dict[tuple[str | int, ...], str | None] = {("measured",): case.measured}
    named |= {("chambers", name, "outline"): chamber.outline for name, chamber in case.chambers.items()}
    named |= {("horns", name, "outline"): horn.outline for name, horn in case.horns.items()}
    return {
        path: Path(os.path.relpath(case.resolve(file), folder)).as_posix()
        for path, file in named.items()
        if file is not None and not Path(file).is_absolute()
    }


def page(result: FitResult, vectors: dict[str, bytes], case_file: str) -> str:
    """Return the page; ``vectors``: figures as SVG by file name, ``case_file``: name of the fitted case, or ""."""
    return render(
        "fit.html", result=result, title=f"Fit: {result.before.title or result.before.name}", case_file=case_file,
        rows=[(value, columns(value)) for value in result.values],
        curves=[_curve(i, curve, vectors) for i, curve in enumerate(result.curves, 1)],
        left=[choice for choice in result.choices if not choice.taken],
        taken=[choice for choice in result.choices if choice.taken],
        assumed=assumptions(result),
    )  # fmt: skip


def _curve(i: int, curve: FitCurve, vectors: dict[str, bytes]) -> dict[str, Any]:
    number = "" if i == 1 else f"-{i}"
    state = f", {listing(list(curve.covered))} covered" if curve.covered else ""
    return {
        "source": curve.source.name, "state": state, "points": len(curve.frequency),
        "impedance": embedded(vectors[f"fit-impedance{number}"]),
        "residual": embedded(vectors[f"fit-residual{number}"]),
        "rms": plain(100 * curve.rms, 2), "noise": plain(100 * curve.noise, 2),
    }  # fmt: skip


def assumptions(result: FitResult) -> list[tuple[str, list[str]]]:
    """Return how the fit was done, as pairs of a subject and its sentences."""
    how = (
        ("Fidelity", f"The {result.model} model. Least squares of the logarithm of the impedance; a point further "
         "than three times the noise from the curve counts less."),
        ("Before the sweep", "Every value is expected within its tolerance of what the case says: a dimension within "
         "the stated length, a volume as if each side of its cube were off by that length, a driver value within "
         "the stated share, a loss, or an inductance that the case lacks, within a factor of two."),
        ("Standard error", "From the noise of the sweep, taken from its own scatter, and from what the values that "
         "were held may be off by."),
    )  # fmt: skip
    return [(subject, [text]) for subject, text in how] + ([("Notes", result.notes)] if result.notes else [])
