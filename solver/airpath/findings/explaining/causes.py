"""From energy shares and knock-outs to a cause. Every rule about one is here; the words are in `phrases`."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from airpath.case.schema import Case
from airpath.findings.explaining.features import Spot
from airpath.findings.explaining.knockout import Knock
from airpath.findings.explaining.orders import Order, order_of
from airpath.findings.explaining.phrases import (
    SWINGS,
    Tuning,
    air_spaces,
    beside,
    company,
    driver_phrase,
    plain,
    swings,
    together,
    tuning_of,
)
from airpath.findings.explaining.resonances import Shape
from airpath.findings.explaining.shares import Share, wave_in
from airpath.findings.explaining.variants import roles
from airpath.network.graph import Network

Type = Literal["driver", "helmholtz", "pipe", "chamber-mode", "horn", "leak", "coil"]
WAVES: dict[str, Type] = {"port": "pipe", "chamber": "chamber-mode", "horn": "horn"}
_MOVES = 0.1  # a resonance that moves this much without the waves of a part needs them
_MATTERS = 0.02  # least shift that shows a part of a coincidence
_INSIDE = 0.05  # of the energy: a part with less holds no wave worth the name
_PARTNER = 0.25  # a second wave with this much of the energy takes part
_DRIVER_AT_LEAST = 0.05
_TIE = 0.15


@dataclass(frozen=True, kw_only=True)
class Cause:
    """Why a feature is there: ``element`` is a name of the case; ``sure``: share and knock-out agree.

    ``elements``: all that share it, ``element`` first: two waves that coincide, every chamber of a tuning.
    """

    type: Type
    element: str
    elements: list[str]
    order: int | list[int] | None
    text: str
    sure: bool

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the ``explain`` result."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """A possible cause with the part of the energy that speaks for it."""

    type: Type
    element: str
    weight: float


def causes(
    case: Case, network: Network, found: list[Spot], rings: list[Shape | None], held: list[dict[str, Share]],
    knocks: list[Knock],
) -> list[Cause]:  # fmt: skip
    """Return the cause of each feature; ``rings``: how the box swings there, ``held``: its energy shares."""
    kinds = roles(network)
    spaces = air_spaces(network)
    ranked = [suspects(kinds, spaces, share) for share in held]
    driver = _driver_peak(found, ranked, knocks)
    teller = _Teller(
        case=case, network=network, kinds=kinds, spaces=spaces, found=found, rings=rings, held=held, ranked=ranked
    )
    out: dict[int, Cause] = {}
    for i in sorted(range(len(found)), key=lambda i: found[i].cone == "free"):  # tunings before the peaks beside them
        options = [s for s in ranked[i] if s.type != "driver" or i == driver]
        tried = _by_knock_out(i, found[i], kinds, held[i], knocks, options)
        out[i] = _stated(i, options, tried, teller, knocks) if options else _bare(found[i], tried)
    stated = [out[i] for i in range(len(found))]
    return [_settled(i, found, stated) if found[i].omega is None else cause for i, cause in enumerate(stated)]


def _stated(i: int, options: list[Suspect], tried: Suspect | None, teller: _Teller, knocks: list[Knock]) -> Cause:
    """Return the cause of a feature by its suspects and by what the knock-outs say."""
    first = options[0]
    both = [s for s in options if s.type in WAVES.values() and s.weight > _PARTNER]
    both = [s for s in both if _needed(i, s, knocks)] or both
    if first.type not in WAVES.values() or not both:
        both = [first]
    first = both[0]
    sure = _agree(i, both, tried, knocks)
    orders = [teller.order(i, s) for s in both]
    text = " and ".join(teller.phrase(i, s, o) for s, o in zip(both, orders, strict=True))
    if len(both) > 1:
        text = f"{text} coincide"
        text = text if sure else f"probably {text}"
    elif not sure:
        text = f"probably {text}{_other(i, first, tried, teller, text)}"
    tuning = teller.tuning(i) if first.type == "helmholtz" else None
    elements = tuning.chambers if tuning and first.element in tuning.chambers else [s.element for s in both]
    wave = first.element == "room" and orders[0].number is not None  # a room rings as a spring or in a standing wave
    kind: Type = "chamber-mode" if wave else first.type
    return Cause(type=kind, element=first.element, elements=elements, order=orders[0].number, text=text, sure=sure)


def _other(i: int, first: Suspect, tried: Suspect | None, teller: _Teller, said: str) -> str:
    """Say what the knock-outs alone make of a feature, where ``said`` doesn't name it already."""
    if tried is None:
        return ""
    if {first.type, tried.type} == {"driver", "helmholtz"}:
        tuned = teller.phrase(i, tried, teller.order(i, tried)).partition(":")[0]
        other = driver_phrase(teller.kinds, teller.held[i]) if tried.type == "driver" else tuned
        return "" if other in said else f"; closing the openings points to {other} instead"
    return f"; taking parts of the box away points to {teller.phrase(i, tried, teller.order(i, tried))} instead"


