"""Will a port be heard: the words hold for the port, and the larger port that is named does what is said of it."""

from __future__ import annotations

import math
import re

import pytest

import airpath
from case_texts import write

_DRIVER = {
    "fs": "29 Hz", "Qms": 4.5, "Qes": 0.41, "Vas": "95 L", "Sd": "480 cm^2", "Re": "3.6 ohm", "front": "outside",
    "rear": "box",
}  # fmt: skip
_ROUND = {"from": "box", "to": "outside", "length": "18 cm", "diameter": "12 cm"}
_SLOT = {"from": "box", "to": "outside", "length": "35 cm", "width": "38 cm", "height": "3 cm", "along_wall": True}


def _box(tmp_path, port, *, tones=("28 Hz", "35 Hz"), power="200 W"):
    data = {
        "tones": list(tones), "driver": _DRIVER, "chambers": {"box": {"volume": "82 L"}}, "ports": {"vent": port},
        "drive": {"power": power},
    }  # fmt: skip
    return airpath.load(write(tmp_path, data))


def _row(case):
    return airpath.ports(case)["vent"]


@pytest.mark.parametrize(
    ("port", "side"),
    [
        (_ROUND, "diameter"),
        ({**_ROUND, "diameter": "8 cm", "count": 2}, "diameter"),
        ({**_ROUND, "to_end": "flared", "flare_radius": "15 mm"}, "diameter"),
        ({**_ROUND, "from_end": "free"}, "diameter"),
        (_SLOT, "height"),
        ({**_SLOT, "along_wall": False, "width": "3 cm", "height": "30 cm"}, "width"),
    ],
)
def test_the_larger_port_keeps_tuning_and_limit(tmp_path, port, side):
    """The solved box with the named port: its size is rounded up, so its air may be slower by as much."""
    before = _row(_box(tmp_path, port))
    assert before.air_speed_peak_m_s > before.air_speed_limit_m_s
    found = re.search(rf"a {side} of ([\d.]+) mm with a length of ([\d.]+) mm", before.verdict)
    assert found is not None, before.verdict
    wider = {**port, side: f"{found[1]} mm", "length": f"{found[2]} mm"}
    after = _row(_box(tmp_path, wider))
    assert after.tuning_hz == pytest.approx(before.tuning_hz, rel=0.01)
    rounding = 2.0 / float(found[1])  # 1 mm, in the square of a diameter
    assert 0.95 - rounding < after.air_speed_peak_m_s / after.air_speed_limit_m_s <= 1


def test_a_port_far_too_small_gets_no_size(tmp_path):
    verdict = _row(_box(tmp_path, {**_ROUND, "diameter": "3 cm", "length": "3 cm"})).verdict
    assert re.search(r"it takes [\d.]+ times the area to keep to the limit$", verdict), verdict


def test_a_long_stroke_is_held_against_the_narrow_side(tmp_path):
    """97 mm of travel are more than half of 40 mm, and less than half of 380 mm."""
    row = _row(_box(tmp_path, _SLOT))
    stroke = row.air_speed_peak_m_s / (2 * math.pi * row.air_speed_at_hz)
    assert 0.03 / 2 < stroke < 0.38 / 2
    assert "more than half its height" in row.verdict
    assert "more than half its diameter" in _row(_box(tmp_path, _ROUND)).verdict


def test_air_too_fast_away_from_the_tones_is_told(tmp_path):
    """At 150 Hz the port is quiet; the same drive at its tuning is over the limit, as the chart shows."""
    case = _box(tmp_path, _ROUND, tones=("150 Hz",))
    row, swept = _row(case), airpath.solve(case, model="line")
    speed = swept.openings["vent"].air_speed_peak
    assert row.air_speed_peak_m_s < row.air_speed_limit_m_s / 2 < speed.max()
    said = re.search(r"at ([\d.]+) Hz, away from the tones, it reaches ([\d.]+) m/s, over the limit", row.verdict)
    assert said is not None, row.verdict
    assert float(said[1]) == pytest.approx(swept.frequency[speed.argmax()], rel=0.01)
    assert float(said[2]) == pytest.approx(speed.max(), rel=0.05)
    quiet = _row(_box(tmp_path, _ROUND, tones=("150 Hz",), power="1 W"))
    assert "away from the tones" not in quiet.verdict
