"""Hearing: the A curve, and how long a level may last before it can harm."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

NIOSH_LIMIT_DBA = 85.0  # recommended limit for 8 hours: NIOSH 98-126 (1998)


def a_weighting_db(frequency_hz: ArrayLike) -> NDArray[np.float64]:
    """Return the A weighting [dB] at frequencies (n,) [Hz]: 0 at 1 kHz.

    Source: IEC 61672-1:2013, eq. E.6 (from memory). Checked by: published/hearing.
    """
    f2 = np.asarray(frequency_hz, dtype=float) ** 2
    response = 12194.0**2 * f2**2 / (
        (f2 + 20.6**2) * np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2)) * (f2 + 12194.0**2)
    )  # fmt: skip
    return np.asarray(20 * np.log10(response) + 2.0)


def exposure_minutes(level_dba: float) -> float:
    """Return the longest daily exposure [min] to a level [dBA].

    480/2^((L - 85)/3). Source: NIOSH 98-126 (1998), Criteria for a Recommended Standard. Checked by: published/hearing.
    """
    return float(480.0 / 2.0 ** ((level_dba - NIOSH_LIMIT_DBA) / 3.0))
