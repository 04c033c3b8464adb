"""What a builder does on the page, in a real browser."""

from __future__ import annotations

import os
import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import expect

import airpath
from airpath.case.edit import edited
from airpath.case.load import parse
from browser_hands import changed, column, dragged, field, rewritten, settled, shot, shown, slider, typed

CASES = Path(__file__).parents[2] / "cases"
SWEEP = "Hz,ohm,deg\n" + "".join(f"{20 * 1.05**i:.4f},{6 + 30 / (1 + (i - 14) ** 2):.3f},0\n" for i in range(90))


QUICK = ("ticket-booth", "lantern-slot")  # to explain once more, to compare


@pytest.mark.parametrize("name", sorted(path.stem for path in CASES.glob("*.toml")))
def test_every_demo_opens_with_curves_causes_and_cautions(bench, name):
    page = bench(name).page()
    settled(page)
    case = airpath.load(CASES / f"{name}.toml")
    prediction = airpath.predict(case)
    assert page.locator("h1").inner_text() == case.title
    causes = page.locator("#features li[data-feature]").count()
    assert causes == len(airpath.explain(case)) if name in QUICK else causes > 1
    assert page.locator("#tones tbody tr").count() == len(prediction.tones_hz)
    assert page.locator("#cautions li").all_text_contents() == prediction.warnings
    assert prediction.best in page.locator("#fidelity").inner_text()
    assert column(page, prediction.best, "impedance") == pytest.approx(
        np.abs(prediction.responses[prediction.best].impedance), rel=1e-5
    )
    for part in (*case.chambers, *case.ports, *case.horns, "driver"):
        assert page.locator(f'#sketch [data-part="{part}"]').count() == 1, part
    assert page.errors == []
    shot(page, f"demo-{name}")


def test_a_peak_moves_under_the_hand_to_where_predict_puts_it(bench):
    one = bench("ticket-booth")
    page = one.page()
    settled(page)
    before = column(page, "line", "impedance")
    dragged(page, "ports.vent.length", np.linspace(0.35, 0.8, 12))
    changed(page)
    length = float(field(page, "ports.vent.length").input_value())
    assert length > 180
    text = edited(one.path.read_text(encoding="utf-8"), {("ports", "vent", "length"): f"{length} mm"})
    response = airpath.predict(parse(text, one.path)).responses["line"]
    frequency, now = column(page, "line", "frequency"), column(page, "line", "impedance")
    assert frequency[now.argmax()] == pytest.approx(response.frequency[np.abs(response.impedance).argmax()], rel=1e-5)
    assert now == pytest.approx(np.abs(response.impedance), rel=1e-5)
    assert column(page, "before", "impedance") == pytest.approx(before)
    expect(page.locator("#differences li")).to_have_text([f'[ports.vent] length: "125 mm" → "{length:g} mm"'])
    assert 'length = "125 mm"' in one.path.read_text(encoding="utf-8")
    shot(page, "dragged")


def test_a_hand_that_comes_back_to_where_it_was_lets_go_too(bench):
    page = bench("ticket-booth").page()
    settled(page)
    start = float(slider(page, "ports.vent.length").evaluate("s => (s.value - s.min) / (s.max - s.min)"))
    dragged(page, "ports.vent.length", [0.6, 0.7, start])
    changed(page)
    expect(field(page, "ports.vent.length")).to_have_value("125")
    expect(page.locator("#unwritten")).to_be_hidden()


def test_while_the_hand_is_on_it_the_page_says_which_model_it_shows(bench):
    page = bench("rumble-bench").page()
    settled(page)
    expect(page.locator("#fidelity")).to_contain_text("field model")
    thing = slider(page, "ports.nose.length")
    thing.scroll_into_view_if_needed()
    box = thing.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 3, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    expect(page.locator("#fidelity")).to_contain_text("line model")
    expect(page.locator("#features.stale")).to_have_count(1)
    assert len(column(page, "field", "impedance")) == 0
    shot(page, "under-the-hand")
    page.mouse.up()
    changed(page)
    expect(page.locator("#fidelity")).to_contain_text("field model")
    assert len(column(page, "field", "impedance")) > 100


def test_under_the_hand_nothing_is_said_to_be_solved(bench):
    page = bench("rumble-bench").page()
    shown(page)
    expect(page.locator("#busy")).not_to_be_empty()
    thing = slider(page, "ports.nose.length")
    box = thing.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 3, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    expect(page.locator("#fidelity")).to_contain_text("while you turn")
    expect(page.locator("#busy")).to_be_hidden()
    page.mouse.up()
    expect(page.locator("#busy")).to_be_visible()


