"""The folder and the page of ``rank``: order and ties in words, the picture, the table."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from airpath.findings.designs.rank import Design, Ranking
from airpath.findings.designs.ranktext import Margin
from airpath.report.figures.ranks import rank_picture
from airpath.report.files import json_file, picture_files
from airpath.report.folder import write_whole
from airpath.report.style import plain, signed, styled, svg, tidy
from airpath.report.templating import embedded, render


def write_ranking(found: Ranking, folder: Path) -> list[Path]:
    """Write rank.json, rank.html and the picture (PNG and SVG); return their paths.

    Raises AirpathError when the folder can't be written.
    """
    with styled():
        figure = rank_picture(found)
    vector = svg(figure)
    content = {
        "rank.json": json_file(found.to_dict()),
        **picture_files({"rank": figure}, {"rank": vector}),
        "rank.html": rank_page(found, vector).encode(),
    }
    return write_whole(content, folder)


def rank_page(found: Ranking, vector: bytes) -> str:
    """Return the page; ``vector``: the picture as SVG."""
    return render(
        "rank.html",
        title=f"{len(found.designs)} designs side by side",
        found=found,
        scaled=any(case.scale != 1 for case in found.cases),
        tones=[tidy(tone, 4) for tone in found.tones_hz.tolist()],
        designs=[_row(found, design) for design in found.designs],
        source=embedded(vector),
    )


def _row(found: Ranking, design: Design) -> dict[str, Any]:
    loudest = [max(other.spl_db[j] for other in found.designs) for j in range(len(found.tones_hz))]
    tie = sum(other.place == design.place for other in found.designs) > 1
    return {
        "name": design.name,
        "title": design.title,
        "place": f"{design.place}{', tie' if tie else ''}",
        "levels": [
            (f"{level:.1f} dB", level == top, f"{plain(volts)} V")
            for level, top, volts in zip(design.spl_db, loudest, design.voltage_v, strict=True)
        ],
        "mean": f"{design.mean_spl_db:.1f} dB",
        "moves": f"± {design.moves_db:.1f} dB, most by {design.moved_most_by}",
        "spread": f"{design.spread_db:.1f} dB",
        "worst": f"{design.worst_db:.1f} dB at {tidy(design.worst_hz, 4)} Hz",
        "excursion": margin_cell(design.excursion_margin, "no xmax given"),
        "air": margin_cell(design.air_speed_margin, "no open port"),
        "volume": f"{plain(design.volume_m3 * 1e3)} L",
    }


def margin_cell(margin: Margin | None, without: str) -> tuple[str, str, bool]:
    """Return a margin, where it is, and whether it is negative: beyond the limit; ``without``: if there is none."""
    if margin is None:
        return without, "", False
    where = f"at {tidy(margin.at_hz, 4)} Hz" + ("" if margin.element == "driver" else f" in {margin.element}")
    over = margin.db < -0.05
    return f"{signed(margin.db)} dB", where + (", beyond" if over else ""), over
