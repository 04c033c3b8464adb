"""The reports in a real browser: nothing is fetched, curves are read under the pointer, pictures stay for print."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from airpath.case import load
from airpath.findings.explaining.explanation import explanation
from airpath.findings.predict import predict
from airpath.report.pages.explained import write_explanation
from airpath.report.pages.write import write_report

CASES = Path(__file__).parents[2] / "cases"
TIPS = """() => [...document.querySelectorAll(".tip")].filter((tip) => tip.checkVisibility())
  .map((tip) => tip.textContent).join(" | ")"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("reports")
    case = load(CASES / "lantern-slot.toml")
    write_report(predict(case), folder)
    write_explanation(explanation(case), folder)
    return folder


@pytest.fixture
def opened(browser, folder):
    """Open a page offline; everything that goes wrong or is asked for ends in ``page.wrong``."""
    contexts = []

    def open_page(name, width=1280, **options):
        context = browser.new_context(viewport={"width": width, "height": 900}, offline=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.wrong = []
        page.on("pageerror", lambda error: page.wrong.append(str(error)))
        page.on("console", lambda said: said.type in ("error", "warning") and page.wrong.append(said.text))
        page.on("request", lambda asked: asked.url.startswith(("data:", "file:")) or page.wrong.append(asked.url))
        page.goto((folder / name).as_uri())
        if options.get("java_script_enabled", True):
            page.wait_for_function("Bokeh.documents.length && Bokeh.documents[0].is_idle")
        return page

    yield open_page
    for context in contexts:
        context.close()


def swept(page, picture, want, *, across=range(4, 97, 2), along=range(4, 97, 3)):
    """Return what the pointer reads over a chart once it has all the wanted words, "" if it never does."""
    place = page.locator(f'[data-chart="{picture}"] .plot').first
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    for x in across:
        for y in along:
            page.mouse.move(box["x"] + box["width"] * x / 100, box["y"] + box["height"] * y / 100)
            read = page.evaluate(TIPS)
            if all(word in read for word in want):
                return read
    return ""


@pytest.mark.parametrize("name", ["report.html", "explain.html"])
@pytest.mark.parametrize("width", [1280, 500])
def test_pages_draw_their_charts_and_fetch_nothing(opened, name, width):
    page = opened(name, width)
    hosts = page.locator("[data-chart]")
    assert hosts.count() == page.locator("[data-chart].drawn").count() >= 1
    assert page.locator("[data-chart] > img").first.is_hidden()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.wrong == []


def test_the_pointer_reads_frequency_value_and_fidelity(opened):
    read = swept(opened("report.html"), "impedance", ["impedance, line model", "Ω", "Hz"], across=[10, 30, 50])
    assert read


def test_a_number_reads_its_cause(opened):
    read = swept(opened("explain.html"), "impedance", ["half-wave", "cause"], across=range(55, 75), along=[16, 20, 24])
    assert '"slot"' in read


def test_a_finger_reads_too(opened):
    page = opened("explain.html", 500, has_touch=True, is_mobile=True)
    place = page.locator('[data-chart="impedance"] .plot').first
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    head = page.evaluate(
        """() => {
          const figure = Bokeh.documents[0].roots()[0];
          const data = figure.renderers.map((r) => r.data_source.data).find((d) => d.head);
          return [data.head[0], data.level[0], figure.x_range.start, figure.x_range.end, figure.y_range.end,
                  figure.inner_width, figure.inner_height];
        }"""
    )
    f, level, low, high, top, wide, tall = head
    x = box["x"] + box["width"] - 12 - wide * (1 - math.log(f / low) / math.log(high / low))
    for below in range(20, 60, 3):  # the tools stand above the frame
        page.touchscreen.tap(x, box["y"] + below + tall * (1 - level / top))
        if "cause" in page.evaluate(TIPS):
            break
    assert "Helmholtz tuning" in page.evaluate(TIPS)


def test_curves_are_switched_by_keyboard(opened):
    page = opened("report.html")
    box = page.locator('[data-chart="level"] .key input').first
    box.focus()
    shown = "Bokeh.documents[0].roots().flatMap((f) => f.renderers).filter((r) => !r.visible).length"
    assert page.evaluate(shown) == 0
    page.keyboard.press("Space")
    assert page.evaluate(shown) == 1
    page.keyboard.press("Space")
    assert page.evaluate(shown) == 0


def test_charts_share_the_frequency_axis_and_numbers_stay_apart_when_it_changes(opened):
    page = opened("explain.html")
    page.evaluate("Bokeh.documents[0].roots()[0].x_range.setv({start: 300, end: 400})")
    ends = page.evaluate("Bokeh.documents[0].roots().map((f) => [f.x_range.start, f.x_range.end])")
    assert ends == [[300, 400]] * len(ends)
    heads = page.evaluate(
        "Bokeh.documents[0].roots()[0].renderers.map((r) => r.data_source.data).find((d) => d.head).head"
    )
    assert len(heads) == 2  # the dip and the peak of the half-wave, which are 2 Hz from each other
    assert page.wrong == []


def test_print_has_the_pictures(opened):
    page = opened("report.html")
    page.emulate_media(media="print")
    assert page.locator("[data-chart] > img").first.is_visible()
    assert page.locator(".live").first.is_hidden()


def test_without_scripts_the_pictures_are_there(opened):
    page = opened("explain.html", java_script_enabled=False)
    assert page.locator("[data-chart] > img").first.is_visible()
    assert page.locator(".pointer").first.is_hidden()