def suspects(kinds: dict[str, str], spaces: list[set[str]], share: dict[str, Share]) -> list[Suspect]:
    """Return what the energy says, the strongest first; the weights add up to 1 at most.

    Kinetic energy is half of all, so what only moves or only springs counts twice. A part that does both holds a wave.
    A plug and the spring that it opens into make a Helmholtz resonance, as much as both have; what a plug has beyond
    that swings with the cone. The room around the box is spring and door in one.
    """
    weights: dict[tuple[Type, str], float] = {}
    for owner, part in share.items():
        kind = kinds.get(owner, "room")
        if kind == "driver":
            weights["driver", owner] = 2 * part.kinetic
        elif kind == "leak":
            weights["leak", owner.removesuffix(".leak")] = 2 * part.kinetic
        elif kind == "room":
            weights["helmholtz", owner] = part.kinetic + part.potential
        elif kind == "chamber":
            weights["chamber-mode", owner] = part.wave
    for space in spaces:
        chambers = [o for o in space if kinds.get(o) == "chamber"]
        ducts = [o for o in share if o in space and kinds.get(o) in ("port", "horn")]
        weights |= {(WAVES[kinds[o]], o): wave_in(o, share, chambers) for o in ducts}
        own = {o: p for o, p in share.items() if o in space and kinds.get(o) in WAVES}
        plugs = sum(2 * p.kinetic - p.wave for o, p in own.items() if kinds[o] != "chamber")
        springs = sum(2 * p.potential - p.wave for o, p in own.items() if kinds[o] == "chamber")
        tuning = tuning_of([space], kinds, own)
        if tuning is not None and min(plugs, springs) > 0:
            weights["helmholtz", tuning.chambers[0]] = min(plugs, springs)
    ordered = sorted(weights.items(), key=lambda item: -item[1])
    return [Suspect(type=t, element=e, weight=w) for (t, e), w in ordered if w > 0]


def _driver_peak(found: list[Spot], ranked: list[list[Suspect]], knocks: list[Knock]) -> int | None:
    """Return the one feature that is the driver's own: its best share.

    Of nearly equal ones those that are no wave first of all, of these what a closed box keeps.
    """
    kept = next((k.shift for k in knocks if k.action == "sealed"), None)
    weight = {
        i: s.weight
        for i, spot in enumerate(found) if spot.cone == "free"
        for s in ranked[i] if s.type == "driver" and s.weight > _DRIVER_AT_LEAST
    }  # fmt: skip
    near = [i for i, w in weight.items() if w > max(weight.values()) - _TIE]
    near = [i for i in near if ranked[i][0].type not in WAVES.values()] or near
    return next((i for i in near if kept is not None and kept[i] is not None), max(near, key=weight.get, default=None))  # type: ignore[arg-type]


def _by_knock_out(
    i: int, spot: Spot, kinds: dict[str, str], share: dict[str, Share], knocks: list[Knock], options: list[Suspect]
) -> Suspect | None:
    """Return the cause that the knock-outs alone give."""
    def lost(action: str) -> list[Knock]:
        return [k for k in knocks if k.action == action and k.shift[i] is None]

    if spot.omega is None:
        return Suspect(type="coil", element="driver", weight=1.0) if lost("no coil") else None
    inside = [k for k in knocks if k.action == "no waves" and k.owner in share and share[k.owner].wave > _INSIDE]
    moved = [k for k in inside if k.shift[i] is None or abs(k.shift[i] or 0.0) > _MOVES]
    if moved:
        owner = max(moved, key=lambda k: (k.shift[i] is None, share[k.owner].wave)).owner
        return Suspect(type=WAVES.get(kinds[owner], "helmholtz"), element=owner, weight=1.0)
    mattering = [k for k in inside if abs(k.shift[i] or 0.0) > _MATTERS]
    if mattering and options[0].type in WAVES.values():
        owner = max(mattering, key=lambda k: abs(k.shift[i] or 0.0)).owner
        return Suspect(type=WAVES.get(kinds[owner], "helmholtz"), element=owner, weight=1.0)
    if lost("no leak"):
        return Suspect(type="leak", element=lost("no leak")[0].owner.removesuffix(".leak"), weight=1.0)
    if lost("sealed") or spot.cone == "clamped":  # closed, the box keeps the driver's own resonance alone
        tuning = next((s for s in options if s.type == "helmholtz"), None)
        if tuning is not None or lost("capped") or spot.cone == "clamped":
            return tuning
    return Suspect(type="driver", element="driver", weight=1.0)


def _agree(i: int, both: list[Suspect], tried: Suspect | None, knocks: list[Knock]) -> bool:
    """Whether shares and knock-outs name the same cause; two waves that coincide must each matter."""
    if len(both) == 1:
        return tried is not None and (both[0].type, both[0].element) == (tried.type, tried.element)
    return all(_needed(i, s, knocks) for s in both)


