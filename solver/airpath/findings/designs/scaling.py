"""A scale model beside what it stands for: where the walls' losses and the driver make the two differ."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from airpath.case.scaling import scaled
from airpath.case.schema import Case
from airpath.findings.cautions import excursion, hearing, power
from airpath.findings.explaining.features import turns, vertex
from airpath.findings.rooms import door_words
from airpath.findings.wording import decibels, listing, sig
from airpath.network.build import chosen_model
from airpath.network.respond import solve
from airpath.network.response import Response
from airpath.network.sweep import sweep_frequencies

_SAME_TURN = 0.1  # octaves: turns of the two curves this close belong together
_SAME_DB = 0.05  # as shown
_SAME_HZ = 5e-4  # relative
_FAR = 3.0  # times what is usual: a narrow dip or peak that shifts, and no measure of the band


@dataclass(frozen=True, kw_only=True)
class ScaledTone:
    """One tone in both: ``change_db`` in level is what the walls' losses and what the driver do, together."""

    frequency_hz: float
    scaled_frequency_hz: float
    spl_db: float
    scaled_spl_db: float
    losses_db: float
    driver_db: float
    impedance_ohm: float
    scaled_impedance_ohm: float

    @property
    def change_db(self) -> float:
        """Level at the new scale less that at the old one [dB]."""
        return self.scaled_spl_db - self.spl_db


@dataclass(frozen=True, kw_only=True)
class ScaledTurn:
    """A dip or peak of the impedance in both; ``mapped_hz``: where the old one would be if all mapped exactly."""

    kind: str
    frequency_hz: float
    mapped_hz: float
    scaled_frequency_hz: float | None
    impedance_ohm: float
    scaled_impedance_ohm: float | None


@dataclass(frozen=True, kw_only=True)
class Scaling:
    """What comes of a case at another scale; ``factor``: new lengths over old ones; ``sentences``: in words.

    The levels part by ``largest_db`` at most, by less than ``usual_db`` over 95 % of the band's octaves.
    ``warnings``: what can hurt at the new scale.
    """

    model: str
    scale: float
    to: float
    factor: float
    keep_driver: bool
    tones: list[ScaledTone]
    turns: list[ScaledTurn]
    usual_db: float
    largest_db: float
    largest_at_hz: float
    sentences: list[str]
    warnings: list[str]

    @property
    def band_text(self) -> str:
        """How far the levels part over the whole band, in a sentence."""
        if self.largest_db < _SAME_DB:
            return f"Over the whole band the levels part by less than {sig(_SAME_DB)} dB."
        at = f"at 1:{sig(self.to, 4)} near {sig(self.largest_at_hz)} Hz"
        if self.largest_db < _FAR * max(self.usual_db, _SAME_DB):
            return f"Over the whole band the levels part by {self.largest_db:.1f} dB at most, {at}."
        usual = sig(_SAME_DB) if self.usual_db < _SAME_DB else f"{math.ceil(self.usual_db * 10) / 10:.1f}"
        return f"The levels part by less than {usual} dB over 95 % of the band, and by {self.largest_db:.1f} dB {at}."

    def to_dict(self) -> dict[str, Any]:
        """Return the comparison as plain data, SI with the unit in each name."""
        tones = [asdict(tone) | {"change_db": tone.change_db} for tone in self.tones]
        return {**vars(self), "tones": tones, "turns": [asdict(turn) for turn in self.turns]}


