"""Inner end corrections: the air that moves with a port beyond its end inside a chamber."""

from __future__ import annotations

import numpy as np

from airpath.acoustics.radiation import (
    FLANGED_LENGTH,
    PISTON_LENGTH,
    UNFLANGED_LENGTH,
    rectangle_length,
)
from airpath.acoustics.viscothermal import Section


def wall_factor(area_ratio: float) -> float:
    """Return how much of the flanged end correction is left in a wall of finite size (1 to 0).

    ``area_ratio`` is opening area / wall area (0 to 1). With alpha = sqrt(area_ratio):
    1 - 1.35 alpha + 0.31 alpha^3. Source: the area step of Karal 1953, J. Acoust. Soc. Am. 25, 327, in the polynomial
    that Kergomard & Garcia 1987 and Dalmont, Nederveen & Joly 2001 give (from memory). Valid: alpha < 0.8 within
    0.004 radii of the exact step; 0 from alpha = 0.9 on. Checked by: published/ends.
    """
    alpha = float(np.sqrt(area_ratio))
    return max(0.0, 1 - 1.35 * alpha + 0.31 * alpha**3)


def piston_length(section: Section, along_wall: bool = False) -> float:
    """Return the end correction [m] of an opening that moves as a rigid piston in an endless wall, at rest.

    ``along_wall`` mirrors a slot in the wall that it lies on. Checked by: published/radiation, physics/test_ducts.
    """
    if section.width is None:
        return float(PISTON_LENGTH) * section.radius
    return rectangle_length(section.width, section.height * (2 if along_wall else 1))


def flanged_length(section: Section, along_wall: bool = False) -> float:
    """Return the end correction [m] of an opening in a large wall, at rest.

    Round: 0.8216 a. Rectangular: the piston's closed form, lowered by the ratio of pipe to piston of a round opening
    (0.8216 / 0.8488). ``along_wall`` mirrors the opening in the wall that it lies on.
    """
    if section.width is None:
        return FLANGED_LENGTH * section.radius
    return piston_length(section, along_wall) * FLANGED_LENGTH / float(PISTON_LENGTH)


def free_length(section: Section, along_wall: bool = False) -> float:
    """Return the end correction [m] of an opening that stands free, at rest: 0.6133 a for a round one.

    Other shapes: the flanged length in the same proportion.
    """
    return flanged_length(section, along_wall) * UNFLANGED_LENGTH / FLANGED_LENGTH
