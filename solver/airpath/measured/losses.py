"""Losses in a measured box: Q of each tuning, and whether a leak or absorption fills its dips in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

import numpy as np

from airpath.case.parameters import parameters
from airpath.case.schema import Case
from airpath.case.spaces import Leak
from airpath.findings.explaining.features import Spot, spots
from airpath.findings.wording import listing, sig
from airpath.measured.fitting.fit import fit
from airpath.measured.fitting.fitresult import FitResult
from airpath.measured.newton import Aim, Solved
from airpath.measured.reading.checks import with_coil
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.network.build import build
from airpath.network.sweep import sweep_frequencies

Way = Literal["leak", "absorption"]
_LEAKS = (0.7e-3, 1e-3, 1.5e-3, 2e-3, 3e-3, 4.5e-3, 7e-3, 10e-3)  # m
_QS = (300.0, 150.0, 80.0, 40.0, 20.0, 10.0)
_PRIOR, _WIDE = 0.05, 0.2  # of the logarithms of the rest
_ROUNDS = 4
_BETTER = 20.0  # fall of chi^2 that a loss must bring, and that tells it from the other kind
_STRUCTURAL = 2.0  # squares of the noise per point that are more than noise
_NO_MORE = "The losses are those of the case: no leak and no further absorption shows."
_NOTHING = "Neither a leak nor absorption explains how the sweep differs from the case, so no Q of a tuning is given."
_NOT_TRIED = (
    "A leak is tried as a round hole; a slit or cloth, and friction in a port beyond that of a smooth tube, were not "
    "tried and may look alike."
)
_FAR = 0.15  # of the frequency, between a tuning as drawn and as measured
_SAME = 0.02  # of the frequency, between a dip of the fitted case and the sweep's
_FILLS = 0.02  # of |Z|: from here on a dip or peak is named


@dataclass(frozen=True, kw_only=True)
class Tuning:
    """A dip that rings: its frequency [Hz] as measured, its Q there and as the case has it."""

    frequency_hz: float
    q: float
    q_drawn: float | None

    @property
    def text(self) -> str:
        """The Q in a sentence."""
        drawn = "" if self.q_drawn is None else f"; as drawn it would have {sig(self.q_drawn, 2)}"
        return f"The dip at {sig(self.frequency_hz)} Hz has a Q of {sig(self.q, 2)}, cone at rest{drawn}."


@dataclass(frozen=True, kw_only=True)
class Losses:
    """``tunings`` in rising order; ``way``: what kind of loss the sweep has beyond the case's, in which ``chamber``,
    how large it is (``value``: mm of a leak's width, or Q), None if there is none; ``sure``: the other kind fits worse.
    """

    tunings: list[Tuning]
    way: Way | None
    chamber: str | None
    value: float | None
    sure: bool
    text: str

    @property
    def lines(self) -> list[str]:
        """What there is to say, a sentence each."""
        return [*(tuning.text for tuning in self.tunings), self.text]

    def at(self, frequencies: list[float]) -> Losses:
        """Return the same with the dips near ``frequencies`` [Hz] alone: those that a sweep shows."""
        shown = [t for t in self.tunings if any(abs(t.frequency_hz / f - 1) < _SAME for f in frequencies)]
        return replace(self, tunings=shown)

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return asdict(self)


@dataclass(frozen=True, kw_only=True)
class _Trial:
    way: Way
    chamber: str
    value: float  # m of a leak's width, or Q
    solved: Solved


def losses(
    case: Case, sweep: MeasuredSweep, model: str = "line", finest: str | None = None, fitted: FitResult | None = None
) -> Losses:
    """Say whether a sweep has more loss than its case, whether it is a leak or absorption, and in which chamber.

    A leak bleeds the spring of the air most where the air is slow, absorption takes the same part of it in every swing:
    the one lowers the peak below a tuning more, the other the peak above (Small 1973, J. Audio Eng. Soc. 21, part I,
    from memory; common practice). Here the model compares: each kind in each chamber, in several sizes, with everything
    else that the sweep shows free to follow. What ``model`` finds has to hold in the ``finest`` one too: waves that a
    model lacks look like losses. ``fitted``: the fit of the case to the sweep in ``model``, if it is there already.
    Raises what ``fit`` raises. Checked by: unit/test_losses.
    """
    case, _ = with_coil(case, sweep)
    kinds = [(way, chamber) for chamber in case.chambers for way in _ways(case, chamber)]
    sizes: dict[tuple[Way, str], tuple[float, ...]] = {kind: _LEAKS if kind[0] == "leak" else _QS for kind in kinds}
    last = finest or model
    base = fitted or fit(case, sweep, model=model, localise=False)
    for name in dict.fromkeys((model, last)):
        aim, before = _closest(base, name)
        trials = sorted((_tried(aim, before, *kind, sizes[kind]) for kind in sizes), key=lambda t: t.solved.squares)
        best_of = {trial.way: trial for trial in reversed(trials)}
        sizes = {(trial.way, trial.chamber): (trial.value,) for trial in best_of.values()}
    if not trials or before.squares - trials[0].solved.squares < _BETTER:
        text = _NOTHING if before.squares > _STRUCTURAL * aim.rows else _NO_MORE
        tunings = [] if text == _NOTHING else _tunings(case, before.case, last)
        return Losses(tunings=tunings, way=None, chamber=None, value=None, sure=True, text=text)
    best = trials[0]
    others = [t.solved.squares for t in trials if t.way != best.way]
    sure = not others or min(others) - best.solved.squares > _BETTER
    shown = best.value * 1e3 if best.way == "leak" else best.value
    return Losses(tunings=_tunings(case, best.solved.case, last), way=best.way, chamber=best.chamber, value=shown,
                  sure=sure, text=_found(best, shown, sure, last))  # fmt: skip


def _closest(base: FitResult, model: str) -> tuple[Aim, Solved]:
    """Return the sweep as an aim, and the closest that a fitted case comes to it in ``model`` without more losses."""
    names = [value.name for value in base.values if ".leak" not in value.name and "loss_q" not in value.name]
    curve = base.curves[0]
    aim = Aim(
        model=model, frequency=curve.frequency, log_impedance=np.log(curve.measured), noise=max(base.noise, 1e-4),
        prior=_PRIOR,
    )  # fmt: skip
    start = base.case if model == base.model else base.before  # what one model makes up for is not asked of another
    return aim, _wide(aim, aim.solved(start, names, np.zeros(len(names)), _ROUNDS), names)


def _tried(aim: Aim, before: Solved, way: Way, chamber: str, sizes: tuple[float, ...]) -> _Trial:
    """Return the size of a loss that leaves the least: the best of several, then refined with all the rest."""
    boxes = [lossy(before.case, way, chamber, size) for size in sizes]
    least = int(np.argmin([aim.promised(box, before.names) for box in boxes])) if len(boxes) > 1 else 0
    size, near = sizes[least], aim.solved(boxes[least], before.names, np.zeros(len(before.names)), 1)
    key = f"chambers.{chamber}.{'leak.diameter' if way == 'leak' else 'loss_q'}"
    best = _wide(aim, near, (*before.names, key))
    if best.squares > near.squares:
        return _Trial(way=way, chamber=chamber, value=size, solved=near)
    return _Trial(way=way, chamber=chamber, value=parameters(best.case)[key].value, solved=best)


def _wide(aim: Aim, near: Solved, names: Sequence[str]) -> Solved:
    """Return the best of values ``names`` about where they are, with more room for each."""
    return replace(aim, prior=_WIDE).solved(near.case, names, np.zeros(len(names)), _ROUNDS)


def lossy(case: Case, way: Way, chamber: str, size: float) -> Case:
    """Return a case with a leak [m] or with absorption of a Q in one chamber."""
    leak = Leak.model_validate({"diameter": f"{size * 1e3:g} mm"}) if way == "leak" else None
    change = {"leak": leak} if way == "leak" else {"loss_q": size}
    table = case.chambers[chamber].model_copy(update=change)
    return case.model_copy(update={"chambers": {**case.chambers, chamber: table}})


def _ways(case: Case, chamber: str) -> tuple[Way, ...]:
    """Return the losses that a chamber may have and that the case does not give."""
    table = case.chambers[chamber]
    return tuple(w for w, given in (("leak", table.leak), ("absorption", table.loss_q)) if given is None)  # type: ignore[misc]


def _tunings(drawn: Case, measured: Case, model: str) -> list[Tuning]:
    """Return the dips that ring in the case as measured, with their Q there and as drawn."""
    now, was = (_dips(case, model) for case in (measured, drawn))
    out = []
    for spot in now:
        near = [w for w in was if abs(w.frequency / spot.frequency - 1) < _FAR]
        before = min(near, key=lambda w: abs(w.frequency - spot.frequency), default=None)
        out.append(Tuning(frequency_hz=spot.frequency, q=spot.q or 0.0, q_drawn=None if before is None else before.q))
    return out


def _dips(case: Case, model: str) -> list[Spot]:
    found = spots(build(case, model), sweep_frequencies(case))
    return [spot for spot in found if spot.kind == "dip" and spot.q is not None]


def _found(best: _Trial, value: float, sure: bool, model: str) -> str:
    what = f"a leak about {sig(value, 2)} mm wide" if best.way == "leak" else f"absorption with a Q of {sig(value, 2)}"
    other = "absorption" if best.way == "leak" else "a round hole"
    lead = f'More loss than the case has: {what} in chamber "{best.chamber}"'
    changed = _effect(best, model)
    end = f"{other} would fit worse" if sure else f"{other} would fit nearly as well, so look for both"
    return f"{lead}{f', as {changed}' if changed else ''}; {end}. {_NOT_TRIED}"


def _effect(best: _Trial, model: str) -> str:
    """Say which dips it fills in and which peaks it lowers."""
    case = best.solved.case
    table = case.chambers[best.chamber].model_copy(update={"leak" if best.way == "leak" else "loss_q": None})
    without = case.model_copy(update={"chambers": {**case.chambers, best.chamber: table}})
    now, was = (spots(build(one, model), sweep_frequencies(one)) for one in (case, without))
    parts = []
    for spot in now:
        near = [w for w in was if w.kind == spot.kind and abs(w.frequency / spot.frequency - 1) < _FAR]
        if not near or spot.omega is None:
            continue
        before = min(near, key=lambda w: abs(w.frequency - spot.frequency))
        change = abs(spot.impedance) / abs(before.impedance) - 1
        if spot.kind == "dip" and change > _FILLS:
            parts.append(f"it fills the dip at {sig(spot.frequency)} Hz by {sig(change * 100, 2)} %")
        elif spot.kind == "peak" and change < -_FILLS:
            parts.append(f"it lowers the peak at {sig(spot.frequency)} Hz by {sig(-change * 100, 2)} %")
    return listing(parts) if parts else ""
