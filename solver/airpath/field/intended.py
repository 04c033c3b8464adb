"""What a drawn horn is meant to be: the profile written beside its outline."""

from __future__ import annotations

from airpath.elements.horn import Horn, horn_profile
from airpath.errors import GeometryError
from airpath.units import parse_quantity

_PROFILES = ("conical", "exponential", "hyperbolic")
_MEANT = {"throat": "area", "mouth": "area", "length": "length"}


def intended_horn(written: dict[str, str | float]) -> Horn | None:
    """Return the horn of ``profile``, ``throat``, ``mouth``, ``length`` and ``T`` as an outline file holds them.

    None without a profile. Raises GeometryError that names the key.
    """
    if "profile" not in written:
        if written:
            raise GeometryError(f'{min(written)} goes with a profile, one of {", ".join(_PROFILES)}')
        return None
    profile = written["profile"]
    if profile not in _PROFILES:
        raise GeometryError(f"profile is {profile!r}; expected one of {', '.join(_PROFILES)}")
    size = {key: _size(written, key) for key in _MEANT}
    family = written.get("T", 1.0)
    if isinstance(family, str) or not 0.0 <= family <= 100.0:
        raise GeometryError(f"T is {family!r}; expected a plain number from 0 to 100")
    try:
        return horn_profile(str(profile), size["throat"], size["mouth"], size["length"], float(family))
    except ValueError as error:
        raise GeometryError(f"profile is {profile!r}: {error}") from error


def _size(written: dict[str, str | float], key: str) -> float:
    example = "60 cm^2" if _MEANT[key] == "area" else "1.4 m"
    if key not in written:
        raise GeometryError(f'{key} is missing: a profile needs throat, mouth and length, as in {key} = "{example}"')
    found = written[key]
    try:
        if not isinstance(found, str):
            raise ValueError(f'expected a quantity with its unit, as in "{example}"')
        size = parse_quantity(found, _MEANT[key])
    except ValueError as error:
        raise GeometryError(f"{key} is {found!r:.60}: {error}") from error
    if size <= 0.0:
        raise GeometryError(f'{key} is {found!r}; expected more than 0, as in "{example}"')
    return size
