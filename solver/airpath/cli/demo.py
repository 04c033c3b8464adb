"""``airpath demo``: predict one of the bundled cases."""

from __future__ import annotations

import argparse
import json
from importlib.resources import files
from pathlib import Path

from airpath.cli.options import model_argument, output_arguments, pdf_argument
from airpath.cli.predict import finish, solve
from airpath.errors import CaseError


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    command.add_argument("case", nargs="?", default="rumble-bench", metavar="NAME",
                         help="which bundled case (default rumble-bench); --list names them")  # fmt: skip
    command.add_argument("--list", action="store_true", help="name the bundled cases and stop")
    model_argument(command)
    pdf_argument(command)
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    found = bundled_cases()
    if options.list:
        print(json.dumps(sorted(found)) if options.json else "\n".join(sorted(found)))
        return
    if options.case not in found:
        raise CaseError(f'there is no bundled case "{options.case}": choose from {", ".join(sorted(found))}')
    finish(options, solve(options, found[options.case]))


def bundled_cases() -> dict[str, Path]:
    """Return the bundled case files by name: from the installed package, or from the source tree."""
    package = Path(str(files("airpath")))
    for folder in (package / "cases", package.parents[1] / "cases"):
        if folder.is_dir():
            return {path.stem: path for path in folder.glob("*.toml")}
    raise CaseError("the bundled cases are missing from this installation")
