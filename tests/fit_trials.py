"""Trials of the fit on made boxes: does the stated interval hold the truth, and is the right part blamed?

The tests run a few; ``python tests/fit_trials.py coverage 200``, ``... misfit`` and ``... faults 20`` run them all
and print a table. All numbers invented.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from airpath.case import Case
from airpath.case.load import parse
from airpath.case.parameters import parameters
from airpath.case.spaces import Fill
from airpath.measured.fitting.changes import changes
from airpath.measured.fitting.fit import fit
from airpath.measured.fitting.fitresult import FitResult
from airpath.measured.fitting.freedom import Free, possible
from measured_boxes import changed, measured, random_box, scaled, spread

_DRIVER = """
[driver]
fs = "44 Hz"
Qms = 4.6
Qes = 0.41
Vas = "16 L"
Sd = "130 cm^2"
Re = "6.1 ohm"
Le = "0.4 mH"
front = "outside"
rear = "main"
[sweep]
start = "15 Hz"
stop = "1 kHz"
"""


@dataclass(frozen=True, kw_only=True)
class Trial:
    """A box that is not what its ``case`` says: as ``built``, and the ``elements`` to blame."""

    name: str
    case: Case
    built: Case
    elements: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Recovered:
    """One fitted value against the truth: whether that is ``inside`` its 95 % interval, whether it was ``seen``, and
    how many standard errors it is off."""

    kind: str
    inside: bool
    seen: bool
    off: float


def recovered(seed: int, points: int = 80, noise: float = 0.005) -> list[Recovered]:
    """Return every value that is fitted to the sweep of one random box.

    The truth is drawn from the very priors that the fit is given: normal, 5 % for port lengths and volumes, 10 % for
    the driver, a factor of three about 1 mm for the leak of every other box; all other values are exact.
    """
    chance = np.random.default_rng(seed)
    case = random_box(chance)
    widths = spread(case, leak=bool(chance.random() < 0.5))
    known = possible(case)
    truth = {
        name: Free(parameter=known[name], width=width).value(chance.standard_normal())
        for name, width in widths.items()
    }
    sweep = measured(changed(case, truth), points, noise, seed)
    result = fit(case, sweep, list(widths), tolerance=0, driver_tolerance=0, widths=widths, localise=False)
    return [
        Recovered(
            kind="leak" if "leak" in value.name else value.name.rsplit(".", 1)[-1], seen=value.seen,
            inside=value.low <= truth[value.name] <= value.high,
            off=float(np.log(truth[value.name] / value.value)) * value.value / value.std,
        )
        for value in result.values
    ]  # fmt: skip


def trials() -> list[Trial]:
    """Return the boxes that are not what their case says."""
    both = _DRIVER + _chamber("main", 14) + _chamber("tail", 8) + _port("nose", "main", "outside", 80, 60)
    both = _box(both + _port("throat", "main", "tail", 50, 70) + _port("rear", "tail", "outside", 120, 55))
    one = _DRIVER + _chamber("main", 20) + _port("nose", "main", "outside", 100, 60)
    two = _box(one + _port("side", "main", "outside", 180, 40))
    single = _box(one)
    fill = Fill.model_validate({"flow_resistivity": "8000 Pa*s/m^2", "fraction": 0.7})
    tail = both.chambers["tail"].model_copy(update={"fill": fill})
    stuffed = both.model_copy(update={"chambers": {**both.chambers, "tail": tail}})
    made = [
        ("leak in main", both, changed(both, {"chambers.main.leak.diameter": 0.006}), "main"),
        ("leak in tail", both, changed(both, {"chambers.tail.leak.diameter": 0.005}), "tail"),
        ("leak in a vented box", single, changed(single, {"chambers.main.leak.diameter": 0.005}), "main"),
        ("port of tail forgotten", _without(both, "rear"), both, "tail"),
        ("port of main forgotten", _without(both, "nose"), both, "main"),
        ("second port forgotten", single, two, "main"),
        ("rear blocked", both, _change(both, "cover", "rear"), "rear"),
        ("chambers swapped", both, _change(both, "swap", "main", "tail"), "main tail"),
        ("ports swapped", both, _change(both, "swap", "nose", "rear"), "nose rear"),
        ("stuffing not in the case", both, stuffed, "tail"),
        ("stuffing left out", stuffed, both, "tail"),
        ("narrower tube", both, scaled(both, {"ports.throat.diameter": 0.75}), "throat"),
    ]
    return [
        Trial(name=name, case=case, built=_built(built, seed), elements=tuple(elements.split()))
        for seed, (name, case, built, elements) in enumerate(made)
    ]


def random_trial(seed: int) -> Trial:
    """Return a random box with a random fault, drawn after the trials above had been looked at."""
    chance = np.random.default_rng(10_000 + seed)
    case = random_box(chance)
    while len(case.chambers) < 2:
        case = random_box(chance)
    fault = ("leak", "forgotten", "blocked", "swapped")[seed % 4]
    if fault == "leak":
        chamber = str(chance.choice(["main", "tail"]))
        built, elements = changed(case, {f"chambers.{chamber}.leak.diameter": chance.uniform(4e-3, 9e-3)}), chamber
    elif fault == "forgotten":
        port, elements = [("nose", "main"), ("rear", "tail")][int(chance.integers(2))]
        built, case = case, _without(case, port)
    elif fault == "blocked":
        elements = str(chance.choice(["nose", "throat", "rear"]))
        built = _change(case, "cover", elements)
    else:
        elements = "main tail"
        built = _change(case, "swap", "main", "tail")
    return Trial(name=f"{fault}: {elements}", case=case, built=_built(built, seed), elements=tuple(elements.split()))


def located(trial: Trial, seed: int = 0) -> tuple[bool, FitResult]:
    """Return whether the right elements are blamed first, and the fit; the sweep has 0.5 % of noise."""
    result = fit(trial.case, measured(trial.built, 300, 0.005, seed))
    found = result.misfit.suspects[:1] if result.misfit is not None else []
    return bool(found) and set(found[0].elements) == set(trial.elements), result


def _built(case: Case, seed: int) -> Case:
    """Return a box with the usual small differences besides: 3 % of the driver, 1 % of lengths and volumes."""
    chance = np.random.default_rng(seed)
    known = parameters(case)
    driver = [n for n in known if n in ("driver.fs", "driver.Qms", "driver.Qes", "driver.Vas")]
    sizes = [n for n in known if n.endswith(("length", "volume"))]
    return scaled(case, {n: 1 + (0.03 if n in driver else 0.01) * chance.standard_normal() for n in driver + sizes})


def _change(case: Case, kind: str, *elements: str) -> Case:
    return next(one.case for one in changes(case) if one.kind == kind and one.elements == elements)


def _without(case: Case, port: str) -> Case:
    return case.model_copy(update={"ports": {name: p for name, p in case.ports.items() if name != port}})


def _box(text: str) -> Case:
    return parse(text, Path("made.toml"))


def _chamber(name: str, litres: float) -> str:
    return f'[chambers.{name}]\nvolume = "{litres} L"\n'


def _port(name: str, start: str, end: str, length: float, diameter: float) -> str:
    return (
        f'[ports.{name}]\nfrom = "{start}"\nto = "{end}"\nlength = "{length} mm"\ndiameter = "{diameter} mm"\n'
    )


def main(what: str, number: int = 200) -> None:
    if what == "coverage":
        rows: defaultdict[str, list[tuple[bool, bool]]] = defaultdict(list)
        for seed in range(number):
            for one in recovered(seed):
                for key in (one.kind, "all"):
                    rows[key].append((one.inside, one.seen))
        print("value      fitted  truth inside  seen  inside of those seen")
        for kind, entries in rows.items():
            inside, seen = np.array(entries).T
            print(f"{kind:10s} {len(seen):6d} {inside.mean():12.1%} {seen.mean():6.0%} {inside[seen].mean():12.1%}")
    else:
        hits = 0
        tried = trials() if what == "misfit" else [random_trial(seed) for seed in range(number)]
        for seed, trial in enumerate(tried):
            hit, result = located(trial, seed)
            hits += hit
            print(f"{trial.name:26s} {'right' if hit else 'WRONG'}  structural {result.structural!s:5s} "
                  f"{result.misfit.text if result.misfit else 'nothing noticed'}", flush=True)  # fmt: skip
        print(f"{hits} of {len(tried)}")


if __name__ == "__main__":
    main(sys.argv[1], *map(int, sys.argv[2:]))
