"""Numbers as a person writes them."""

from __future__ import annotations


def sig(value: float, digits: int = 3) -> str:
    """Return a number rounded to significant digits, without exponent: 1903.4 -> "1900", 0.01234 -> "0.0123"."""
    rounded = float(f"{value:.{digits}g}")
    text = f"{rounded:.12f}".rstrip("0").rstrip(".")
    return text if text != "-0" else "0"


def decibels(value: float) -> str:
    """Return a difference in dB with its sign and one decimal: "+1.5", "-0.3", "0.0"."""
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def listing(names: list[str]) -> str:
    """Return "a", "a and b", "a, b and c"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
