"""What is doubtful about a sweep before anything is concluded from it, with the frequency."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.findings.explaining.features import turns
from airpath.findings.wording import sig
from airpath.measured.reading.bode import phase_of
from airpath.measured.reading.found import Found, features_in
from airpath.measured.reading.rational import Rational, rational_fit
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.network.respond import nominal_resistance, solve, wired

Check = Literal["passive", "phase", "foster", "coarse", "below Re", "series resistance", "no coil"]
FloatArray = NDArray[np.float64]
_APART = 6.0  # degrees between the measured phase and the one that belongs to the magnitude
_TURNED = 0.5  # of the error, at most, once the sign is turned
_RUN = 5  # points of a median: one odd point is no fault of the phase
_ACTIVE = 3.0  # degrees beyond 90
_POINTS = 3  # within the width of a peak, at least
_AROUND = 0.02  # of the frequency: where the phase of a peak or dip is looked at
_JUMP = 0.35  # of ln|Z| from one point to the next: 3 dB
_RESISTANCE = 0.03  # of Re
_TOP, _COIL = 0.1, 0.1  # share of the points; share of Re that the reactance of a coil reaches there
_SURE = 4.0  # standard deviations


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """One warning: what was checked, where [Hz], and a sentence."""

    check: Check
    frequency_hz: float
    text: str

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return asdict(self)


def sweep_doubts(sweep: MeasuredSweep, case: Case | None = None, curve: Rational | None = None) -> list[Doubt]:
    """Return what is doubtful about a sweep, with ``case`` also against the resistance of its coil.

    ``curve``: the rational fit of the sweep where there is one already. Each check stays silent within the noise and
    within what the ends of the band leave open. Checked by: unit/test_sweep_checks.
    """
    curve = curve if curve is not None else rational_fit(sweep)
    noise = float(np.clip(min(curve.noise, roughness(np.log(sweep.magnitude))), 1e-5, 0.1))
    found = features_in(curve)
    out = []
    if sweep.phase_deg is not None:
        out += _passive(sweep, sweep.phase_deg, noise)
        out += _phase(sweep, sweep.phase_deg, noise) + _foster(sweep, sweep.phase_deg, noise)
    out += _coarse(sweep, found, noise)
    if case is not None:
        out += _resistance(sweep, case, noise)
    return out


def with_coil(case: Case, sweep: MeasuredSweep) -> tuple[Case, list[Doubt]]:
    """Return a case that has the inductance of a sweep if it gives none itself, and the doubt that says so.

    ``Le``: of what the reactance at the upper end of the sweep has more than the case's own, over w. Without phase, the
    reactance has the sign with which the magnitude goes there.
    """
    driver = case.driver
    if driver.Le or driver.Le2:
        return case, []
    top = slice(int((1 - _TOP) * len(sweep.frequency)), None)
    frequency, size, measured = sweep.frequency[top], sweep.magnitude[top], sweep.impedance
    own = solve(case, "line", frequency).impedance
    if measured is not None:
        reactance = measured[top].imag
    else:
        rises = float((frequency - frequency.mean()) @ size) >= 0
        reactance = np.sqrt(np.maximum(size**2 - own.real**2, 0.0)) * (1 if rises else -1)
    omega = 2 * np.pi * frequency
    Le = float(np.median((reactance - own.imag) / omega)) / wired(case)
    if Le * omega[-1] < _COIL * driver.Re:
        return case, []
    text = (f"The case gives the driver no inductance; the sweep rises like Le = {sig(Le * 1e3, 2)} mH at its upper "
            "end, and that is put in here: add Le to the case.")  # fmt: skip
    doubt = Doubt(check="no coil", frequency_hz=float(sweep.frequency[-1]), text=text)
    return case.model_copy(update={"driver": driver.model_copy(update={"Le": Le})}), [doubt]


def roughness(values: FloatArray) -> float:
    """Return the standard deviation of the noise on a smooth curve (n,): by its second differences, outliers apart."""
    bend = np.diff(values, 2)  # below: median of |x| of a normal x; 1 + 4 + 1
    return float(1.4826 * np.median(np.abs(bend)) / np.sqrt(6)) if len(bend) else 0.0


def _passive(sweep: MeasuredSweep, phase: FloatArray, noise: float) -> list[Doubt]:
    """A box takes power: its impedance has a real part of at least zero."""
    folded = np.abs((phase + 180) % 360 - 180)
    worst = int(np.argmax(folded))
    if folded[worst] <= 90 + _ACTIVE + _SURE * np.rad2deg(noise):
        return []
    text = (f"The phase is {folded[worst]:.0f} degrees at {sig(sweep.frequency[worst])} Hz; no box goes beyond "
            "90, as it gives no power: look at polarity and at the reference of the measurement.")  # fmt: skip
    return [Doubt(check="passive", frequency_hz=float(sweep.frequency[worst]), text=text)]


def _phase(sweep: MeasuredSweep, phase: FloatArray, noise: float) -> list[Doubt]:
    """Kramers-Kronig for ln Z (Bode 1945): magnitude and phase belong together."""
    from scipy.ndimage import median_filter

    belongs, bound = phase_of(sweep.frequency, sweep.magnitude)
    folded = (phase + 180) % 360 - 180
    apart = median_filter(folded - belongs, _RUN, mode="nearest")
    beyond = np.abs(apart) - bound - _APART - _SURE * np.rad2deg(noise)
    if beyond.max() <= 0:
        return []
    at = int(np.argmax(beyond))
    where = f"{sig(sweep.frequency[at])} Hz the phase is {folded[at]:.0f} degrees, by the magnitude {belongs[at]:.0f}"
    turned = np.abs(folded + belongs).mean() < _TURNED * np.abs(folded - belongs).mean()
    cause = "the phase has the wrong sign" if turned else "a delay, a wrong reference, or two sweeps in one file"
    text = f"Phase and magnitude do not belong together: at {where} (Kramers-Kronig): {cause}."
    return [Doubt(check="phase", frequency_hz=float(sweep.frequency[at]), text=text)]


def _foster(sweep: MeasuredSweep, phase: FloatArray, noise: float) -> list[Doubt]:
    """Reactance alternates (Foster 1924): the phase falls through every peak and rises through every dip.

    A weak turn rides on the phase of its neighbours: only those of 3 dB and more are asked.
    """
    from scipy.signal import find_peaks

    logs, size = np.log(sweep.frequency), np.log(sweep.magnitude)
    for kind, sign in (("peak", 1.0), ("dip", -1.0)):
        for at in find_peaks(sign * size, prominence=_JUMP)[0].tolist():
            near = np.flatnonzero(np.abs(logs - logs[at]) < _AROUND)
            near = near if len(near) >= _RUN else np.arange(max(at - 2, 0), min(at + 3, len(logs)))
            x = logs[near] - logs[near].mean()
            slope = sign * float(x @ phase[near] / (x @ x))
            if slope * float(np.sqrt(x @ x)) > _SURE * np.rad2deg(noise) and slope * float(np.ptp(x)) > 1.0:
                way, other = ("rises", "falls") if kind == "peak" else ("falls", "rises")
                hertz = float(sweep.frequency[at])
                text = (f"The phase {way} through the {kind} at {sig(hertz)} Hz; in a box that only takes power it "
                        f"{other} there, as poles and zeros alternate (Foster).")  # fmt: skip
                return [Doubt(check="foster", frequency_hz=hertz, text=text)]
    return []


def _coarse(sweep: MeasuredSweep, found: list[Found], noise: float) -> list[Doubt]:
    """A peak needs points."""
    out = []
    for one in found:
        if one.kind == "peak" and one.q is not None:
            width = one.frequency_hz / one.q
            points = np.count_nonzero(np.abs(sweep.frequency - one.frequency_hz) < width / 2)
            if points < _POINTS and one.height > _JUMP / 2:
                have = f"{points} point{'s' if points > 1 else ''}" if points else "no point"
                text = (f"The peak at {sig(one.frequency_hz, 4)} Hz is {sig(width, 2)} Hz wide and has {have} in that: "
                        f"its top may be missed; measure every {sig(width / 5, 1)} Hz there.")  # fmt: skip
                out.append(Doubt(check="coarse", frequency_hz=one.frequency_hz, text=text))
    steps = np.abs(np.diff(np.log(sweep.magnitude)))
    worst = int(np.argmax(steps))
    if not out and steps[worst] > _JUMP + 2 * _SURE * noise:
        low, high = (sig(f, 4) for f in sweep.frequency[worst : worst + 2])
        jump = 20 / np.log(10) * steps[worst]
        text = f"The impedance jumps by {jump:.1f} dB from {low} to {high} Hz: too few points there."
        out.append(Doubt(check="coarse", frequency_hz=float(sweep.frequency[worst]), text=text))
    return out


def _resistance(sweep: MeasuredSweep, case: Case, noise: float) -> list[Doubt]:
    """No point lies below the coil's resistance; and what lies above at every dip is in series with it."""
    Re = nominal_resistance(case)
    measured = sweep.impedance
    real = sweep.magnitude if measured is None else measured.real
    worst = int(np.argmin(real))
    low, at = float(real[worst]), float(sweep.frequency[worst])
    if low < Re * (1 - _RESISTANCE - _SURE * noise):
        text = (f"At {sig(at)} Hz the impedance is {sig(low)} ohm, below the coil's {sig(Re)} ohm: Re of the case is "
                "too high, or the measurement reads low.")  # fmt: skip
        return [Doubt(check="below Re", frequency_hz=at, text=text)]
    predicted = solve(case, "line", sweep.frequency).impedance
    expected = np.abs(predicted) if measured is None else predicted.real
    dips = turns(-np.abs(predicted))[0]
    over = []
    for dip in dips.tolist() or [int(np.argmin(np.abs(predicted)))]:
        near = np.abs(np.log2(sweep.frequency / sweep.frequency[dip])) < 0.25
        over.append(float(real[near].min() - expected[near].min()))
    more = min(over)
    if more < Re * (_RESISTANCE + _SURE * noise):
        return []
    text = (f"At every dip the sweep lies {sig(more, 2)} ohm or more above the prediction, first at {sig(at)} Hz: "
            "resistance of amplifier or cable left in, a warm coil, or Re of the case too low.")  # fmt: skip
    return [Doubt(check="series resistance", frequency_hz=at, text=text)]
