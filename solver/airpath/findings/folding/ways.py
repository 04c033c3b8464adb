"""One path seen three ways: by its centre line, its equivalent horn and its field, each with the mouth's radiation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import ComplexArray, cascade
from airpath.elements.mouth import Mouth
from airpath.field.centreline import CentreLine
from airpath.field.forms import assemble
from airpath.field.mesh import FieldMesh, mesh_outline
from airpath.field.outline import Outline
from airpath.field.potential import EquivalentHorn
from airpath.field.reduce import FieldSweep, reduce_field
from airpath.field.reduced import ReducedField
from airpath.field.walls import Medium
from airpath.network.horns import ducts

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Way:
    """What a driver meets at the throat, and what reaches the mouth, over frequency (n,).

    ``impedance`` (n,) [Pa s/m^3], pressure over volume velocity at the throat; ``transfer`` (n,), volume velocity out
    of the mouth over that into the throat.
    """

    impedance: ComplexArray
    transfer: ComplexArray


def loaded(admittance: ComplexArray, mouth: Mouth, omega: Floats, air: Air) -> Way:
    """Return what a two-port Y (n, 2, 2), throat first, does with the radiation of its mouth on the other end."""
    out = mouth.admittance(omega, air)[:, 0, 0]
    end = admittance[:, 1, 1] + out
    seen = admittance[:, 0, 0] - admittance[:, 0, 1] * admittance[:, 1, 0] / end
    pressure = -admittance[:, 1, 0] / end / seen
    return Way(impedance=1.0 / seen, transfer=np.asarray(out * pressure))


def mouth_of(outline: Outline) -> Mouth:
    """Return the mouth as an opening in a wall: a rectangle of a flat path, a disc of the same area of a turned one."""
    area = outline.opening_area("mouth")
    if outline.depth is None:
        return Mouth(section=Section.round(area))
    return Mouth(section=Section(height=area / outline.depth, width=outline.depth))


def line_way(path: EquivalentHorn | CentreLine, outline: Outline, omega: Floats, air: Air) -> Way:
    """Return the way through short ducts, each with the volume and the inertance of its stretch of ``path``."""
    stretches = ducts(path, depth=outline.depth)
    return loaded(cascade([duct.admittance(omega, air) for duct in stretches]), mouth_of(outline), omega, air)


@dataclass(frozen=True, kw_only=True)
class FieldWay:
    """The field in a path: the reduced ``model``, its ``sweep``, the ``mesh`` that it stands on, and the ``way``."""

    mesh: FieldMesh
    model: ReducedField
    sweep: FieldSweep
    way: Way

    def flows(self, omega: float, mouth: Mouth) -> ComplexArray:
        """Return the volume velocities into the path (2,) for one of 1 m^3/s at the throat, mouth radiating."""
        air, names = self.model.medium.air, self.model.matrices.names
        at = np.array([omega])
        order = [names.index("throat"), names.index("mouth")]
        z = self.model.impedance(at)[0][np.ix_(order, order)]
        load = 1.0 / mouth.admittance(at, air)[0, 0, 0]
        out = np.zeros(len(names), dtype=complex)
        out[order] = 1.0, -z[1, 0] / (z[1, 1] + load)
        return out


def field_way(outline: Outline, frequency: Floats, air: Air, refine: float = 1.0) -> FieldWay:
    """Return the way through the field of the whole outline at ``frequency`` [Hz] (n,), with a certified error.

    Raises GeometryError, AccuracyError.
    """
    mesh = mesh_outline(outline, highest_hz=float(frequency.max()), sound_speed=air.sound_speed, refine=refine)
    matrices, omega = assemble(mesh), 2.0 * np.pi * frequency
    model, sweep = reduce_field(matrices, Medium(air=air, depth=outline.depth), frequency)
    order = [matrices.names.index(name) for name in ("throat", "mouth")]
    impedance = sweep.impedance[:, order][:, :, order]
    way = loaded(np.asarray(np.linalg.inv(impedance), dtype=complex), mouth_of(outline), omega, air)
    return FieldWay(mesh=mesh, model=model, sweep=sweep, way=way)


def level_db(value: ComplexArray, reference: ComplexArray) -> Floats:
    """Return 20 lg |value/reference| (n,)."""
    return np.asarray(20.0 * np.log10(np.abs(value / reference)))


def parts_from(frequency: Floats, difference_db: Floats, least_db: float = 1.0) -> float | None:
    """Return the lowest frequency [Hz] at which a difference (n,) exceeds ``least_db``; None if it never does."""
    beyond = np.flatnonzero(np.abs(difference_db) > least_db)
    return float(frequency[beyond[0]]) if len(beyond) else None
