"""Drawn chambers and horns in the field model: finite elements, reduced, with a certified error."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from airpath.acoustics.porous import Fill
from airpath.air import Air
from airpath.case.media import fill_of
from airpath.case.schema import Case
from airpath.case.schema import Chamber as ChamberTable
from airpath.errors import GeometryError
from airpath.network.graph import Branch
from airpath.network.joints import Joint
from airpath.network.meshed import Drawn, read_drawn
from airpath.network.sweep import sweep_frequencies

if TYPE_CHECKING:
    from airpath.field.element import FieldChamber
    from airpath.field.reduce import FieldSweep
    from airpath.field.walls import Medium

_OTHER_AREA = 0.1  # share by which a drawn opening may differ from what joins it without being mentioned
_THICK_LAYER = 0.05  # layer over gap: the wall condition's error is 5 % of the loss there


def read_chamber(case: Case, name: str, joints: list[Joint]) -> Drawn:
    """Mesh the outline of a chamber. Raises GeometryError that names the case's table and the file's fault."""
    table = case.chambers[name]
    drawn = read_drawn(case, f"chambers.{name}", table)
    assert table.outline is not None
    _check_names(name, case.resolve(table.outline), set(drawn.mesh.openings), joints)
    return drawn


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
    element, notes = reduced(case, f'chamber "{name}"', drawn, air, table.loss_q, fill_of(table))
    names = drawn.matrices.names
    key = {opening_name(joint): joint.key for joint in joints}
    nodes = tuple(f"{name}.at {key.get(opening, opening)}" for opening in names)
    idle = [opening for opening in names if opening not in key]
    if idle:
        notes.append(f'chamber "{name}": nothing joins the drawn opening {", ".join(idle)}; it is a rigid wall')
    notes += _other_areas(name, dict(zip(names, drawn.matrices.areas.tolist(), strict=True)), joints)
    branch = Branch(owner=name, role="chamber", element=element, nodes=nodes)
    return [branch], {joint.key: f"{name}.at {joint.key}" for joint in joints}, notes


def reduced(
    case: Case, what: str, drawn: Drawn, air: Air, loss_q: float | None, fluid: Fill | None
) -> tuple[FieldChamber, list[str]]:
    """Return a drawn space as a reduced element, and what to say about its mesh, its error and its narrowest gap.

    Raises AccuracyError if the reduced sweep can't be certified.
    """
    from airpath.field.walls import Medium, layer_ratio

    in_part = drawn.matrices.stuffed_share > 0
    medium = Medium(air=air, depth=drawn.mesh.depth, loss_q=loss_q, fluid=fluid, in_part=in_part)
    frequency = np.union1d(sweep_frequencies(case), case.tones)
    element, sweep = _reduction(drawn, medium, tuple(frequency.tolist()))
    notes = [
        f"{what}, field model: finite elements of order {sweep.order}, {sweep.unknowns} unknowns, reduced to "
        f"{sweep.basis_size}; claimed error of its impedance {sweep.claimed_error.max():.0e} at most"
    ]
    if drawn.matrices.stuffed_share > 0:
        share = f"{100 * drawn.matrices.stuffed_share:.0f} % of its volume is drawn as stuffed"
        notes.append(f"{what}: {share}" + ("" if fluid else "; without a fill in the case it is taken as plain air"))
    ratio = layer_ratio(drawn.mesh, air, case.sweep.start)
    if ratio > _THICK_LAYER:
        notes.append(
            f"{what}: at {case.sweep.start:g} Hz the layer at its walls takes {100 * ratio:.0f} % of the narrowest "
            "gap; the field model's wall losses are rough there"
        )
    return element, notes


@lru_cache(maxsize=8)
def _reduction(drawn: Drawn, medium: Medium, frequency: tuple[float, ...]) -> tuple[FieldChamber, FieldSweep]:
    """Reduce a space once for as long as nothing in it changes."""
    from airpath.field.element import FieldChamber
    from airpath.field.reduce import reduce_field

    model, sweep = reduce_field(drawn.matrices, medium, np.array(frequency))
    return FieldChamber(model=model), sweep


def _other_areas(name: str, drawn: dict[str, float], joints: list[Joint]) -> list[str]:
    """Say which openings are drawn with another area than what joins them has."""
    notes = []
    for joint in joints:
        opening, area = opening_name(joint), joint.section.area * joint.count
        if abs(drawn[opening] / area - 1) > _OTHER_AREA:
            notes.append(
                f'chamber "{name}": the opening "{opening}" is drawn with {drawn[opening] * 1e4:.3g} cm², what joins '
                f"it has {area * 1e4:.3g} cm²"
            )
    return notes
