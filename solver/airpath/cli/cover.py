"""``airpath cover``: every combination of covered openings at every tone."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from airpath.case import load
from airpath.cli.options import case_argument, out_folder, output_arguments
from airpath.cli.show import MOST_TONES, console, progress, show_cautions, show_files, show_left_out, show_title
from airpath.findings.designs.cover import CAPS, Covering, cover
from airpath.findings.designs.covertext import LOUDEST
from airpath.findings.wording import decibels, sig
from airpath.network.response import SILENT_DB


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    case_argument(command)
    command.add_argument("--cap", choices=CAPS, default=CAPS[0],
                         help="end that is covered: outer (the pipe stays, a stub) or inner")  # fmt: skip
    command.add_argument("--only", metavar="NAME,...", help="cover these openings only; the others stay open")
    command.add_argument("--model", help="lumped, line or field (default: the highest that the case allows)")
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    case = load(Path(options.case))
    only = None if options.only is None else tuple(name.strip() for name in options.only.split(","))
    silent, folder = options.quiet or options.json, out_folder(options, case.name)
    with progress(silent) as step:
        step("covering openings")
        found = cover(case, options.model, options.cap, only)
        if options.out or not options.json:
            step("drawing the report")
            from airpath.report.pages.coverpage import write_covering

            write_covering(found, folder)
    if options.json:
        print(json.dumps(found.to_dict(), allow_nan=False))
    elif not options.quiet:
        out = console()
        show(found, out)
        show_files("Report", [folder / "cover.html"], out)


def show(found: Covering, out: Console) -> None:
    """Print the states as a table, a sentence about each, and what to be careful of."""
    show_title(found.case, out)
    for note in found.notes:
        out.print(escape(note))
    if found.tones_text:
        out.print(found.tones_text)
    title = f"Level in dB, change against all open ({found.model} model)"
    table = Table(title=title, title_justify="left", title_style="bold")
    table.add_column("covered")
    for tone in found.tones_hz.tolist()[:MOST_TONES]:
        table.add_column(f"{sig(tone, 4)} Hz", justify="right")
    table.add_column("mean", justify="right")
    for i in found.shown:
        state = found.states[i]
        levels = [*state.spl_db[:MOST_TONES], state.mean_spl_db]
        changes = [*state.change_db[:MOST_TONES], state.mean_change_db]
        best = [*(b == i for b in found.best[:MOST_TONES]), found.best_mean == i]
        cells = [_cell(*cell, first=i == 0) for cell in zip(levels, changes, best, strict=True)]
        table.add_row(escape(", ".join(state.covered) or "none"), *cells)
    out.print(table)
    show_left_out(len(found.tones_hz), out)
    if len(found.states) > 1:
        out.print(f"* {LOUDEST}")
    for i in found.told:
        out.print(escape(f"  {found.states[i].text}"))
    left_out = len(found.states) - len(found.shown)
    if left_out:
        out.print(f"  {left_out} more states are in the report.")
    if found.answer:
        out.print(escape(found.answer))
    show_cautions(found.warnings, out)


def _cell(level: float, change: float, best: bool, *, first: bool) -> str:
    if level < SILENT_DB:
        return "silent"
    mark = " *" if best else ""
    return f"{level:.1f}{mark}" if first else f"{level:.1f} ({decibels(change)}){mark}"