def test_a_port_is_shut_and_opened_in_the_drawing(bench):
    one = bench("ticket-booth")
    page = one.page()
    settled(page)
    peaks = page.locator("#features li[data-feature]").count()
    page.locator('[data-shut="vent"]').click()
    expect(page.locator('[data-shut="vent"]')).to_have_attribute("aria-checked", "true")
    settled(page)
    expect(page.locator("#differences li")).to_have_text(["[ports.vent] covered: nothing → true"])
    assert page.locator("#features li[data-feature]").count() < peaks
    shot(page, "shut")
    page.locator('[data-shut="vent"]').click()
    expect(page.locator('[data-shut="vent"]')).to_have_attribute("aria-checked", "false")


def test_a_feature_is_read_under_the_pointer(bench):
    page = bench("ticket-booth").page()
    settled(page)
    feature = airpath.explain(airpath.load(CASES / "ticket-booth.toml"))[1]
    page.locator('figure[data-chart="impedance"]').scroll_into_view_if_needed()
    place = page.evaluate(
        """frequency => {
          const figure = Bokeh.documents[0].roots()[0], view = Bokeh.index.get_one(figure);
          const box = view.el.getBoundingClientRect(), {x_range: x, y_range: y} = figure, frame = view.frame.bbox;
          const line = Bokeh.documents[0].get_model_by_name('line').data;
          const i = line.frequency.findIndex(f => f >= frequency);
          const share = Math.log(frequency / x.start) / Math.log(x.end / x.start);
          return [box.x + frame.left + share * frame.width,
                  box.y + frame.bottom - (line.impedance[i] - y.start) / (y.end - y.start) * frame.height];
        }""",
        feature.frequency_hz,
    )  # fmt: skip
    page.mouse.move(place[0] - 3, place[1])
    page.mouse.move(*place, steps=3)
    slip = page.locator(".tip:visible")
    expect(slip).to_have_count(1)  # one for all: the mark, and the curves that coincide here
    for words in (feature.cause.text, f"{feature.kind} at {feature.frequency_hz:.4g} Hz"):
        expect(slip).to_contain_text(words)
    for fidelity in ("lumped", "line"):
        expect(slip).to_contain_text(re.compile(rf"impedance, {fidelity} model: [0-9.]+ Ω"))
    shot(page, "hover")


def test_a_dropped_sweep_lies_over_the_impedance(bench):
    one = bench("ticket-booth")
    page = one.page()
    shown(page)
    page.evaluate(
        """text => {
          const carried = new DataTransfer();
          carried.items.add(new File([text], 'built box.csv', {type: 'text/csv'}));
          document.body.dispatchEvent(new DragEvent('drop', {dataTransfer: carried, bubbles: true, cancelable: true}));
        }""",
        SWEEP,
    )
    expect(page.locator(".key").first).to_contain_text("measured")
    assert column(page, "measured", "impedance").max() == pytest.approx(36)
    expect(page.locator("#differences li")).to_have_text(['measured: nothing → "built box.csv"'])
    shot(page, "sweep")
    assert [file.name for file in one.path.parent.iterdir()] == ["ticket-booth.toml"]
    page.locator("#save").click()
    expect(page.locator("#said")).to_contain_text("Written")
    assert (one.path.parent / "built box.csv").read_text(encoding="utf-8") == SWEEP
    page.locator("#undo").click()
    expect(page.locator(".key").first).not_to_contain_text("measured")


def drawn(folder):
    """Draw a chamber of 120 by 100 mm with three openings."""
    import ezdxf

    sheet = ezdxf.new()
    space = sheet.modelspace()
    space.add_lwpolyline([(0, 0), (120, 0), (120, 100), (0, 100)], close=True, dxfattribs={"layer": "WALL"})
    openings = {"driver": ((30, 0), (90, 0)), "nose": ((0, 35), (0, 65)), "throat": ((40, 100), (80, 100))}
    for name, (start, end) in openings.items():
        space.add_line(start, end, dxfattribs={"layer": name})
    sheet.saveas(folder / "room for air.dxf")
    return folder / "room for air.dxf"


