"""``airpath driver``: the values of a driver from its measured impedance."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from rich.markup import escape
from rich.table import Table

from airpath.cli.options import output_arguments, positive
from airpath.cli.show import console, show_files
from airpath.errors import CaseError
from airpath.findings.wording import percent, sig
from airpath.measured.drivers.driver import DriverValues, driver_values
from airpath.measured.drivers.driverwords import shown
from airpath.measured.reading.sweep import read_sweep


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    command.add_argument("free", metavar="FREE_AIR", help="impedance sweep of the driver alone, in free air")
    command.add_argument("--sd", metavar="AREA", help='cone area, as in "55 cm^2"')
    second = command.add_mutually_exclusive_group()
    second.add_argument("--added-mass", nargs=2, metavar=("MASS", "SWEEP"),
                        help='a second sweep with a mass on the cone, as in "5 g" heavy.csv')  # fmt: skip
    second.add_argument("--known-volume", nargs=2, metavar=("VOLUME", "SWEEP"),
                        help='a second sweep on a closed empty box, as in "10 L" closed.csv')  # fmt: skip
    command.add_argument("--re", metavar="RESISTANCE", help='resistance of the coil at DC, as in "3.4 ohm"')
    command.add_argument("--out", metavar="FILE", help="write the [driver] table to a file")
    output_arguments(command, folder=False)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    area, rest = _quantity(options.sd, "--sd", "area"), _quantity(options.re, "--re", "resistance")
    mass, heavy = options.added_mass or (None, None)
    volume, closed = options.known_volume or (None, None)
    added, known = _quantity(mass, "--added-mass", "mass"), _quantity(volume, "--known-volume", "volume")
    other = heavy or closed
    if area is None and other:
        raise CaseError('--sd is missing: a second sweep needs the cone area, as in --sd "55 cm^2"')
    free, second = read_sweep(options.free), None if other is None else read_sweep(other)
    found = driver_values(free, second, Sd=area, added_mass=added, known_volume=known, Re=rest)
    if options.out:
        from airpath.report.folder import write_whole

        file = Path(options.out)
        write_whole({file.name: found.table.encode()}, file.parent)
    if options.json:
        print(json.dumps(found.to_dict(), allow_nan=False))
    elif not options.quiet:
        _show(found, options.out)


def _quantity(text: str | None, option: str, dimension: str) -> float | None:
    return None if text is None else positive(option, text, dimension)


def _show(found: DriverValues, written: str | None) -> None:
    out = console()
    rows = Table()
    for heading in ("value", "fit of the whole curve", "standard error", "peaks alone"):
        rows.add_column(heading, justify="left" if heading == "value" else "right")
    for name, value in found.values.items():
        error = f"{sig(100 * value.std / value.value, 2)} %" if value.std else "given"
        peaks = shown(name, found.classical[name], 3) if name in found.classical else ""
        rows.add_row(name, shown(name, value.value, 4), error, peaks)
    out.print(rows)
    for warning in found.warnings:
        out.print(f"[bold]Careful:[/bold] {escape(warning)}")
    out.print(escape(f"The fit meets the curves within {percent(found.misfit, 1)} rms."))
    for note in found.notes:
        out.print(escape(note))
    out.print("\n" + escape(found.table), end="", soft_wrap=True)
    if written:
        show_files("Written", [written], out)
