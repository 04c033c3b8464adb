"""Standing waves of each chamber: what excites them and what hears them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air
from airpath.case.schema import Case
from airpath.elements.base import Element
from airpath.elements.cuboid import Cuboid
from airpath.errors import FidelityError
from airpath.findings.wording import listing
from airpath.network.build import build, label, models_for
from airpath.network.graph import Network
from airpath.network.joints import Joint, joints_of

if TYPE_CHECKING:
    from airpath.field.element import FieldChamber

NODE = 0.05  # coupling below which an opening sits on a pressure node
FIRMLY = 0.3  # coupling from which a cone or an opening has a firm grip on a mode
_MOST = 1000  # modes listed of one chamber


@dataclass(frozen=True, kw_only=True)
class ModeRow:
    """One standing wave: ``frequency_hz`` with rigid walls, ``order`` (nx, ny, nz) of a cuboid.

    ``coupling``: the mean of its shape over each opening, the shape scaled to a maximum of 1; ``text`` says what that
    means.
    """

    frequency_hz: float
    order: tuple[int, int, int] | None
    coupling: dict[str, float]
    text: str

    def to_dict(self) -> dict[str, Any]:
        """Return the row under the names of ``modes.json``."""
        order = None if self.order is None else list(self.order)
        return {"frequency_hz": self.frequency_hz, "order": order, "coupling": self.coupling, "text": self.text}


@dataclass(frozen=True, kw_only=True)
class ChamberModes:
    """One chamber's standing waves without the uniform one, lowest first.

    ``element`` is what they belong to, None for a chamber that acts as one pressure; ``terminals`` (openings,) are its
    terminals in the order of ``openings``; ``note``: why there are none, or what to know about them.
    """

    name: str
    element: Cuboid | FieldChamber | None
    openings: tuple[str, ...]
    terminals: tuple[int, ...]
    rows: tuple[ModeRow, ...]
    note: str


@dataclass(frozen=True, kw_only=True)
class ModeTable:
    """The standing waves of every chamber of a case up to the end of its sweep."""

    case: Case
    network: Network
    model: str
    chambers: dict[str, ChamberModes]

    def to_dict(self) -> dict[str, Any]:
        """Return the table under the names of ``modes.json``."""
        return {
            "scale": self.case.scale,
            "chambers": {
                name: {"modes": [row.to_dict() for row in chamber.rows], "note": chamber.note}
                for name, chamber in self.chambers.items()
            },
        }


def modes(case: Case, model: str | None = None) -> ModeTable:
    """Return the standing waves of each chamber [Hz] up to the sweep's stop, with their grip on every opening.

    ``model``: "field", which alone has them; None: without any where the case doesn't allow it.
    Raises GeometryError for an outline that can't be meshed, AccuracyError if waves may be missing, FidelityError or
    CaseError as :func:`airpath.solve`. Checked by: unit/test_modes_command, published/test_modes_published.
    """
    if model is not None and model != "field":
        raise FidelityError(f'{label(case)}: standing waves are those of the field model, not of "{model}"')
    model = model or models_for(case)[-1]
    network = build(case, model)
    chambers = {name: _chamber(case, network, name) for name in case.chambers}
    return ModeTable(case=case, network=network, model=model, chambers=chambers)


def opening_names(joints: list[Joint]) -> tuple[str, ...]:
    """Return how people call what opens into a chamber: "cone", or the name of the port or horn."""
    short = ["cone" if joint.key.startswith("driver.") else joint.key.rpartition(".")[0] for joint in joints]
    return tuple(
        f"{name} {joint.key.rpartition('.')[2]}" if short.count(name) > 1 else name
        for name, joint in zip(short, joints, strict=True)
    )


def words(coupling: dict[str, float]) -> str:
    """Say what drives a standing wave and what hears it, from the couplings of the openings."""
    strength = {_call(name): abs(value) for name, value in coupling.items()}
    if all(value < NODE for value in strength.values()):
        names = list(strength)
        return f"nothing drives or hears it: {listing(names)} {_many(names, 'sits', 'sit')} on its pressure node"
    cones = [name for name in strength if name.startswith("the cone")]
    others = [name for name in strength if name not in cones]
    clauses = [_drive(name, strength[name]) for name in cones]
    firm = [name for name in others if strength[name] >= FIRMLY]
    weak = [name for name in others if NODE <= strength[name] < FIRMLY]
    deaf = [name for name in others if strength[name] < NODE]
    if firm:
        clauses.append(f"{listing(firm)} {_many(firm, 'hears', 'hear')} it")
    if weak:
        clauses.append(f"{listing(weak)} {_many(weak, 'hears', 'hear')} it weakly")
    if deaf:
        sits = _many(deaf, "it sits", "they sit")
        clauses.append(f"{listing(deaf)} can't hear it: {sits} on its pressure node")
    return "; ".join(clauses)


def _call(opening: str) -> str:
    """Return how sentences call an opening: "the cone", "the cone's front", or a port's own name in quotes."""
    if opening == "cone":
        return "the cone"
    side = opening.removeprefix("cone ")
    return f"the cone's {side}" if side in ("front", "rear") and side != opening else f'"{opening}"'


