"""Spaces from drawings: an outline or a mesh file, meshed and assembled once for all fidelities."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from airpath.acoustics.porous import Fill
from airpath.case.media import case_air
from airpath.case.schema import Case, Chamber, Horn
from airpath.errors import GeometryError

if TYPE_CHECKING:
    from airpath.field.forms import FieldMatrices
    from airpath.field.mesh import FieldMesh
    from airpath.field.potential import EquivalentHorn


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """A meshed space: ``volume`` [m^3], ``wall_area`` [m^2] and what the field solver needs. Equal to itself only."""

    mesh: FieldMesh
    matrices: FieldMatrices
    volume: float
    wall_area: float

    def spread(self, fill: Fill | None) -> Fill | None:
        """Return a stuffing as it is on the average of the whole space, where only a part of it is drawn as stuffed."""
        share = self.matrices.stuffed_share
        return fill if fill is None or share == 0 else replace(fill, fraction=fill.fraction * share)

    @cached_property
    def lowest_wavenumber(self) -> float:
        """Wavenumber [1/m] of the first standing wave, walls rigid and without stuffing."""
        from airpath.field.modes import lowest_wavenumber

        return lowest_wavenumber(self.matrices)

    @cached_property
    def equivalent(self) -> EquivalentHorn:
        """The horn that air at low frequencies finds between the openings "throat" and "mouth"."""
        from airpath.field.potential import equivalent_horn

        return equivalent_horn(self.mesh)


def read_drawn(case: Case, place: str, table: Chamber | Horn, order: tuple[str, ...] = ()) -> Drawn:
    """Mesh the outline of a chamber or horn; ``place`` is its table's name, openings in ``order`` come first.

    Raises GeometryError that names the case's table and the file's fault.
    """
    assert table.outline is not None
    path = case.resolve(table.outline)
    speed = case_air(case).sound_speed
    try:
        changed = path.stat().st_mtime_ns
        return _mesh(path, changed, case.sweep.stop, speed, table.outline_depth, table.outline_unit, order)
    except GeometryError as error:
        raise GeometryError(f"[{place}] outline: {error}") from None


@lru_cache(maxsize=4)
def _mesh(
    path: Path, changed: int, highest_hz: float, sound_speed: float, depth: float | None, unit: str | None,
    order: tuple[str, ...],
) -> Drawn:  # fmt: skip
    """Mesh a file once for all fidelities; ``changed`` is its time of change, so that an edited file is read anew."""
    from airpath.field.forms import assemble
    from airpath.field.meshfile import load_field_mesh

    turned = "axisymmetric" if path.suffix.lower() == ".dxf" else None
    kind = "planar" if depth is not None else turned
    mesh = load_field_mesh(path, highest_hz=highest_hz, sound_speed=sound_speed, kind=kind, depth_m=depth, unit=unit)
    ranked = sorted(mesh.openings, key=lambda name: order.index(name) if name in order else len(order))
    mesh = replace(mesh, openings={name: mesh.openings[name] for name in ranked})
    matrices = assemble(mesh)
    volume, wall_area = (float(matrices.operators[i].sum()) for i in (1, 3))
    if mesh.depth is not None:
        wall_area += 2 * volume / mesh.depth
    return Drawn(mesh=mesh, matrices=matrices, volume=volume, wall_area=wall_area)
