"""A box without one thing: no waves in a part, an opening closed, no leak, no stuffing, no coil."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega
from airpath.elements.chamber import Chamber, cube_wall_area
from airpath.elements.cuboid import Cuboid
from airpath.elements.duct import Duct
from airpath.elements.horn import Horn
from airpath.elements.passage import Passage
from airpath.elements.plug import Plug
from airpath.network.graph import OUTSIDE, Branch, Network
from airpath.network.passages import profile

Action = Literal["no waves", "capped", "sealed", "no leak", "no coil", "no stuffing"]


def roles(network: Network) -> dict[str, str]:
    """Return what each owner is: chamber, port, horn, leak, driver or room."""
    kinds: dict[str, str] = {}
    for branch in network.branches:
        if branch.role != "mouth":
            kinds.setdefault(branch.owner, branch.role)
    return kinds


def variants(network: Network, low: float) -> list[tuple[Action, str, Network]]:
    """Return (what is out, whose, the network without it); ``low`` [rad/s]: below the waves of every chamber."""
    out: list[tuple[Action, str, Network]] = []
    kinds = roles(network)
    for owner, role in kinds.items():
        own = [branch for branch in network.branches if branch.owner == owner]
        if role == "chamber" and any(branch.element.kind != "chamber" for branch in own):
            out.append(("no waves", owner, _still_chamber(network, owner, low)))
        if role == "room" and any(isinstance(branch.element, Cuboid) for branch in own):
            out.append(("no waves", owner, _still_room(network, owner, low)))
        if role in ("port", "horn") and any(_has_waves(branch.element) for branch in own):
            out.append(("no waves", owner, _replaced(network, owner, lambda e: still(_plain(e, network, low)))))
        if role == "chamber" and any(_stuffing(branch.element) is not None for branch in own):
            out.append(("no stuffing", owner, _replaced(network, owner, _unstuffed)))
        if role in ("port", "horn"):
            out.append(("capped", owner, _capped(network, (owner,))))
        if role == "leak":
            out.append(("no leak", owner, _without(network, own)))
    openings = tuple(o.name for o in network.openings if o.radiates and kinds.get(o.name) in ("port", "horn"))
    if openings:
        leaks = [branch for branch in network.branches if branch.role == "leak"]
        out.append(("sealed", openings[0] if len(openings) == 1 else "", _without(_capped(network, openings), leaks)))
    if network.cone.Le or network.cone.Le2:
        plain = replace(network.cone, Le=0.0, Le2=None, Re2=None)
        out.append(("no coil", "driver", _replaced(network, "driver", lambda e: plain if e is network.cone else e)))
    return out


def still(element: Element) -> Element:
    """Return a duct, horn or passage as plugs of the same inertance: no waves inside."""
    if isinstance(element, Duct):
        return Plug(section=element.section, length=element.length, count=element.count)
    if isinstance(element, Horn):
        return Passage(stages=tuple(profile([element], lumped=True)))
    if isinstance(element, Passage):
        return Passage(stages=tuple(still(stage) for stage in element.stages))
    return element


def _plain(element: Element, network: Network, low: float) -> Element:
    """Return a path of finite elements as one plug of its inertance at ``low`` [rad/s]; others as they are."""
    if isinstance(element, Passage):
        return Passage(stages=tuple(_plain(stage, network, low) for stage in element.stages))
    if element.kind != "field-chamber":
        return element
    air = network.air.lossless()
    whole = np.linalg.inv(element.admittance(np.array([low]), air)[0]).imag / low
    inertance = float(whole[0, 0] + whole[1, 1] - whole[0, 1] - whole[1, 0])
    return Plug(section=Section.round(1.0), length=inertance / air.density, friction=False)


def _has_waves(element: Element) -> bool:
    stages = element.stages if isinstance(element, Passage) else (element,)
    return any(isinstance(stage, Duct | Horn) or stage.kind == "field-chamber" for stage in stages)


def _stuffing(element: Element) -> Fill | None:
    if element.kind == "field-chamber":
        model = element.model  # type: ignore[attr-defined]
        fill, share = model.medium.fluid, model.matrices.stuffed_share if model.medium.in_part else 1.0
        return fill if fill is None or share == 1.0 else replace(fill, fraction=fill.fraction * share)  # type: ignore[no-any-return]
    return getattr(element, "fill", None) or getattr(element, "fluid", None)


def _unstuffed(element: Element) -> Element:
    if element.kind == "field-chamber":
        model = element.model  # type: ignore[attr-defined]
        return replace(element, model=replace(model, medium=replace(model.medium, fluid=None)))  # type: ignore[call-arg]
    key = "fluid" if hasattr(element, "fluid") else "fill"
    return replace(element, **{key: None}) if hasattr(element, key) else element


def _replaced(network: Network, owner: str, change: Callable[[Element], Element]) -> Network:
    branches = tuple(
        replace(branch, element=change(branch.element)) if branch.owner == owner else branch
        for branch in network.branches
    )
    return replace(network, branches=branches)


def _without(network: Network, gone: list[Branch]) -> Network:
    driver = network.branches[network.driver]
    branches = tuple(branch for branch in network.branches if not any(branch is other for other in gone))
    return replace(network, branches=branches, driver=branches.index(driver), openings=())


def _capped(network: Network, owners: tuple[str, ...]) -> Network:
    """Close the far end of ports and horns rigidly: their mouth goes, or their last node stands alone."""
    mouths = [b for b in network.branches if b.owner in owners and b.role == "mouth"]
    inner = {
        id([b for b in network.branches if b.owner == owner][-1])
        for owner in owners
        if not any(b.owner == owner for b in mouths)
    }
    branches = tuple(
        replace(b, nodes=(b.nodes[0], f"{b.owner}.capped")) if id(b) in inner and len(b.nodes) == 2 else b
        for b in network.branches
    )
    driver = network.branches[network.driver]
    return _without(replace(network, branches=branches, driver=branches.index(driver)), mouths)


@dataclass(frozen=True, kw_only=True)
class StillChamber(Element):
    """A chamber without waves: one ``spring``, and the ``inertance`` (n, n) [kg/m^4] of the air before each opening."""

    spring: Chamber
    inertance: NDArray[np.float64]

    @property
    def terminals(self) -> int:
        """The openings."""
        return len(self.inertance)

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y [m^3/(s Pa)], (n, terminals, terminals)."""
        spring = 1 / self.spring.admittance(omega, air)
        return np.asarray(np.linalg.inv(spring + 1j * omega[:, None, None] * self.inertance))

    @classmethod
    def examples(cls) -> list[Element]:
        """Return none: it is no element of a case."""
        return []