def compare_scales(case: Case, other: Case, *, keep_driver: bool = False, model: str | None = None) -> Scaling:
    """Solve a case and the same at another scale, in one fidelity (the highest), and compare them.

    ``other`` is :func:`airpath.case.scaling.scaled` of it, or what was read from the file written so.
    Raises FidelityError, CaseError or AccuracyError.
    """
    model = chosen_model(case, model)
    factor = case.scale / other.scale
    sweep, tones = sweep_frequencies(case), np.array(case.tones)
    if not len(tones):
        curve = np.abs(solve(case, model, sweep).impedance)
        tones = sweep[turns(curve)[1]][:4]
    frequency = np.concatenate([sweep, tones])
    old, new = solve(case, model, frequency), solve(other, model, frequency / factor)
    alike = solve(_with_scaled_driver(case, other), model, frequency / factor) if keep_driver else new
    here = slice(len(sweep), None)
    rows = [_tone(old, new, alike, i) for i in range(*here.indices(len(frequency)))]
    apart = np.abs(new.spl_db - old.spl_db)[: len(sweep)]
    worst = int(apart.argmax())
    found = _turns(old, new, len(sweep), factor)
    return Scaling(
        model=model, scale=case.scale, to=other.scale, factor=factor, keep_driver=keep_driver, tones=rows, turns=found,
        usual_db=float(np.quantile(apart, 0.95)), largest_db=float(apart[worst]),
        largest_at_hz=float(frequency[worst] / factor),
        sentences=_sentences(case, other, factor, keep_driver, rows, found), warnings=_dangers(other, new, len(sweep)),
    )  # fmt: skip


def _dangers(other: Case, new: Response, count: int) -> list[str]:
    """Return what can hurt at the new scale; ``count``: frequencies of the sweep, the tones come after them."""
    found = [
        *hearing(other, new.frequency[count:], new.spl_db[count:]),
        *excursion(other, new.frequency[:count], new.excursion_peak[:count]),
        *power(other, new.frequency[:count], new.power[:count]),
    ]
    return [f"At 1:{sig(other.scale, 4)}: {text}" for text in found]


def _with_scaled_driver(case: Case, other: Case) -> Case:
    plain = case.model_copy(update={"chambers": {}, "horns": {}})
    similar = scaled(plain, other.scale)
    return other.model_copy(update={"driver": similar.driver, "drive": similar.drive})


def _tone(old: Response, new: Response, alike: Response, i: int) -> ScaledTone:
    return ScaledTone(
        frequency_hz=float(old.frequency[i]), scaled_frequency_hz=float(new.frequency[i]),
        spl_db=float(old.spl_db[i]), scaled_spl_db=float(new.spl_db[i]),
        losses_db=float(alike.spl_db[i] - old.spl_db[i]), driver_db=float(new.spl_db[i] - alike.spl_db[i]),
        impedance_ohm=float(abs(old.impedance[i])), scaled_impedance_ohm=float(abs(new.impedance[i])),
    )  # fmt: skip


def _turns(old: Response, new: Response, count: int, factor: float) -> list[ScaledTurn]:
    """Return the dips and peaks of the old curve, each with the nearest of its kind of the new one."""
    z, f = np.abs(old.impedance[:count]), old.frequency[:count]
    w, g = np.abs(new.impedance[:count]), new.frequency[:count]
    out = []
    for kind, mine, theirs in zip(("peak", "dip"), turns(z), turns(w), strict=True):
        others = [vertex(g, w, i) for i in theirs]
        for i in mine:
            hz, size = vertex(f, z, i)
            near = min(others, key=lambda o: abs(math.log2(o[0] * factor / hz)), default=None)
            if near is not None and abs(math.log2(near[0] * factor / hz)) > _SAME_TURN:
                near = None
            out.append(
                ScaledTurn(
                    kind=kind, frequency_hz=hz, mapped_hz=hz / factor, impedance_ohm=size,
                    scaled_frequency_hz=None if near is None else near[0],
                    scaled_impedance_ohm=None if near is None else near[1],
                )
            )  # fmt: skip
    return sorted(out, key=lambda turn: turn.frequency_hz)


def _sentences(
    case: Case, other: Case, factor: float, keep_driver: bool, rows: list[ScaledTone], found: list[ScaledTurn]
) -> list[str]:
    n = _times(factor, 1)
    out = [
        f"From 1:{sig(case.scale, 4)} to 1:{sig(other.scale, 4)}: lengths {n}, the listener's distance too; areas "
        f"{_times(factor, 2)}, volumes {_times(factor, 3)}; frequencies {_times(factor, -1)}.",
        _driver_words(case, other, factor, keep_driver),
    ]
    out += _fill_words(case, factor)
    out.append(_loss_words(factor, [row.losses_db for row in rows]))
    if keep_driver and rows:
        low, high = min(row.driver_db for row in rows), max(row.driver_db for row in rows)
        out.append(
            "Beside a driver scaled along and driven in proportion, the kept one changes the level at the tones by "
            f"{_span(low, high)}."
        )
    out.append(_turn_words(found))
    if door_words(case):
        out.append(f"All of this {door_words(case)}.")
    return out