def _needed(i: int, suspect: Suspect, knocks: list[Knock]) -> bool:
    """Whether a feature vanishes or moves without the waves of a part."""
    shift = next((k.shift[i] for k in knocks if k.action == "no waves" and k.owner == suspect.element), 0.0)
    return shift is None or abs(shift) > _MATTERS


def _bare(spot: Spot, tried: Suspect | None) -> Cause:
    kind: Type = "driver" if tried is None else "coil"
    rings = "a wave in the air lies here too, too weak to make it" if spot.masks else "nothing in the air rings here"
    text = "" if tried is None else f"the coil: its inductance takes over from the cone's motion, {rings}"
    return Cause(
        type=kind, element="driver", elements=["driver"], order=None, text=text, sure=tried is not None
    )


def _settled(i: int, found: list[Spot], stated: list[Cause]) -> Cause:
    """Return the cause of a turn with no resonance of its own: the coil, or the flank of what rings nearest to it."""
    if stated[i].sure:
        return stated[i]
    known = [j for j, spot in enumerate(found) if spot.omega is not None]
    others = [j for j in known if stated[j].type != "driver"] or known
    if not others:
        text = "probably the driver, too damped to ring"
        kind: Type = "driver" if i == 0 else "coil"
        return Cause(type=kind, element="driver", elements=["driver"], order=None, text=text, sure=False)
    near = stated[min(others, key=lambda j: abs(found[j].frequency / found[i].frequency - 1))]
    if near.type == "driver":
        text = "probably the coil and the flank of the driver's own peak: nothing in the air rings here"
        return Cause(type="coil", element="driver", elements=["driver"], order=None, text=text, sure=False)
    return replace(near, text=f"probably the flank of {near.text.removeprefix('probably ')}", sure=False)


@dataclass(frozen=True, kw_only=True)
class _Teller:
    """Finds the words for a suspect of a feature."""

    case: Case
    network: Network
    kinds: dict[str, str]
    spaces: list[set[str]]
    found: list[Spot]
    rings: list[Shape | None]
    held: list[dict[str, Share]]
    ranked: list[list[Suspect]]

    def tuning(self, i: int) -> Tuning | None:
        return tuning_of(self.spaces, self.kinds, self.held[i])

    def order(self, i: int, suspect: Suspect) -> Order:
        """A horn's waves are counted as they come, peaks and dips apart."""
        own = [
            spot
            for spot, ranked in zip(self.found[:i], self.ranked[:i], strict=True)
            if ranked and (ranked[0].type, ranked[0].element) == ("horn", suspect.element)
        ]
        own = [spot for spot in own if spot.cone == self.found[i].cone]
        last = own[-1].frequency if own else 0.0
        return order_of(self.case, self.network, suspect.type, suspect.element, self.found[i], 1 + len(own), last)

    def phrase(self, i: int, suspect: Suspect, order: Order) -> str:
        known = suspect.type in ("driver", "helmholtz") and self.kinds.get(suspect.element) != "room"
        if not known:
            return plain(suspect.type, suspect.element, order)
        tuning, spot = self.tuning(i), self.found[i]
        if suspect.type == "helmholtz":
            assert tuning is not None
            if spot.cone == "clamped":
                return tuning.text
        swing = self._swing(i, tuning, "it" if suspect.type == "driver" else "the cone")
        near = self._dip(i, tuning)
        side = beside(spot, self.found[near], self.tuning(near).text) if near is not None else ""  # type: ignore[union-attr]
        if suspect.type == "driver":
            side = f"this is {side}" if side else ""
            return "; ".join(part for part in (driver_phrase(self.kinds, self.held[i]), swing, side) if part)
        assert tuning is not None
        return f"{side or tuning.text}{': ' + swing if swing else ''}"

    def _swing(self, i: int, tuning: Tuning | None, subject: str) -> str:
        """Say how plugs and cone swing with each other, where both take part."""
        ring, share = self.rings[i], self.held[i]
        main = tuning.ports if tuning and sum(share[o].total for o in tuning.ports) > SWINGS else []  # many small ones
        plugs = [o for o in share if self.kinds.get(o) in ("port", "horn") and (swings(share, o) or o in main)]
        if ring is None or self.found[i].cone != "free" or not swings(share, "driver") or not plugs:
            return ""
        step = together(self.network, self.spaces, ring, plugs)
        return company(step, tuning.chambers if tuning else [], subject)

    def _dip(self, i: int, tuning: Tuning | None) -> int | None:
        """Return the nearest dip that is a Helmholtz tuning of the same chambers."""
        if tuning is None:
            return None
        dips = [
            j
            for j, (spot, ranked) in enumerate(zip(self.found, self.ranked, strict=True))
            if spot.cone == "clamped" and ranked and ranked[0].type == "helmholtz"
            and (other := self.tuning(j)) is not None and set(other.chambers) & set(tuning.chambers)
        ]  # fmt: skip
        return min(dips, key=lambda j: abs(self.found[j].frequency / self.found[i].frequency - 1), default=None)
