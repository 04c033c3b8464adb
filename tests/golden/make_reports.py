"""Remake reports/: per bundled case the summary, the picture and the result. Run by ``make reports``."""

from __future__ import annotations

import io
import json
import shutil
import sys
import tempfile
from pathlib import Path

from rich.console import Console

import airpath
from airpath.cli.show import show_ports, show_prediction
from airpath.report.write import write_report

ROOT = Path(__file__).parents[2]
POINTS = 24  # frequencies kept of each curve, evenly spaced in the sweep


def thinned(result: dict) -> dict:
    """Return the result with every curve thinned to a few points, so that a difference can be read."""
    length = len(result["frequency_hz"])
    keep = [round(i * (length - 1) / (POINTS - 1)) for i in range(POINTS)]

    def walk(value):
        if isinstance(value, list) and len(value) == length:
            return [float(f"{value[i]:.8g}") for i in keep]
        if isinstance(value, dict):
            return {key: walk(inner) for key, inner in value.items()}
        return value

    return walk(result)


def summary(prediction) -> str:
    """Return what the terminal shows."""
    stream = io.StringIO()
    out = Console(file=stream, width=120, highlight=False)
    show_prediction(prediction, out)
    show_ports(prediction.ports, out)
    return "\n".join(line.rstrip() for line in stream.getvalue().splitlines()) + "\n"


def main() -> None:
    for path in sorted((ROOT / "cases").glob("*.toml")):
        prediction = airpath.predict(airpath.load(path))
        folder = ROOT / "reports" / path.stem
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as scratch:
            files = {file.name: file for file in write_report(prediction, Path(scratch) / "out")}
            for name in ("impedance.png", "sketch.png"):
                if name in files:
                    shutil.copy(files[name], folder / name)
        (folder / "summary.txt").write_text(summary(prediction), encoding="utf-8")
        text = json.dumps(thinned(prediction.to_dict()), indent=1)
        (folder / "result.json").write_text(text + "\n", encoding="utf-8")
        print(f"reports/{path.stem}", file=sys.stderr)


if __name__ == "__main__":
    main()
