"""From the hand to the drawn curve: soon, and never behind."""

from __future__ import annotations

import time

import numpy as np
import pytest

import airpath
from browser_hands import column, dragged, settled

KNOBS = {
    "ticket-booth": "ports.vent.length", "lantern-slot": "ports.slot.length", "rumble-bench": "ports.nose.length",
    "drum-post": "ports.nose.length", "partition-seat": "ports.nose.length", "fog-signal": "chambers.throat.volume",
}  # fmt: skip
MOST = 100  # ms, the median


def delays(page):
    """Return how long each turn took from the hand to the drawn curve [ms]."""
    script = "() => performance.getEntriesByName('turn to curve').map(entry => entry.duration)"
    return np.array(page.evaluate(script), dtype=float)


def one_solve(case):
    """Return how long one solve of the line model over the case's sweep takes [ms]."""
    times = []
    for _ in range(5):
        start = time.perf_counter()
        airpath.solve(case, model="line")
        times.append(time.perf_counter() - start)
    return 1e3 * float(np.median(times))


@pytest.mark.parametrize("name", KNOBS)
def test_the_curves_follow_the_hand(bench, name):
    one = bench(name)
    page = one.page()
    settled(page)
    dragged(page, KNOBS[name], np.linspace(0.3, 0.9, 40))
    settled(page)
    took, solve = delays(page), one_solve(airpath.load(one.path))
    median, most = np.median(took), np.percentile(took, 90)
    print(
        f"{name}: {len(took)} turns, median {median:.0f} ms, 9 of 10 under {most:.0f} ms; "
        f"one line solve {solve:.1f} ms, ratio {median / solve:.1f}"
    )
    assert len(took) >= 8
    assert median < MOST
    assert page.errors == []


def test_stale_turns_are_never_worked_on(bench):
    """A storm of turns in one go: the page sends the first and the last, and ends up at the last."""
    one = bench("rumble-bench")
    page = one.page()
    settled(page)
    page.evaluate(
        """() => {
          const slider = document.querySelector('[data-knob="ports.nose.length"] input[type=range]');
          for (let i = 0; i < 500; i++) {
            slider.value = 40 + i % 60;
            slider.dispatchEvent(new Event('input', {bubbles: true}));
          }
          slider.value = 77;
          slider.dispatchEvent(new Event('input', {bubbles: true}));
          slider.dispatchEvent(new Event('change', {bubbles: true}));
        }"""
    )
    page.wait_for_timeout(100)
    settled(page)
    assert len(delays(page)) == 2
    assert page.locator("#differences li").first.inner_text() == '[ports.nose] length: "62 mm" → "77 mm"'
    assert len(column(page, "line", "impedance")) == len(airpath.solve(airpath.load(one.path)).frequency)
