"""``airpath modes``: standing waves of each chamber, pressure maps, what excites and what hears them."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from rich.markup import escape
from rich.table import Table

from airpath.case import load
from airpath.cli.options import case_argument, out_folder, output_arguments, positive
from airpath.cli.show import console, progress, show_files
from airpath.findings.maps import pressure_maps, result
from airpath.findings.modes import ChamberModes, ModeTable, modes
from airpath.findings.wording import sig
from airpath.report.figures.fields import PICTURED

_SHOWN = 12  # modes of one chamber on the terminal


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    case_argument(command)
    command.add_argument("--at", metavar="FREQUENCY", action="append", default=[],
                         help='map the pressure at a frequency, as in "160 Hz"; repeat it for more')  # fmt: skip
    command.add_argument("--vtu", action="store_true", help="write the fields as .vtu files too, for 3D viewers")
    command.add_argument("--model", help="field, which alone has standing waves in the shape of a chamber")
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    at = [positive("--at", text, "frequency") for text in options.at]
    case = load(Path(options.case))
    folder = out_folder(options, case.name)
    with progress(options.quiet or options.json) as step:
        step("fields in the chambers")
        table = modes(case, options.model)
        maps = pressure_maps(table, at)
        files = []
        if options.out or not options.json:
            from airpath.report.pages.fieldfiles import write_modes

            files = write_modes(table, maps, folder, vtu=options.vtu, step=step)
    if options.json:
        print(json.dumps(result(table, maps), allow_nan=False))
    elif not options.quiet:
        for chamber in table.chambers.values():
            _show(table, chamber)
        if not table.chambers:
            console().print("The case has no chamber; what a drawn horn does is shown by airpath fold.", soft_wrap=True)
        elif at and not maps:
            console().print("No chamber has a shape, so there is no pressure to map.", soft_wrap=True)
        show_files("Written", files, console())


def _show(table: ModeTable, chamber: ChamberModes) -> None:
    out, scale = console(), table.case.scale
    out.print(f'[bold]Chamber "{escape(chamber.name)}"[/bold]' + escape(f": {chamber.note}." if chamber.note else ""))
    if not chamber.rows:
        if chamber.element is not None:
            out.print(f"  No standing wave below {sig(table.case.sweep.stop)} Hz, the end of the sweep.")
        return
    rows = Table()
    for heading in ("Hz", *(["full size\nHz"] if scale != 1 else []), *(["order"] if chamber.rows[0].order else [])):
        rows.add_column(heading, justify="right")
    rows.add_column("coupling")
    rows.add_column("what drives it, what hears it")
    for row in chamber.rows[:_SHOWN]:
        full = [sig(row.frequency_hz / scale, 4)] if scale != 1 else []
        order = [", ".join(map(str, row.order))] if row.order else []
        grip = "\n".join(f"{name} {_signed(value)}" for name, value in row.coupling.items())
        rows.add_row(sig(row.frequency_hz, 4), *full, *order, escape(grip), escape(row.text))
    out.print(rows)
    rest = len(chamber.rows) - _SHOWN
    if rest > 0:
        highest = sig(chamber.rows[-1].frequency_hz, 4)
        out.print(f"  {rest} more up to {highest} Hz {'is' if rest == 1 else 'are'} in modes.json.")
    if len(chamber.rows) > PICTURED:
        out.print(f"  The lowest {PICTURED} are pictured.")


def _signed(value: float) -> str:
    return "0" if abs(value) < 0.005 else f"{value:+.2f}"
