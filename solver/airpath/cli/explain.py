"""``airpath explain``: every peak, dip and ripple of a case's impedance with its cause, in plain sentences."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from rich.console import Console
from rich.markup import escape

from airpath.case import load
from airpath.cli.options import case_argument, model_argument, out_folder, output_arguments
from airpath.cli.show import console, progress, show_files
from airpath.errors import CaseError
from airpath.findings.explaining.explain import Feature
from airpath.findings.explaining.explanation import Explanation, explanation
from airpath.findings.wording import capital, listing, percent, sig
from airpath.measured.compare import Comparison, compare
from airpath.measured.reading.sweep import measured_of, read_sweep

_SHOWN = 20  # features on the terminal; the page has all
_FAINT = 0.03  # of the impedance: a peak and a dip that part by less
_FEW = 3  # of them are told one by one
_WORTH = 0.1  # of the energy: a second part with less is not named


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    case_argument(command)
    command.add_argument("--sweep", metavar="CSV", help="measured impedance to compare with (default: the case's own)")
    command.add_argument("--against", metavar="CSV",
                         help="a later sweep of the same box: what changed from --sweep to it")  # fmt: skip
    model_argument(command)
    output_arguments(command)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    case = load(Path(options.case))
    sweep = read_sweep(options.sweep) if options.sweep else measured_of(case)
    later = read_sweep(options.against) if options.against else None
    if later is not None and sweep is None:
        raise CaseError("--against needs --sweep, the earlier sweep of the same box")
    with progress(options.quiet or options.json) as step:
        step("looking for causes")
        beside = None
        if sweep is not None:
            step("comparing with the sweep")
            beside = compare(case, sweep, options.model, against=later, with_losses=True)
        found = explanation(case, options.model) if beside is None else beside.explained
        folder = out_folder(options, case.name)
        if options.out or not options.json:
            step("drawing the page")
            from airpath.report.pages.explained import write_explanation

            write_explanation(found, folder, beside)
    if options.json:
        print(json.dumps((beside or found).to_dict(), allow_nan=False))
    elif not options.quiet:
        out = console()
        _show(found, out)
        if beside is not None:
            _show_measured(beside, out)
        show_files("Page", [folder / "explain.html"], out)


def _show(found: Explanation, out: Console) -> None:
    out.print(f"[bold]{escape(found.case.title or found.case.name)}[/bold]")
    out.print(f"{capital(found.by)}.")
    if not found.features:
        out.print("The impedance has no peak, dip or ripple in this sweep.")
    at, shown, before = 0, 0, None
    while at < len(found.features) and shown < _SHOWN:
        feature = found.features[at]
        faint = _faint(found.features, at)
        if faint < _FEW:
            out.print(f"[bold]{at + 1}. {escape(_heading(feature))}[/bold]")
            lines, faint, before = _lines(feature, before), 1, feature
        else:
            ends = f"{sig(feature.frequency_hz, 4)} to {sig(found.features[at + faint - 1].frequency_hz, 4)} Hz"
            out.print(f"[bold]{at + 1} to {at + faint}. Faint ones from {ends}[/bold]")
            where = f'Further waves in "{feature.cause.element}"'
            less = f"peaks and dips that are less than {percent(_FAINT)} from their neighbour"
            before, lines = None, [f"{where}: ripples, and {less}. The page has each."]
        for line in lines:
            out.print(f"   {escape(line)}")
        at, shown = at + faint, shown + 1
    if rest := found.features[at:]:
        ends = f"{sig(rest[0].frequency_hz)} to {sig(rest[-1].frequency_hz)} Hz"
        out.print(f"{len(rest)} more from {ends} are on the page.")
    if found.tones:
        out.print("[bold]At the tones[/bold]")
    for tone in found.tones:
        out.print(f"   {escape(tone.text)}")
    for note in found.missing:
        out.print(f"[bold yellow]Note.[/bold yellow] {escape(note)}")


def _faint(features: list[Feature], at: int) -> int:
    """Return how many from ``at`` on are waves of the part that rang before, too weak for a sentence each."""
    count = 0
    for i in range(max(at, 1), len(features)):
        one, last = features[i], features[i - 1]
        beside = [last, *features[i + 1 : i + 2]]
        weak = one.kind == "ripple" or min(abs(one.impedance_ohm / f.impedance_ohm - 1) for f in beside) < _FAINT
        same = (one.cause.type, one.cause.elements) == (last.cause.type, last.cause.elements)
        if not (weak and same and one.cause.sure and one.cause.order is not None) or one.advice:
            break
        count += 1
    return count


def _show_measured(beside: Comparison, out: Console) -> None:
    out.print(f"[bold]Measured: {escape(beside.sweep.source.name)}[/bold]")
    for text in (beside.summary, *beside.sweep.notes):
        out.print(f"   {escape(text)}")
    for doubt in beside.doubts:
        out.print(f"   [bold yellow]Doubt.[/bold yellow] {escape(doubt.text)}")
    for match in beside.matches:
        out.print(f" - {escape(match.text)}")
    for text in () if beside.losses is None else beside.losses.lines:
        out.print(f"   {escape(text)}")
    if beside.drift is not None:
        out.print(f"[bold]From {escape(beside.drift.files[0])} to {escape(beside.drift.files[1])}[/bold]")
        for text in (beside.drift.summary, *(change.text for change in beside.drift.changes)):
            out.print(f"   {escape(text)}")


def _heading(feature: Feature) -> str:
    where = f"{feature.kind.capitalize()} at {sig(feature.frequency_hz, 4)} Hz, {sig(feature.impedance_ohm)} ohm"
    return where if feature.q is None else f"{where}, Q {sig(feature.q, 2)}"


def _lines(feature: Feature, before: Feature | None) -> list[str]:
    """Return the few sentences of a feature; of a wave that the feature before has too, one."""
    if before is not None and _same_wave(feature, before):
        lines = ["The same wave."]
    else:
        lines = [feature.cause.text, *_why(feature)]
    return [*lines, *(f"Advice: {advice.text}" for advice in feature.advice)]


def _same_wave(feature: Feature, before: Feature) -> bool:
    one, other = (f.cause for f in (feature, before))
    alike = (one.type, one.elements, one.order, one.sure) == (other.type, other.elements, other.order, other.sure)
    return alike and one.sure and one.order is not None and feature.seen_by == before.seen_by


def _why(feature: Feature) -> list[str]:
    """Return the strongest evidence, and what moves the feature most; the page has all of it."""
    out = []
    parts = sorted(feature.shares.items(), key=lambda item: -item[1].total)[:2]
    held = [f"{name} {percent(min(1.0, share.total))}" for name, share in parts if share.total >= _WORTH]
    if held:
        out.append(f"Energy: {listing(held)}.")
    if feature.evidence:
        said = "; ".join(feature.evidence[:2])
        out.append(f"{capital(said)}.")
    wanted = "driver" if feature.cause.type == "coil" else "dimension"
    turns = [s for s in feature.sensitivity if s.kind == wanted][:2]
    if turns:
        lead = "Of the dimensions" if turns[0].kind == "dimension" else "Of the driver's values"
        out.append(f"{lead} it is moved most by {listing([f'{s.parameter} {s.slope}' for s in turns])}.")
    return [" ".join(out)] if out else []
