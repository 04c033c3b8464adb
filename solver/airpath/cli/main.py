"""Entry point: the commands, their options and their exit status."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module

import airpath
from airpath.errors import AirpathError

_COMMANDS = {
    "predict": "solve a case, write the report folder, print the summary",
    "explain": "every peak, dip and ripple of the impedance, with its cause",
    "ports": "per port: effective length, tuning, pipe resonances, air speed",
    "modes": "standing waves of each chamber: what excites them, what hears them, pressure maps",
    "demo": "predict a bundled case, from anywhere",
}


def parser() -> argparse.ArgumentParser:
    """Return the argument parser of the whole command line."""
    top = argparse.ArgumentParser(
        prog="airpath", description="Predicts and explains what the air in a loudspeaker box does."
    )
    top.add_argument("--version", action="version", version=f"airpath {airpath.__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, text in _COMMANDS.items():
        command = commands.add_parser(name, help=text, description=text.capitalize() + ".")
        if name == "demo":
            command.add_argument("case", nargs="?", default="rumble-bench", metavar="NAME",
                                 help="which bundled case (default rumble-bench); --list names them")  # fmt: skip
            command.add_argument("--list", action="store_true", help="name the bundled cases and stop")
        else:
            command.add_argument("case", metavar="CASE", help="case file (TOML)")
        if name == "modes":
            _field_arguments(command)
        else:
            command.add_argument("--model", help="one fidelity only: lumped, line or field (default: all there are)")
        command.add_argument("--json", action="store_true", help="print the result as JSON and nothing else")
        command.add_argument("--quiet", action="store_true", help="print nothing but problems")
        if name not in ("explain", "ports"):
            command.add_argument("--out", metavar="DIR", help="report folder (default airpath-out/<case name>)")
    return top


def _field_arguments(command: argparse.ArgumentParser) -> None:
    command.add_argument("--at", metavar="FREQUENCY", action="append", default=[],
                         help='map the pressure at a frequency, as in "160 Hz"; repeat it for more')  # fmt: skip
    command.add_argument("--vtu", action="store_true", help="write the fields as .vtu files too, for 3D viewers")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return the exit status: 0 done, 2 wrong input, 3 a result that can't be trusted."""
    options = parser().parse_args(argv)
    try:
        run = import_module(f"airpath.cli.{options.command}").run
        run(options)
        sys.stdout.flush()
    except AirpathError as error:
        print(f"airpath: {error}", file=sys.stderr)
        return error.exit_status
    except BrokenPipeError:  # the reader of a pipe has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        print(f"airpath: {error.filename or ''}: {error.strerror or error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("airpath: stopped", file=sys.stderr)
        return 130
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