def test_an_outline_takes_the_place_of_a_volume(bench):
    one = bench("partition-seat")
    rewritten(one.path, 'outline = "../meshes/rumble-bench-main.toml"', 'volume = "1.6 L"  #')
    page = one.page()
    shown(page)
    page.locator("#file-choice").set_input_files(drawn(one.path.parents[1]))
    expect(page.locator("#outline")).to_be_visible()
    page.locator("#outline-part").select_option("main")
    page.locator("#outline-depth").fill("133 mm")
    shot(page, "outline-asked")
    page.locator("#outline button[type=submit]").click()
    expect(page.locator("#fidelity")).to_contain_text("field model", timeout=60_000)
    settled(page)
    shot(page, "outline")


def test_an_edit_outside_appears_at_once(bench):
    one = bench("ticket-booth")
    page = one.page()
    shown(page)
    rewritten(one.path, 'volume = "8 L"', 'volume = "11 L"')
    expect(page.locator("#trouble")).to_contain_text("changed outside")
    expect(page.locator('#sketch [data-part="box"]')).to_contain_text("11 L")
    expect(page.locator("#unwritten")).to_be_hidden()
    shot(page, "edited-outside")


def test_written_back_with_comments_and_undone(bench):
    one = bench("ticket-booth")
    page = one.page()
    shown(page)
    before = one.path.read_text(encoding="utf-8")
    typed(page, "ports.vent.length", "140")
    expect(page.locator("#differences li")).to_have_count(1)
    page.locator("#save").click()
    expect(page.locator("#said")).to_contain_text("Written")
    assert one.path.read_text(encoding="utf-8") == before.replace('"125 mm"', '"140 mm"')
    expect(page.locator("#save")).to_be_disabled()
    page.locator("#undo").click()
    expect(field(page, "ports.vent.length")).to_have_value("125")
    page.locator("#redo").click()
    expect(field(page, "ports.vent.length")).to_have_value("140")
    expect(page.locator("#unwritten")).to_be_hidden()


def test_what_is_written_holds_the_last_turn(bench):
    one = bench("ticket-booth")
    page = one.page()
    shown(page)
    typed(page, "ports.vent.length", "130")
    expect(page.locator("#save")).to_be_enabled()
    page.evaluate("""() => {
        const slider = document.querySelector('[data-knob="ports.vent.length"] input[type=range]');
        for (const value of [131, 132, 133]) { slider.value = value; slider.dispatchEvent(new Event("input")); }
        slider.dispatchEvent(new Event("change"));
        document.getElementById("save").click();
    }""")  # faster than any hand: two of the turns still wait to be sent
    expect(page.locator("#said")).to_contain_text("Written")
    assert '"133 mm"' in one.path.read_text(encoding="utf-8")


def test_a_wrong_number_is_answered_beside_its_field(bench):
    page = bench("ticket-booth").page()
    shown(page)
    typed(page, "ports.vent.length", "-5")
    expect(page.locator('[data-knob="ports.vent.length"] .wrong')).to_contain_text("length")
    expect(field(page, "ports.vent.length")).to_have_attribute("aria-invalid", "true")
    shot(page, "wrong-number")
    typed(page, "ports.vent.length", "130")
    expect(page.locator('[data-knob="ports.vent.length"] .wrong')).to_have_text("")


def test_what_is_being_typed_is_left_alone_by_answers(bench):
    page = bench("ticket-booth").page()
    shown(page)
    length = field(page, "ports.vent.length")
    typed(page, "ports.vent.length", "-5")
    expect(length).to_have_attribute("aria-invalid", "true")
    length.press("ControlOrMeta+a")
    page.wait_for_timeout(800)  # the turn is settled meanwhile, and the state is sent again
    expect(length).to_have_value("-5")  # beside what is wrong with it
    page.keyboard.type("130")
    length.press("Enter")
    expect(page.locator("#differences li")).to_contain_text("130 mm")
    length.press("ControlOrMeta+a")
    page.keyboard.type("14")
    page.wait_for_timeout(800)
    page.evaluate("document.getElementById('undo').click()")  # the cursor stays; the value goes back to 125
    expect(page.locator("#differences li")).to_have_count(0)
    page.keyboard.type("0")
    expect(length).to_have_value("140")
    length.press("Enter")
    expect(page.locator("#differences li")).to_contain_text("140 mm")


