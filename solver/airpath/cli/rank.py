"""``airpath rank``: designs side by side at the same tones and the same drive."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from airpath.case import load
from airpath.cli.options import out_folder, output_arguments, positive
from airpath.cli.show import MOST_TONES, console, progress, show_cautions, show_files, show_left_out
from airpath.findings.designs.rank import CommonDrive, Ranking, rank
from airpath.findings.designs.ranktext import Margin
from airpath.findings.wording import decibels, sig


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    command.add_argument("cases", metavar="CASE", nargs="+", help="two case files (TOML) or more")
    drive = command.add_mutually_exclusive_group()
    drive.add_argument("--voltage", metavar="VOLTAGE", help='the same voltage for all, as in "2.83 V"')
    drive.add_argument("--power", metavar="POWER", help='the same power into Re for all, as in "5 W"')
    drive.add_argument("--clean", action="store_true", help="every tone as loud as xmax, power and port allow")
    command.add_argument("--tones", metavar="TONE,...", help='tones at full size, as in "40 Hz,60 Hz"')
    command.add_argument("--model", help="lumped, line or field (default: the highest that all cases allow)")
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    drive, tones = _drive(options), None
    if options.tones is not None:
        tones = [positive("--tones", text.strip(), "frequency") for text in options.tones.split(",")]
    cases = [load(Path(path)) for path in options.cases]
    folder = out_folder(options, "rank")
    with progress(options.quiet or options.json) as step:
        step("comparing designs")
        found = rank(cases, drive, tones, options.model)
        if options.out or not options.json:
            step("drawing the report")
            from airpath.report.pages.rankpage import write_ranking

            write_ranking(found, folder)
    if options.json:
        print(json.dumps(found.to_dict(), allow_nan=False))
    elif not options.quiet:
        out = console()
        show(found, out)
        show_files("Report", [folder / "rank.html"], out)


def _drive(options: argparse.Namespace) -> CommonDrive | None:
    if options.clean:
        return CommonDrive(clean=True)
    if options.voltage is not None:
        return CommonDrive(voltage=positive("--voltage", options.voltage, "voltage"))
    if options.power is not None:
        return CommonDrive(power=positive("--power", options.power, "power"))
    return None


def show(found: Ranking, out: Console) -> None:
    """Print the table, the order in words, and what to be careful of."""
    out.print(f"[bold]Driven with {escape(found.drive)}[/bold], by the {found.model} model")
    table = Table(title="Level in dB at the tones", title_justify="left", title_style="bold")
    table.add_column("", justify="right")
    table.add_column("design")
    for tone in found.tones_hz.tolist()[:MOST_TONES]:
        table.add_column(f"{sig(tone, 4)}\nHz", justify="right")
    for heading in ("mean", "1 mm,\n5 %", "spread", "to xmax\ndB", "air speed\ndB", "air\nL"):
        table.add_column(heading, justify="right")
    for design in found.designs:
        table.add_row(
            str(design.place), escape(design.name), *(f"{level:.1f}" for level in design.spl_db[:MOST_TONES]),
            f"{design.mean_spl_db:.1f}", f"±{design.moves_db:.1f}", f"{design.spread_db:.1f}",
            _margin(design.excursion_margin), _margin(design.air_speed_margin), sig(design.volume_m3 * 1e3),
        )  # fmt: skip
    out.print(table)
    show_left_out(len(found.tones_hz), out)
    out.print("  To xmax, air speed: how much more drive, in dB, reaches that limit; below zero it is passed.")
    for text in (*found.texts, *found.notes):
        out.print(escape(f"  {text}"))
    show_cautions(found.warnings, out)


def _margin(margin: Margin | None) -> str:
    return "-" if margin is None else decibels(margin.db)
