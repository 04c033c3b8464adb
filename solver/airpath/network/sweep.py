"""The frequencies of a case's sweep."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case


def sweep_frequencies(case: Case) -> NDArray[np.float64]:
    """Return the frequencies of the case's sweep [Hz], evenly spaced in octaves, both ends included."""
    sweep = case.sweep
    octaves = np.log2(sweep.stop / sweep.start)
    return np.geomspace(sweep.start, sweep.stop, int(np.ceil(octaves * sweep.points_per_octave)) + 1)
