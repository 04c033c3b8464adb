"""What is said of a cause. Every sentence about one is here, and holds for the case that it is said of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from airpath.findings.explaining.features import Spot
from airpath.findings.explaining.orders import Order
from airpath.findings.explaining.resonances import Shape
from airpath.findings.explaining.shares import Share
from airpath.findings.wording import capital, listing, sig
from airpath.network.graph import OPEN_AIR, OUTSIDE, Network

TAKES_PART = 0.2  # of the moving, or of the springing energy
SWINGS = 0.1  # of all energy: a part with less is not worth a word


@dataclass(frozen=True, kw_only=True)
class Tuning:
    """A Helmholtz tuning: ``chambers`` are its springs, ``ports`` its plugs, largest part first."""

    chambers: list[str]
    ports: list[str]
    text: str


def tuning_of(spaces: Sequence[set[str]], kinds: Mapping[str, str], share: Mapping[str, Share]) -> Tuning | None:
    """Return the tuning that swings with the given shares, None without a plug that opens into a chamber.

    ``spaces`` as of :func:`air_spaces`: a plug swings on the air that it opens into, not on what lies behind the cone.
    """
    best: tuple[float, list[str], list[str]] | None = None
    for group in spaces:
        springs = {o: p.potential - p.wave / 2 for o, p in share.items() if o in group and kinds.get(o) == "chamber"}
        plugs = {
            o: p.kinetic - p.wave / 2
            for o, p in share.items() if o in group and kinds.get(o) in ("port", "horn", "leak")
        }  # fmt: skip
        weight = 2 * min(sum(springs.values()), sum(plugs.values())) if springs and plugs else 0.0
        if weight > (best[0] if best else 0.0):
            best = weight, _main(springs), _main(plugs)
    if best is None:
        return None
    _, chambers, ports = best
    through = {kinds[o] for o in ports}
    way = (through.pop() if len(through) == 1 else "opening") + ("s" if len(ports) > 1 else "")
    kind = "chamber" if len(chambers) == 1 else "chambers"
    text = f"the Helmholtz tuning of {kind} {quoted(chambers)} by {way} {quoted(ports)}"
    return Tuning(chambers=chambers, ports=ports, text=text)


def _main(parts: dict[str, float]) -> list[str]:
    """Return the parts that hold a fifth of the sum, or half of what the largest holds, in the order of the case.

    The largest where none does: six ports alike hold a sixth each.
    """
    enough = min(TAKES_PART * sum(max(v, 0.0) for v in parts.values()), max(parts.values()) / 2)
    return [o for o, v in parts.items() if v > enough > 0] or sorted(parts, key=lambda o: -parts[o])[:1]


def air_spaces(network: Network) -> list[set[str]]:
    """Return the owners whose air is connected without passing the cone or the open air, one set for each space."""
    spaces: list[tuple[set[str], set[str]]] = []
    for branch in network.branches:
        if branch.role not in ("chamber", "port", "horn", "leak"):
            continue
        nodes, owners = set(branch.nodes) - {OUTSIDE, OPEN_AIR}, {branch.owner}
        apart = []
        for known, names in spaces:
            if known & nodes:
                nodes, owners = nodes | known, owners | names
            else:
                apart.append((known, names))
        spaces = [*apart, (nodes, owners)]
    order = {branch.owner: i for i, branch in enumerate(network.branches)}
    return [owners for _, owners in sorted(spaces, key=lambda s: min(order[o] for o in s[1]))]


def together(network: Network, spaces: Sequence[set[str]], ring: Shape, ports: list[str]) -> dict[str, bool]:
    """Return per port whether it and the cone take air out of the space between them at the same time.

    If not, the air goes to and fro between them. Ports that don't meet the cone's air are left out.
    """
    driver = next(b for b in ring.branches if b.owner == "driver" and b.role == "driver")
    cone = ring.flow(driver)
    out = {}
    for port in ports:
        own = [b for b in ring.branches if b.owner == port and b.role != "mouth"]
        space = next((s for s in spaces if port in s), set())
        nodes = {n for b in network.branches if b.owner in space and b.role != "driver" for n in b.nodes} - {OUTSIDE}
        side = next((k for k, node in enumerate(driver.nodes) if node in nodes), None)
        if side is None or not own or len(own[0].nodes) < 2:
            continue
        leaves = ring.flow(own[0])[0]
        out[port] = bool((cone[side] * np.conj(leaves)).real > 0)
    return out


def driver_phrase(kinds: Mapping[str, str], share: Mapping[str, Share]) -> str:
    """Say on which springs the cone swings."""
    springs = [o for o, p in share.items() if kinds.get(o) == "chamber" and p.potential > TAKES_PART / 2]
    air = f" and on the air in {quoted(springs)}" if springs else ""
    return f"the driver: its cone swings on its suspension{air}"


def company(step: Mapping[str, bool], springs: list[str], subject: str) -> str:
    """Say how the air in ports swings with the cone, called ``subject``: to and fro, or pressing together."""
    between = [name for name, same in step.items() if not same]
    pressing = [name for name, same in step.items() if same]
    said = []
    if between:
        said.append(f"air goes to and fro between {subject} and {quoted(between)}")
    if pressing:
        on = f"the air in {quoted(springs)}" if springs else "the air between them"
        said.append(f"{subject} and the air in {quoted(pressing)} press on {on} together")
    return ", while ".join(said)


def beside(spot: Spot, dip: Spot, tuning: str) -> str:
    """Say on which side of a tuning's dip a peak lies."""
    side = "below" if spot.frequency < dip.frequency else "above"
    return f"the {spot.kind} {side} {tuning} (the dip at {sig(dip.frequency, 4)} Hz)"


def plain(kind: str, element: str, order: Order) -> str:
    """Say what a wave, a leak, a coil or the room around the box is."""
    if kind == "leak":
        return f'the leak of chamber "{element}": its plug of air swings against the air inside'
    if kind == "coil":
        return "the coil's inductance"
    return order.phrase


def sentence(spot: Spot, text: str, missing: list[str]) -> str:
    """Return what a builder needs to know of a feature: who doesn't show it, and what it is."""
    if not missing:
        return f"{capital(text)}."
    which = f"the {listing(missing)} model has" if len(missing) == 1 else f"the {listing(missing)} models have"
    middle = "here" if text.endswith("coincide") else "it is"
    return f"{capital(which)} no such {spot.kind}; {middle} {text}."


def quoted(names: list[str], joint: str = "and") -> str:
    """Return names in quotes: "a" and "b"."""
    return listing([f'"{name}"' for name in names], joint) if names else "no part alone"


def swings(share: Mapping[str, Share], name: str) -> bool:
    """Whether a part holds enough of the energy to be mentioned."""
    return name in share and share[name].total > SWINGS
