"""Two sweeps of the same box, one later or warmer than the other: what changed, in values of the case."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.driver import mechanical_set
from airpath.case.parameters import Parameter, parameters
from airpath.case.schema import Case
from airpath.errors import SweepError
from airpath.findings.explaining.features import matching
from airpath.findings.wording import capital, listing, percent, sig
from airpath.measured.fitting.derivatives import log_impedance
from airpath.measured.fitting.fit import fit
from airpath.measured.fitting.fitresult import FitResult
from airpath.measured.newton import Aim, Solved
from airpath.measured.reading.checks import with_coil
from airpath.measured.reading.found import Found, features_in
from airpath.measured.reading.rational import rational_fit
from airpath.measured.reading.sweep import MeasuredSweep

FloatArray = NDArray[np.float64]
COPPER = 0.0039  # 1/K: resistance of copper, common value; IEC 60028 (from memory) has 0.00393 at 20 degC
_NAMES = ("driver.Re", "driver.Le", "driver.Cms", "driver.Rms", "driver.Bl", "driver.Mms")
_MOST = 4  # values that changed, at most
_BETTER = 20.0  # fall of chi^2 that a further value must bring
_SHARE = 0.02  # of what is left, that it must bring
_TRIED = 3  # values that are tried in full at each step
_ROUNDS = 5
_FEWEST = 8  # points in common
_PLAIN = 0.25  # of what differs: an opening that leaves less of it was covered or opened
_TOO_FAR = 0.5  # of a logarithm: a value that changed by more is not believed where something is left
_FAR = 0.1  # octaves that a feature moves, at most
_SHOWN = 0.002  # of the frequency


@dataclass(frozen=True, kw_only=True)
class Change:
    """One value that changed: ``was`` and ``now`` in ``unit``, the change relative to ``was`` with its standard error,
    and a sentence."""

    parameter: str
    was: float
    now: float
    unit: str
    relative: float
    std: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Drift:
    """What changed from a sweep to another: ``changes`` by the largest effect first, ``moved``: features before and
    after [Hz], ``before`` and ``after``: relative rms difference of the sweeps, and what the changes leave of it."""

    files: tuple[str, str]
    changes: list[Change]
    moved: list[tuple[str, float, float]]
    before: float
    after: float
    noise: float
    summary: str

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "from": self.files[0], "to": self.files[1], "changes": [asdict(change) for change in self.changes],
            "moved": [{"kind": kind, "was_hz": was, "now_hz": now} for kind, was, now in self.moved],
            "rms_difference": self.before, "rms_left": self.after, "noise": self.noise, "summary": self.summary,
        }  # fmt: skip


def drift(
    case: Case, first: MeasuredSweep, second: MeasuredSweep, model: str = "line", fitted: FitResult | None = None
) -> Drift:
    """Say which few values of a case must change so that its sweep turns from ``first`` into ``second``.

    The case is fitted to the first sweep; then the ratio of the sweeps, in which what the model lacks cancels, is
    explained by as few values as its noise asks for. The driver counts by its mechanical values: a warm coil changes Re
    and nothing else; an opening that was covered or opened comes first. ``fitted``: the fit of the case to the first
    sweep, if it is there already. Raises SweepError when the sweeps have hardly a frequency in common, and what ``fit``
    raises.
    Checked by: unit/test_drift.
    """
    frequency, ratio, noise = _ratio(case, first, second)
    case, _ = with_coil(case, first)
    base = _mechanical((fitted or fit(case, first, model=model, localise=False)).case)
    here = log_impedance(base, model, 2 * np.pi * frequency)
    target = (here if np.iscomplexobj(ratio) else here.real) + ratio
    aim = Aim(model=model, frequency=frequency, log_impedance=target, noise=noise)
    turned, base = _turned(aim, base)
    found = _few(aim, base)
    known = parameters(base)
    changes = [_change(known[name], known[name].value * np.exp(x), known[name].value * np.exp(x) * std)
               for name, x, std in zip(found.names, found.x, found.std, strict=True)]  # fmt: skip
    moved = _moved(first, second, frequency)
    sizes = [float(np.sqrt(np.mean(np.abs(ratio) ** 2))), float(np.sqrt(found.squares * noise**2 / len(frequency)))]
    return Drift(
        files=(first.source.name, second.source.name), changes=changes, moved=moved, before=sizes[0], after=sizes[1],
        noise=noise, summary=" ".join([*turned, _summary(changes, moved, sizes, noise, bool(turned))]),
    )  # fmt: skip


def _turned(aim: Aim, base: Case) -> tuple[list[str], Case]:
    """Return the one opening that was covered or opened between the sweeps, in a sentence, and the case so."""
    best, said = base, []
    least = _PLAIN * aim.promised(base, ())
    for name, port in base.ports.items():
        table = port.model_copy(update={"covered": not port.covered})
        case = base.model_copy(update={"ports": {**base.ports, name: table}})
        if (left := aim.promised(case, ())) < least:
            best, least = case, left
            said = [f'"{name}" was {"opened" if port.covered else "covered"} in between.']
    return said, best


def _ratio(case: Case, first: MeasuredSweep, second: MeasuredSweep) -> tuple[FloatArray, NDArray[Any], float]:
    """Return the frequencies of the first sweep that both and the case have, ln(second/first) there, and its noise."""
    low = max(first.frequency[0], second.frequency[0], case.sweep.start)
    high = min(first.frequency[-1], second.frequency[-1], case.sweep.stop)
    inside = (first.frequency >= low) & (first.frequency <= high)
    if inside.sum() < _FEWEST:
        raise SweepError(f"{second.source.name}: it has hardly a frequency in common with {first.source.name} and the "
                         f"case's sweep, {sig(case.sweep.start)} Hz to {sig(case.sweep.stop)} Hz")  # fmt: skip
    frequency = first.frequency[inside]
    u, v = np.log(second.frequency), np.log(frequency)
    ratio: NDArray[Any] = np.interp(v, u, np.log(second.magnitude)) - np.log(first.magnitude[inside])
    if first.phase_deg is not None and second.phase_deg is not None:
        turned = np.interp(v, u, np.unwrap(second.phase_deg, period=360)) - first.phase_deg[inside]
        ratio = ratio + 1j * np.deg2rad((turned + 180) % 360 - 180)
    noise = float(np.hypot(rational_fit(first).noise, rational_fit(second).noise))
    return frequency, ratio, max(noise, 1e-5)


def _mechanical(case: Case) -> Case:
    """Return the case with its driver given by Mms, Cms, Rms and Bl."""
    driver = case.driver
    values = mechanical_set(driver.given, driver.Sd, driver.Re)
    given = {"Mms": values.Mms, "Cms": values.Cms, "Rms": values.Rms, "Bl": values.Bl}
    none = dict.fromkeys(("fs", "Qms", "Qes", "Qts", "Vas"))
    return case.model_copy(update={"driver": driver.model_copy(update={**none, **given})})


def _may_change(name: str, parameter: Parameter) -> bool:
    """Whether it is a length of a port or horn, or a volume: what warps, comes loose or fills up."""
    return parameter.kind == "dimension" and name.split(".")[-1] in ("length", "volume")


def _few(aim: Aim, base: Case) -> Solved:
    """Change values one after the other, each the one that leaves the least, while it is worth it."""
    known = parameters(base)
    names = [*(n for n in _NAMES if n in known), *(n for n, p in known.items() if _may_change(n, p))]
    best = aim.solved(base, (), np.zeros(0), 0)
    while len(best.names) < _MOST:
        tried = _promising(aim, best, names)
        trials = [aim.solved(base, (*best.names, name), np.append(best.x, 0.0), _ROUNDS) for name in tried]
        new = min(trials, key=lambda trial: trial.squares)
        if best.squares - new.squares < max(_BETTER, _SHARE * best.squares):
            break
        best = new
    return best


def _promising(aim: Aim, so_far: Solved, names: list[str]) -> list[str]:
    """Return the values that, to first order, explain most of what is left."""
    left, over = aim.at(so_far.case, names)
    held = [names.index(name) for name in so_far.names]
    rest: dict[str, float] = {}
    for k, name in enumerate(names):
        if k not in held:
            part = over[:, [*held, k]]
            after = left - part @ np.linalg.lstsq(part, left, rcond=None)[0]
            rest[name] = float(after @ after)
    return sorted(rest, key=lambda name: rest[name])[:_TRIED]


def _change(parameter: Parameter, now: float, std: float) -> Change:
    relative, error = now / parameter.value - 1, std / parameter.value
    was, new = parameter.value / parameter.si, now / parameter.si
    unit = f" {parameter.unit}" if parameter.unit else ""
    by = f"{'+' if relative > 0 else '-'}{sig(abs(100 * relative), 2)} %, standard error {sig(100 * error, 1)} %"
    text = f"{parameter.name}: {sig(was)}{unit} became {sig(new)}{unit} ({by})"
    return Change(parameter=parameter.name, was=was, now=new, unit=parameter.unit, relative=relative, std=error,
                  text=text + _meaning(parameter.name, relative) + ".")  # fmt: skip


def _meaning(name: str, relative: float) -> str:
    if name == "driver.Re":
        warm = "warmer" if relative > 0 else "cooler"
        return f": a coil about {sig(abs(relative) / COPPER, 2)} K {warm} (copper, {COPPER * 100:.2g} % per K)"
    if name == "driver.Cms":
        return f": the suspension is {'softer' if relative > 0 else 'stiffer'}"
    if name == "driver.Rms":
        return f": the suspension damps {'more' if relative > 0 else 'less'}, or air leaks at the driver"
    if name == "driver.Mms":
        return f": the cone carries {'more' if relative > 0 else 'less'}"
    if name == "driver.Bl":
        return f": the motor is {'stronger' if relative > 0 else 'weaker'}, or the coil sits elsewhere in its gap"
    if name.endswith(".length"):
        return f": it acts {'longer' if relative > 0 else 'shorter'}, as if something had moved at an end"
    if name.endswith(".volume"):
        return f": there is {'more' if relative > 0 else 'less'} air in it"
    return ""


def _moved(first: MeasuredSweep, second: MeasuredSweep, frequency: FloatArray) -> list[tuple[str, float, float]]:
    """Return the features that both sweeps have and that moved: kind, before and after [Hz]."""
    before, after = (_within(sweep, frequency) for sweep in (first, second))
    distance = np.full((len(before), len(after)), np.inf)
    for i, a in enumerate(before):
        for j, b in enumerate(after):
            octaves = abs(np.log2(a.frequency_hz / b.frequency_hz))
            if a.kind == b.kind and octaves < _FAR:
                distance[i, j] = octaves
    pairs = matching(distance, _FAR) if before and after else {}
    both = [(before[i].kind, before[i].frequency_hz, after[j].frequency_hz) for i, j in pairs.items()]
    return [(kind, was, now) for kind, was, now in both if abs(now / was - 1) > _SHOWN and kind != "ripple"]


def _within(sweep: MeasuredSweep, frequency: FloatArray) -> list[Found]:
    inside = (sweep.frequency >= frequency[0]) & (sweep.frequency <= frequency[-1])
    return features_in(rational_fit(sweep.part(inside)))


def _summary(
    changes: list[Change], moved: list[tuple[str, float, float]], sizes: list[float], noise: float, turned: bool
) -> str:
    if not changes and turned:
        return f"The sweeps differ by {percent(sizes[0], 1)} rms; that leaves {percent(sizes[1], 1)}."
    if not changes:
        if sizes[0] < 3 * noise:
            return "Nothing changed beyond the noise of the sweeps."
        return (f"The sweeps differ by {percent(sizes[0], 1)} rms, and no value of the case explains it: look for a "
                "leak, a loose part or another set-up of the measurement.")  # fmt: skip
    went = [f"the {kind} at {sig(was, 4)} Hz went to {sig(now, 4)} Hz" for kind, was, now in moved]
    leave = "change below leaves" if len(changes) == 1 else "changes below leave"
    text = f"The sweeps differ by {percent(sizes[0], 1)} rms; the {leave} {percent(sizes[1], 1)}."
    text += " The model's own error does not cancel between two such states: doubt small ones." if turned else ""
    text += f" {capital(listing(went))}." if went else ""
    if sizes[1] > 4 * noise and any(abs(np.log1p(change.relative)) > _TOO_FAR for change in changes):
        text += (" Changes as large as these, with that much left, are not to be believed: look for a leak, a loose "
                 "part, another box or another set-up of the measurement.")  # fmt: skip
    elif sizes[1] > 4 * noise:
        text += " That is more than noise: something else changed too."
    return text