def _drive(cone: str, strength: float) -> str:
    if strength < NODE:
        return f"{cone} can't drive it: it sits on its pressure node"
    return f"{cone} drives it" + (" weakly" if strength < FIRMLY else "")


def _many(names: list[str], one: str, several: str) -> str:
    return one if len(names) == 1 else several


def _chamber(case: Case, network: Network, name: str) -> ChamberModes:
    joints = joints_of(case, name)
    names = opening_names(joints)
    branches = [network.branches[i] for i in network.chambers[name]]
    element = branches[0].element
    if isinstance(element, Cuboid):
        terminals = tuple(range(len(joints)))
        found, cut = _cuboid_modes(element, network.air, case.sweep.stop)
    elif element.kind == "field-chamber":
        at = [f"{name}.at {joint.key}" for joint in joints]
        terminals = tuple(branches[0].nodes.index(node) for node in at)
        found, cut = _drawn_modes(element, network.air, case.sweep.stop)  # type: ignore[arg-type]
    else:
        return ChamberModes(name=name, element=None, openings=names, terminals=(), rows=(), note=_flat(case, name))
    rows = []
    for frequency, order, means in found:
        coupling = {n: float(means[t]) for n, t in zip(names, terminals, strict=True)}
        rows.append(ModeRow(frequency_hz=frequency, order=order, coupling=coupling, text=words(coupling)))
    return ChamberModes(
        name=name, element=element, openings=names, terminals=terminals, rows=tuple(rows),  # type: ignore[arg-type]
        note=_note(case, name, names, element, cut),
    )  # fmt: skip


Found = list[tuple[float, tuple[int, int, int] | None, NDArray[np.float64]]]


def _cuboid_modes(chamber: Cuboid, air: Air, stop_hz: float) -> tuple[Found, float]:
    """Return the modes and the frequency up to which they are all there [Hz]."""
    volume, surface = chamber.volume, 2 * sum(chamber.volume / side for side in chamber.size)
    highest = stop_hz
    while _expected(volume, surface, sum(chamber.size), 2 * math.pi * highest / air.sound_speed) > _MOST:
        highest *= 0.97
    found = [m for m in chamber.modes(air, 0.0, highest) if m.order != (0, 0, 0)]
    return [(m.frequency_hz, m.order, m.coupling) for m in found], highest


def _expected(volume: float, surface: float, edges: float, k: float) -> float:
    """Return about how many modes lie below a wavenumber. Source: Kuttruff, Room Acoustics, section 3.2."""
    return volume * k**3 / (6 * math.pi**2) + surface * k**2 / (16 * math.pi) + edges * k / (4 * math.pi)


def _drawn_modes(chamber: FieldChamber, air: Air, stop_hz: float) -> tuple[Found, float]:
    waves = chamber.model.modes
    frequency = waves.frequency_hz(air.sound_speed)
    peak = peaks(waves.shapes)
    keep = [i for i in range(1, len(frequency)) if frequency[i] <= stop_hz * (1 + 1e-12)]
    return [(float(frequency[i]), None, waves.coupling[i] / peak[i]) for i in keep], stop_hz


def peaks(shapes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the value of largest magnitude of each shape (unknowns, modes), with its sign, (modes,)."""
    at = np.abs(shapes).argmax(axis=0)
    return np.asarray(shapes[at, np.arange(shapes.shape[1])])


def _flat(case: Case, name: str) -> str:
    """Say why a chamber has no standing waves here."""
    table, joints = case.chambers[name], joints_of(case, name)
    if table.size is None:
        return "acts as one pressure: the case gives its volume but not its shape (size or outline)"
    missing = [n for n, joint in zip(opening_names(joints), joints, strict=True) if joint.position is None]
    return f"acts as one pressure: the case gives no position for {listing([_call(name) for name in missing])}"


def _note(case: Case, name: str, openings: tuple[str, ...], element: Element, cut: float) -> str:
    notes = []
    if not any(opening.startswith("cone") for opening in openings):
        ways = listing([_call(name) for name in openings])
        notes.append(f"no cone faces this chamber: what excites it comes in through {ways}")
    if case.chambers[name].fill is not None:
        notes.append("the frequencies are those of the chamber without its stuffing, which lowers and damps them")
    if not isinstance(element, Cuboid) and element.model.matrices.basis.mesh.dim() == 3:  # type: ignore[attr-defined]
        notes.append("a solid mesh has no section to picture: its fields go into .vtu files only (--vtu)")
    if cut < case.sweep.stop:
        notes.append(f"about the first {_MOST} only, up to {cut:.0f} Hz")
    return "; ".join(notes)
