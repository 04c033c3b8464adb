"""Remake reports/ (``make reports``): what the commands print for the bundled cases, pictures, thinned results."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from airpath.cli.main import main as airpath

ROOT = Path(__file__).parents[2]
CASES = sorted((ROOT / "cases").glob("*.toml"))
POINTS = 24  # frequencies kept of each curve, evenly spaced in the sweep


@dataclass(frozen=True)
class Shown:
    """One command: its words go to ``reports/folder/words``, ``pictures`` beside them."""

    folder: str
    words: str
    command: tuple[str, ...]
    pictures: tuple[str, ...] = ()

    @property
    def text(self) -> Path:
        return ROOT / "reports" / self.folder / self.words

    def run(self, scratch: Path) -> str:
        """Run the command into ``scratch`` and return what it prints, with the usual folder's name in it."""
        out = scratch / "out.toml" if self.command[0] == "scale" else scratch / "out"
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            status = airpath([*self.command, "--out", str(out)])
        assert status == 0, self.command
        words = printed.getvalue().replace(str(out), f"airpath-out/{self.folder}{out.suffix}")
        return "\n".join(line.rstrip() for line in words.splitlines()) + "\n"


def case(name: str) -> str:
    return str(ROOT / "cases" / f"{name}.toml")


def data(name: str) -> str:
    return str(ROOT / "cases" / "data" / f"{name}.csv")


PREDICTED = [
    Shown(path.stem, "summary.txt", ("predict", str(path)), ("impedance.png", "sketch.png")) for path in CASES
]
OTHERS = [
    Shown("rumble-bench", "explain.txt", ("explain", case("rumble-bench")), ("impedance-explained.png", "work.png")),
    Shown("rumble-bench", "cover.txt", ("cover", case("rumble-bench")), ("cover-matrix.png",)),
    Shown("rumble-bench", "scale.txt", ("scale", case("rumble-bench"), "--to", "1")),
    Shown("lantern-slot", "explain.txt", ("explain", case("lantern-slot")), ("impedance-explained.png",)),
    Shown(
        "fog-signal-folded", "fold.txt", ("fold", case("fog-signal-folded")),
        ("fold-path.png", "fold-areas.png", "fold-throat.png"),
    ),
    Shown("bent-pipe", "fold.txt", ("fold", case("bent-pipe")), ("fold-path.png",)),
    Shown(
        "buoy-round", "rank.txt", ("rank", case("buoy-round"), case("buoy-slot"), case("buoy-double")),
        ("rank.png",),
    ),
    Shown(
        "ticket-booth", "driver.txt",
        ("driver", data("ticket-booth-free"), "--sd", "88 cm^2", "--added-mass", "6 g", data("ticket-booth-6g")),
    ),
]  # fmt: skip


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


def main() -> None:
    for shown in [*PREDICTED, *OTHERS]:
        folder = shown.text.parent
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory() as scratch:
            shown.text.write_text(shown.run(Path(scratch)), encoding="utf-8")
            for name in shown.pictures:
                if (Path(scratch) / "out" / name).exists():
                    shutil.copy(Path(scratch) / "out" / name, folder / name)
            if shown in PREDICTED:
                result = json.loads((Path(scratch) / "out" / "result.json").read_text(encoding="utf-8"))
                (folder / "result.json").write_text(json.dumps(thinned(result), indent=1) + "\n", encoding="utf-8")
        print(f"reports/{shown.folder}/{shown.words}", file=sys.stderr)


if __name__ == "__main__":
    main()
