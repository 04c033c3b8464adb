"""What the slow part of the page finds, and how it says that it failed."""

from __future__ import annotations

from pathlib import Path
from queue import Queue

import airpath
from airpath.live.study import Study, pictures
from airpath.live.views import pictures as told

CASES = Path(__file__).parents[2] / "cases"


def last(case):
    return [value for kind, value in pictures(case) if kind == "pictures"][-1]


def test_the_way_through_a_drawn_horn_is_pictured_with_words():
    drawn = last(airpath.load(CASES / "bent-pipe.toml"))
    found = told(drawn)["pictures"]
    words = [picture["words"] for picture in found]
    assert words == [text for text, _ in drawn]
    assert any(text.startswith("Horn ") and "lines of equal pressure" in text for text in words)
    assert all(picture["source"].startswith("data:image/png;base64,iVBOR") for picture in found)


def test_standing_waves_are_pictured_with_the_name_of_their_chamber():
    words = [words for words, _ in last(airpath.load(CASES / "drum-post.toml"))]
    assert words and all(text.startswith("Standing waves of ") for text in words)


def test_a_case_without_shapes_has_no_pictures():
    assert last(airpath.load(CASES / "ticket-booth.toml")) == ()


def test_a_process_that_was_ended_from_outside_starts_again_and_a_closed_study_stays_closed():
    path = CASES / "buoy-slot.toml"
    news = Queue()
    study = Study(news.put)
    try:
        study._process.kill()
        study._process.join()
        study.ask(1, path.read_text(encoding="utf-8"), path)
        assert news.get(timeout=60).revision == 1
    finally:
        study.close()
    study.ask(2, path.read_text(encoding="utf-8"), path)
    assert not study.at_work