def _still_chamber(network: Network, owner: str, low: float) -> Network:
    """Replace a chamber by one spring: a duct by one node, a field by its openings' own near fields besides."""
    own = [branch for branch in network.branches if branch.owner == owner]
    first, volume = own[0].element, network.volumes[owner]
    if not isinstance(first, Duct):
        return _replaced(network, owner, lambda _: _still_field(first, volume, network.air.lossless(), low))
    nodes = {node for branch in own for node in branch.nodes} - {OUTSIDE}
    kept = [
        replace(b, nodes=tuple(owner if node in nodes else node for node in b.nodes))
        for b in network.branches
        if b.owner != owner
    ]
    driver = next(i for i, b in enumerate(kept) if b.element is network.cone)
    branch = Branch(owner=owner, role="chamber", element=_spring(first, volume), nodes=(owner,))
    return replace(network, branches=(*kept, branch), driver=driver, openings=(), chambers={})


def _still_room(network: Network, owner: str, low: float) -> Network:
    """Replace a room with standing waves by one spring; its door stays."""
    air = network.air.lossless()

    def change(element: Element) -> Element:
        return _still_field(element, float(np.prod(element.size)), air, low) if isinstance(element, Cuboid) else element

    return _replaced(network, owner, change)


def _still_field(element: Element, volume: float, air: Air, low: float) -> StillChamber:
    whole = np.linalg.inv(element.admittance(np.array([low]), air)[0]).imag
    inertance = (whole + air.bulk_modulus / (low * volume)) / low
    return StillChamber(spring=_spring(element, volume), inertance=(inertance + inertance.T) / 2)


def _spring(element: Element, volume: float) -> Chamber:
    return Chamber(
        volume=volume, wall_area=cube_wall_area(volume), loss_q=getattr(element, "loss_q", None),
        fill=_stuffing(element),
    )  # fmt: skip
