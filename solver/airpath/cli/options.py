"""Arguments that several commands share."""

from __future__ import annotations

import argparse
from pathlib import Path

from airpath.errors import CaseError
from airpath.units import parse_quantity


def case_argument(command: argparse.ArgumentParser) -> None:
    """Take one case file."""
    command.add_argument("case", metavar="CASE", help="case file (TOML)")


def output_arguments(command: argparse.ArgumentParser, *, folder: bool = True) -> None:
    """Take how to show the result and, with ``folder``, where to write it."""
    command.add_argument("--json", action="store_true", help="print the result as JSON and nothing else")
    command.add_argument("--quiet", action="store_true", help="print nothing but problems")
    if folder:
        command.add_argument("--out", metavar="DIR", help="report folder (default airpath-out/<case name>)")


def model_argument(command: argparse.ArgumentParser) -> None:
    """Take one fidelity."""
    command.add_argument("--model", help="one fidelity only: lumped, line or field (default: all there are)")


def pdf_argument(command: argparse.ArgumentParser) -> None:
    """Take whether the report is wanted on paper too."""
    command.add_argument("--pdf", action="store_true", help="write report.pdf for paper too")


def out_folder(options: argparse.Namespace, name: str) -> Path:
    """Return the report folder that was asked for, or the usual one of a case."""
    return Path(options.out) if options.out else Path("airpath-out") / name


def quantity(option: str, text: str, dimension: str) -> float:
    """Return the SI value of an option such as ``"5 g"``. Raises CaseError when it is none."""
    try:
        return parse_quantity(text, dimension)
    except ValueError as error:
        raise CaseError(f'{option} "{text}": {error}') from None


def positive(option: str, text: str, dimension: str) -> float:
    """Return the SI value of an option such as ``"5 g"``. Raises CaseError when it is none, or not above zero."""
    value = quantity(option, text, dimension)
    if value <= 0:
        raise CaseError(f'{option} "{text}": expected more than zero')
    return value
