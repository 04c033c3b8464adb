"""What a builder does on the page, in a real browser."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

import airpath
from airpath.findings.explain import explain

CASES = Path(__file__).parents[2] / "cases"
SHOTS = Path("airpath-out") / "browser"


def settled(page):
    """Wait until the page shows every fidelity and every cause of the case as it is."""
    expect(page.locator("body")).to_have_attribute("data-state", "done", timeout=60_000)


def shot(page, name):
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SHOTS / f"{name}.png", full_page=True)


@pytest.mark.parametrize("name", sorted(path.stem for path in CASES.glob("*.toml")))
def test_every_demo_opens_with_curves_causes_and_cautions(bench, name):
    page = bench(name).page()
    settled(page)
    case = airpath.load(CASES / f"{name}.toml")
    prediction = airpath.predict(case)
    assert page.locator("h1").inner_text() == case.title
    assert page.locator("#features li[data-feature]").count() == len(explain(case))
    assert page.locator("#tones tbody tr").count() == len(prediction.tones_hz)
    assert page.locator("#cautions li").all_inner_texts() == prediction.warnings
    assert prediction.best in page.locator("#fidelity").inner_text()
    assert page.locator(".plot canvas").count() >= 4
    for part in (*case.chambers, *case.ports, *case.horns, "driver"):
        assert page.locator(f'#sketch [data-part="{part}"]').count() == 1, part
    assert page.errors == []
    shot(page, f"demo-{name}")


def column(page, source, name):
    """Return a column of the curves that are drawn."""
    script = "([source, name]) => Bokeh.documents.at(-1).get_model_by_name(source).data[name]"
    return np.array(page.evaluate(script, [source, name]), dtype=float)


def dragged(page, knob, targets):
    """Pull a slider with the mouse to each of some shares of its way, and let go."""
    slider = page.locator(f'[data-knob="{knob}"] input[type=range]')
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    low, high, value = (float(slider.evaluate(f"s => s.{key}")) for key in ("min", "max", "value"))
    thumb = 16  # px
    x = lambda share: box["x"] + thumb / 2 + share * (box["width"] - thumb)  # noqa: E731
    page.mouse.move(x((value - low) / (high - low)), box["y"] + box["height"] / 2)
    page.mouse.down()
    for share in targets:
        page.mouse.move(x(share), box["y"] + box["height"] / 2)
        page.wait_for_timeout(30)
    page.mouse.up()


def delays(page):
    """Return how long each turn took from the hand to the drawn curve [ms]."""
    script = "() => performance.getEntriesByName('turn to curve').map(entry => entry.duration)"
    return np.array(page.evaluate(script), dtype=float)


KNOBS = {
    "ticket-booth": "ports.vent.length", "lantern-slot": "ports.slot.length", "rumble-bench": "ports.nose.length",
    "drum-post": "ports.nose.length", "partition-seat": "ports.nose.length", "fog-signal": "chambers.throat.volume",
}  # fmt: skip


@pytest.mark.parametrize("name", KNOBS)
def test_the_curves_follow_the_hand(bench, name):
    page = bench(name).page()
    settled(page)
    dragged(page, KNOBS[name], np.linspace(0.3, 0.9, 40))
    settled(page)
    took = delays(page)
    print(f"{name}: {len(took)} turns, median {np.median(took):.0f} ms, 90 % under {np.percentile(took, 90):.0f} ms")
    assert len(took) >= 8
    assert np.median(took) < 100
    assert page.errors == []
