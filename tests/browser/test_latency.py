"""From the hand to the drawn curve: soon, and never behind."""

from __future__ import annotations

import os
import time

import numpy as np
import pytest
from playwright.sync_api import expect

import airpath
from browser_hands import changed, column, dragged, settled

KNOBS = {
    "ticket-booth": "ports.vent.length", "lantern-slot": "ports.slot.length", "rumble-bench": "ports.nose.length",
    "drum-post": "ports.nose.length", "partition-seat": "ports.nose.length", "fog-signal": "chambers.throat.volume",
}  # fmt: skip
MOST = 100  # ms, the median
TRIES = 3  # what else the machine does can only add to it


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
    busy = os.getloadavg()[0] / (os.cpu_count() or 1)
    solve, medians = one_solve(airpath.load(one.path)), []
    for _ in range(TRIES):
        page.evaluate("performance.clearMeasures()")
        dragged(page, KNOBS[name], np.linspace(0.3, 0.9, 40))
        expect(page.locator("body")).not_to_have_attribute("data-state", "moving", timeout=30_000)
        took = delays(page)
        medians.append(float(np.median(took)))
        print(
            f"{name}: {len(took)} turns, median {medians[-1]:.0f} ms, 9 of 10 under {np.percentile(took, 90):.0f} ms; "
            f"one line solve {solve:.1f} ms, ratio {medians[-1] / solve:.1f}"
        )
        assert len(took) >= 8
        if medians[-1] < MOST:
            break
    if min(medians) >= MOST and busy > 1:
        pytest.skip(f"the machine has other work, {busy:.1f} per core: {min(medians):.0f} ms says nothing")
    assert min(medians) < MOST
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
    changed(page)
    assert len(delays(page)) == 2
    assert page.locator("#differences li").first.inner_text() == '[ports.nose] length: "62 mm" → "77 mm"'
    assert len(column(page, "line", "impedance")) == len(airpath.solve(airpath.load(one.path)).frequency)
