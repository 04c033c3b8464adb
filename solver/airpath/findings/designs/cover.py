"""Every combination of covered openings: what a hand over a port does at each tone and over the band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from airpath.case.problem import nearest
from airpath.case.schema import Case
from airpath.elements.base import ComplexArray
from airpath.errors import CaseError
from airpath.findings.designs.covertext import EQUAL_DB, Held, State, answer, doubts, sentence, told
from airpath.findings.predict import own_tones
from airpath.findings.wording import listing
from airpath.network.build import build, chosen_model, label
from airpath.network.covered import CoveredBox, End, caps, outlets, uncovered
from airpath.network.respond import respond, solve
from airpath.network.response import FloatArray
from airpath.network.sweep import sweep_frequencies

CAPS: tuple[End, ...] = ("outer", "inner")
MOST_OPENINGS = 6  # with more, singles and pairs only
_MOST_SHOWN = 24  # states in a picture, or on the terminal
_AT_ONCE = 96  # frequencies of all states together: enough to work in one go, small enough to stay close


@dataclass(frozen=True, kw_only=True)
class Curves:
    """All states over ``frequency`` (n,) [Hz], each (states, n); ``air_speed_peak`` by opening, nan where covered.

    ``power`` [W] is what the terminals take; all else as in `airpath.Response`.
    """

    frequency: FloatArray
    impedance: ComplexArray
    spl_db: FloatArray
    excursion_peak: FloatArray
    loading_db: FloatArray
    power: FloatArray
    air_speed_peak: dict[str, FloatArray]

    def part(self, chosen: slice) -> Curves:
        """Return the curves at some of the frequencies."""
        speeds = {name: speed[:, chosen] for name, speed in self.air_speed_peak.items()}
        own = {k: v[..., chosen] for k, v in vars(self).items() if k != "air_speed_peak"}
        return Curves(**own, air_speed_peak=speeds)


@dataclass(frozen=True, kw_only=True)
class Covering:
    """What covering does.

    ``states``: all open first, then one covered, two ...; ``best``: the loudest state per tone, ``best_mean`` by the
    arithmetic mean of the levels, of states within EQUAL_DB the one with the fewest covers; ``band`` over the sweep,
    ``at_tones`` at the tones; ``tones_text``: how they were chosen if the case names none; ``notes``: what counts and
    what was assumed; ``warnings``: dangers.
    """

    case: Case
    model: str
    cap: End
    openings: tuple[str, ...]
    tones_hz: FloatArray
    tones_text: str
    states: tuple[State, ...]
    best: tuple[int, ...]
    best_mean: int
    band: Curves
    at_tones: Curves
    notes: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def answer(self) -> str:
        """Which state is the loudest, at each tone and on average, in a few sentences."""
        return answer(self.case, self.states, self.tones_hz, self.best, self.best_mean)

    @property
    def told(self) -> list[int]:
        """The states that are worth a sentence."""
        return told(self.states, self.best, self.best_mean)

    @property
    def shown(self) -> list[int]:
        """The states that a picture has room for: all, or the open one, the best, and the loudest on average."""
        first = list(dict.fromkeys([0, self.best_mean, *self.best]))
        rest = [i for i in range(len(self.states)) if i not in first]
        rest.sort(key=lambda i: -self.states[i].mean_spl_db)
        return sorted([*first, *rest][:_MOST_SHOWN])

    def to_dict(self) -> dict[str, Any]:
        """Return the result under the names of the ``cover`` result."""
        return {
            "title": self.case.title, "scale": self.case.scale, "model": self.model, "cap": self.cap,
            "openings": list(self.openings), "tones_hz": self.tones_hz.tolist(),
            "states": [asdict(state) for state in self.states],
            "best": [list(self.states[i].covered) for i in self.best],
            "best_mean": list(self.states[self.best_mean].covered),
            "answer": self.answer, "notes": list(self.notes), "warnings": list(self.warnings),
        }  # fmt: skip


def cover(
    case: Case, model: str | None = None, cap: str = "outer", only: str | Sequence[str] | None = None
) -> Covering:
    """Return every combination of covered openings of a case: ports and horns that end outside.

    All openings take part whether the file says ``covered`` or not. ``model``: the highest fidelity of the case if left
    out. ``cap``: "outer", a rigid cap at the outer end; "inner", closed at the chamber. ``only``: the opening
    or openings to cover, the others stay open. Raises CaseError, FidelityError or AccuracyError.
    """
    model = chosen_model(case, model)
    end = next((known for known in CAPS if known == cap), None)
    if end is None:
        raise CaseError(f'{label(case)}: cap = "{cap}": expected one of {", ".join(CAPS)}')
    open_case = uncovered(case)
    openings = _chosen(case, only)
    tones, tones_text = np.array(case.tones), ""
    if not case.tones:
        tones, tones_text = own_tones(solve(open_case, model))
    covered = [names for count in range(_most(openings) + 1) for names in combinations(openings, count)]
    sweep = sweep_frequencies(case)
    every = solved(open_case, model, end, covered, np.concatenate([sweep, tones]))
    band, at_tones = every.part(slice(len(sweep))), every.part(slice(len(sweep), None))
    states = tuple(_state(case, end, openings, covered[i], i, band, at_tones) for i in range(len(covered)))
    loudest = _loudest(np.column_stack([at_tones.spl_db, at_tones.spl_db.mean(axis=1)]))
    return Covering(
        case=case, model=model, cap=end, openings=openings, tones_hz=tones, tones_text=tones_text, states=states,
        best=tuple(loudest[:-1]), best_mean=loudest[-1],
        band=band, at_tones=at_tones, notes=tuple(_notes(case, openings, end)),
        warnings=tuple(doubts(case, [state.covered for state in states], band, at_tones)),
    )  # fmt: skip


def _loudest(levels: FloatArray) -> list[int]:
    """Return the loudest state per column of levels (states, columns) [dB]; of equals the one with fewest covers."""
    return (levels > levels.max(axis=0) - EQUAL_DB).argmax(axis=0).tolist()  # type: ignore[no-any-return]


def _chosen(case: Case, only: str | Sequence[str] | None) -> tuple[str, ...]:
    found, only = outlets(case), (only,) if isinstance(only, str) else only
    for name in only or ():
        if name in found:
            continue
        table = case.ports.get(name) or case.horns.get(name)
        if table is not None:
            why = f'"{name}" leads to chamber "{table.to}", where no hand reaches it: choose from what ends outside'
            raise CaseError(f"{label(case)}: {why}, {', '.join(found) or 'of which there is nothing'}")
        raise CaseError(f'{label(case)}: there is no opening "{name}" to cover; {nearest(name, found, "opening")}')
    return found if only is None else tuple(name for name in found if name in only)


def _most(openings: tuple[str, ...]) -> int:
    return len(openings) if len(openings) <= MOST_OPENINGS else 2


def solved(case: Case, model: str, end: End, covered: list[tuple[str, ...]], frequency: FloatArray) -> Curves:
    """Solve all states at all frequencies, some at a time."""
    network = replace(build(case, model), chambers={})  # nobody asks for the pressure in them
    named = {name for names in covered for name in names}
    covers = tuple(c for c in caps(case, network, end, lumped=model == "lumped") if c.name in named)
    box = CoveredBox(network, covers, [frozenset(names) for names in covered], 2 * np.pi * frequency)
    shape = (len(covered), len(frequency))
    ways = [opening.name for opening in network.openings if opening.name != "cone"]
    out = Curves(
        frequency=frequency, impedance=np.empty(shape, dtype=np.complex128),
        **{key: np.empty(shape) for key in ("spl_db", "excursion_peak", "loading_db", "power")},
        air_speed_peak={name: np.empty(shape) for name in ways},
    )  # fmt: skip
    for first in range(0, len(frequency), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        response = respond(case, box.network, box.state(some), model)
        for key in ("impedance", "spl_db", "excursion_peak", "loading_db", "power"):
            getattr(out, key)[:, some] = getattr(response, key)
        for name in ways:
            out.air_speed_peak[name][:, some] = response.openings[name].air_speed_peak
    for name in named:
        out.air_speed_peak[name][[name in names for names in covered]] = np.nan
    return out


def _state(
    case: Case, end: End, openings: tuple[str, ...], covered: tuple[str, ...], i: int, band: Curves, at_tones: Curves
) -> State:
    level, change = at_tones.spl_db[i], at_tones.spl_db[i] - at_tones.spl_db[0]
    held = [Held.of(band.frequency, np.abs(band.impedance[j]), band.loading_db[j]) for j in (0, i)]
    return State(
        covered=covered,
        spl_db=level.tolist(),
        change_db=change.tolist(),
        impedance_ohm=np.abs(at_tones.impedance[i]).tolist(),
        excursion_peak_m=at_tones.excursion_peak[i].tolist(),
        loading_db=at_tones.loading_db[i].tolist(),
        air_speed_peak_m_s={n: v[i].tolist() for n, v in at_tones.air_speed_peak.items() if n not in covered},
        mean_spl_db=float(level.mean()),
        mean_change_db=float(change.mean()),
        dips_hz=held[1].dips,
        text=sentence(case, end, openings, covered, (held[0], held[1]), (at_tones.frequency, level, change)),
    )


def _notes(case: Case, openings: tuple[str, ...], end: End) -> list[str]:
    """Say what counts as an opening and how it is covered."""
    if not openings:
        return ["This box has no port or horn that ends outside: there is nothing to cover."]
    which = "ports and horns that end outside; never the cone or a leak"
    notes = [f"What is covered: {listing(list(openings))} ({which})."]
    pipe = "the pipe stays, closed there" if end == "outer" else "the pipe is gone for the air inside"
    notes.append(f"Each cover is rigid and tight, at the {end} end: {pipe}. A hand is softer and leaks.")
    fed = [name for name in openings if name in case.horns and case.horns[name].from_ is None]
    if end == "inner" and fed:
        notes.append(f"{listing(fed)} starts at the driver and has no inner end: it is capped at its mouth.")
    already = [name for name in openings if name in case.ports and case.ports[name].covered]
    if already:
        notes.append(f"The case has {listing(already)} covered; here it takes part like the others.")
    if len(openings) > MOST_OPENINGS:
        notes.append(f"{len(openings)} openings make {2 ** len(openings)} combinations: singles and pairs are shown.")
    return notes


