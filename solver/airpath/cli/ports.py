"""``airpath ports``: the port table of a case."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from airpath.cli.options import case_argument, model_argument, output_arguments
from airpath.cli.predict import solve
from airpath.cli.show import console, show_ports


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    case_argument(command)
    model_argument(command)
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    prediction = solve(options, Path(options.case))
    rows = {name: row.to_dict() for name, row in prediction.ports.items()}
    result = {"ports": rows, "warnings": prediction.warnings}
    if options.out:
        from airpath.report.files import json_file
        from airpath.report.folder import write_whole

        write_whole({"ports.json": json_file(result)}, Path(options.out))
    if options.json:
        print(json.dumps(result, allow_nan=False))
    elif not options.quiet:
        if not prediction.ports:
            bent = any(horn.outline for horn in prediction.case.horns.values())
            console().print("This box has no ports." + " A drawn path is shown by airpath fold." * bent)
        show_ports(prediction.ports, console())
