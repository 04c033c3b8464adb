"""The folder of ``airpath fold``: fold.json, the pictures, and the page that holds them."""

from __future__ import annotations

import base64
from pathlib import Path

from airpath.findings.folding.fold import Fold
from airpath.report.figures.foldfigures import fold_figures
from airpath.report.files import json_file
from airpath.report.folder import write_whole
from airpath.report.style import plain, png, signed, styled, svg, tidy
from airpath.report.templating import embedded, render


def write_fold(found: Fold, folder: Path) -> list[Path]:
    """Write fold.json, figures (PNG, those without maps as SVG too) and fold.html; return their paths, the page last.

    Raises AirpathError when the folder can't be written.
    """
    with styled():
        figures = fold_figures(found)
    pictures = {f"{name}.png": png(figure) for name, figure in figures.items()}
    vectors = {f"{name}.svg": svg(figure) for name, figure in figures.items() if "-map-" not in name}
    content = {
        "fold.json": json_file(found.to_dict()),
        **pictures, **vectors,
        "fold.html": page(found, pictures, vectors).encode(),
    }  # fmt: skip
    return write_whole(content, folder)


def page(found: Fold, pictures: dict[str, bytes], vectors: dict[str, bytes]) -> str:
    """Return the page, with its figures in it."""
    figures = []
    for name in [name.removesuffix(".png") for name in pictures]:
        if f"{name}.svg" in vectors:
            source = embedded(vectors[f"{name}.svg"])
        else:
            source = "data:image/png;base64," + base64.b64encode(pictures[f"{name}.png"]).decode()
        figures.append({"name": name, "source": source, "caption": caption(found, name), "alt": _alt(found, name)})
    return render("fold.html", title=found.source.title, found=found, figures=figures, rows=_rows(found),
                  facts=_facts(found))  # fmt: skip


def _rows(found: Fold) -> list[dict[str, str]]:
    out = []
    for row in found.rows:
        board, back = row.restored, row.reflection
        moved = "none" if board is None else f"{signed(board.by_m * 1e3, 0)} mm"
        out.append({
            "number": str(row.number), "at": f"{row.at_m:.2f} m", "turn": f"{signed(row.turn_deg, 0)}°",
            "length": f"{row.length_m * 1e3:.0f} mm", "centre": f"{row.centre_length_m * 1e3:.0f} mm",
            "area": f"{plain(row.area_m2 * 1e4)} cm²", "meant": f"{plain(row.meant_m2 * 1e4)} cm²",
            "error": f"{signed(100 * row.area_error, 0)} %", "board": moved,
            "back": "–" if back is None else f"{100 * back.size:.0f} % at {tidy(back.frequency_hz)} Hz",
            "text": row.text,
        })  # fmt: skip
    return out


def _facts(found: Fold) -> list[tuple[str, str]]:
    horn, sweep, source = found.horn, found.field.sweep, found.source
    outline = source.outline
    shape = "turned about its axis" if outline.depth is None else f"{tidy(outline.depth * 1e3)} mm deep"
    flattened = "" if outline.flattened == 0.0 else f", arcs as chords within {tidy(outline.flattened * 1e3)} mm"
    return [
        ("Drawing", f"{shape}{flattened}; volume {plain(horn.volume_m3 * 1e3)} L; throat "
         f"{plain(horn.throat_area_m2 * 1e4)} cm², mouth {plain(horn.mouth_area_m2 * 1e4)} cm²."),
        ("Equivalent horn", "From the potential between throat and mouth: it keeps the volume and the inertance of "
         "every slice between two levels. Beside outer corners the air stands still and the area peaks."),
        ("Centre line", "As drawn; its area is the gap from wall to wall." if found.centreline.drawn else
         "Computed, halfway in the flow between the walls; its area is the gap from wall to wall."),
        ("Full field", f"Finite elements of order {sweep.order}, {sweep.unknowns} unknowns, reduced to "
         f"{sweep.basis_size}; claimed error {sweep.claimed_error.max():.0e} at most. Friction and heat at the walls."),
        ("Air", f"density {plain(source.air.density, 4)} kg/m³, sound speed {plain(source.air.sound_speed, 4)} m/s."),
    ]  # fmt: skip


def caption(found: Fold, name: str) -> str:
    """Return what stands below a figure of `fold_figures`."""
    if "-map-" in name:
        return "Pressure in the path for a given flow at the throat; light is loud."
    if name == "fold-path":
        square = " A red square is a board to move." if any(row.restored for row in found.rows) else ""
        numbers = " Numbers: the folds." if found.rows else ""
        lines = "The drawing, with lines of equal pressure in slow flow, evenly spaced along the air's way."
        return f"{lines}{numbers}{square}"
    return {
        "fold-areas": "Area along the way. Shaded: the folds, where they lie along the equivalent horn.",
        "fold-throat": "What a driver meets at the throat, over an endless duct of the throat's area.",
        "fold-mouth": "Flow out of the mouth for a given flow at the throat.",
    }[name]


def _alt(found: Fold, name: str) -> str:
    if name == "fold-areas":
        area = found.horn.area_m2 * 1e4
        return f"Equivalent horn from {plain(float(area[0]))} to {plain(float(area[-1]))} cm²."
    return caption(found, name)
