"""Hands and eyes on the page, for the tests in a real browser."""

from __future__ import annotations

from pathlib import Path

import numpy as np

SHOTS = Path(__file__).parents[1] / "airpath-out" / "browser"


def shown(page):
    """Wait until the page shows a case's curves, whatever is still being worked out about it."""
    from playwright.sync_api import expect

    expect(page.locator("body[data-state]")).to_have_count(1, timeout=60_000)
    expect(page.locator("figure.drawn").first).to_be_visible(timeout=60_000)


def settled(page):
    """Wait until the page shows every fidelity and every cause of the case as it is."""
    from playwright.sync_api import expect

    expect(page.locator("body")).to_have_attribute("data-state", "done", timeout=240_000)


def changed(page):
    """Wait until the page has taken something up and shows everything of it."""
    from playwright.sync_api import expect

    expect(page.locator("body")).not_to_have_attribute("data-state", "done", timeout=10_000)
    settled(page)


def shot(page, name):
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SHOTS / f"{name}.png", full_page=True)


def column(page, source, name):
    """Return a column of the curves of the impedance chart, as they are drawn."""
    script = "([source, name]) => Bokeh.documents[0].get_model_by_name(source).data[name]"
    return np.array(page.evaluate(script, [source, name]), dtype=float)


def slider(page, knob):
    return page.locator(f'[data-knob="{knob}"] input[type=range]')


def field(page, knob):
    return page.locator(f'[data-knob="{knob}"] input[type=number]')


def typed(page, knob, text):
    """Put another number into a knob's field, and take it by Enter."""
    field(page, knob).fill(text)
    field(page, knob).press("Enter")


def dragged(page, knob, shares):
    """Pull a slider with the mouse to each of some shares of its way, and let go."""
    thing = slider(page, knob)
    thing.scroll_into_view_if_needed()
    box = thing.bounding_box()
    low, high, value = (float(thing.evaluate(f"s => s.{key}")) for key in ("min", "max", "value"))
    thumb = 16  # px
    x = lambda share: box["x"] + thumb / 2 + share * (box["width"] - thumb)  # noqa: E731
    y = box["y"] + box["height"] / 2
    page.mouse.move(x((value - low) / (high - low)), y)
    page.mouse.down()
    for share in shares:
        page.mouse.move(x(share), y)
        page.wait_for_timeout(30)
    page.mouse.up()


def rewritten(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
