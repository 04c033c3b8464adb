"""The files of ``airpath modes``: the table, the pictures, and fields for viewers of the VTK format."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

from airpath.findings.maps import ChamberMap, Grid, field_of, result
from airpath.findings.modes import ChamberModes, ModeTable
from airpath.report.figures.fields import PICTURED, Field, map_figure, mode_figures
from airpath.report.files import json_file
from airpath.report.folder import write_whole
from airpath.report.style import png, styled


def write_modes(
    table: ModeTable, maps: Sequence[ChamberMap], folder: Path, *, vtu: bool = False,
    step: Callable[[str], None] = lambda text: None,
) -> list[Path]:  # fmt: skip
    """Write modes.json, sheets with the modes of each chamber and the pressure maps, and return their paths.

    ``vtu``: all fields as unstructured grids too; ``step`` is told what comes next. Raises AirpathError when the folder
    can't be written.
    """
    content = {"modes.json": json_file(result(table, maps))}
    for i, (name, chamber) in enumerate(table.chambers.items()):
        field = field_of(chamber, table.network.air)
        if field is None:
            continue
        stem, own = f"{_file_stem(name, i)}-", [found for found in maps if found.chamber == name]
        content |= {f"{stem}{key}": data for key, data in _pictures(table, chamber, field, own, step).items()}
        if vtu:
            step(f"fields of {name}")
            content[f"{stem}fields.vtu"] = vtu_bytes(field, chamber, own)
    return write_whole(content, folder)


def vtu_bytes(field: Field, chamber: ChamberModes, maps: list[ChamberMap]) -> bytes:
    """Return a .vtu file of a chamber's modes (maximum 1) and maps (real and imaginary part, Pa RMS)."""
    import meshio

    grid: Grid = field.whole
    data: dict[str, NDArray[np.float64]] = {}
    for i, row in enumerate(chamber.rows[:PICTURED]):
        data[f"mode {i + 1}, {row.frequency_hz:.6g} Hz"] = field.shape(i, grid)
    for found in maps:
        pressure = field.pressure(found, grid)
        data[f"pressure at {found.frequency_hz:.6g} Hz, real part, Pa"] = np.ascontiguousarray(pressure.real)
        data[f"pressure at {found.frequency_hz:.6g} Hz, imaginary part, Pa"] = np.ascontiguousarray(pressure.imag)
    with TemporaryDirectory() as aside:
        path = Path(aside) / "fields.vtu"
        meshio.vtu.write(path, meshio.Mesh(grid.points, [(grid.cell, grid.cells)], point_data=data))
        return path.read_bytes()


def _pictures(
    table: ModeTable, chamber: ChamberModes, field: Field, maps: list[ChamberMap], step: Callable[[str], None]
) -> dict[str, bytes]:
    out, scale = {}, table.case.scale
    step(f"standing waves of {chamber.name}")
    with styled():
        for key, figure in mode_figures(chamber, field, scale):
            out[f"{key}.png"] = png(figure)
        for found in maps:
            step(f"pressure in {chamber.name} at {found.frequency_hz:g} Hz")
            drawn = map_figure(chamber, field, found, scale)
            if drawn is not None:
                out[f"map-{found.frequency_hz:.6g}-hz.png"] = png(drawn)
    return out


def _file_stem(name: str, index: int) -> str:
    """Return a chamber's name as a file name can hold it."""
    plain = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in name).strip("-")
    return plain if plain == name else f"{plain[:40] or 'chamber'}-{index + 1}"
