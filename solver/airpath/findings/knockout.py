"""Take one thing out of a box at a time and see which resonances go with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega
from airpath.elements.chamber import Chamber, cube_wall_area
from airpath.elements.cuboid import Cuboid
from airpath.elements.duct import Duct
from airpath.elements.horn import Horn
from airpath.elements.passage import Passage
from airpath.elements.plug import Plug
from airpath.findings.features import Spot, impedance, matching, starts, turns
from airpath.findings.resonances import Cone, distinct, mobility, refine_both, shapes
from airpath.findings.shares import Share, likeness, shares
from airpath.network.graph import OUTSIDE, Branch, Network
from airpath.network.passages import profile
from airpath.network.reuse import Admittances

Action = Literal["no waves", "capped", "sealed", "no leak", "no coil", "no stuffing"]
_FURTHEST = 0.5  # octaves that a resonance may move and still be the same one when waves or stuffing go
_FAR = 0.1  # octaves
_STAYS = 0.05  # of its energy in what is taken away, at most
_LIVES_ON = 0.25  # of its energy
_POINTS = 120  # of a sweep are enough for the rational fit,
_FIT_ERROR = 1e-8  # to this error: what no knock-out can lose is stronger
_ROUNDS = 1  # a pole of the fit that is real needs no more,
_ROUNDS_MORE = 3  # one of the whole box some
_WITHIN = 1e-3  # relative, of the last step
_CONES: tuple[Cone, ...] = ("free", "clamped")
_SEEN = 0.003  # of its frequency, or its half-width: a resonance this near is the same
_DRIVEN = 0.02  # of the moving energy in the cone: a resonance with less is not the driver's
_ALIKE = 0.6  # cosine between energy shares, at least
_FURTHEST_OPEN = 2.0  # when an opening closes


@dataclass(frozen=True, kw_only=True)
class Knock:
    """A box without one thing: waves inside ``owner``, its far end, all openings to the outside, the coil's inductance.

    ``shift``: per feature f_new/f - 1, None where it vanished. Of a sealed box the driver's own resonance alone counts.
    """

    action: Action
    owner: str
    shift: tuple[float | None, ...]


def knock_out(
    network: Network, found: list[Spot], held: list[dict[str, Share]], frequency: NDArray[np.float64]
) -> list[Knock]:
    """Return every knock-out that applies to a network and what it does to its features.

    ``held``: the energy shares of each feature. One re-solve of the sweep each.
    """
    out = []
    sweep = _Sweep(2 * np.pi * frequency[:: max(1, len(frequency) // _POINTS)])
    for action, owner, variant in variants(network, float(2 * np.pi * frequency[0])):
        if action == "no coil":
            shift = _without_coil(variant, found, frequency)
        elif action == "sealed":
            shift = _sealed(variant, found, held, sweep)
        else:
            limit = _FURTHEST if action in ("no waves", "no stuffing") else _FURTHEST_OPEN
            shift = _follow(variant, found, held, owner, sweep, limit)
        out.append(Knock(action=action, owner=owner, shift=tuple(shift)))
    return out


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


def _stuffing(element: Element) -> object:
    if element.kind == "field-chamber":
        model = element.model  # type: ignore[attr-defined]
        fill, share = model.medium.fluid, model.matrices.stuffed_share if model.medium.in_part else 1.0
        return fill if fill is None or share == 1.0 else replace(fill, fraction=fill.fraction * share)
    return getattr(element, "fill", None) or getattr(element, "fluid", None)


def _unstuffed(element: Element) -> Element:
    if element.kind == "field-chamber":
        model = element.model  # type: ignore[attr-defined]
        return replace(element, model=replace(model, medium=replace(model.medium, fluid=None)))  # type: ignore[call-arg]
    key = "fluid" if hasattr(element, "fluid") else "fill"
    return replace(element, **{key: None}) if hasattr(element, key) else element


def _replaced(network: Network, owner: str, change: object) -> Network:
    branches = tuple(
        replace(branch, element=change(branch.element)) if branch.owner == owner else branch  # type: ignore[operator]
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
        replace(b, nodes=(b.nodes[0], f"{b.owner} capped")) if id(b) in inner and len(b.nodes) == 2 else b
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
        fill=_stuffing(element),  # type: ignore[arg-type]
    )  # fmt: skip


class _Sweep:
    """The sweep that every variant is solved over; what an element does there is worked out once for all of them."""

    def __init__(self, omega: NDArray[np.float64]) -> None:
        self.known = Admittances(omega)

    def natural(self, network: Network, staying: Sequence[Spot] = ()) -> list[ComplexArray]:
        """Return the free and the clamped natural frequencies of a variant.

        What should stay and the fit doesn't see is looked for where the whole box has it: it may be weak.
        """
        parts = self.known.of(network.branches, network.air)
        guesses = starts(self.known.omega, mobility(network, self.known.omega, parts), _FIT_ERROR)
        new = refine_both(network, *guesses, _ROUNDS, _WITHIN)
        unseen = [
            np.array([s.omega for s in staying if s.cone == cone and _unseen(s, w)], dtype=np.complex128)
            for cone, w in zip(_CONES, new, strict=True)
        ]
        more = refine_both(network, unseen[0], unseen[1], _ROUNDS_MORE, _WITHIN)
        return [distinct(np.concatenate(pair)) for pair in zip(new, more, strict=True)]


def _unseen(spot: Spot, natural: ComplexArray) -> bool:
    if spot.omega is None:
        return False
    return not np.any(np.abs(natural - spot.omega) < max(_SEEN * abs(spot.omega), spot.omega.imag))


def _follow(
    network: Network, found: list[Spot], held: list[dict[str, Share]], owner: str, sweep: _Sweep, limit: float
) -> list[float | None]:
    """Pair the natural frequencies of a changed network with those of the features, one to one.

    A feature that moves far or lives on waves inside ``owner`` is the same one only if the same parts still swing.
    """
    none = Share(kinetic=0.0, potential=0.0)
    staying = [spot for spot, share in zip(found, held, strict=True) if share.get(owner, none).total < _STAYS]
    moved: dict[int, complex] = {}
    for cone, new in zip(_CONES, sweep.natural(network, staying), strict=True):
        mine = [(i, spot.omega) for i, spot in enumerate(found) if spot.cone == cone and spot.omega is not None]
        if not mine or not len(new):
            continue
        octaves = np.abs(np.log2(new.real[None, :] / np.array([w.real for _, w in mine])[:, None]))
        pull = np.sqrt(octaves)  # what stays is left alone: one goes far rather than each a little
        pairs = matching(np.where(octaves < limit, pull, np.inf), np.sqrt(limit))
        moved |= {mine[row][0]: complex(new[column]) for row, column in pairs.items()}
    ratio = {i: w.real / found[i].omega.real for i, w in moved.items()}  # type: ignore[union-attr]
    doubtful = [i for i in moved if abs(np.log2(ratio[i])) > _FAR or held[i].get(owner, none).wave > _LIVES_ON]
    now = shapes(network, [(moved[i], found[i].cone) for i in doubtful])
    gone = {i for i, ring in zip(doubtful, now, strict=True) if likeness(held[i], shares(ring)) < _ALIKE}
    return [None if i not in moved or i in gone else ratio[i] - 1 for i in range(len(found))]


def _sealed(
    network: Network, found: list[Spot], held: list[dict[str, Share]], sweep: _Sweep
) -> list[float | None]:  # fmt: skip
    """Find which free resonance becomes the driver's own when the box is closed.

    Coupled resonances never cross: the driver on the closed box and the tunings with the cone clamped, sorted, turn
    into the resonances of the whole in the same order.
    """
    shift: list[float | None] = [None] * len(found)
    new, _ = sweep.natural(network)
    if not len(new):
        return shift
    weight = [shares(ring)["driver"].kinetic for ring in shapes(network, [(w, "free") for w in new.tolist()])]
    driver = complex(new[int(np.argmax(weight))])
    dips = [s.omega.real for s in found if s.cone == "clamped" and s.omega is not None]
    low = max((w for w in dips if w < driver.real), default=0.0)
    high = min((w for w in dips if w >= driver.real), default=np.inf)
    free = {
        i: s.omega
        for i, s in enumerate(found)
        if s.cone == "free" and s.omega is not None and held[i]["driver"].kinetic > _DRIVEN
    }
    between = [i for i, w in free.items() if low < w.real < high]
    if between:
        own = min(between, key=lambda i: abs(np.log(free[i].real / driver.real)))
        shift[own] = driver.real / free[own].real - 1
    return shift


def _without_coil(network: Network, found: list[Spot], frequency: NDArray[np.float64]) -> list[float | None]:
    """Pair the extrema of the impedance with those of the same coil without its inductance."""
    highs, lows = (frequency[i] for i in turns(np.abs(impedance(network, 2 * np.pi * frequency))))
    limit = 0.05  # of its frequency: a turn further away is another
    shift: list[float | None] = [0.0 if spot.kind == "ripple" else None for spot in found]
    for kind, there in (("peak", highs), ("dip", lows)):
        own = [i for i, spot in enumerate(found) if spot.kind == kind]
        if not own or not len(there):
            continue
        moved = there[None, :] / np.array([found[i].frequency for i in own])[:, None] - 1
        for row, column in matching(np.where(np.abs(moved) < limit, np.abs(moved), np.inf), limit).items():
            shift[own[row]] = float(moved[row, column])
    return shift
