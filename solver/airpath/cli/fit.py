"""``airpath fit``: which values of a case explain a measured impedance sweep."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from rich.markup import escape
from rich.table import Table

from airpath.case import Case, load
from airpath.cli.options import case_argument, out_folder, output_arguments, quantity
from airpath.cli.show import console, progress, show_cautions, show_files
from airpath.errors import CaseError
from airpath.measured.fitting.fit import CoveredSweep, fit
from airpath.measured.fitting.fitresult import FitResult
from airpath.measured.fitting.fitwords import columns
from airpath.measured.reading.sweep import read_sweep


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    case_argument(command)
    command.add_argument("--sweep", metavar="CSV[:NAME,NAME]", action="append", default=[],
                         help="measured impedance sweep, with the named ports covered; repeat it for more sweeps "
                         "of the same box (default: the case's measured file)")  # fmt: skip
    command.add_argument("--free", metavar="NAME[=SPREAD],...", action="append", default=[],
                         help='values to fit, as in "nose.length,main.volume=5 %%,driver.*", or auto (default): '
                         "those the sweep can tell apart")  # fmt: skip
    command.add_argument("--tolerance", metavar="LENGTH", default="1 mm",
                         help="how far a dimension may be off, one standard deviation (default 1 mm)")  # fmt: skip
    command.add_argument("--driver-tolerance", metavar="SHARE", default="0.05",
                         help="how far a driver value may be off, relative (default 0.05)")  # fmt: skip
    command.add_argument("--model", default="line", help="the fidelity: lumped, line (default) or field")
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    case = load(Path(options.case))
    sweeps = [_sweep(text) for text in options.sweep or _own(case)]
    words = [word.strip() for text in options.free for word in text.split(",") if word.strip()]
    with progress(options.quiet or options.json) as step:
        step("fitting")
        result = fit(
            case, sweeps, words or "auto", tolerance=_length(options.tolerance),
            driver_tolerance=_share(options.driver_tolerance), model=options.model,
        )  # fmt: skip
        files: list[Path] = []
        if options.out or not options.json:
            from airpath.report.pages.fit import write_fit

            step("writing")
            files = write_fit(result, out_folder(options, case.name))
    if options.json:
        print(json.dumps(result.to_dict(), allow_nan=False))
    elif not options.quiet:
        _show(result, files)


def _own(case: Case) -> list[str]:
    if case.measured is None:
        raise CaseError("--sweep is missing: expected a measured impedance sweep, as in --sweep box.csv "
                        "(or measured = \"box.csv\" in the case file)")  # fmt: skip
    return [str(case.resolve(case.measured))]


def _sweep(text: str) -> CoveredSweep:
    """Read "open.csv" or "covered.csv:nose,rear"; a file whose own name has a colon is found as it is."""
    path, colon, names = text.rpartition(":")
    if not colon or Path(text).exists() or "/" in names or "\\" in names:
        return CoveredSweep(measured=read_sweep(text))
    covered = tuple(name.strip() for name in names.split(",") if name.strip())
    return CoveredSweep(measured=read_sweep(path), covered=covered)


def _length(text: str) -> float:
    value = quantity("--tolerance", text, "length")
    if not 0 <= value <= 1:
        raise CaseError(f'--tolerance "{text}": expected a length from 0 mm to 1 m')
    return value


def _share(text: str) -> float:
    percent = text.strip().endswith("%")
    try:
        value = float(text.strip().removesuffix("%")) / (100 if percent else 1)
    except ValueError:
        value = -1.0
    if not 0 <= value <= 1:
        raise CaseError(f'--driver-tolerance "{text}": expected a number from 0 to 1, as in 0.05 or "5 %"')
    return value


def _show(result: FitResult, files: list[Path]) -> None:
    out = console()
    out.print(f"[bold]{escape(result.before.title or result.before.name)}[/bold]")
    for sentence in result.summary:
        out.print(escape(sentence))
    table = Table(title=f"Fitted values ({result.model} model)", title_justify="left", title_style="bold")
    for heading in ("value", "fitted", "was", "standard error", "95 % within"):
        table.add_column(heading, justify="left" if heading == "value" else "right")
    table.add_column("how sure")
    for value in result.values:
        table.add_row(*(escape(cell) for cell in (value.name, *columns(value), value.text)))
    out.print(table)
    show_cautions(result.warnings, out)
    for note in result.notes:
        out.print(escape(note))
    show_files("Written", files, out)
