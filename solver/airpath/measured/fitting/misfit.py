"""Where a misfit comes from that no free value explains: one change of the box after the other is tried."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.parameters import parameters
from airpath.errors import AirpathError
from airpath.findings.wording import listing, sig
from airpath.measured.fitting.auto import choose
from airpath.measured.fitting.changes import Change, changes
from airpath.measured.fitting.freedom import Free
from airpath.measured.fitting.noise import Residual, residual
from airpath.measured.fitting.profile import cost
from airpath.measured.fitting.squares import Squares, Target

_POINTS = 100  # of each sweep are enough to tell changes apart
_ROUGH = 0.1  # of the residual: what the first look takes for noise
_KEPT = 8  # changes that get a close look
_STEPS, _CLOSE_STEPS = 8, 20
_CLEAR = 12.0  # of the score: from here one change is clearly likelier than another
_HELPS = 0.5  # of the score without any change: one that leaves more explains nothing
_LEAK = 8e-3  # m: a wider hole is an opening
_ALIKE = {  # by kind of what is found
    "leak": " A port with more friction than a smooth tube may look like a leak; that was not tried.",
    "stuffed": " A leak through a slit or cloth may look like stuffing; that was not tried.",
}
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """One change of the box and how well the sweeps are met with it: ``score``, lower is better; ``rms`` is relative.

    ``structural``: even with it something is left that is no noise.
    """

    kind: str
    elements: tuple[str, ...]
    text: str
    rms: float
    score: float
    structural: bool


@dataclass(frozen=True, kw_only=True)
class Misfit:
    """The suspects, the likeliest first; ``sure``: no other comes near; ``text``: the verdict."""

    suspects: list[Suspect]
    sure: bool
    text: str

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the result."""
        return {"sure": self.sure, "text": self.text, "suspects": [asdict(one) for one in self.suspects]}


def misfit(squares: Squares, held: list[Free], said: list[Residual]) -> Misfit:
    """Return where the misfit of a fit comes from; ``held``: what wasn't free; ``said``: its residuals by channel.

    Each change is fitted with the values that the sweeps can tell apart free, and scored by what is left over the
    noise, the pull on the priors and, for each value more, the logarithm of the number of points.
    Source: Schwarz 1978, Ann. Stat. 6, 461 (the penalty), from memory. Checked by: cases/test_fit_misfit.
    """
    thin = replace(squares, targets=[_thinned(target) for target in squares.targets])
    noise = _spread(thin, [one.noise for one in said])
    rough = _spread(thin, [max(one.noise, _ROUGH * one.rms) for one in said])
    free = _telling(thin, held, noise)
    tried = [Change(kind="none", elements=(), text="only tolerances", case=squares.case), *changes(squares.case)]
    looked = [(change, *_look(thin, change, free, rough)) for change in tried]
    good = sorted((one for one in looked if np.isfinite(one[2])), key=lambda one: one[2])
    keep = [one for one in good if one[0].kind == "none"] + [one for one in good if one[0].kind != "none"][:_KEPT]
    suspects = [s for change, u, _ in keep if (s := _close(thin, change, free, u, noise)) is not None]
    suspects.sort(key=lambda one: one.score)
    return verdict(suspects, more=len(free) > len(squares.free))


def verdict(suspects: list[Suspect], more: bool = False) -> Misfit:
    """Return the suspects, each change once, and what they come to; ``more``: values were freed besides those asked.

    The suspect of kind "none" is the box as it is: a change must beat it.
    """
    def seen(before: list[Suspect]) -> list[tuple[str, tuple[str, ...]]]:
        return [(one.kind, one.elements) for one in before]

    rest = [one for i, one in enumerate(suspects) if (one.kind, one.elements) not in seen(suspects[:i])]
    plain = next((one for one in rest if one.kind == "none"), None)
    rest = [one for one in rest if one is not plain]
    if plain is not None and not plain.structural and (not rest or plain.score - rest[0].score < _CLEAR):
        text = "No change of the box explains the sweep better than "
        text += "other values do: try --free auto." if more else "the fitted values do."
        return Misfit(suspects=rest, sure=False, text=text)
    if not rest:
        return Misfit(suspects=rest, sure=False, text="None of the changes that were tried explains it.")
    best = rest[0]
    if plain is not None and best.structural and best.score > _HELPS * plain.score:
        text = f"None of the changes that were tried explains it; the nearest: {best.text}."
        return Misfit(suspects=rest, sure=False, text=text)
    near = [one for one in rest[1:] if one.score - best.score < _CLEAR]
    other = [one for one in near if not set(one.elements) & set(best.elements)]
    sure = not other and not best.structural
    text = f"What {'' if sure else 'probably '}explains it: {best.text}."
    if near:
        text += f" {'Nearly as likely' if other else 'Or'}: {(other or near)[0].text}."
    text += _ALIKE.get("leak" if best.text.startswith("a leak in ") else best.kind, "")
    return Misfit(suspects=rest, sure=sure, text=text)