def _driver_words(case: Case, other: Case, factor: float, keep_driver: bool) -> str:
    if keep_driver:
        return (
            "The driver stays as it is and is driven alike: its resonance, mass and cone do not fit the box as before, "
            "so nothing but the air maps."
        )
    drive = f"{sig(other.drive.voltage)} V instead of {sig(case.drive.voltage)} V"
    if case.drive.power is not None and other.drive.power is not None:
        drive = f"{sig(other.drive.power)} W instead of {sig(case.drive.power)} W"
    return (
        f"The driver is scaled by similarity: cone area {_times(factor, 2)}, moving mass {_times(factor, 3)}, "
        f"compliance {_times(factor, -1)}, mechanical resistance {_times(factor, 2)}, force factor and inductances "
        f"{_times(factor, 1)}, coil resistance and Q values as they are, so fs {_times(factor, -1)} and Vas "
        f"{_times(factor, 3)}; xmax {_times(factor, 1)}, power rating {_times(factor, 2)}. Driven with {drive}, it has "
        f"the same impedance, level and air speed at the mapped frequency but for losses, and the excursion "
        f"{_times(factor, 1)}."
    )


def _fill_words(case: Case, factor: float) -> list[str]:
    parts = [n for n, c in (case.chambers | case.horns).items() if c.fill is not None]
    if not parts:
        return []
    quoted = listing([f'"{name}"' for name in parts])
    return [f"The stuffing in {quoted} needs another flow resistivity, {_times(factor, -1)}: looser the larger."]


def _loss_words(factor: float, losses: list[float]) -> str:
    share = sig(math.sqrt(max(factor, 1 / factor)), 4)
    where = "less" if factor > 1 else "more"
    text = (
        "Springs, plugs, waves and radiation map exactly; friction and heat at the walls do not: where their layers "
        f"are thin they count {share} times {where} than before (the square root of the factor)."
    )
    if losses:
        text += f" At the tones this changes the level by {_span(min(losses), max(losses))}."
    return text


def _turn_words(found: list[ScaledTurn]) -> str:
    both = [(t, t.scaled_frequency_hz) for t in found if t.scaled_frequency_hz is not None]
    moved = [(t, hz / t.mapped_hz - 1, hz) for t, hz in both]
    gone = [t for t in found if t.scaled_frequency_hz is None]
    if not found:
        return "The impedance has neither dip nor peak in the sweep."
    text = ""
    if moved:
        turn, shift, hz = max(moved, key=lambda m: abs(m[1]))
        if abs(shift) < _SAME_HZ:
            text = "Dips and peaks of the impedance stay within 0.05 % of their mapped frequencies."
        else:
            text = (
                f"Of the dips and peaks of the impedance the {turn.kind} at {sig(turn.frequency_hz, 4)} Hz moves most: "
                f"to {sig(hz, 4)} Hz, where {sig(turn.mapped_hz, 4)} Hz would be exact ({100 * shift:+.2f} %)."
            )
    if gone:
        lost = listing([f"{t.kind} at {sig(t.frequency_hz, 4)} Hz" for t in gone[:4]])
        text = f"{text} Without a counterpart: {lost}{' and others' if len(gone) > 4 else ''}."
    return text.strip()


def _times(factor: float, power: int) -> str:
    value = factor**power
    return f"times {sig(value, 4)}" if value >= 1 else f"divided by {sig(1 / value, 4)}"


def _span(low: float, high: float) -> str:
    if max(abs(low), abs(high)) < _SAME_DB:
        return f"less than {sig(_SAME_DB)} dB"
    return f"{decibels(low)} dB" if high - low < _SAME_DB else f"{decibels(low)} to {decibels(high)} dB"
