"""Who does the work at a tone: openings are weighed by what they do together at the listener."""

from __future__ import annotations

import math
import re

import pytest

import airpath
from case_texts import write

_DRIVER = {
    "fs": "58 Hz", "Qms": 3.9, "Qes": 0.46, "Vas": "8.5 L", "Sd": "88 cm^2", "Re": "5.7 ohm", "front": "outside",
    "rear": "box",
}  # fmt: skip


def _verdicts(tmp_path, ports):
    data = {"tones": ["45 Hz", "100 Hz"], "driver": _DRIVER, "chambers": {"box": {"volume": "20 L"}}, "ports": ports}
    rows = airpath.predict(airpath.load(write(tmp_path, data)), ("lumped",)).tones
    return rows, [row.verdict.split("; ")[1] for row in rows]


def _vents(count):
    across = f"{60 / math.sqrt(count):.6g} mm"
    return {
        f"v{i + 1}": {"from": "box", "to": "outside", "length": "90 mm", "diameter": across} for i in range(count)
    }


def test_below_the_tuning_a_vent_and_the_cone_cancel(tmp_path):
    rows, words = _verdicts(tmp_path, _vents(1))
    assert words[0] == '"v1" and the cone work against each other'
    assert words[1] == "the cone does the work"
    assert rows[0].share_db["v1"] > 1  # louder alone than both together


def test_many_small_vents_are_not_passed_over_for_the_cone(tmp_path):
    """Each of six is quieter than the cone, all together are louder: below the tuning they lead."""
    rows, words = _verdicts(tmp_path, _vents(6))
    assert rows[0].leader == "cone"
    assert words[0] == '"v1", "v2", "v3", "v4", "v5" and "v6" work against the cone'
    assert words[1] == "the cone does the work"


@pytest.mark.parametrize("count", [0, 2])
def test_words_name_only_what_is_there(tmp_path, count):
    _, words = _verdicts(tmp_path, _vents(count) if count else {})
    for text in words:
        assert set(re.findall(r'"(.*?)"', text)) <= set(_vents(count) if count else {})
    assert ("only" in words[0]) is (count == 0)
