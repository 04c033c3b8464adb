"""``airpath scale``: write a case at another scale, solve both and say where they differ."""

from __future__ import annotations

import argparse
import json
import tempfile
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from airpath.case import load
from airpath.case.scaling import scaled_files
from airpath.case.schema import Case
from airpath.cli.options import case_argument, output_arguments
from airpath.cli.show import console, progress, show_cautions, show_files
from airpath.errors import AirpathError
from airpath.findings.designs.scaling import Scaling, compare_scales
from airpath.findings.wording import decibels, sig


def arguments(command: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    case_argument(command)
    command.add_argument("--to", type=_scale, required=True, metavar="N", help="the new scale, 1:N; 1 is full size")
    command.add_argument("--out", required=True, metavar="FILE", help="case file to write (outlines go beside it)")
    command.add_argument("--keep-driver", action="store_true", help="keep the driver instead of scaling it too")
    command.add_argument("--model", help="fidelity to compare in: lumped, line or field (default: the highest)")
    output_arguments(command, folder=False)


def run(options: argparse.Namespace) -> None:
    """Run the command."""
    source, target = Path(options.case), Path(options.out)
    case = load(source)
    content = scaled_files(
        case, source.read_text(encoding="utf-8-sig"), options.to, target, keep_driver=options.keep_driver
    )
    _refuse_own_files(case, source, target, content)
    with progress(options.quiet or options.json) as step:
        step("solving both scales")
        with tempfile.TemporaryDirectory() as aside:  # whatever is wrong shows before anything is written
            for name, text in content.items():
                (Path(aside) / name).write_text(text, encoding="utf-8")
            other = load(Path(aside) / target.name)
            found = compare_scales(case, other, keep_driver=options.keep_driver, model=options.model)
    from airpath.report.folder import write_whole

    write_whole({name: text.encode() for name, text in content.items()}, target.parent)
    if options.json:
        print(json.dumps(found.to_dict(), allow_nan=False))
    elif not options.quiet:
        out = console()
        _show(found, case, out)
        show_files("Written", [target.parent / name for name in content], out)


def _scale(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.01 <= value <= 100:
        raise argparse.ArgumentTypeError("expected a number from 0.01 to 100: 1 for full size, 4 for a 1:4 model")
    return value


def _refuse_own_files(case: Case, source: Path, target: Path, content: dict[str, str]) -> None:
    if target.is_dir():
        raise AirpathError(f"--out {target}: expected a file to write, this is a folder")
    outlines = [*(c.outline for c in case.chambers.values()), *(h.outline for h in case.horns.values())]
    own = {source.resolve(), *(case.resolve(outline).resolve() for outline in outlines if outline is not None)}
    for name in content:
        if (target.parent / name).resolve() in own:
            mine = target.parent / name
            raise AirpathError(f"--out {target}: expected another file: {mine} belongs to the case itself")


def _show(found: Scaling, case: Case, out: Console) -> None:
    out.print(f"[bold]{escape(case.title or case.name)}[/bold]")
    for sentence in found.sentences:
        out.print(escape(sentence))
    if found.tones:
        out.print(_table(found))
    out.print(found.band_text)
    show_cautions(found.warnings, out)


def _table(found: Scaling) -> Table:
    table = Table(title=f"At the tones ({found.model} model)", title_justify="left", title_style="bold")
    old, new = f"1:{sig(found.scale, 4)}", f"1:{sig(found.to, 4)}"
    causes = ["by losses\ndB", "by driver\ndB"] if found.keep_driver else ["change\ndB"]
    levels = [f"{old}\nHz", f"{new}\nHz", f"level {old}\ndB", f"level {new}\ndB"]
    for heading in (*levels, *causes, f"impedance {old}\nohm", f"impedance {new}\nohm"):
        table.add_column(heading, justify="right")
    for tone in found.tones:
        change = [tone.losses_db, tone.driver_db] if found.keep_driver else [tone.change_db]
        table.add_row(
            sig(tone.frequency_hz, 4), sig(tone.scaled_frequency_hz, 4), f"{tone.spl_db:.1f}",
            f"{tone.scaled_spl_db:.1f}", *map(decibels, change), sig(tone.impedance_ohm),
            sig(tone.scaled_impedance_ohm),
        )  # fmt: skip
    return table
