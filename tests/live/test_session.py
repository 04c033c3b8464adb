"""The case under the hands: the file is the truth, nothing is lost, nothing is written unasked."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from airpath.case import load
from airpath.errors import AirpathError, CaseError
from airpath.live.session import Session

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture
def booth(tmp_path):
    path = tmp_path / "booth.toml"
    shutil.copy(CASES / "ticket-booth.toml", path)
    return path


def rewrite(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    os.utime(path, ns=(0, path.stat().st_mtime_ns + 7))


def test_turning_writes_nothing_until_asked_and_keeps_comments(booth):
    before = booth.read_text(encoding="utf-8")
    session = Session.open(booth)
    for value in (0.130, 0.135, 0.140):
        session.turn("ports.vent.length", value)
    session.settle()
    assert booth.read_text(encoding="utf-8") == before
    assert [(d.place, d.was, d.now) for d in session.differences()] == [("[ports.vent] length", "125 mm", "140 mm")]
    session.save()
    after = booth.read_text(encoding="utf-8")
    assert after == before.replace('length = "125 mm"', 'length = "140 mm"')
    assert not session.unwritten and session.differences() == []


def test_a_drag_is_one_step_to_undo_and_redo(booth):
    session = Session.open(booth)
    for value in (0.130, 0.135, 0.140):
        session.turn("ports.vent.length", value)
    session.settle()
    session.cover("vent", True)
    session.undo()
    assert not session.case.ports["vent"].covered and session.case.ports["vent"].length == pytest.approx(0.140)
    session.undo()
    assert session.text == booth.read_text(encoding="utf-8") and not session.unwritten
    session.undo()  # nothing left: no harm
    session.redo()
    session.redo()
    assert session.case.ports["vent"].covered


def test_a_chambers_side_is_dragged_from_where_it_was(tmp_path):
    path = tmp_path / "bench.toml"
    shutil.copy(CASES / "rumble-bench.toml", path)
    session = Session.open(path)
    for value in (0.150, 0.06, 0.120 * 1.25):
        session.turn("chambers.main.size[0]", value)
    assert session.case.driver.rear_at[0] == pytest.approx(0.060 * 1.25)
    session.turn("chambers.main.size[0]", 0.120)
    session.settle()
    assert session.case == load(path)


def test_a_value_the_file_could_not_hold_is_refused_in_its_words(booth):
    session = Session.open(booth)
    session.turn("ports.vent.length", 0.130)
    with pytest.raises(CaseError, match=r"booth.toml.*\[ports.vent\] length"):
        session.turn("ports.vent.length", -1.0)
    with pytest.raises(CaseError, match="no"):
        session.turn("ports.vent.weight", 1.0)
    assert session.case.ports["vent"].length == pytest.approx(0.130)


def test_an_edit_outside_appears_and_the_pages_own_changes_stay_on_top(booth):
    session = Session.open(booth)
    session.cover("vent", True)
    assert not session.look()
    rewrite(booth, 'volume = "8 L"', 'volume = "9 L"')
    assert session.look()
    assert session.case.chambers["box"].volume == pytest.approx(0.009) and session.case.ports["vent"].covered
    assert "outside" in session.trouble
    assert [d.place for d in session.differences()] == ["[ports.vent] covered"]


def test_a_broken_file_leaves_the_last_good_state_and_says_where(booth):
    session = Session.open(booth)
    session.cover("vent", True)
    good = session.case
    rewrite(booth, 'length = "125 mm"', 'length = "125 litres"')
    assert session.look()
    assert session.fate == "broken" and "[ports.vent] length" in session.trouble
    assert session.case == good
    with pytest.raises(AirpathError, match="broken"):
        session.save()
    rewrite(booth, 'length = "125 litres"', 'length = "125 mm"')
    assert session.look() and session.fate == "same"
    assert session.case == good


def test_a_vanished_file_can_be_written_again(booth):
    session = Session.open(booth)
    booth.unlink()
    assert session.look() and session.fate == "gone" and "gone" in session.trouble and session.unwritten
    assert not session.look()
    session.cover("vent", True)
    session.save()
    assert load(booth).ports["vent"].covered


def test_writing_over_a_change_from_outside_is_refused_once(booth):
    session = Session.open(booth)
    session.turn("ports.vent.length", 0.140)
    rewrite(booth, 'volume = "8 L"', 'volume = "9 L"')
    with pytest.raises(AirpathError, match="changed"):
        session.save()
    session.save()
    case = load(booth)
    assert case.chambers["box"].volume == pytest.approx(0.009) and case.ports["vent"].length == pytest.approx(0.140)


def test_what_was_written_does_not_come_back_over_a_later_edit(booth):
    session = Session.open(booth)
    session.turn("ports.vent.length", 0.140)
    session.save()
    rewrite(booth, 'length = "140 mm"', 'length = "150 mm"')
    assert session.look()
    assert session.case.ports["vent"].length == pytest.approx(0.150) and not session.unwritten


def test_undo_works_after_writing(booth):
    session = Session.open(booth)
    session.turn("ports.vent.length", 0.140)
    session.save()
    session.undo()
    assert [(d.was, d.now) for d in session.differences()] == [("140 mm", "125 mm")]


def test_changes_that_no_longer_fit_are_set_aside_and_can_come_back(booth):
    session = Session.open(booth)
    session.cover("vent", True)
    text = booth.read_text(encoding="utf-8")
    rewrite(booth, text[text.index("[ports.vent]"):text.index("[drive]")], "")
    assert session.look()
    assert session.fate == "same" and "set aside" in session.trouble and "vent" not in session.case.ports
    booth.write_text(text, encoding="utf-8")
    session.look()
    session.redo()
    assert session.case.ports["vent"].covered


def test_line_endings_stay(booth):
    booth.write_bytes(booth.read_bytes().replace(b"\n", b"\r\n"))
    session = Session.open(booth)
    session.turn("ports.vent.length", 0.140)
    session.save()
    data = booth.read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n")


def test_a_new_case_never_replaces_a_file(booth):
    text = booth.read_text(encoding="utf-8")
    session = Session(booth, text.replace("8 L", "9 L"), new=True)
    assert session.unwritten and session.differences() == []
    with pytest.raises(AirpathError, match="there already"):
        session.save()
    assert booth.read_text(encoding="utf-8") == text
    other = Session(booth.with_name("new.toml"), text, new=True)
    other.save()
    assert load(other.path).title == session.case.title


def test_a_hand_that_goes_straight_to_another_knob_loses_nothing(booth):
    session = Session.open(booth)
    session.turn("ports.vent.length", 0.14)
    session.turn("ports.vent.length", 0.15)
    session.turn("ports.vent.diameter", 0.06)
    session.settle()
    assert (session.case.ports["vent"].length, session.case.ports["vent"].diameter) == (0.15, 0.06)
    session.undo()
    assert session.case.ports["vent"].length == 0.15
    session.undo()
    assert session.text == booth.read_text(encoding="utf-8")


def test_nothing_is_written_through_a_link_that_somebody_left(booth):
    secret = booth.parent / "secret.txt"
    secret.write_text("mine", encoding="utf-8")
    (booth.parent / f".{booth.name}.{os.getpid()}").symlink_to(secret)
    session = Session.open(booth)
    session.cover("vent", True)
    session.save()
    assert secret.read_text(encoding="utf-8") == "mine"
    assert load(booth).ports["vent"].covered


def test_a_difference_names_its_place_as_the_file_does(booth):
    rewrite(booth, "[ports.vent]", '[ports."vent (low)"]')
    session = Session.open(booth)
    session.cover("vent (low)", True)
    assert [d.place for d in session.differences()] == ['[ports."vent (low)"] covered']
