"""Random boxes: explained without a crash, one driver, and the same on a finer grid."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings

from airpath.case.schema import Case
from airpath.errors import AirpathError
from airpath.findings.explaining.explain import explain
from airpath.findings.explaining.features import RIPPLE, Spot, heights, spots
from airpath.network.build import build
from airpath.network.graph import Network
from random_boxes import as_case, box_files

SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
ONCE = {"deadline": None, "suppress_health_check": SLOW, "derandomize": True, "phases": [Phase.generate]}


def coarse(text: str) -> Case:
    """Return a random case with tones over a sweep of few points."""
    return as_case(f'tones = ["45 Hz", "140 Hz", "310 Hz"]\n{text}\n[sweep]\nstart = "20 Hz"\nstop = "500 Hz"\n'
                   "points_per_octave = 12\n")  # fmt: skip


@settings(max_examples=80, **ONCE)
@given(box_files())
def test_random_boxes_are_explained_with_one_driver_at_most(text: str) -> None:
    case = coarse(text)
    features = explain(case, "line")
    assert sum(f.cause.type == "driver" for f in features) <= 1
    names = {*case.chambers, *case.ports, *case.horns, "driver", "room"}
    for feature in features:
        assert feature.cause.element in names
        assert set(feature.cause.elements) <= names
        assert feature.cause.text
        assert "no part alone" not in feature.cause.text
        if feature.shares:
            assert abs(sum(share.total for share in feature.shares.values()) - 1) < 1e-9
        for advice in feature.advice:
            assert feature.cause.type in ("pipe", "chamber-mode", "horn")
            if advice.aim in ("off a tone", "out of the band"):
                assert abs(advice.value / advice.was - 1) <= 0.3
    assert [f.frequency_hz for f in features] == sorted(f.frequency_hz for f in features)


@settings(max_examples=230, **ONCE)
@given(box_files())
def test_features_of_random_boxes_stay_when_the_grid_is_doubled(text: str) -> None:
    network = build(coarse(text), "line")
    few, many = (ringing(network, spots(network, np.geomspace(20, 500, n))) for n in (112, 223))
    assert np.allclose([a.omega for a in few], [b.omega for b in many], rtol=1e-6)
    for a, b in zip(few, many, strict=True):
        if a.kind == b.kind == "peak":
            assert abs(a.frequency / b.frequency - 1) < 1e-5


def ringing(network: Network, found: list[Spot]) -> list[Spot]:
    """Return the peaks and ripples that are not just at the edge of being listed, by their natural frequency.

    A ripple and a peak a hair above its dip are the same: a rounding decides between them.
    """
    free = [spot for spot in found if spot.cone == "free" and spot.omega is not None]
    height = heights(network, np.array([spot.omega for spot in free], dtype=np.complex128))
    kept = [spot for spot, h in zip(free, height, strict=True) if h > 2 * RIPPLE]
    return sorted(kept, key=lambda spot: spot.omega.real if spot.omega else 0.0)


@settings(max_examples=8, **ONCE)
@given(box_files())
def test_random_boxes_with_places_are_explained_by_the_field_model_too(text: str) -> None:
    case = coarse(text)
    try:
        features = explain(case)
    except AirpathError:  # an opening that doesn't fit its wall
        return
    assert sum(f.cause.type == "driver" for f in features) <= 1