def _thinned(target: Target) -> Target:
    step = int(np.ceil(len(target.omega) / _POINTS))
    return replace(target, omega=target.omega[::step], log_impedance=target.log_impedance[::step])


def _spread(squares: Squares, sizes: list[float]) -> _Real:
    rows = squares.channels
    return np.concatenate([np.full(r.stop - r.start, size) for r, size in zip(rows, sizes, strict=True)])


def _telling(squares: Squares, held: list[Free], noise: _Real) -> list[Free]:
    """Return the values that were free, and of the held ones those that the sweeps can tell apart besides."""
    every = [*squares.free, *held]
    slopes = replace(squares, free=every).linear(np.zeros(len(every)))[1]
    chosen = choose([one.parameter.name for one in every], slopes / noise[:, None])
    return [one for one, choice in zip(every, chosen, strict=True) if choice.taken or one in squares.free]


def _asked(squares: Squares, change: Change, free: list[Free]) -> Squares:
    """Return the fit of a changed box: what it sets free itself comes first, the rest where it still is."""
    known = parameters(change.case)
    own = {one.parameter.name for one in change.extra}
    kept = [
        replace(one, parameter=known[one.parameter.name])
        for one in free
        if one.parameter.name in known and one.parameter.name not in own
    ]
    return replace(squares, case=change.case, free=[*change.extra, *kept])


def _look(squares: Squares, change: Change, free: list[Free], rough: _Real) -> tuple[_Real, float]:
    asked = _asked(squares, change, free)
    try:
        start = np.array([*change.start, *np.zeros(len(asked.free) - len(change.start))])
        u = asked.search(start, rough, robust=False, most=_STEPS, close=1e-3)
        left = asked.residual(u) / rough
    except AirpathError:
        return np.zeros(len(asked.free)), np.inf
    return u, float(left @ left + u @ u) + len(change.extra) * np.log(len(left))


def _close(squares: Squares, change: Change, free: list[Free], start: _Real, noise: _Real) -> Suspect | None:
    asked = _asked(squares, change, free)
    try:
        u = asked.search(start, noise, robust=True, most=_CLOSE_STEPS, close=1e-5)
        left = asked.residual(u)
    except AirpathError:
        return None
    said = [residual(left[rows], len(u) * len(left[rows]) / len(left)) for rows in asked.channels]
    return Suspect(
        kind=change.kind, elements=change.elements, text=_text(change, asked, u),
        rms=float(np.sqrt(np.mean([one.rms**2 for one in said]))),
        score=cost(u, left / noise) + len(change.extra) * float(np.log(len(left))),
        structural=any(one.structural for one in said),
    )  # fmt: skip


def _text(change: Change, asked: Squares, u: _Real) -> str:
    if not change.hole:
        return change.text
    values = {one.parameter.path[-1]: one.value(float(x)) for one, x in zip(asked.free, u, strict=True)
              if one.parameter.path[:2] == ("ports", change.hole)}  # fmt: skip
    wide, names = values["diameter"], [f'"{name}"' for name in change.elements]
    size = f"{sig(wide * 1e3, 2)} mm"
    if wide < _LEAK:
        return f"a leak {'in' if len(names) == 1 else 'between'} {listing(names)}, like a hole {size} wide"
    far = names[1] if len(names) > 1 else "the outside"
    return f"an opening from {names[0]} to {far} that the case does not have, like a port {size} wide"
