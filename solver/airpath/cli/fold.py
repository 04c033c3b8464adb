"""``airpath fold``: what a drawn, folded path really is."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from airpath.cli.options import out_folder, output_arguments, positive
from airpath.cli.show import console, progress, show_files
from airpath.findings.wording import sig

if TYPE_CHECKING:
    from airpath.findings.folding.fold import Fold


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    command.add_argument("drawing", metavar="DRAWING|CASE", help="outline (.toml, .dxf), or a case whose horn has one")
    command.add_argument("--depth", metavar="LENGTH", help='depth of a flat .dxf drawing, as in "180 mm"')
    command.add_argument("--turned", action="store_true", help="a .dxf drawing is a half section, turned about y = 0")
    command.add_argument("--unit", choices=("mm", "cm", "m", "in", "ft"), help="unit of a .dxf drawing that has none")
    command.add_argument("--horn", metavar="NAME", help="which drawn horn of a case that has several")
    command.add_argument("--at", metavar="FREQUENCY", action="append", default=[],
                         help='map the pressure at a frequency, as in "160 Hz"; repeat it for more')  # fmt: skip
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    at = [positive("--at", text, "frequency") for text in options.at]
    depth = None if options.depth is None else positive("--depth", options.depth, "length")
    with progress(options.quiet or options.json) as step:
        step("the way of the air")
        from airpath.findings.folding.fold import fold

        kind = "axisymmetric" if options.turned else None if depth is None else "planar"
        found = fold(options.drawing, kind=kind, depth_m=depth, unit=options.unit, horn=options.horn, at=at)
        files = []
        if options.out or not options.json:
            from airpath.report.pages.foldpage import write_fold

            step("pictures")
            files = write_fold(found, out_folder(options, found.source.name))
    if options.json:
        print(json.dumps(found.to_dict(), allow_nan=False))
    elif not options.quiet:
        _show(found)
        show_files("Report", files[-1:], console())


def _show(found: Fold) -> None:
    out = console()
    out.print(f"[bold]{escape(found.source.title)}[/bold]")
    if found.rows:
        rows = Table(title="Folds", title_justify="left", title_style="bold")
        headings = ("", "from the\nthroat m", "turn\ndegrees", "length: air,\ncentre line mm", "area, meant\ncm²",
                    "area is\noff by", "board\nmm")  # fmt: skip
        for heading in headings:
            rows.add_column(heading, justify="right")
        for row in found.rows:
            board = "-" if row.restored is None else f"{row.restored.by_m * 1e3:+.0f}"
            rows.add_row(
                str(row.number), f"{row.at_m:.2f}", f"{row.turn_deg:+.0f}",
                f"{row.length_m * 1e3:.0f}, {row.centre_length_m * 1e3:.0f}",
                f"{sig(row.area_m2 * 1e4)}, {sig(row.meant_m2 * 1e4)}", f"{100 * row.area_error:+.0f} %", board,
            )  # fmt: skip
        out.print(rows)
    for sentence in [*(row.text for row in found.rows), *found.text]:
        out.print(escape(f"  {sentence}"))
