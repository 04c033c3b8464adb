"""``airpath predict``: solve, write the report folder, print the summary."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from airpath.case import load
from airpath.cli.options import case_argument, model_argument, out_folder, output_arguments, pdf_argument
from airpath.cli.show import console, progress, show_doors, show_files, show_ports, show_prediction
from airpath.findings.predict import Prediction, predict
from airpath.measured.reading.sweep import measured_of


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    case_argument(command)
    model_argument(command)
    pdf_argument(command)
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    finish(options, solve(options, Path(options.case)))


def solve(options: argparse.Namespace, path: Path) -> Prediction:
    """Load a case file and predict it in the asked-for fidelities."""
    case = load(path)
    with progress(options.quiet or options.json) as step:
        step("solving the box")
        return predict(case, options.model)


def finish(options: argparse.Namespace, prediction: Prediction) -> None:
    """Write the report folder if one is wanted, and print."""
    folder = out_folder(options, prediction.case.name)
    sweep = measured_of(prediction.case)
    if options.out or options.pdf or not options.json:
        with progress(options.quiet or options.json) as step:
            step("drawing the report")
            from airpath.report.pages.write import write_report

            write_report(prediction, folder, sweep, pdf=options.pdf)
    if options.json:
        print(json.dumps(prediction.to_dict(), allow_nan=False))
    elif not options.quiet:
        out = console()
        show_prediction(prediction, out)
        show_doors(prediction.doors, out)
        show_ports(prediction.ports, out)
        show_files("Report", [folder / "report.html"], out)