def test_on_a_phone_nothing_sticks_out_and_knobs_turn(bench):
    page = bench("rumble-bench").page(390, 844, has_touch=True, is_mobile=True)
    shown(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.locator('[data-chip="rear"]').tap()
    expect(page.locator("#turn-title")).to_contain_text("rear")
    dragged(page, "ports.rear.length", [0.5, 0.6])
    expect(page.locator("#differences li")).to_have_count(1)
    shot(page, "phone")


def test_everything_by_keyboard_alone(bench):
    one = bench("ticket-booth")
    page = one.page()
    shown(page)

    def tab_to(locator, most=60):
        for _ in range(most):
            page.keyboard.press("Tab")
            if locator.evaluate("node => node === document.activeElement"):
                return
        raise AssertionError(f"{locator} is not reached")

    tab_to(page.locator('#sketch [data-part="vent"]'))
    page.keyboard.press("Enter")
    expect(slider(page, "ports.vent.length")).to_be_focused()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    expect(field(page, "ports.vent.length")).to_have_value("128")
    expect(slider(page, "ports.vent.length")).to_have_attribute("aria-valuetext", "128 mm")
    shot(page, "keyboard")
    expect(page.locator("#undo")).to_be_enabled()
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Control+z")
    expect(field(page, "ports.vent.length")).to_have_value("125")
    page.evaluate("window.scrollTo(0, 0)")
    tab_to(page.locator('[data-shut="vent"]'))
    page.keyboard.press("Space")
    expect(page.locator('[data-shut="vent"]')).to_have_attribute("aria-checked", "true")
    expect(page.locator('[data-shut="vent"]')).to_be_focused()
    tab_to(page.locator("#turn-title + #knobs input[type=range]").first)
    page.evaluate("document.querySelector('header').scrollIntoView()")
    page.locator("#save").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("Written")
    assert airpath.load(one.path).ports["vent"].covered


def test_starting_empty_offers_the_box_types_and_writes_a_file_when_asked(bench):
    one = bench(None)
    page = one.page()
    expect(page.locator("#kinds button")).to_have_count(6)
    expect(page.locator("#report")).to_be_disabled()
    shot(page, "starts")
    page.locator('[data-start="vented"]').click()
    expect(page.locator("h1")).to_have_text("Vented box")
    shown(page)
    assert list(one.path.parent.iterdir()) == []
    page.locator("#name").fill("../outside")
    page.locator("#save").click()
    expect(page.locator("#said")).to_contain_text("no name")
    page.locator("#name").fill("my box")
    shot(page, "started")
    page.locator("#save").click()
    expect(page.locator("#said")).to_contain_text("Written to my box.toml")
    assert [file.name for file in one.path.parent.iterdir()] == ["my box.toml"]
    assert airpath.load(one.path.parent / "my box.toml").title == "Vented box"
    assert page.errors == []


def test_the_key_tells_of_the_frozen_curve_once_there_is_one(bench):
    page = bench("ticket-booth").page()
    settled(page)
    keys = page.locator('label[data-source="before"]')
    assert keys.count() == 3
    for i in range(3):
        expect(keys.nth(i)).to_be_hidden()
    high = page.locator('figure[data-chart="impedance"] .plot').first.bounding_box()["y"]
    typed(page, "ports.vent.length", "140")
    expect(keys.first).to_be_visible()
    assert page.locator('figure[data-chart="impedance"] .plot').first.bounding_box()["y"] == high
    assert page.errors == []


def test_notes_move_nothing_are_seen_from_everywhere_and_can_be_put_away(bench):
    one = bench("ticket-booth")
    page = one.page()
    settled(page)
    high = slider(page, "ports.vent.length").bounding_box()["y"]
    rewritten(one.path, 'length = "125 mm"', 'length = "150 mm"')
    expect(page.locator("#trouble")).to_contain_text("changed outside")
    assert slider(page, "ports.vent.length").bounding_box()["y"] == high
    typed(page, "ports.vent.length", "140")
    expect(page.locator("#differences li")).to_have_count(1)
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    expect(page.locator("#trouble")).to_be_in_viewport()
    page.locator("#trouble button").click()
    expect(page.locator("#trouble")).to_be_hidden()
    page.locator("#undo").click()
    expect(page.locator("#redo")).to_be_enabled()
    expect(page.locator("#trouble")).to_be_hidden()
    rewritten(one.path, 'length = "150 mm"', 'length = "150 litres"')
    expect(page.locator("#trouble")).to_be_in_viewport()
    expect(page.locator("#trouble")).to_contain_text("[ports.vent] length")
    for _ in range(2):  # the same words twice
        page.locator("#save").evaluate("button => { button.disabled = false; button.click(); }")
        expect(page.locator("#said")).to_be_in_viewport()
        page.locator("#said button").click()
        expect(page.locator("#said")).to_be_hidden()
    assert page.errors == []


def test_the_door_is_switched(bench):
    page = bench("ticket-booth").page()
    settled(page)
    page.get_by_role("button", name="use shut").click()
    changed(page)
    expect(page.locator("#doors tbody tr").first).to_contain_text("shut (as it is)")
    expect(page.locator("#tones-text")).to_contain_text("door shut, the first of its 3 states")
    expect(page.locator("#differences li")).to_contain_text("[room] opening")
    shot(page, "door-shut")
    assert page.errors == []


def test_covered_openings_at_a_glance(bench):
    page = bench("rumble-bench").page()
    settled(page)
    expect(page.locator("#covering tbody tr")).to_have_count(4)
    page.locator("#covering").scroll_into_view_if_needed()
    page.locator("#covering tr").filter(has_text="nose").first.get_by_role("button").click()
    expect(page.locator('[data-shut="nose"]')).to_have_attribute("aria-checked", "true")
    settled(page)
    expect(page.locator("#covering tr.now")).to_contain_text("nose")
    shot(page, "covering")


def test_standing_waves_are_drawn_when_asked_for(bench):
    page = bench("drum-post").page()
    shown(page)
    page.locator("#pictures").click()
    expect(page.locator("#drawn img").first).to_be_visible(timeout=60_000)
    expect(page.locator("#drawn img").first).to_have_js_property("complete", True)
    assert page.locator("#drawn img").first.evaluate("image => image.naturalWidth") > 100
    shot(page, "waves")
    assert page.errors == []


def test_a_report_is_made_and_opens(bench):
    one = bench("ticket-booth")
    page = one.page()
    shown(page)
    page.locator("#report").click()
    link = page.locator("#said a")
    expect(link).to_be_visible(timeout=60_000)
    with page.context.expect_page() as opened:
        link.click()
    expect(opened.value.locator("h1")).to_have_text(airpath.load(one.path).title)
    expect(opened.value.locator(".drawn canvas").first).to_be_visible()
    assert (one.path.parent / "airpath-out" / "ticket-booth" / "report.html").is_file()


def test_two_pages_stay_in_step(bench):
    one = bench("ticket-booth")
    first, second = one.page(), one.page()
    shown(first)
    shown(second)
    typed(first, "ports.vent.length", "140")
    expect(field(second, "ports.vent.length")).to_have_value("140")
    second.locator("#undo").click()
    expect(field(first, "ports.vent.length")).to_have_value("125")
    assert first.errors == second.errors == []


def test_a_broken_and_a_vanished_file_lose_nothing(bench):
    one = bench("ticket-booth")
    page = one.page()
    shown(page)
    good = one.path.read_text(encoding="utf-8")
    typed(page, "ports.vent.length", "140")
    expect(page.locator("#differences li")).to_have_count(1)
    rewritten(one.path, 'diameter = "52 mm"', 'diameter = "52 litres"')
    expect(page.locator("#trouble")).to_contain_text("[ports.vent] diameter")
    expect(field(page, "ports.vent.length")).to_have_value("140")
    shot(page, "broken-file")
    page.locator("#save").click()
    expect(page.locator("#said")).to_contain_text("broken")
    os.unlink(one.path)
    expect(page.locator("#trouble")).to_contain_text("gone")
    shot(page, "vanished-file")
    page.locator("#save").click()
    expect(page.locator("#said")).to_contain_text("Written")
    assert one.path.read_text(encoding="utf-8") == good.replace('"125 mm"', '"140 mm"')


def test_a_killed_server_is_said_and_the_changes_can_be_kept(bench):
    one = bench("ticket-booth")
    page = one.page()
    shown(page)
    typed(page, "ports.vent.length", "140")
    expect(page.locator("#differences li")).to_have_count(1)
    one.server.kill()
    expect(page.locator("#lost")).to_contain_text("does not answer")
    shot(page, "killed")
    with page.expect_download() as kept:
        page.locator("#lost a").click()
    assert 'length = "140 mm"' in Path(kept.value.path()).read_text(encoding="utf-8")
    assert 'length = "125 mm"' in one.path.read_text(encoding="utf-8")
