"""From energy shares and knock-outs to a cause. Every rule and every sentence about a cause is here."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from airpath.case.schema import Case
from airpath.findings.features import Spot
from airpath.findings.knockout import Knock, roles
from airpath.findings.orders import Order, order_of
from airpath.findings.shares import Share
from airpath.findings.wording import listing
from airpath.network.graph import Network

Type = Literal["driver", "helmholtz", "pipe", "chamber-mode", "horn", "leak", "coil"]
WAVES: dict[str, Type] = {"port": "pipe", "chamber": "chamber-mode", "horn": "horn"}
_MOVES = 0.1  # a resonance that moves this much without the waves of a part needs them
_MATTERS = 0.02  # least shift that shows a part of a coincidence
_PARTNER = 0.25  # a second wave with this much of the energy takes part
_DRIVER_AT_LEAST = 0.05
_TIE = 0.15
_TAKES_PART = 0.2  # of the moving, or of the springing energy


@dataclass(frozen=True, kw_only=True)
class Cause:
    """Why a feature is there: ``element`` is a name of the case; ``sure``: share and knock-out agree."""

    type: Type
    element: str
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
    case: Case, network: Network, found: list[Spot], held: list[dict[str, Share]], knocks: list[Knock]
) -> list[Cause]:
    """Return the cause of each feature; ``held``: its energy shares, empty for one without a natural frequency."""
    kinds = roles(network)
    ranked = [suspects(network, kinds, share) for share in held]
    driver = _driver_peak(found, ranked, knocks)
    out: list[Cause] = []
    for i, spot in enumerate(found):
        options = [s for s in ranked[i] if s.type != "driver" or i == driver]
        tried = _by_knock_out(i, spot, kinds, held[i], knocks, options)
        if not options:
            out.append(_bare(tried))
            continue
        first = options[0]
        both = [s for s in options if s.type in WAVES.values() and s.weight > _PARTNER]
        if first.type not in WAVES.values() or len(both) < 2:
            both = [first]
        sure = _agree(i, both, tried, knocks)
        nth = 1 + sum(c.type == "horn" and c.element == first.element and s.cone == spot.cone
                      for c, s in zip(out, found, strict=False))  # fmt: skip
        orders = [order_of(case, network, s.type, s.element, spot, nth) for s in both]
        text = " and ".join(_phrase(case, kinds, s, o, held[i]) for s, o in zip(both, orders, strict=True))
        if len(both) > 1:
            text = f"{text} coincide"
            text = text if sure else f"probably {text}"
        elif not sure and tried is not None:
            other = order_of(case, network, tried.type, tried.element, spot, nth)
            text = f"probably {text}; or {_phrase(case, kinds, tried, other, held[i])}, by what happens without it"
        elif not sure:
            text = f"probably {text}"
        out.append(Cause(type=first.type, element=first.element, order=orders[0].number, text=text, sure=sure))
    return [_settled(i, found, out) if found[i].omega is None else cause for i, cause in enumerate(out)]


def suspects(network: Network, kinds: dict[str, str], share: dict[str, Share]) -> list[Suspect]:
    """Return what the energy says, the strongest first; the weights add up to 1 in a box without losses.

    Kinetic energy is half of all, so twice the kinetic energy of each part adds up to 1. A plug moves and doesn't
    spring: its share goes to the Helmholtz resonance.
    The room around the box is spring and door in one. What a part both moves and springs is a wave inside it.
    """
    weights: dict[tuple[Type, str], float] = {}
    plugs = 0.0
    for owner, part in share.items():
        kind = kinds.get(owner, "room")
        if kind == "driver":
            weights["driver", owner] = 2 * part.kinetic
        elif kind == "leak":
            weights["leak", owner.removesuffix(".leak")] = 2 * part.kinetic
        elif kind == "room":
            weights["helmholtz", owner] = part.kinetic + part.potential
        elif kind in WAVES:
            weights[WAVES[kind], owner] = part.wave
            plugs += 2 * part.kinetic - part.wave
    spring = {o: p.potential - p.wave / 2 for o, p in share.items() if kinds.get(o) == "chamber"}
    if spring and plugs > 0:
        weights["helmholtz", max(spring, key=lambda o: spring[o])] = plugs
    ordered = sorted(weights.items(), key=lambda item: -item[1])
    return [Suspect(type=t, element=e, weight=w) for (t, e), w in ordered if w > 0]


def _driver_peak(found: list[Spot], ranked: list[list[Suspect]], knocks: list[Knock]) -> int | None:
    """Return the one feature that is the driver's own: its best share; of nearly equal ones what a closed box keeps."""
    kept = next((k.shift for k in knocks if k.action == "sealed"), None)
    weight = {
        i: s.weight
        for i, spot in enumerate(found) if spot.cone == "free"
        for s in ranked[i] if s.type == "driver" and s.weight > _DRIVER_AT_LEAST
    }  # fmt: skip
    near = [i for i, w in weight.items() if w > max(weight.values()) - _TIE]
    return next((i for i in near if kept is not None and kept[i] is not None), max(near, key=weight.get, default=None))  # type: ignore[arg-type]


