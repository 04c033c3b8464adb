"""Tables on the terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from airpath.case.schema import Case
from airpath.findings.airspeed import fastest_way
from airpath.findings.ports import PortRow
from airpath.findings.predict import Prediction
from airpath.findings.rooms import Doors
from airpath.findings.tones import ToneRow
from airpath.findings.wording import capital, decibels, sig

MOST_TONES = 5  # columns of a table on the terminal; more would be cut
_PIPES = 4  # resonances said of each port


def console() -> Console:
    """Return the console that all tables go to; not on a terminal it is 120 characters wide."""
    plain = Console(highlight=False)
    return plain if plain.is_terminal else Console(highlight=False, width=120)


@contextmanager
def progress(silent: bool) -> Iterator[Callable[[str], None]]:
    """Show on a terminal's stderr what is being done; yields the function that is told of each step."""
    if silent or not sys.stderr.isatty():
        yield lambda text: None
        return
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn(), TextColumn("{task.description}", markup=False), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda text: bar.update(task, description=text)


def show_title(case: Case, out: Console) -> None:
    """Print what the case is called, and of a scale model how its frequencies are read."""
    out.print(f"[bold]{escape(case.title or case.name)}[/bold]")
    if case.scale != 1:
        out.print(f"A 1:{case.scale:g} model: full-size frequency = frequency / {case.scale:g}.")


def show_cautions(warnings: Iterable[str], out: Console) -> None:
    """Print what to be careful of."""
    for warning in warnings:
        out.print(f"[bold yellow]Caution.[/bold yellow] {escape(warning)}")


def show_files(what: str, files: Iterable[Path | str], out: Console) -> None:
    """Print where the files are, on one line however long, so that it can be copied."""
    out.print(escape(f"{what}: {', '.join(map(str, files))}"), soft_wrap=True)


def show_prediction(prediction: Prediction, out: Console) -> None:
    """Print title, tones, verdicts, and warnings."""
    case = prediction.case
    show_title(case, out)
    if prediction.parting:
        out.print(escape(prediction.parting))
    if prediction.tones_text:
        out.print(prediction.tones_text)
    rows = prediction.best_tones()
    out.print(_tones_table(prediction, rows))
    for row in rows:
        out.print(escape(f"  {sig(row.frequency_hz, 4)} Hz: {row.verdict}."))
    show_clean(prediction, out)
    show_cautions(prediction.warnings, out)


def show_clean(prediction: Prediction, out: Console) -> None:
    """Print how loud each tone may get before the first limit is reached."""
    if all(row.limit is None for row in prediction.clean):
        return
    out.print("[bold]Maximum clean level[/bold]: the drive at which the first limit is reached (linear model)")
    for row in prediction.clean:
        out.print(escape(f"  {sig(row.frequency_hz, 4)} Hz: {row.spl_db:.1f} dB at {row.text}."))
    out.print("  An upper bound, no promise; such levels can harm hearing.")


def _tones_table(prediction: Prediction, rows: list[ToneRow]) -> Table:
    case = prediction.case
    table = Table(title=f"At the tones ({prediction.best} model)", title_justify="left", title_style="bold")
    table.add_column("tone\nHz", justify="right")
    if case.scale != 1:
        table.add_column("full size\nHz", justify="right")
    for heading in ("impedance\nohm", "excursion\nmm peak", "against free\nair, dB", "level\ndB"):
        table.add_column(heading, justify="right")
    table.add_column("works most\n(dB of total)")
    table.add_column("fastest air\nm/s peak", justify="right")
    for row in rows:
        excursion = sig(row.excursion_peak_m * 1e3, 2)
        if case.driver.xmax is not None:
            excursion += f" of {sig(case.driver.xmax * 1e3, 2)}"
        fastest = fastest_way(case, row.air_speed_peak_m_s)
        full_size = [sig(row.frequency_hz / case.scale, 4)] if case.scale != 1 else []
        table.add_row(
            sig(row.frequency_hz, 4), *full_size, sig(row.impedance_ohm), excursion, decibels(row.loading_db),
            f"{row.spl_db:.1f}", escape(_leader(row)),
            "-" if fastest is None else escape(f"{sig(fastest[1], 2)} in {fastest[0]}"),
        )  # fmt: skip
    return table


def _leader(row: ToneRow) -> str:
    alone = len([share for share in row.share_db.values() if share is not None]) == 1
    return row.leader if alone else f"{row.leader} {decibels(row.share_db[row.leader] or 0.0)}"


def show_left_out(tones: int, out: Console) -> None:
    """Say that a table with a column for each tone shows only some, where it does."""
    if tones > MOST_TONES:
        out.print(f"  The first {MOST_TONES} of {tones} tones; the report has them all.")


def show_doors(doors: Doors | None, out: Console) -> None:
    """Print the room's table: the level at each tone for every state of its door, and a sentence about each."""
    if doors is None:
        return
    title = f"The room: level dB (against free half space at {sig(doors.distance_m)} m), {doors.model} model"
    table = Table(title=title, title_justify="left", title_style="bold")
    table.add_column("door")
    table.add_column("rings near\nHz (formula)", justify="right")
    for tone in doors.tones_hz[:MOST_TONES]:
        table.add_column(f"{sig(tone, 4)}\nHz", justify="right")
    for state in doors.states:
        cells = [f"{a:.1f} ({decibels(b)})" for a, b in zip(state.spl_db, state.gain_db, strict=True)]
        cells = cells[:MOST_TONES]
        table.add_row(state.label, "-" if state.helmholtz_hz is None else sig(state.helmholtz_hz), *cells)
    out.print(table)
    show_left_out(len(doors.tones_hz), out)
    for state in doors.states:
        out.print(escape(f"  {capital(state.text)}."))
    if doors.doubt:
        out.print(f"  {doors.doubt}")
    if len(doors.states) > 1:
        out.print(f"  All other tables are for the first state: {doors.states[0].label}.")


def show_ports(ports: dict[str, PortRow], out: Console) -> None:
    """Print the port table and a sentence about each port."""
    if not ports:
        return
    table = Table(title="Ports", title_justify="left", title_style="bold")
    table.add_column("port")
    headings = ("effective\nlength mm", "ends: from, to\nmm", "tuning\nHz", "pipe resonances\nHz")
    for heading in (*headings, "fastest air\nm/s peak"):
        table.add_column(heading, justify="right")
    for name, row in ports.items():
        pipes = ", ".join(sig(f) for f in row.pipe_resonances_hz[:_PIPES])
        pipes += ", ..." if len(row.pipe_resonances_hz) > _PIPES else ""
        table.add_row(
            escape(name), f"{row.effective_length_m * 1e3:.0f}",
            f"{row.end_correction_from_m * 1e3:.1f}, {row.end_correction_to_m * 1e3:.1f}",
            "-" if row.tuning_hz is None else sig(row.tuning_hz), pipes or "above the sweep",
            f"{sig(row.air_speed_peak_m_s, 2)} (limit {row.air_speed_limit_m_s:.0f})",
        )  # fmt: skip
    out.print(table)
    for name, row in ports.items():
        out.print(escape(f"  {name}: tuning {row.tuning_text}. Air speed {row.verdict}."))
        for pipe in row.pipes[:_PIPES]:
            out.print(escape(f"    {pipe.text}."))
