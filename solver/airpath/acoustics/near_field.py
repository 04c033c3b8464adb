"""Short-range part of a cuboid's Green function, averaged over pairs of openings and their mirror images.

The kernel is the integral over t from 0 to eta^2 of exp(q t) (4 pi t)^(-3/2) exp(-r^2/4t) (Ewald 1921), a
Taylor series in q whose first term is erfc(r/2 eta)/(4 pi r). For two openings in parallel planes the
average over both reduces to one integral over the in-plane distance s, weighted by how often two points of
the openings lie s apart: the area shared by one opening and the other one shifted by s, averaged over all
directions. For openings on walls at right angles it is a sum over points.
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import product

import numpy as np
from scipy.special import erfc

from airpath.acoustics.patch import FloatArray, Patch, Size

TERMS = 12  # of the Taylor series; |q| eta^2 stays about 1 or below
_REACH = 8.8  # in eta: erfc(4.4) = 5e-10
_STRIPS = 16  # a disc beside a rectangle is cut into strips
Density = tuple[FloatArray, FloatArray]  # distances s [m]; quadrature weight times density [1/m]


@lru_cache
def _gauss(nodes: int) -> Density:
    """Return Gauss-Legendre nodes and weights on -1 to 1."""
    x, w = np.polynomial.legendre.leggauss(nodes)
    return x, w


def kernel(distance: FloatArray, eta: float) -> FloatArray:
    """Return the Taylor coefficients in q of the kernel at r = ``distance`` > 0 [m], shape (TERMS,
    *r.shape).
    """
    r2 = distance**2 / 4.0
    decay = np.exp(-r2 / eta**2)
    term = 2.0 * math.sqrt(math.pi) / distance * erfc(distance / (2.0 * eta))
    out = np.empty((TERMS, *distance.shape))
    scale = (4.0 * math.pi) ** -1.5
    for m in range(TERMS):
        if m:
            term = (eta ** (2 * m - 1) * decay - r2 * term) / (m - 0.5)
            scale /= m
        out[m] = scale * term
    return out


def near_field(size: Size, patches: tuple[Patch, ...], eta: float) -> FloatArray:
    """Return the kernel's mean over every pair of patches, images included, shape (TERMS, n, n)
    [1/m^(1+2m)].
    """
    n = len(patches)
    out = np.zeros((TERMS, n, n))
    for i, j in zip(*np.triu_indices(n), strict=True):
        out[:, i, j] = out[:, j, i] = _average(size, patches[i], patches[j], eta)
    return out


@lru_cache(maxsize=256)  # one opening is turned, the pairs of the others stay
def _average(size: Size, left: Patch, right: Patch, eta: float) -> FloatArray:
    return (_parallel if left.normal == right.normal else _crossed)(size, left, right, eta)


def _shifts(start: float, image: float, length: float, reach: float) -> FloatArray:
    """Return the offsets from ``start`` to all mirror images of ``image`` within ``reach``."""
    turns = np.arange(-math.ceil(reach / (2 * length)) - 1, math.ceil(reach / (2 * length)) + 2)
    every = np.concatenate([image + 2 * length * turns, -image + 2 * length * turns]) - start
    return every[np.abs(every) <= reach]


def _parallel(size: Size, left: Patch, right: Patch, eta: float) -> FloatArray:
    reach, axis = _REACH * eta, left.normal
    total = np.zeros(TERMS)
    depths = _shifts(left.centre[axis], right.centre[axis], size[axis], reach)
    if not len(depths):
        return total
    s, weight = _distances(size, left, right, reach)
    for depth in depths:
        total += kernel(np.hypot(s, depth), eta) @ weight
    return total


def _distances(size: Size, left: Patch, right: Patch, reach: float) -> Density:
    """Return in-plane distances and weights for the mean over both patches of a function of distance."""
    if left.sides is None and right.sides is not None:
        left, right = right, left
    shifts = [
        _shifts(left.centre[axis], right.centre[axis], size[axis], reach + left.halves[k] + right.halves[k])
        for k, axis in enumerate(left.plane)
    ]
    if left.sides is None or right.sides is None:
        parts = []
        for dx, dy in product(*shifts):
            if math.hypot(dx, dy) <= reach + max(left.halves) * math.sqrt(2.0) + max(right.halves):
                average = _discs if left.sides is None else _mixed
                parts.append(average(left, right, (np.array([dx]), np.array([dy])), reach))
        if not parts:
            return np.empty(0), np.empty(0)
        return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])
    return _rectangles(left.sides, right.sides, shifts[0], shifts[1], reach)


def _segments(breaks: FloatArray, nodes: int = 10) -> Density:
    """Return quadrature nodes and weights between sorted ``breaks``, crowded towards each of them."""
    x, w = _gauss(nodes)
    t = (x + 1.0) / 2.0
    rise, slope = t**2 * (3.0 - 2.0 * t), 3.0 * t * (1.0 - t) * w
    low, width = breaks[..., :-1, None], np.diff(breaks, axis=-1)[..., None]
    flat = (*breaks.shape[:-1], -1)
    return (low + width * rise).reshape(flat), (width * slope).reshape(flat)


def _overlap(u: FloatArray, first: float, second: float, shifts: FloatArray) -> FloatArray:
    """Return the shared length of two intervals shifted by u, summed over images, over both lengths
    [1/m].
    """
    total = np.zeros_like(u)
    for shift in shifts:
        total += np.clip((first + second) / 2 - np.abs(u - shift), 0.0, min(first, second))
    return total / (first * second)


def _rectangles(
    first: tuple[float, float], second: tuple[float, float], dx: FloatArray, dy: FloatArray, reach: float
) -> Density:
    if not (len(dx) and len(dy)):
        return np.empty(0), np.empty(0)
    kinks = []
    for a, b, shift in zip(first, second, (dx, dy), strict=True):
        offsets = np.array([(a + b) / 2, -(a + b) / 2, (a - b) / 2, (b - a) / 2])
        kinks.append(np.unique(np.round((shift[:, None] + offsets).ravel() / reach, 12)) * reach)
    single = len(dx) * len(dy) == 1
    corners = np.hypot(*np.meshgrid(*(k[np.abs(k) <= reach] for k in kinks))).ravel() * single
    marks = np.abs(np.concatenate([*kinks, corners, np.linspace(0.0, reach, 5)])) / reach
    s, weight = _segments(np.unique(np.round(marks[marks <= 1.0], 9)) * reach)
    ring = s[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        across = np.arccos(np.clip(kinks[0] / ring, -1.0, 1.0))
        along = np.arcsin(np.clip(kinks[1] / ring, -1.0, 1.0))
    whole = np.broadcast_to(np.linspace(0.0, 2 * math.pi, 5), (len(s), 5))
    angles = [whole, across, 2 * math.pi - across, np.mod(along, 2 * math.pi), math.pi - along]
    breaks = np.sort(np.concatenate(angles, axis=1), axis=1)
    x, w = _gauss(6)
    width = np.diff(breaks, axis=1)[..., None]
    theta = (breaks[:, :-1, None] + width * (x + 1.0) / 2.0).reshape(len(s), -1)
    share = (width * w / 2.0).reshape(len(s), -1)
    u = _overlap(ring * np.cos(theta), first[0], second[0], dx)
    v = _overlap(ring * np.sin(theta), first[1], second[1], dy)
    return s, weight * s * (share * u * v).sum(axis=1)


def _lens(distance: FloatArray, a: float, b: float) -> FloatArray:
    """Return the area shared by two discs of radii a and b whose centres are ``distance`` apart [m^2]."""
    d = np.clip(distance, abs(a - b) + 1e-12 * (a + b), a + b)
    cos_a = np.clip((d**2 + a**2 - b**2) / (2 * d * a), -1.0, 1.0)
    cos_b = np.clip((d**2 + b**2 - a**2) / (2 * d * b), -1.0, 1.0)
    kite = np.sqrt(np.maximum((a + b + d) * (a + b - d) * (d + a - b) * (d - a + b), 0.0)) / 2
    return np.asarray(a**2 * np.arccos(cos_a) + b**2 * np.arccos(cos_b) - kite)


def _discs(left: Patch, right: Patch, shift: tuple[FloatArray, FloatArray], reach: float) -> Density:
    a, b = left.halves[0], right.halves[0]
    apart = float(np.hypot(*shift)[0])
    low, high = max(0.0, apart - a - b), min(reach, apart + a + b)
    if low >= high:
        return np.empty(0), np.empty(0)
    turns = [abs(apart - abs(a - b)), apart + abs(a - b), abs(apart - a - b), apart]
    marks = np.array([*turns, *np.linspace(low, high, 4)])
    s, weight = _segments(np.unique(marks[(marks >= low) & (marks <= high)]))
    if apart < 1e-9 * (a + b):
        return s, weight * 2 * math.pi * s * _lens(s, a, b) / (left.area * right.area)
    edge = [
        np.clip((s**2 + apart**2 - reach_**2) / (2 * s * apart), -1.0, 1.0) for reach_ in (a + b, abs(a - b))
    ]
    widest, inner = np.arccos(edge[0]), np.arccos(edge[1])
    theta, share = _segments(np.stack([np.zeros_like(s), inner, widest], axis=1), 12)
    ring = s[:, None]
    far = np.sqrt(np.maximum(ring**2 + apart**2 - 2 * ring * apart * np.cos(theta), 0.0))
    return s, weight * 2 * s * (share * _lens(far, a, b)).sum(axis=1) / (left.area * right.area)


def _mixed(left: Patch, right: Patch, shift: tuple[FloatArray, FloatArray], reach: float) -> Density:
    """Rectangle ``left`` and disc ``right``, cut into strips that keep its area and first moments."""
    radius = right.halves[0]
    edges = np.linspace(-1.0, 1.0, _STRIPS + 1)
    part = np.diff(edges * np.sqrt(1.0 - edges**2) + np.arcsin(edges)) / math.pi
    middles = np.diff((1.0 - edges**2) ** 1.5) * -2.0 / (3.0 * math.pi) / part  # centroids
    width = 2 * radius / _STRIPS
    found = []
    for middle, share in zip(middles * radius, part, strict=True):
        strip = (width, share * right.area / width)
        s, weight = _rectangles(
            (2 * left.halves[0], 2 * left.halves[1]), strip, shift[0] + middle, shift[1], reach
        )
        found.append((s, weight * share))
    return np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])


def _points(patch: Patch) -> tuple[FloatArray, FloatArray]:
    """Return quadrature points (m, 3) [m] and weights (m,) of sum 1 for a mean over the patch."""
    x, w = _gauss(8)
    if patch.sides is not None:
        u, v = (grid.ravel() for grid in np.meshgrid(x * patch.halves[0], x * patch.halves[1]))
        weight = np.outer(w, w).ravel() / 4
    else:
        angle = np.arange(14) * (2 * math.pi / 14)
        radius = patch.halves[0] * np.sqrt((x + 1) / 2)[:, None]
        u, v = (radius * np.cos(angle)).ravel(), (radius * np.sin(angle)).ravel()
        weight = np.repeat(w / 28, 14)
    points = np.tile(np.asarray(patch.centre), (len(weight), 1))
    points[:, patch.plane[0]] += u
    points[:, patch.plane[1]] += v
    return points, weight


def _crossed(size: Size, left: Patch, right: Patch, eta: float) -> FloatArray:
    at, weight = _points(left)
    return np.asarray(point_field(size, right, at, eta) @ weight)


def point_field(size: Size, patch: Patch, at: FloatArray, eta: float) -> FloatArray:
    """Return the kernel's mean over ``patch`` and its images seen from points ``at`` (m, 3) [m], shape
    (TERMS, m).

    The opening is a cloud of points; nearer than half the radius of a point's share of the area the
    distance stays at that value, which gives 1/r its mean over the share.
    """
    source, strength = _points(patch)
    reach, floor = _REACH * eta, math.sqrt(patch.area / math.pi / len(source)) / 2
    flips = []
    for axis in range(3):
        length, near, far = size[axis], at[:, axis].min() - reach, at[:, axis].max() + reach
        count = math.ceil(reach / (2 * length)) + 1
        options = [(sign, 2 * length * turn) for sign in (1.0, -1.0) for turn in range(-count, count + 1)]
        span = [source[:, axis] * sign + offset for sign, offset in options]
        flips.append([o for o, x in zip(options, span, strict=True) if x.max() >= near and x.min() <= far])
    total = np.zeros((TERMS, len(at)))
    for flip in product(*flips):
        image = source * [f[0] for f in flip] + [f[1] for f in flip]
        r = np.sqrt(((at[:, None, :] - image[None, :, :]) ** 2).sum(axis=2))
        row, column = np.nonzero(r <= reach)
        if not len(row):
            continue
        parts = kernel(np.maximum(r[row, column], floor), eta) * strength[column]
        for m in range(TERMS):
            total[m] += np.bincount(row, parts[m], minlength=len(at))
    return total
