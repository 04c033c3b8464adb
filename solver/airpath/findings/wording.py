"""Numbers as a person writes them."""

from __future__ import annotations

import math


def sig(value: float, digits: int = 3) -> str:
    """Return a number rounded to significant digits, without exponent: 1903.4 -> "1900", 0.01234 -> "0.0123"."""
    rounded = float(f"{value:.{digits}g}")
    text = f"{rounded:.12f}".rstrip("0").rstrip(".")
    return text if text != "-0" else "0"


def decibels(value: float) -> str:
    """Return a difference in dB with its sign and one decimal: "+1.5", "-0.3", "0.0"."""
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def percent(fraction: float, decimals: int = 0) -> str:
    """Return a fraction in percent, whole or with so many decimals, a blank before the sign: "76 %"."""
    return f"{100 * fraction:.{decimals}f} %"


def slope(hz_per_unit: float, unit: str, value: float | None = None) -> str:
    """Return a sensitivity in a step that is small against ``value``, given in ``unit``: "-6.1 Hz per 0.1 mH".

    A step of one unit where that is small enough, or without a value; a plain number has no unit.
    """
    step = 1.0 if not value else min(1.0, 10.0 ** math.floor(math.log10(abs(value) / 2)))
    per = sig(step) if step < 1 or not unit else ""
    moved = sig(hz_per_unit * step, 2)
    sign = "" if moved.startswith("-") or moved == "0" else "+"
    return f"{sign}{moved} Hz per {' '.join(part for part in (per, unit) if part)}"


def capital(text: str) -> str:
    """Return words with a capital at their start, the rest as it is."""
    return text[:1].upper() + text[1:]


def listing(names: list[str], joint: str = "and") -> str:
    """Return "a", "a and b", "a, b and c", or with another word than "and"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {joint} {names[-1]}"
