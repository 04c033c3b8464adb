"""Who does the work: what the cone feels at each tone, and which opening moves the air over the band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from airpath.findings.tones import cone_held, label
from airpath.findings.wording import listing, percent, sig
from airpath.network.response import Response

Way = Literal["with", "against", "aside"]
WORKS = 0.1  # of the moved air: an opening with less does no work worth a word
_NEAR = 2.0  # ratio of frequencies, an octave: farther off nothing is near
_WITH_DEG = 60.0  # phase to the strongest opening: closer is with it,
_AGAINST_DEG = 120.0  # further is against it


@dataclass(frozen=True, kw_only=True)
class WorkMap:
    """Share of the radiated volume velocity over ``frequency_hz`` (n,).

    ``share[opening]`` (n,): |U| of the opening over the sum of |U| of all that radiate, the cone included where it
    does: 0 to 1, together 1. ``together`` (n,): |sum of U| over the sum of |U|: 1 where all move in step, 0 where they
    cancel.
    """

    frequency_hz: NDArray[np.float64]
    share: dict[str, NDArray[np.float64]]
    together: NDArray[np.float64]

    def to_dict(self) -> dict[str, Any]:
        """Return it as lists."""
        return {
            "frequency_hz": self.frequency_hz.tolist(), "together": self.together.tolist(),
            "share": {name: share.tolist() for name, share in self.share.items()},
        }  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Worker:
    """One opening at one tone: ``share`` as in :class:`WorkMap`, ``phase_deg`` of its volume velocity to the strongest.

    ``way``: with the strongest (within 60 degrees), against it (beyond 120), or aside, in between.
    """

    share: float
    phase_deg: float
    way: Way


@dataclass(frozen=True, kw_only=True)
class Near:
    """The nearest peak or dip within an octave: its ``number`` in the list of features, from 1.

    Distances are from the tone.
    """

    number: int
    distance_hz: float
    distance_percent: float


@dataclass(frozen=True, kw_only=True)
class Held:
    """What the cone feels at one tone: ``loading_db`` as in `Response`; ``openings``: those that radiate."""

    frequency_hz: float
    loading_db: float
    openings: dict[str, Worker]
    peak: Near | None
    dip: Near | None
    text: str

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the ``explain`` result."""
        return asdict(self)


def work_map(response: Response) -> WorkMap:
    """Return who moves the air outside over a response's frequencies."""
    flow = {name: o.volume_velocity for name, o in response.openings.items() if o.pressure is not None}
    none = np.zeros(len(response.frequency))
    moved = sum((np.abs(u) for u in flow.values()), none)
    moved = np.where(moved > 0, moved, 1.0)
    return WorkMap(
        frequency_hz=response.frequency,
        share={name: np.abs(u) / moved for name, u in flow.items()},
        together=np.abs(sum(flow.values(), none.astype(complex))) / moved,
    )


def held_at(at_tones: Response, features: Sequence[tuple[str, float]]) -> list[Held]:
    """Return what the cone feels at each frequency of a response; ``features``: (kind, frequency [Hz]) in order."""
    work = work_map(at_tones)
    out = []
    for i, tone in enumerate(at_tones.frequency.tolist()):
        openings = _workers(at_tones, work, i)
        loading = float(at_tones.loading_db[i])
        peak, dip = (_near(tone, kind, features) for kind in ("peak", "dip"))
        words = [cone_held(loading), *_working(openings), *_distances(peak, dip)]
        out.append(
            Held(frequency_hz=tone, loading_db=loading, openings=openings, peak=peak, dip=dip,
                 text=f"{sig(tone, 4)} Hz: {'; '.join(words)}.")
        )  # fmt: skip
    return out


def _workers(response: Response, work: WorkMap, i: int) -> dict[str, Worker]:
    flow = {name: complex(response.openings[name].volume_velocity[i]) for name in work.share}
    if not flow:
        return {}
    strongest = flow[max(flow, key=lambda name: abs(flow[name]))]
    out = {}
    for name, u in flow.items():
        phase = float(np.degrees(np.angle(u * np.conj(strongest))))
        way: Way = "with" if abs(phase) <= _WITH_DEG else "against" if abs(phase) >= _AGAINST_DEG else "aside"
        out[name] = Worker(share=float(work.share[name][i]), phase_deg=phase, way=way)
    return out


def _working(openings: dict[str, Worker]) -> list[str]:
    """Say which openings move the air and whether in step."""
    busy = sorted((n for n, w in openings.items() if w.share >= WORKS), key=lambda n: -openings[n].share)
    if not busy:
        return ["nothing opens to the outside"]
    first, *rest = busy
    if len(openings) == 1:
        return [f"only {label(first)} moves the air outside"]
    lead = f"{label(first)} moves {percent(openings[first].share)} of the air"
    ways = {"with": "in step with it", "against": "against it", "aside": "neither in step nor against it"}
    said = []
    for way, words in ways.items():
        names = [f"{label(n)} {percent(openings[n].share)}" for n in rest if openings[n].way == way]
        said += [f"{listing(names)} {words}"] if names else []
    return [", ".join([lead, *said])]


def _near(tone: float, kind: str, features: Sequence[tuple[str, float]]) -> Near | None:
    there = [(n, f) for n, (k, f) in enumerate(features, 1) if k == kind and max(f / tone, tone / f) <= _NEAR]
    if not there:
        return None
    number, frequency = min(there, key=lambda pair: abs(np.log(pair[1] / tone)))
    return Near(number=number, distance_hz=frequency - tone, distance_percent=100 * (frequency / tone - 1))


def _distances(peak: Near | None, dip: Near | None) -> list[str]:
    said = []
    for what, near in (("peak", peak), ("dip", dip)):
        if near is not None:
            side = "above" if near.distance_hz >= 0 else "below"
            said.append(
                f"the nearest {what} (number {near.number}) is {sig(abs(near.distance_hz), 2)} Hz "
                f"({sig(abs(near.distance_percent), 2)} %) {side}"
            )
    return said
