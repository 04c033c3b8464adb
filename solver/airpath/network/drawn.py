"""Drawn chambers: from an outline or a mesh file to a finite-element chamber with a certified error."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from airpath.air import Air
from airpath.case.schema import Case
from airpath.case.schema import Chamber as ChamberTable
from airpath.errors import GeometryError
from airpath.network.graph import Branch
from airpath.network.joints import Joint, fill_of
from airpath.network.sweep import sweep_frequencies

if TYPE_CHECKING:
    from airpath.field.forms import FieldMatrices
    from airpath.field.mesh import FieldMesh

_OTHER_AREA = 0.1  # share by which a drawn opening may differ from what joins it without being mentioned
_THICK_LAYER = 0.05  # layer over gap: the wall condition's error is 5 % of the loss there


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A meshed chamber: ``volume`` [m^3], ``wall_area`` [m^2] and what the field solver needs."""

    mesh: FieldMesh
    matrices: FieldMatrices
    volume: float
    wall_area: float


def read_drawn(case: Case, name: str, air: Air, joints: list[Joint]) -> Drawn:
    """Mesh the outline of a chamber. Raises GeometryError that names the case's table and the file's fault."""
    table = case.chambers[name]
    assert table.outline is not None
    path = case.resolve(table.outline)
    try:
        drawn = _mesh(
            path, path.stat().st_mtime_ns, case.sweep.stop, air.sound_speed, table.outline_depth, table.outline_unit
        )
    except GeometryError as error:
        raise GeometryError(f"[chambers.{name}] outline: {error}") from None
    _check_names(name, path, set(drawn.mesh.openings), joints)
    return drawn


@lru_cache(maxsize=4)
def _mesh(
    path: Path, changed: int, highest_hz: float, sound_speed: float, depth: float | None, unit: str | None
) -> Drawn:
    """Mesh a file once for all fidelities; ``changed`` is its time of change, so that an edited file is read anew."""
    from airpath.field.forms import assemble
    from airpath.field.meshfile import load_field_mesh

    turned = "axisymmetric" if path.suffix.lower() == ".dxf" else None
    kind = "planar" if depth is not None else turned
    mesh = load_field_mesh(path, highest_hz=highest_hz, sound_speed=sound_speed, kind=kind, depth_m=depth, unit=unit)
    matrices = assemble(mesh)
    volume, wall_area = (float(matrices.operators[i].sum()) for i in (1, 3))
    if mesh.depth is not None:
        wall_area += 2 * volume / mesh.depth
    return Drawn(mesh=mesh, matrices=matrices, volume=volume, wall_area=wall_area)


def _check_names(name: str, path: Path, drawn: set[str], joints: list[Joint]) -> None:
    wanted = [opening_name(joint) for joint in joints]
    missing = [opening for opening in wanted if opening not in drawn]
    twice = {opening for opening in wanted if wanted.count(opening) > 1}
    if missing:
        raise GeometryError(
            f'[chambers.{name}] outline: {path.name} has no opening "{missing[0]}", which joins this chamber; it '
            f"has {', '.join(sorted(drawn)) or 'none'}"
        )
    if twice:
        raise GeometryError(
            f"[chambers.{name}] outline: both ends of {min(twice)} open into this chamber, but a drawing has one "
            "opening of a name: give this chamber a size instead"
        )


def opening_name(joint: Joint) -> str:
    """Return the name that a joint's opening has in a drawing: that of the port or horn, or "driver"."""
    first, _, _ = joint.key.rpartition(".")
    return first


def field_chamber(
    case: Case, name: str, table: ChamberTable, drawn: Drawn, air: Air, joints: list[Joint]
) -> tuple[list[Branch], dict[str, str], list[str]]:
    """Return the reduced chamber, the node of every joint, and what to say about mesh and error.

    Raises AccuracyError if the reduced sweep can't be certified.
    """
    from airpath.field.element import FieldChamber
    from airpath.field.reduce import reduce_field
    from airpath.field.walls import Medium, layer_ratio

    medium = Medium(air=air, depth=drawn.mesh.depth, loss_q=table.loss_q, fluid=fill_of(table))
    frequency = np.union1d(sweep_frequencies(case), case.tones)
    model, sweep = reduce_field(drawn.matrices, medium, frequency)
    names = drawn.matrices.names
    key = {opening_name(joint): joint.key for joint in joints}
    nodes = tuple(f"{name} at {key.get(opening, opening)}" for opening in names)
    notes = [
        f'chamber "{name}", field model: finite elements of order {sweep.order}, {sweep.unknowns} unknowns, reduced to '
        f"{sweep.basis_size}; claimed error of its impedance {sweep.claimed_error.max():.0e} at most"
    ]
    idle = [opening for opening in names if opening not in key]
    if idle:
        notes.append(f'chamber "{name}": nothing joins the drawn opening {", ".join(idle)}; it is a rigid wall')
    notes += _other_areas(name, dict(zip(names, drawn.matrices.areas.tolist(), strict=True)), joints)
    ratio = layer_ratio(drawn.mesh, air, case.sweep.start)
    if ratio > _THICK_LAYER:
        notes.append(
            f'chamber "{name}": at {case.sweep.start:g} Hz the layer at its walls takes {ratio:.0%} of the narrowest '
            "gap; the field model's wall losses are rough there"
        )
    branch = Branch(owner=name, role="chamber", element=FieldChamber(model=model), nodes=nodes)
    return [branch], {joint.key: f"{name} at {joint.key}" for joint in joints}, notes


def _other_areas(name: str, drawn: dict[str, float], joints: list[Joint]) -> list[str]:
    """Say which openings are drawn with another area than what joins them has."""
    notes = []
    for joint in joints:
        opening, area = opening_name(joint), joint.section.area * joint.count
        if abs(drawn[opening] / area - 1) > _OTHER_AREA:
            notes.append(
                f'chamber "{name}": the opening "{opening}" is drawn with {drawn[opening] * 1e4:.3g} cm^2, what joins '
                f"it has {area * 1e4:.3g} cm^2"
            )
    return notes
