"""A wrong model is noticed, and the right part is blamed; a right one is left in peace."""

from __future__ import annotations

import numpy as np
import pytest

from airpath.measured.fitting.fit import fit
from airpath.measured.fitting.misfit import Suspect, verdict
from fit_trials import located, trials
from measured_boxes import measured

TRIALS = {trial.name: (seed, trial) for seed, trial in enumerate(trials())}


@pytest.mark.parametrize("name", ["leak in a vented box", "port of tail forgotten", "chambers swapped"])
def test_the_right_part_is_blamed(name):
    """All twelve: ``python tests/fit_trials.py misfit``."""
    seed, trial = TRIALS[name]
    hit, result = located(trial, seed)
    assert result.structural
    assert hit, result.misfit
    assert result.misfit.sure and "What explains it" in result.misfit.text
    assert result.misfit.text in result.summary
    assert any("cause" in warning for warning in result.warnings)


def test_a_case_that_is_right_leaves_only_noise():
    structural = 0
    for seed, (_, trial) in enumerate(TRIALS.values()):
        result = fit(trial.case, measured(trial.case, 200, 0.005, seed), ["driver.fs", "driver.Qes"], localise=False)
        structural += result.structural
        assert np.isclose(result.noise, 0.005, rtol=0.2)
    assert structural == 0


def suspect(text: str, score: float, *elements: str, kind: str = "hole", structural: bool = False) -> Suspect:
    return Suspect(kind=kind, elements=elements, text=text, rms=0.01, score=score, structural=structural)


def test_the_verdict_says_how_sure_it_is():
    none = suspect("", 900, kind="none", structural=True)
    clear = verdict([suspect("a leak", 300, "main"), suspect("a cap", 400, "nose"), none])
    assert clear.sure and clear.text == "What explains it: a leak."
    close = verdict([suspect("a leak", 300, "main"), suspect("a cap", 305, "nose"), none])
    assert not close.sure and "probably" in close.text and "Nearly as likely: a cap" in close.text
    where = verdict([suspect('a leak in "main"', 300, "main"), suspect("a cap", 400, "nose"), none])
    assert where.sure and where.text.endswith("may look like a leak; that was not tried.")
    soft = verdict([suspect('stuffing in "main"', 300, "main", kind="stuffed"), none])
    assert soft.text.endswith("A leak through a slit or cloth may look like stuffing; that was not tried.")
    same = verdict([suspect("no tube", 300, "nose"), suspect("a cap", 301, "nose", kind="cover"), none])
    assert same.sure and "Or: a cap" in same.text
    hopeless = verdict([suspect("a leak", 800, "main", structural=True), none])
    assert not hopeless.sure and hopeless.text.startswith("None of the changes")
    fine = verdict([suspect("a leak", 299, "main"), suspect("", 300, kind="none")], more=True)
    assert not fine.sure and "--free auto" in fine.text