def _by_knock_out(
    i: int, spot: Spot, kinds: dict[str, str], share: dict[str, Share], knocks: list[Knock], options: list[Suspect]
) -> Suspect | None:
    """Return the cause that the knock-outs alone give."""
    def lost(action: str) -> list[Knock]:
        return [k for k in knocks if k.action == action and k.shift[i] is None]

    if spot.omega is None:
        return Suspect(type="coil", element="driver", weight=1.0) if lost("no coil") else None
    moved = [k for k in knocks if k.action == "no waves" and abs(k.shift[i] or 0.0) > _MOVES]
    waves = lost("no waves") or moved
    if waves:
        owner = max(waves, key=lambda k: share[k.owner].wave if k.owner in share else 0.0).owner
        return Suspect(type=WAVES[kinds[owner]], element=owner, weight=1.0)
    if lost("no leak"):
        return Suspect(type="leak", element=lost("no leak")[0].owner.removesuffix(".leak"), weight=1.0)
    if lost("sealed") or spot.cone == "clamped":  # closed, the box keeps the driver's own resonance alone
        return next((s for s in options if s.type == "helmholtz"), None)
    return Suspect(type="driver", element="driver", weight=1.0)


def _agree(i: int, both: list[Suspect], tried: Suspect | None, knocks: list[Knock]) -> bool:
    """Whether shares and knock-outs name the same cause; two waves that coincide must each matter."""
    if len(both) == 1:
        return tried is not None and (both[0].type, both[0].element) == (tried.type, tried.element)
    shift = {k.owner: k.shift[i] for k in knocks if k.action == "no waves"}
    return all(shift.get(s.element, 0.0) is None or abs(shift.get(s.element) or 0.0) > _MATTERS for s in both)


def _bare(tried: Suspect | None) -> Cause:
    if tried is not None:
        text = "the coil: its inductance takes over from the cone's motion, nothing in the air rings here"
        return Cause(type="coil", element="driver", order=None, text=text, sure=True)
    return Cause(type="driver", element="driver", order=None, text="", sure=False)


def _settled(i: int, found: list[Spot], stated: list[Cause]) -> Cause:
    """Return the cause of a turn with no resonance of its own: the coil, or the flank of what rings nearest to it."""
    if stated[i].sure:
        return stated[i]
    known = [j for j, spot in enumerate(found) if spot.omega is not None]
    others = [j for j in known if stated[j].type != "driver"] or known
    if not others:
        text = "probably the driver, too damped to ring"
        return Cause(type="driver" if i == 0 else "coil", element="driver", order=None, text=text, sure=False)
    near = stated[min(others, key=lambda j: abs(found[j].frequency / found[i].frequency - 1))]
    if near.type == "driver":
        text = "probably the coil and the flank of the driver's own peak: nothing in the air rings here"
        return Cause(type="coil", element="driver", order=None, text=text, sure=False)
    return replace(near, text=f"probably the flank of {near.text.removeprefix('probably ')}", sure=False)


def _phrase(case: Case, kinds: dict[str, str], suspect: Suspect, order: Order, share: dict[str, Share]) -> str:
    name = suspect.element
    if suspect.type == "driver":
        springs = [o for o, p in share.items() if kinds.get(o) == "chamber" and p.potential > _TAKES_PART / 2]
        air = f" and on the air in {quoted(springs)}" if springs else ""
        return f"the driver: its cone swings on its suspension{air}"
    if suspect.type == "helmholtz" and kinds.get(name) == "room":
        return order.phrase
    if suspect.type == "helmholtz":
        return _helmholtz(kinds, share)
    if suspect.type == "leak":
        return f'the leak of chamber "{name}": its plug of air swings against the air inside'
    if suspect.type == "coil":
        return "the coil's inductance"
    return order.phrase


def _helmholtz(kinds: dict[str, str], share: dict[str, Share]) -> str:
    springs = {o: p.potential - p.wave / 2 for o, p in share.items() if kinds.get(o) == "chamber"}
    plugs = {o: p.kinetic - p.wave / 2 for o, p in share.items() if kinds.get(o) in ("port", "horn", "leak")}

    def main(parts: dict[str, float]) -> list[str]:
        total = sum(max(v, 0.0) for v in parts.values())
        large = [o for o, v in parts.items() if v > _TAKES_PART * total > 0]
        return large or sorted(parts, key=lambda o: -parts[o])[:1]

    chambers, ports = main(springs), main(plugs)
    kind = "chamber" if len(chambers) == 1 else "chambers"
    through = {kinds[o] for o in ports}
    way = (through.pop() if len(through) == 1 else "opening") + ("s" if len(ports) > 1 else "")
    return f"the Helmholtz tuning of {kind} {quoted(chambers)} by {way} {quoted(ports)}"


def quoted(names: list[str]) -> str:
    """Return names in quotes: "a" and "b"."""
    return listing([f'"{name}"' for name in names]) if names else "no part alone"
